"""A line through the changes as the command line asks for it: on a sheet, or in a track."""

from __future__ import annotations

import argparse
from functools import partial

from backing.chart.form import Form
from backing.cli.asked import one_of
from backing.combo.band import Player
from backing.errors import PracticeError
from backing.lines.line import CALLS_ON, DIRECTIONS, RHYTHMS, Line
from backing.lines.player import play
from backing.neck.arpeggio import WAYS
from backing.neck.fingerboard import make_fingerboard
from backing.neck.path import best_position

MELODIES = ("etude", "guide", "call")
"""Guide tones are the guide's own part; the others are lines found on the neck."""
DEFAULT_RHYTHM, DEFAULT_CALL_ON = "eighths", "turn"
ANYWHERE = (1,)
"""Positions of a line that is still to be given its own: there is a first on every neck."""


def etude_line(
    arguments: argparse.Namespace, positions: tuple[int, ...] = ANYWHERE, melody: str = "etude"
) -> Line:
    """How the line goes. Raises UserError for what cannot be had."""
    rhythm = _rhythm(arguments.rhythm, melody)
    return Line(
        rhythm=rhythm,
        call_on=_call_on(arguments.call_on, rhythm),
        level=arguments.level,
        positions=positions,
        start=arguments.start,
        direction=one_of(arguments.direction, DIRECTIONS, "direction"),
        way=one_of(arguments.way, WAYS, "way"),
        thirds=arguments.thirds,
        early=arguments.early,
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


def _call_on(named: str | None, rhythm: str) -> str:
    """Where calls start; raises PracticeError where nobody calls."""
    if named is None:
        return DEFAULT_CALL_ON
    place = one_of(named, CALLS_ON, "start of a call")
    if rhythm != "call":
        raise PracticeError(
            f"There is no call to start on {place}: the line goes in {rhythm}.",
            "Say --rhythm call, or leave out --call-on.",
        )
    return place


def melody(arguments: argparse.Namespace, form: Form) -> Player | None:
    """Who plays the line that is asked for in a track; None where none is."""
    what = one_of(arguments.melody, MELODIES, "melody") if arguments.melody else None
    if arguments.ladder:
        _check_ladder(arguments, what)
    if what in (None, "guide"):
        return None
    return partial(play, line=etude_line(arguments, _positions(arguments, form), what))


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


def _positions(arguments: argparse.Namespace, form: Form) -> tuple[int, ...]:
    """The position named (several: one for each chorus), or the one that suits the tune best."""
    wanted = arguments.position.lower().replace(",", " ").split()
    if wanted == ["auto"]:
        board = make_fingerboard(arguments.tuning, arguments.frets)
        way = one_of(arguments.way, WAYS, "way")
        return (best_position(form.played("solos"), board, way=way).path.position,)
    try:
        positions = tuple(map(int, wanted))
    except ValueError:
        positions = ()
    if not positions:
        raise PracticeError(f'"{arguments.position}" is no position.', "Write its fret, or auto.")
    return positions
