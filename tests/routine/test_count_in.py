"""How long a tune is counted in, to the very tempo at which a leader counts twice as long."""

from __future__ import annotations

from fractions import Fraction

import pytest

from backing.chart.bar import Meter
from backing.chart.form import Form
from backing.chart.text.tune_file import read
from backing.routine.count_in import count_in_bars
from backing.routine.passes import Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine

EDGES = [("40", 1), ("69", 1), ("69.9", 1), ("70", 2), ("70.1", 2), ("71", 2), ("240", 2)]
"""One bar below 70 bpm, two from 70 on (common practice, no source)."""


def tune(meter: str = "4/4") -> Form:
    return read(f"title: T\nkey: C\nmeter: {meter}\ntempo: 140\nsection A\n| C6 | G7 |\n")


@pytest.mark.parametrize(("tempo", "bars"), EDGES)
@pytest.mark.parametrize("asked", [{}, {"bars": "1-2", "times": 1}], ids=["choruses", "loop"])
def test_a_count_is_two_bars_from_70_bpm(tempo: str, bars: int, asked: dict[str, object]) -> None:
    for meter in ("2/4", "3/4", "4/4"):
        request = Request(tempo=Fraction(tempo), **asked)  # type: ignore[arg-type]
        first = make_routine(tune(meter), request).passes[0]
        assert first.purpose is Purpose.COUNT_IN
        assert len(first.bars) == bars


@pytest.mark.parametrize("tempo", ["40", "69.9", "70", "240"])
def test_a_long_bar_is_counted_once_at_any_tempo(tempo: str) -> None:
    for meter in (Meter(5, 4), Meter(6, 4), Meter(7, 4)):
        assert count_in_bars(meter, Fraction(tempo)) == 1
    assert count_in_bars(Meter(12, 8), Fraction(tempo)) == (1 if Fraction(tempo) < 70 else 2)
