"""The last chord: a tonic that rests, under a cymbal as loud as the night has been."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from backing.combo import instruments as kit
from backing.combo.comp.comping import play
from backing.combo.comp.rhythm import strokes
from backing.combo.drums import drummer
from tests.benchmarks.changes import random_form
from tests.combo.build import bars, plan_of


@pytest.mark.parametrize("last", ["Cm6", "Cm", "Cm7", "Cm6/9", "C6", "Cmaj7"])
@pytest.mark.parametrize("comp", ["piano", "guitar", "organ"])
def test_the_last_chord_has_no_eleventh(last: str, comp: str) -> None:
    """A written final Cm6 with an 11th is F7/C. Common practice, no source."""
    for seed in range(12):
        plan = plan_of(bars(f"Fm7 | G7 | {last} | {last}", key="C minor"), 100, final=True)
        plan = replace(plan, comping=strokes(plan, random.Random(seed), comp))
        held = [n for n in play(plan, random.Random(seed), comp).notes if n.together]
        tones = {note.pitch % 12 for note in held}
        assert held
        assert 5 not in tones
        assert {3, 4} & tones


@pytest.mark.parametrize(("feel", "tempo"), [("ballad", 60), ("bossa", 130), ("two", 140)])
def test_a_quiet_tune_does_not_end_on_its_loudest_crash(feel: str, tempo: int) -> None:
    for seed in range(6):
        played = tuple(random_form(seed, feel=feel).played("out"))
        plan = plan_of(played, tempo, final=True, chorus=4, choruses=5)
        notes = drummer.play(plan, random.Random(seed)).notes
        last = [n for n in notes if n.together and n.pitch == kit.CRASH]
        assert last
        ride_or_brush = sorted(n.velocity for n in notes if n.role == "ride")
        assert max(n.velocity for n in last) <= ride_or_brush[-1] + 8
