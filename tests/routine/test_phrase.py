"""The drill phrase: its values are those of a Request."""

from __future__ import annotations

import pytest

from backing.errors import RoutineError
from backing.routine.phrase import read_drill
from backing.routine.request import Request

DRILLS = {
    "lead-in 2": Request(bars="A", lead_in=2),
    "rest bar": Request(bars="A", rest_bars=1),
    "rest bars 3": Request(bars="A", rest_bars=3),
    "grow": Request(bars="A", grow=True),
    "lay out 8": Request(bars="A", lay_out=8),
    "same, lay out 2, rest bar": Request(bars="A", lay_out=2, rest_bars=1, same=True),
}


@pytest.mark.parametrize(("text", "asked"), DRILLS.items())
def test_a_drill_is_what_is_said(text: str, asked: Request) -> None:
    assert Request(bars="A", **read_drill(text)) == asked


@pytest.mark.parametrize("text", ["", "lead-in", "lead-in two", "grow up", "lay out", "breath 1"])
def test_what_is_no_drill_is_said(text: str) -> None:
    with pytest.raises(RoutineError):
        Request(bars="A", **read_drill(text))
