"""The comp's blue notes: the #9 of I7 and V7 in a blues, now and then, and nowhere else.

Common practice, no source: where I7 and IV7 are dominants the flat third and the flat seventh of
the key are blue notes.
"""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import pytest

from backing.combo.comp.comping import play
from backing.combo.comp.rhythm import strokes
from backing.combo.plan import Plan
from tests.combo.build import bars, plan_of

BLUES = "C7 | F7 | C7 | % | F7 | % | C7 | % | G7 | F7 | C7 | G7"
STANDARD = "C7 | Fmaj7 | Dm7 | G7 | Cmaj7 | % | Dm7 | G7"
SHARP_NINE = 3


def sharp_nines(plan: Plan) -> list[tuple[str, bool]]:
    """Of every stroke over a dominant: its chord, and whether its #9 is in it."""
    found = []
    for seed in range(12):
        comped = replace(plan, comping=strokes(plan, random.Random(seed)))
        notes = play(comped, random.Random(seed)).notes
        for onset in {n.onset for n in notes}:
            struck = [n for n in notes if n.onset == onset]
            chord = struck[0].chord
            assert chord is not None
            tones = {(n.pitch - chord.root.pitch_class) % 12 for n in struck}
            found.append((str(chord), chord.is_dominant and SHARP_NINE in tones))
            below = sorted(n.pitch for n in struck)
            rubs = {b - a for a, b in pairwise(below) if b % 12 == 4}
            assert str(chord) != "C7" or 1 not in rubs  # it stands above the third
    return found


@pytest.mark.parametrize("chord", ["C7", "G7"])
def test_i7_and_v7_of_a_blues_have_their_sharp_nine_now_and_then(chord: str) -> None:
    heard = [sharp for name, sharp in sharp_nines(plan_of(bars(BLUES))) if name == chord]
    assert 0.03 < sum(heard) / len(heard) < 0.4


def test_iv7_has_none_nor_does_what_is_no_blues() -> None:
    blues, standard = (sharp_nines(plan_of(bars(text))) for text in (BLUES, STANDARD))
    assert not any(sharp for name, sharp in blues if name == "F7")
    assert not any(sharp for _, sharp in standard)


def test_in_a_lesson_there_are_no_blue_notes() -> None:
    plain = replace(plan_of(bars(BLUES)), plain=True)
    assert not any(sharp for _, sharp in sharp_nines(plain))
