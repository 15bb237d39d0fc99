"""Staves engraved by Verovio, a system at a time, with our chord symbols and degrees in them.

Verovio sets accidentals in texts from a music font that is not there when the page is made, so
the texts are set again here: chord symbols where it left numbers, degrees under their notes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Any
from xml.sax.saxutils import escape

import verovio

from backing.errors import InternalError
from backing.practice.sheet.staff import MARK
from backing.practice.sheet.symbols import SetSymbol

SIGNS = "♭♯♮𝄫𝄪△°ø"
PAGE_UNITS = 2100
"""The width of a system in Verovio's units at scale 100, that is tenths of a millimetre."""
CHORD, DEGREE, FRET = 590, 370, 400
"""Sizes of text in the units of a system, in which a staff is 720 high."""
SEED = 1
"""Of the names of elements, so that the same line is the same file."""
_OPTIONS: dict[str, Any] = {
    "adjustPageHeight": True,
    "breaks": "encoded",
    "footer": "none",
    "header": "none",
    "font": "Leland",
    "lyricTopMinMargin": 3,
    "minLastJustification": 0.6,
    "pageHeight": 10000,
    "pageMarginBottom": 0,
    "pageMarginLeft": 70,
    "pageMarginRight": 10,
    "pageMarginTop": 25,
    "scale": 100,
    "spacingStaff": 6,
    "svgViewBox": True,
    "xmlIdSeed": SEED,
}
_HARM = re.compile(
    r'(<g id="[^"]*" class="harm">\s*)'
    r'<text x="(?P<x>-?\d+)" y="(?P<y>-?\d+)"[^>]*>(?P<text>.*?)</text>',
    re.DOTALL,
)
_NOTE_OR_SYLLABLE = re.compile(
    r'class="notehead">\s*<use [^>]*translate\((?P<head>-?\d+),'
    r'|<g id="[^"]*" class="syl">\s*<text x="-?\d+" y="(?P<y>-?\d+)"[^>]*>(?P<text>.*?)</text>',
    re.DOTALL,
)
_FRET = re.compile(
    r'(text-anchor="middle" font-size="0px">\s*<tspan font-size=")\d+px(">\d+</tspan>)'
)
_STYLE = re.compile(r'<style type="text/css">@font-face.*?</style>', re.DOTALL)


def engrave(musicxml: str, chords: Sequence[SetSymbol]) -> list[str]:
    """The systems of a line (see ``staff.line_for_engraving``) as SVG.

    ``chords`` are put where their numbers stand. Raises InternalError where Verovio refuses.
    """
    toolkit = _toolkit()
    toolkit.resetXmlIdSeed(SEED)
    if not toolkit.loadData(musicxml):
        raise InternalError("Verovio refused a line.")
    pages = (toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1))
    return [_set_texts(page, chords) for page in pages]


@lru_cache(maxsize=1)
def _toolkit() -> Any:
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(_OPTIONS | {"pageWidth": PAGE_UNITS})
    return toolkit


def _set_texts(svg: str, chords: Sequence[SetSymbol]) -> str:
    svg = _STYLE.sub("", svg)

    def symbol(match: re.Match[str]) -> str:
        number = re.search(rf"{MARK}(\d+)", match["text"])
        if number is None:
            return match.group()
        return match[1] + _symbol(chords[int(number[1])], int(match["x"]), int(match["y"]))

    svg = _HARM.sub(symbol, svg)
    svg = _degrees(svg)
    svg = _FRET.sub(rf"\g<1>{FRET}px\g<2>", svg)
    return svg.replace('font-family="Times, serif"', 'font-family="Lato"')


def _symbol(symbol: SetSymbol, x: int, y: int) -> str:
    """A chord symbol as SVG text: the rest of it smaller and raised."""
    runs = [(symbol.root, CHORD, 0), (symbol.accidental, round(0.82 * CHORD), 75)]
    if symbol.root == "N.C.":
        runs = [(symbol.root, round(0.7 * CHORD), 0)]
    runs.append((symbol.suffix, round(0.68 * CHORD), 150))
    if symbol.bass:
        runs += [("/", CHORD, 0), (symbol.bass, round(0.8 * CHORD), 0)]
        runs.append((symbol.bass_accidental, round(0.66 * CHORD), 55))
    body, raised = "", 0
    for text, size, rise in runs:
        for piece in re.findall(rf"[{SIGNS}]|[^{SIGNS}]+", text):
            font = ' font-family="Backing Signs"' if piece in SIGNS else ""
            where = f'font-size="{size}px" dy="{raised - rise}"{font}'
            body += f"<tspan {where}>{escape(piece)}</tspan>"
            raised = rise
    return f'<text x="{x}" y="{y}" font-weight="700">{body}</text>'


def _degrees(svg: str) -> str:
    """Degrees centred under their notes."""
    pieces, end, head = [], 0, 0
    for match in _NOTE_OR_SYLLABLE.finditer(svg):
        if match["head"] is not None:
            head = int(match["head"])
            continue
        text = re.sub(r"<[^>]*>|\s", "", match["text"])
        pieces += [svg[end : match.start()], _degree(text, head, int(match["y"]))]
        end = match.end()
    return "".join([*pieces, svg[end:]])


HALF_HEAD = 106
"""Half the width of a note head of the font at this size."""


def _degree(text: str, head: int, y: int) -> str:
    size = round(DEGREE * {1: 1.0, 2: 0.95}.get(len(text), 0.82))
    runs = "".join(
        f'<tspan font-family="Backing Signs" font-size="{round(size * 0.9)}px">{c}</tspan>'
        if c in SIGNS else escape(c)
        for c in text
    )  # fmt: skip
    return (
        f'<g class="syl"><text x="{head + HALF_HEAD}" y="{y}" text-anchor="middle" '
        f'font-size="{size}px">{runs}</text>'
    )
