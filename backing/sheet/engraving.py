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

from backing.chart.printed import PrintedSymbol
from backing.errors import InternalError
from backing.sheet.staff import MARK

SIGNS = "♭♯♮𝄫𝄪△°ø"
PAGE_UNITS = 2100
"""The width of a system in Verovio's units at scale 100, that is tenths of a millimeter."""
CHORD, DEGREE, FRET, NUMBER = 590, 370, 400, 340
"""Sizes of text in the units of a system, in which a staff is 720 high."""
STAFF_GAP, DEGREE_ROW = 7, 3
"""Between staff and tablature, and what a second row of degrees takes, in Verovio's units."""
SEED = 1
"""Of the names of elements, so that the same line is the same file."""
_OPTIONS: dict[str, Any] = {
    "adjustPageHeight": True,
    "breaks": "encoded",
    "footer": "none",
    "header": "none",
    "font": "Leland",
    "lyricTopMinMargin": 3,
    "minLastJustification": 0.0,
    "mnumInterval": 0,
    "pageHeight": 10000,
    "pageMarginBottom": 0,
    "pageMarginLeft": 70,
    "pageMarginRight": 10,
    "pageMarginTop": 25,
    "scale": 100,
    "svgViewBox": True,
    "xmlIdSeed": SEED,
}
_HARM = re.compile(
    r'(<g id="[^"]*" class="harm">\s*)'
    r'<text x="(?P<x>-?\d+)" y="(?P<y>-?\d+)"[^>]*>(?P<text>.*?)</text>',
    re.DOTALL,
)
_SYLLABLE = re.compile(
    r'(?<=class="syl">)\s*<text x="(?P<x>-?\d+)" y="(?P<y>-?\d+)"[^>]*>(?P<text>.*?)</text>',
    re.DOTALL,
)
_FRET = re.compile(
    r'(text-anchor="middle" font-size="0px">\s*<tspan font-size=")\d+px(">\d+</tspan>)'
)
_REHEARSAL = re.compile(
    r'(?<=class="reh")[^>]*>\s*<rect [^>]*x="(?P<x>-?\d+)" y="(?P<y>-?\d+)" height="(?P<h>\d+)"'
    r".*?<text .*?</text>",
    re.DOTALL,
)
_STYLE = re.compile(r'<style type="text/css">@font-face.*?</style>', re.DOTALL)


def engrave(
    musicxml: str, chords: Sequence[PrintedSymbol], *, voices: int = 1, scale: float = 1
) -> list[str]:
    """The systems of a line (see ``staff.line_for_engraving``) as SVG.

    ``chords`` are put where their numbers stand; ``voices`` have their degrees in rows of their
    own. A system is as wide as a page at ``scale``. Raises InternalError where Verovio refuses.
    """
    toolkit = _toolkit()
    toolkit.resetXmlIdSeed(SEED)
    toolkit.setOptions(
        {
            "pageWidth": round(PAGE_UNITS / scale),
            "spacingStaff": STAFF_GAP + DEGREE_ROW * (voices - 1),
        }
    )
    if not toolkit.loadData(musicxml):
        raise InternalError("Verovio refused a line.")
    pages = (toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1))
    return [_set_texts(page, chords) for page in pages]


@lru_cache(maxsize=1)
def _toolkit() -> Any:
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(_OPTIONS)
    return toolkit


def _set_texts(svg: str, chords: Sequence[PrintedSymbol]) -> str:
    svg = _STYLE.sub("", svg)

    def symbol(match: re.Match[str]) -> str:
        number = re.search(rf"{MARK}(\d+)", match["text"])
        if number is None:
            return match.group()
        return match[1] + _symbol(chords[int(number[1])], int(match["x"]), int(match["y"]))

    svg = _HARM.sub(symbol, svg)
    svg = _REHEARSAL.sub(_rehearsal, svg)
    svg = _SYLLABLE.sub(_degree, svg)
    svg = _FRET.sub(rf"\g<1>{FRET}px\g<2>", svg)
    return svg.replace('font-family="Times, serif"', 'font-family="Lato"')


def _symbol(symbol: PrintedSymbol, x: int, y: int) -> str:
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


def symbol_width(symbol: PrintedSymbol) -> float:
    """About how wide a chord symbol is with the space after it, in the units of a system."""
    signs = bool(symbol.accidental) + bool(symbol.bass_accidental)
    return CHORD * (1.25 + 0.38 * signs + 0.55 * len(symbol.suffix) + 1.1 * bool(symbol.bass))


def _rehearsal(match: re.Match[str]) -> str:
    """The letter of a section in its frame, and before it the number of its first bar."""
    text = re.sub(r"<[^>]*>|\s", "", match.group()[match.group().index("<text") :])
    label, _, number = text.partition(MARK)
    x, y, height = int(match["x"]), int(match["y"]), int(match["h"])
    width = round(CHORD * (0.45 + 0.36 * len(label)))
    middle = f'x="{x + width // 2}" y="{y + round(0.76 * height)}" text-anchor="middle"'
    number_at = f'x="{x - 60}" y="{y + height}" text-anchor="end" font-style="italic"'
    return (
        f'><rect x="{x}" y="{y}" width="{width}" height="{height}" fill="none" stroke-width="24"/>'
        f'<text {middle} font-size="{round(0.72 * CHORD)}px">{escape(label)}</text>'
        f'<text {number_at} font-size="{NUMBER}px" font-weight="400">{number}</text>'
    )


TO_HEAD = 90 + 106
"""From where Verovio begins a syllable to the middle of its note head."""


def _degree(match: re.Match[str]) -> str:
    """A degree, centered under its note."""
    text = re.sub(r"<[^>]*>|\s", "", match["text"])
    size = round(DEGREE * {1: 1.0, 2: 0.95}.get(len(text), 0.82))
    runs = "".join(
        f'<tspan font-family="Backing Signs" font-size="{round(size * 0.9)}px">{c}</tspan>'
        if c in SIGNS
        else escape(c)
        for c in text
    )
    where = f'x="{int(match["x"]) + TO_HEAD}" y="{match["y"]}"'
    return f'<text {where} text-anchor="middle" font-size="{size}px">{runs}</text>'
