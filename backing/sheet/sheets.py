"""Sheets: what stands on the pages for a tune or a root, and the pages themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from backing.chart.form import Form
from backing.chart.pitch import PitchName
from backing.errors import PracticeError
from backing.sheet.asked import Asked, chord_interval, place_of
from backing.sheet.chart import chart, heading
from backing.sheet.grids import set_part, shapes_part
from backing.sheet.line_sheet import line_part
from backing.sheet.look import Look
from backing.sheet.symbols import set_name
from backing.sheet.typesetting import typeset


@dataclass(frozen=True, slots=True)
class Sheet:
    """Pages before they are set: ``content`` for page.typ, ``images`` by name (SVG)."""

    content: Mapping[str, Any]
    images: Mapping[str, str]

    def pages(self, form: str, *, ppi: float = 144) -> list[bytes]:
        """One PDF, or an SVG or PNG for each page."""
        return typeset(self.content, self.images, form, ppi=ppi)


def tune_sheet(form: Form, asked: Asked) -> Sheet:
    """The sheet of a tune.

    Raises PracticeError for a position off the neck or a line that cannot be had, SelectionError
    for bars that are not there.
    """
    written = form.transposed(chord_interval(asked.reader))
    images: dict[str, str] = {}
    parts: list[dict[str, Any]] = []
    if asked.chart:
        parts.append(chart(written, asked.look))
    grids = asked.shapes and asked.position is not None and asked.reader.frets
    if grids or asked.line is not None:
        place = place_of(form, asked)
        if grids:
            parts.append(shapes_part(form, asked, place, images))
        if asked.line is not None:
            parts.append(line_part(form, asked, place, images))
    elif asked.position is not None and not asked.reader.frets:
        raise PracticeError(
            "Shapes are for players of frets.", "Leave --position out, or --for and its instrument."
        )
    if not parts:
        raise PracticeError("This sheet has nothing on it.", "Ask for the chart, shapes or a line.")
    content = heading(written) | {"for": asked.reader.words, "parts": parts}
    return Sheet(content | _look(asked.look), images)


def set_sheet(root: PitchName, asked: Asked) -> Sheet:
    """Every quality in all its positions on one root.

    Qualities with the same practised tones share their shapes and stand together. Raises
    PracticeError where the tuning does not reach a chord.
    """
    images: dict[str, str] = {}
    part = set_part(root, asked, images)
    tuning = " ".join(map(set_name, asked.board.names))
    content = {
        "title": f"All arpeggios on {set_name(root)}",
        "by": "",
        "facts": [f"tuning {tuning}", f"{asked.board.frets} frets"],
        "orders": [],
        "notes": [],
        "for": "",
        "parts": [part],
    }
    return Sheet(content | _look(asked.look), images)


def _look(look: Look) -> dict[str, Any]:
    return {
        "look": {"width": look.width_mm, "height": look.height_mm, "scale": look.scale},
    }
