"""What a page opens with, in the words of the command line, checked as a track's are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.errors import PracticeError, quoted
from backing.routine.phrase import read_drill
from backing.routine.request import Request
from backing.routine.routine import make_routine

WORDS = (
    "choruses", "ending", "bars", "tempo", "climb", "times", "key", "trade", "drill", "count-in",
)  # fmt: skip
"""The options of a track that a page can open with."""


def checked_session(form: Form, session: Mapping[str, str]) -> dict[str, str]:
    """The ``session`` as the page reads it: its bars are runs of numbers in the solo chorus.

    Raises PracticeError for an option that is not of WORDS, or for bars that are not soloed over;
    RoutineError and SelectionError as a track does.
    """
    for name in session:
        if name not in WORDS:
            raise PracticeError(
                f"A page does not open with {quoted(name)}.", f"Choose from {', '.join(WORDS)}."
            )
    values: dict[str, Any] = {name.replace("-", "_"): text for name, text in session.items()}
    values |= read_drill(values.pop("drill")) if "drill" in values else {}
    make_routine(form, Request(**values))
    if "bars" not in session:
        return dict(session)
    solos = form.played("solos")
    places = [_place(bar, solos, session["bars"]) for bar in form.select(session["bars"])]
    return {**session, "bars": " ".join(_runs(places))}


def _place(bar: PlayedBar, solos: Sequence[PlayedBar], text: str) -> int:
    if bar not in solos:
        raise PracticeError(
            f"Bars {quoted(text)} are not in the solo chorus, which a page loops.",
            "Choose others, or let the page play the whole form: choruses.",
        )
    return solos.index(bar)


def _runs(places: Sequence[int]) -> Iterator[str]:
    """Bars in a row as from-to, counted from 1."""
    for _, run in groupby(enumerate(places), lambda each: each[1] - each[0]):
        bars = [place + 1 for _, place in run]
        yield f"{bars[0]}-{bars[-1]}"
