"""What a player asks of a sheet, and the bars and the position on the neck that follow from it."""

from __future__ import annotations

from dataclasses import dataclass, field

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.pitch import Interval
from backing.combo.plan import plan_of_bars
from backing.errors import PracticeError
from backing.lines.player import Line
from backing.neck.fingerboard import Fingerboard, make_fingerboard
from backing.neck.path import Path, best_position, path_of
from backing.sheet.page_setup import PageSetup, make_page_setup
from backing.sheet.sheet_part import PARTS, SheetPart

LINES = ("etude", "guide", "bass")
DEFAULT_RECIPE = "backing sheet"


@dataclass(frozen=True, slots=True)
class SheetRequest:
    """What to print on the sheet of a tune.

    ``position``: where the hand is, "auto" for the best one; where it is given, its ``shapes`` are
    printed, with ``pairs`` those of each ii-V and V-I side by side instead. ``line``: one of LINES
    or None; ``etude`` says how the etude goes (its positions are taken from ``position``),
    ``guide``, one of GUIDE_LINES, which guide-tone line. ``bars``: which bars the line goes over
    (see Form.select), None for the solo chorus. ``recipe``: the command that makes the sheet
    again, printed in the footer.
    """

    chart: bool = True
    shapes: bool = True
    position: str | None = None
    pairs: bool = False
    line: str | None = None
    etude: Line = field(default_factory=Line)
    guide: str = "both"
    bars: str | None = None
    seed: int = 1
    part: SheetPart = PARTS["guitar"]
    page: PageSetup = field(default_factory=make_page_setup)
    board: Fingerboard = field(default_factory=make_fingerboard)
    recipe: str = DEFAULT_RECIPE


def selected_bars(form: Form, request: SheetRequest) -> tuple[PlayedBar, ...]:
    """The bars the shapes and the line go over. Raises SelectionError."""
    return form.select(request.bars) if request.bars else form.played("solos")


@dataclass(frozen=True, slots=True)
class ChosenPosition:
    """The path of a sheet, and the ``reason`` for its position (empty where it was named)."""

    path: Path
    reason: str = ""


def chosen_position(form: Form, request: SheetRequest) -> ChosenPosition:
    """The path in the position asked for, or in the one that suits the solo chorus best.

    Raises PracticeError for a position off the neck, or a chord out of reach.
    """
    wanted, reason = (request.position or "auto").strip().lower(), ""
    if wanted == "auto":
        best = best_position(form.played("solos"), request.board, way=request.etude.way)
        position, reason = best.path.position, best.reason
    elif wanted.isdecimal():
        position = int(wanted)
    else:
        raise PracticeError(
            f'"{request.position}" isn\'t a position.', "Write its fret (5), or auto."
        )
    plan = plan_of_bars(selected_bars(form, request))
    return ChosenPosition(path_of(plan, request.board, position, way=request.etude.way), reason)


def chord_interval(part: SheetPart) -> Interval:
    """How chords are transposed for a part: within an octave."""
    octaves = part.interval.semitones // 12
    return part.interval + Interval(-7 * octaves, -12 * octaves)
