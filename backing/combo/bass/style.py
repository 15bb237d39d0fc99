"""The ``[bass]`` table of a feel file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from backing.combo.cell import Cell, read_strokes
from backing.combo.feel_file import Feel, Table
from backing.errors import quoted

VOCABULARIES = ("line", "root-fifth")
"""A "line" walks through chord, scale and chromatic tones; "root-fifth" keeps to those two and
anticipates the next root."""
WALKING = {2: "1- 2-", 3: "1- 2- 3-"}
"""Beats -> the rhythm where a feel has none of its own."""


@dataclass(frozen=True, eq=False)
class BassStyle:
    """One feel's bass.

    ``cells`` are the rhythms, with some of two and of three beats, so that any bar can be
    filled; one rhythm is kept for ``keep`` bars. ``pedal`` are those over a written pedal point,
    none where it is like the rest. ``roots`` and ``roots_careful`` are
    the shares of changes met on the root, in general and in a first chorus or a short loop.
    ``chromatic`` weighs chromatic tones (1 is a walking line), ``ornaments`` the published density
    of skips. ``breath`` is the silence before the next note in beats; ``velocity`` the middle one,
    and ``backbeat`` what beats 2 and 4 have beyond the others.
    """

    cells: tuple[Cell, ...]
    pedal: tuple[Cell, ...]
    vocabulary: str
    keep: int
    roots: float
    roots_careful: float
    chromatic: float
    ornaments: float
    breath: float
    velocity: float
    backbeat: float


@lru_cache(maxsize=64)
def read_bass_style(feel: Feel) -> BassStyle:
    """The bass of a feel; raises FeelError naming file, line and key."""
    table = feel.root.table("bass")
    style = BassStyle(
        cells=_cells(table, "cells", WALKING),
        pedal=_cells(table, "pedal", {}),
        vocabulary=table.text("vocabulary", "line", choices=VOCABULARIES),
        keep=int(table.number("keep", 1, 1, 64)),
        roots=table.number("roots", 0.7, 0, 1),
        roots_careful=table.number("roots_careful", 0.9, 0, 1),
        chromatic=table.number("chromatic", 1, 0, 4),
        ornaments=table.number("ornaments", 0, 0, 4),
        breath=table.number("breath", 0.08, 0, 0.4),
        velocity=table.number("velocity", 80, 16, 120),
        backbeat=table.number("backbeat", 0, -32, 32),
    )
    table.done()
    return style


def _cells(table: Table, key: str, walking: Mapping[int, str]) -> tuple[Cell, ...]:
    cells = list(table.cells(key))
    for cell in cells:
        if any(stroke.tempos for stroke in cell.strokes):
            cause = f"has tempos on a single stroke: {quoted(cell.text)}."
            raise table.error(key, cause, "Give tempos to the whole cell instead.")
    for beats, text in walking.items():
        if not any(cell.beats == beats for cell in cells):
            cells.append(Cell(text, beats, read_strokes(text, beats)))
    return tuple(cells)
