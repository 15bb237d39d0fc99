"""A plain minor chord that leads to a dominant a fourth up is a II, wherever it comes from.

Its seventh is the minor one, which falls a half step to the third of the dominant (Levine, "The
Jazz Theory Book", II-V-I voice leading; from memory).
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from backing.combo.comp.comping import play
from backing.combo.comp.rhythm import strokes
from backing.combo.guide_tones import lines
from tests.combo.build import bars, plan_of

PLAIN_II = ("Bb G7 | Cm F7", "Bb | G7 | Cm | F7", "Bb G7 | Cm F9 | Bb | %")


@pytest.mark.parametrize("text", PLAIN_II)
def test_the_comping_has_its_minor_seventh(text: str) -> None:
    sixths = sevenths = 0
    for seed in range(12):
        plan = plan_of(bars(text, key="Bb major"), 140)
        plan = replace(plan, comping=strokes(plan, random.Random(seed)))
        for note in play(plan, random.Random(seed)).notes:
            if note.chord is not None and note.chord.text == "Cm":
                sixths += note.pitch % 12 == 9
                sevenths += note.pitch % 12 == 10
    assert sixths == 0
    assert sevenths > 3


@pytest.mark.parametrize("text", PLAIN_II)
def test_the_guide_lines_give_its_seventh_and_the_third_of_the_dominant(text: str) -> None:
    plan = plan_of(bars(text, key="Bb major"), 140)
    pairs = [
        {tone.pitch % 12 for tone in (one, other)}
        for one, other in zip(*lines(plan), strict=True)
        if one.span.chord is not None and one.span.chord.text == "Cm"
    ]
    assert pairs
    assert all(pair == {3, 10} for pair in pairs)


def test_a_tonic_keeps_its_sixth() -> None:
    """Cm at home in C minor is no II, though an F7 follows."""
    plan = plan_of(bars("Cm | F7 | Cm | G7", key="C minor"), 140)
    plan = replace(plan, comping=strokes(plan, random.Random(2)))
    tones = {
        note.pitch % 12
        for note in play(plan, random.Random(2)).notes
        if note.chord is not None and note.chord.text == "Cm"
    }
    assert 10 not in tones
