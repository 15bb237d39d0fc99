"""The sheet of a tune or of a root, and its pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from backing import __version__
from backing.chart.form import Form
from backing.chart.pitch import PitchName
from backing.errors import PracticeError
from backing.sheet.chart import chart_block, heading
from backing.sheet.grids import arpeggios_block, shapes_block
from backing.sheet.line_block import line_block
from backing.sheet.request import SheetRequest, chord_interval, chosen_position
from backing.sheet.typesetting import typeset


@dataclass(frozen=True, slots=True)
class Sheet:
    """Pages before they are typeset: ``content`` for page.typ, ``images`` by name (SVG)."""

    content: Mapping[str, Any]
    images: Mapping[str, str]

    def pages(self, form: str, *, ppi: float = 144) -> list[bytes]:
        """One PDF, or an SVG or PNG for each page."""
        return typeset("page.typ", self.content, self.images, form, ppi=ppi)


def tune_sheet(form: Form, request: SheetRequest) -> Sheet:
    """The sheet of a tune.

    Raises PracticeError for a position off the neck or a line that can't be played, SelectionError
    for bars that are not there.
    """
    written = form.transposed(chord_interval(request.part))
    images: dict[str, str] = {}
    blocks: list[dict[str, Any]] = []
    if request.chart:
        blocks.append(chart_block(form, written, request.page))
    grids = request.shapes and request.position is not None and request.part.frets
    if grids or request.line is not None:
        chosen = chosen_position(form, request)
        if grids:
            blocks.append(shapes_block(form, request, chosen, images))
        if request.line is not None:
            blocks.append(line_block(form, request, chosen, images))
    elif request.position is not None and not request.part.frets:
        raise PracticeError(
            "Shapes are for fretted instruments.", "Leave the position out, or the part."
        )
    if not blocks:
        raise PracticeError("This sheet has nothing on it.", "Ask for the chart, shapes or a line.")
    named = [block["title"] for block in blocks if block["kind"] == "line"]
    content = heading(written) | {"for": request.part.words, "blocks": blocks}
    content["line"] = ", ".join(named)
    return Sheet(content | _every_page(request), images)


def arpeggio_sheet(root: PitchName, request: SheetRequest) -> Sheet:
    """Every quality on one root, in all its positions.

    Qualities with the same practiced tones share their shapes and stand together. Raises
    PracticeError where the tuning does not reach a chord.
    """
    images: dict[str, str] = {}
    block = arpeggios_block(root, request, images)
    tuning = " ".join(name.pretty for name in request.board.names)
    content = {
        "title": f"All arpeggios on {root.pretty}",
        "by": "",
        "facts": [f"tuning {tuning}", f"{request.board.frets} frets"],
        "orders": [],
        "notes": [],
        "for": "",
        "line": "",
        "blocks": [block],
    }
    return Sheet(content | _every_page(request), images)


def _every_page(request: SheetRequest) -> dict[str, Any]:
    """Paper and scale, and the footer: the program, its version, and the command to repeat."""
    page = request.page
    return {
        "page": {"width": page.width_mm, "height": page.height_mm, "scale": page.scale},
        "made": f"backing {__version__} · {request.recipe}",
    }
