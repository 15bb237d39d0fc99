"""Drills in a player's words: "lead-in 2, rest bar, lay out 8"."""

from __future__ import annotations

from typing import Any

from backing.chart.phrase import Grammar, Term
from backing.errors import RoutineError

GRAMMAR = Grammar(
    "a drill",
    (
        Term("lead_in", r"lead-in ([^\s,]+)", "lead-in 2"),
        Term("rest_bars", r"rest bars?(?: ([0-9]+))?", "rest bar, rest bars 2"),
        Term("grow", "grow"),
        Term("lay_out", r"lay out ([^\s,]+)", "lay out 8"),
        Term("same", "same"),
    ),
    RoutineError,
    {"breath": "rest bar", "lay-out": "lay out"},
)


def read_drill(text: str) -> dict[str, Any]:
    """The values of a Request that a phrase gives. Raises RoutineError for an unknown word.

    >>> read_drill("rest bar, lay out 8, same")
    {'rest_bars': '1', 'lay_out': '8', 'same': True}
    """
    said: dict[str, Any] = GRAMMAR.read(text)
    if "rest_bars" in said:
        said["rest_bars"] = said["rest_bars"] or "1"
    return said | {name: True for name in ("grow", "same") if name in said}
