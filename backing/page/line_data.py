"""The lines of a page: the one it opens with, calls on each of their starts, and subdivisions.

A note is five signs: two for its stroke, the row of ``strokes`` that it shares with all notes
alike but for their pitch, and three for its place, string, fret and finger (see ``neck_data``),
which says the pitch.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from backing.combo.part import Note
from backing.lines.phrase import words_of
from backing.lines.player import Line
from backing.page.neck_data import SIGNS
from backing.page.rows import note_row
from backing.page.score import ScoreLine, rhythm_words
from backing.routine.subdivisions import VALUES
from backing.take.course import line_kind, never_stops


def line_data(etudes: Iterable[ScoreLine], opening: Line) -> dict[str, Any]:
    """What the page can play as its line.

    ``opens``: the words of the one it opens with; ``besides``: what is said of all of them;
    ``subdivisions`` and ``calls`` number those that follow each other.
    """
    strokes: dict[tuple[float, ...], int] = {}
    lines = [_line(each, strokes) for each in etudes]
    at = {line["words"]: number for number, line in enumerate(lines)}
    return {
        "opens": rhythm_words(opening),
        "besides": words_of(opening),
        "lines": lines,
        "subdivisions": [at[value] for value in VALUES if value in at],
        "calls": [number for words, number in at.items() if words.startswith("call on")],
        "strokes": [list(stroke) for stroke in strokes],
    }


def _line(each: ScoreLine, strokes: dict[tuple[float, ...], int]) -> dict[str, Any]:
    takes = each.part.takes
    return {
        "words": each.words,
        "kind": line_kind(each.line),
        "unbroken": never_stops(each.line),
        "takes": [
            ["".join(_note(note, strokes) for note in bar) for bar in (*take, *around)]
            for take, around in zip(takes, (each.part.around, *[()] * len(takes)), strict=False)
        ],
    }


def _note(note: Note, strokes: dict[tuple[float, ...], int]) -> str:
    onset, length, _, *rest = note_row(note)
    number = strokes.setdefault((onset, length, *rest), len(strokes))
    return SIGNS[number // len(SIGNS)] + SIGNS[number % len(SIGNS)] + note.role
