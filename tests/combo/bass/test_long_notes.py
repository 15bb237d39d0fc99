"""A long note of the bass is heard as part of the chord, not as a passing note.

Common practice, no source: in two and in ballads the bass holds the root, the fifth, the third.
"""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from backing.combo.bass.walking import play
from tests.benchmarks.changes import random_form
from tests.combo.build import bars, plan_of

LONG = Fraction(7, 5)
CLASHES = frozenset({1, 6, 8})
"""A b9, b5 or b6 under a chord that has none."""


@pytest.mark.parametrize(("feel", "tempo"), [("ballad", 60), ("two", 140), ("even", 140)])
def test_a_long_note_is_a_chord_tone(feel: str, tempo: int) -> None:
    long = off = clashes = 0
    for number in range(30):
        plan = plan_of(tuple(random_form(number, feel=feel).played("solos")), tempo)
        for note in play(plan, random.Random(number)).notes:
            if note.length < LONG or note.chord is None:
                continue
            heard = note.chord.sounding
            tones = {*heard.pitch_classes, heard.bass_pitch_class}
            long += 1
            if note.pitch % 12 not in tones:
                off += 1
                clashes += (note.pitch - heard.root.pitch_class) % 12 in CLASHES
    assert long > 500
    assert off / long <= 0.01
    assert clashes == 0


def test_the_held_sixth_is_not_flatted() -> None:
    """Eb for two seconds under G6."""
    for seed in range(60):
        plan = plan_of(bars("G6 | % | Am7 D7 | G6", feel="ballad", key="G major"), 60)
        for note in play(plan, random.Random(seed)).notes:
            over_g6 = note.chord is not None and note.chord.text == "G6"
            assert not (over_g6 and note.length >= LONG and note.pitch % 12 == 3)
