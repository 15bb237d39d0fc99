"""A final ritardando bends: beat by beat along the curve of runners who come to a stop.

Friberg & Sundberg 1999, "Does music performance allude to locomotion? A model of final ritardandi
derived from measurements of stopping runners", JASA 105(3): the cube of the tempo falls in a line.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.routine.request import Request
from backing.routine.routine import make_routine
from tests.benchmarks.changes import random_form


@pytest.mark.parametrize(("feel", "tempo"), [("ballad", 60), ("swing", 160), ("waltz", 140)])
def test_the_tempo_bends_beat_by_beat(feel: str, tempo: int) -> None:
    meter = "3/4" if feel == "waltz" else "4/4"
    form = random_form(2, tempo=tempo, feel=feel, meter=meter)
    played = arrange(make_routine(form, Request(choruses=2, ending="slow")), Band())
    clock, beats = played.clock, form.meter.beats
    last = int(clock.length_beats) - beats
    first = last - 2 * beats
    lengths = [clock.seconds(Fraction(b + 1)) - clock.seconds(Fraction(b)) for b in range(last + 1)]
    assert set(lengths[:first]) == {Fraction(60, tempo)}
    slowing = [float(length) for length in lengths[first - 1 :]]
    steps = [b / a for a, b in pairwise(slowing)]
    assert all(1 < step < 1.25 for step in steps)
    assert 1.5 <= slowing[-1] / slowing[0] <= 2
    cubes = [length**-3 for length in slowing[1:-1]]
    falls = [a - b for a, b in pairwise(cubes)]
    assert max(falls) == pytest.approx(min(falls), rel=0.05)
