"""The sheet of a tune or of a root, several of them as one document, and the pages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from backing import __version__
from backing.chart.form import Form
from backing.chart.pitch import PitchName
from backing.errors import OutputError, PracticeError
from backing.sheet.chart import chart_block, heading
from backing.sheet.grids import arpeggios_block, pairs_block, shapes_block
from backing.sheet.line_block import line_block
from backing.sheet.page_setup import PageSetup
from backing.sheet.request import SheetRequest, chord_interval, chosen_position
from backing.sheet.typesetting import typeset


@dataclass(frozen=True, slots=True)
class Sheet:
    """Pages before they are typeset.

    ``content`` for page.typ, ``images`` by name (SVG), the paper, and the ``recipe`` that makes
    them again.
    """

    content: Mapping[str, Any]
    images: Mapping[str, str]
    page: PageSetup
    recipe: str

    @property
    def name(self) -> str:
        """The tune, and the line if there is one: what the foot of its pages says."""
        return ": ".join(filter(None, (self.content["title"], self.content["line"])))

    def pages(self, form: str, *, ppi: float = 144) -> list[bytes]:
        """One PDF, or an SVG or PNG for each page."""
        return book_pages([self], form, recipe=self.recipe, ppi=ppi)


def book_pages(sheets: Sequence[Sheet], form: str, *, recipe: str, ppi: float = 144) -> list[bytes]:
    """Sheets, one or more, after another as one document, each on pages of its own.

    One PDF with a bookmark for each sheet, or an SVG or PNG for each page (at ``ppi`` dots an
    inch). ``recipe``, told in the PDF, makes it again; the foot of a page says that of its sheet.
    Raises OutputError for papers or prints of several sizes.
    """
    sizes = {(s.page.width_mm, s.page.height_mm, s.page.scale) for s in sheets}
    if len(sizes) > 1:
        raise OutputError("A document has paper of one size.", "Ask for the same paper and print.")
    width, height, scale = sizes.pop()
    titles = dict.fromkeys(sheet.content["title"] for sheet in sheets)
    content = {
        "page": {"width": width, "height": height, "scale": scale},
        "name": " · ".join(titles) if len(titles) > 1 else sheets[0].name,
        "by": [*dict.fromkeys(sheet.content["by"] for sheet in sheets if sheet.content["by"])],
        "made": _made(recipe),
        "sheets": [
            {**sheet.content, "name": sheet.name, "made": _made(sheet.recipe), "images": f"{n}-"}
            for n, sheet in enumerate(sheets)
        ],
    }
    images = {f"{n}-{name}": svg for n, s in enumerate(sheets) for name, svg in s.images.items()}
    return typeset("page.typ", content, images, form, ppi=ppi)


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
            made = pairs_block if request.pairs else shapes_block
            blocks.append(made(form, request, chosen, images))
        if request.line is not None:
            block = line_block(form, request, chosen, images, first=not blocks)
            blocks.append(block)
    elif request.position is not None and not request.part.frets:
        raise PracticeError(
            "Shapes are for fretted instruments.", "Leave the position out, or the part."
        )
    if not blocks:
        raise PracticeError("This sheet has nothing on it.", "Ask for the chart, shapes or a line.")
    named = [block["title"] for block in blocks if block["kind"] == "line"]
    content = heading(written) | {"for": request.part.words, "blocks": blocks}
    content["line"] = ", ".join(named)
    return Sheet(content, images, request.page, request.recipe)


def keys_sheet(sheets: Sequence[Sheet]) -> Sheet:
    """Sheets of one tune in several keys, without their charts, as one: a key after another.

    In a single key it is that sheet.
    """
    if len(sheets) == 1:
        return sheets[0]
    blocks: list[dict[str, Any]] = []
    images: dict[str, str] = {}
    for n, sheet in enumerate(sheets):
        key = sheet.content["facts"][0]
        for block in sheet.content["blocks"]:
            title = ", ".join(filter(None, (block["title"], key)))
            blocks.append({**block, "title": title, "images": f"{n}-"})
        images |= {f"{n}-{name}": svg for name, svg in sheet.images.items()}
    first = sheets[0]
    content = {**first.content, "facts": first.content["facts"][1:], "blocks": blocks}
    return Sheet(content, images, first.page, first.recipe)


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
    return Sheet(content, images, request.page, request.recipe)


def _made(recipe: str) -> str:
    """What stands at the foot: the program, its version, and the command to repeat."""
    return f"backing {__version__} · {recipe}"
