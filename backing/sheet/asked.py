"""What a sheet is to have, and the bars and the place on the neck that follow from it."""

from __future__ import annotations

from dataclasses import dataclass, field

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.pitch import Interval
from backing.errors import PracticeError
from backing.lines.line import Line
from backing.neck.fingerboard import Fingerboard, make_fingerboard
from backing.neck.path import Path, best_position, path
from backing.sheet.look import READERS, Look, Reader, make_look

LINES = ("etude", "guide")
GUIDES = ("thirds", "sevenths", "both")


@dataclass(frozen=True, slots=True)
class Asked:
    """What a tune's sheet is to have.

    ``position``: where the hand is, "auto" for the place that suits best; where one is given its
    ``shapes`` are shown. ``line``: one of LINES or None; ``etude`` is how the étude goes (its
    positions are taken from ``position``), ``guide`` one of GUIDES. ``bars``: which of the tune
    the line goes over (see Form.select), None for the solo chorus.
    """

    chart: bool = True
    shapes: bool = True
    position: str | None = None
    line: str | None = None
    etude: Line = field(default_factory=Line)
    guide: str = "both"
    bars: str | None = None
    seed: int = 1
    reader: Reader = READERS["guitar"]
    look: Look = field(default_factory=make_look)
    board: Fingerboard = field(default_factory=make_fingerboard)


def bars_of(form: Form, asked: Asked) -> tuple[PlayedBar, ...]:
    """The bars the shapes and the line go over. Raises SelectionError."""
    return form.select(asked.bars) if asked.bars else form.played("solos")


@dataclass(frozen=True, slots=True)
class ChosenPosition:
    """The path of a sheet, and the ``reason`` for its position (empty where it was named)."""

    path: Path
    reason: str = ""


def place_of(form: Form, asked: Asked) -> ChosenPosition:
    """The path in the position that is asked for, or in the one that suits best.

    Raises PracticeError for a position off the neck, or a chord out of reach.
    """
    bars = bars_of(form, asked)
    wanted = (asked.position or "auto").strip().lower()
    if wanted == "auto":
        found = best_position(bars, asked.board, way=asked.etude.way)
        return ChosenPosition(found.path, found.reason)
    try:
        position = int(wanted)
    except ValueError:
        raise PracticeError(
            f'"{asked.position}" is no position.', "Write its fret, or auto."
        ) from None
    return ChosenPosition(path(bars, asked.board, position, way=asked.etude.way))


def chord_interval(reader: Reader) -> Interval:
    """How chords are transposed for a reader: within an octave."""
    octaves = reader.interval.semitones // 12
    return reader.interval + Interval(-7 * octaves, -12 * octaves)
