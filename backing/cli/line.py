"""A line through the changes as the command line asks for it: on a sheet, or in a track."""

from __future__ import annotations

import argparse

from backing.chart.choice import one_of
from backing.chart.form import Form
from backing.errors import PracticeError
from backing.lines.line import RHYTHMS, Line
from backing.neck.fingerboard import make_fingerboard

MELODIES = ("etude", "guide", "call")
"""Guide tones are the guide's own part; the others are lines found on the neck."""
DEFAULT_RHYTHM = "eighths"


def etude_line(
    arguments: argparse.Namespace, position: str = "auto", melody: str = "etude"
) -> Line:
    """How the line goes. Raises UserError for what cannot be had."""
    rhythm = _rhythm(arguments.rhythm, melody)
    return Line(
        rhythm=rhythm,
        call_on=arguments.call_on,
        level=arguments.level,
        position=position,
        start=arguments.start,
        direction=arguments.direction,
        way=arguments.way,
        thirds=arguments.thirds,
        anticipate=arguments.early,
        top_strings=arguments.top_strings,
        fingerboard=make_fingerboard(arguments.tuning, arguments.frets),
    )


def _rhythm(named: str | None, melody: str) -> str:
    """The rhythm named; a call has one of its own."""
    rhythm = one_of(named, RHYTHMS, "rhythm") if named else None
    if melody != "call":
        return rhythm or DEFAULT_RHYTHM
    if rhythm not in (None, "call"):
        raise PracticeError(
            f"A call has a rhythm of its own, not {rhythm}.",
            "Leave out --rhythm, or say --melody etude.",
        )
    return "call"


def melody(arguments: argparse.Namespace, form: Form) -> Line | None:
    """The line that is asked for in a track; None where none is."""
    what = one_of(arguments.melody, MELODIES, "melody") if arguments.melody else None
    if arguments.ladder:
        _check_ladder(arguments, what)
    if what in (None, "guide"):
        return None
    return etude_line(arguments, arguments.position, what).placed(form.played("solos"))


def _check_ladder(arguments: argparse.Namespace, what: str | None) -> None:
    """Raise PracticeError for what cannot climb a ladder of note values."""
    if what != "etude":
        raise PracticeError(
            f"A ladder is heard in an etude, not in a {what}.",
            "Leave out --melody, or say --melody etude.",
        )
    if arguments.rhythm:
        raise PracticeError(
            f"A ladder goes through the note values, not in {arguments.rhythm} alone.",
            "Leave out --rhythm, or --ladder.",
        )
    if arguments.call_on:
        raise PracticeError("Nobody calls on a ladder.", "Leave out --call-on, or --ladder.")
