"""How the drums lead into a stroke of the band: each kind of stroke by its own set-up."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from backing.chart.bar import Directions
from backing.combo.drums import drummer
from backing.combo.instruments import KICK, SNARE
from tests.combo.build import bars, plan_of

ON_THE_BEAT = [(Fraction(3), KICK), (Fraction(7, 2), SNARE)]
"""Two eighths to a beat, the foot first; common practice, no source."""


def set_up(hit: str, seed: int) -> list[tuple[Fraction, int]]:
    """What leads into a hit on this beat of bar 2 (counted from 0): beat and key, from bar 1 on."""
    hits = Directions(hits=(Fraction(hit),))
    plan = plan_of(bars("Dm7 | G7 | C6 | A7", directions={1: hits}), circular=False)
    part = drummer.play(plan, random.Random(seed))
    stroke = 4 + Fraction(hit)
    return sorted(
        (note.onset, note.pitch)
        for note in part.notes
        if note.role == "set-up" and stroke - 1 <= note.onset < stroke
    )


@pytest.mark.parametrize("seed", range(5))
def test_a_hit_on_the_beat_is_led_into_by_the_two_eighths_before_it(seed: int) -> None:
    assert set_up("0", seed) == ON_THE_BEAT
    assert set_up("2", seed) == [(onset + 2, pitch) for onset, pitch in ON_THE_BEAT]


@pytest.mark.parametrize("seed", range(5))
def test_a_hit_off_the_beat_is_led_into_by_the_beat_before_it(seed: int) -> None:
    assert set_up("1/2", seed) == [(Fraction(4), SNARE)]
    assert set_up("5/2", seed) == [(Fraction(6), SNARE)]
