"""Staves engraved by Verovio, a system at a time, with our chord symbols and degrees in them.

Verovio sets accidentals in texts from a music font that is not there when the page is made, so
the texts are set again here: chord symbols where it left numbers, degrees under their notes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Any
from xml.sax.saxutils import escape, unescape

import verovio

from backing.chart.printed import PrintedSymbol
from backing.errors import InternalError
from backing.sheet.room import (
    AFTER_SLASH,
    CHORD,
    DEGREE,
    FRETS,
    MARK,
    NUMBER,
    SIGNS,
    symbol_runs,
    widened,
)

PAGE_UNITS = 2100
"""The width of a system in Verovio's units at scale 100, that is tenths of a millimeter."""
ASIDE = 45
"""What lies between the root of a chord symbol and what is raised after it; and see AFTER_SLASH."""
NUMBER_RISE, DEGREE_DROP, OVER_TABLATURE = 40, 90, 210
"""How much farther than Verovio has them bar numbers stand from the clef, and degrees from the
staff where tablature leaves room; how far over its first line they end."""
NUMBER_ASIDE = 150
"""What lies between a bar number and the frame of the section's letter after it."""
DIGIT, LEFT_OF_STAFF = 0.6, 680
"""How wide a digit is by its size, at most; what a system has left of its staff."""
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
    r'(text-anchor="middle" font-size="0px">\s*<tspan font-size=")\d+px">(?P<fret>\d+)</tspan>'
)
_NUMBER = re.compile(
    r'<text y="(?P<y>-?\d+)" text-anchor="middle" font-size="0px">\s*<tspan [^>]*class="text">'
    r"\s*<tspan [^>]*>(?P<number>\d+)</tspan>\s*</tspan>\s*</text>"
)
_REHEARSAL = re.compile(
    r'(?<=class="reh")[^>]*>\s*<rect [^>]*x="(?P<x>-?\d+)" y="(?P<y>-?\d+)" height="(?P<h>\d+)"'
    r".*?<text .*?</text>",
    re.DOTALL,
)
_STAFF = re.compile(r'class="staff">\s*<path d="M0 (\d+)')
_STYLE = re.compile(r'<style type="text/css">@font-face.*?</style>', re.DOTALL)


def engrave(
    musicxml: str,
    chords: Sequence[PrintedSymbol],
    *,
    voices: int = 1,
    scale: float = 1,
    ragged: bool = False,
) -> list[str]:
    """The systems of a line (see ``staff.line_for_engraving``) as SVG.

    ``chords`` are put where their numbers stand; ``voices`` have their degrees in rows of their
    own. A system is as wide as a page at ``scale``; where the line is ``ragged`` the last one ends
    where its notes do. Raises InternalError where Verovio refuses.
    """
    toolkit = _toolkit()
    toolkit.resetXmlIdSeed(SEED)
    toolkit.setOptions(
        {
            "pageWidth": round(PAGE_UNITS / scale),
            "minLastJustification": 1.0 if ragged else 0.0,
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
    drop = _drop(svg)
    svg = _SYLLABLE.sub(lambda match: _degree(match, drop), svg)
    svg = _NUMBER.sub(_number, svg)
    svg = _FRET.sub(_fret, svg)
    return svg.replace('font-family="Times, serif"', 'font-family="Lato"')


def _drop(svg: str) -> int:
    """How much lower degrees stand than Verovio has them, between the staff and its tablature."""
    rows = [int(match["y"]) for match in _SYLLABLE.finditer(svg)]
    staves = [int(y) for y in _STAFF.findall(svg)]
    if not rows or 'class="tabGrp"' not in svg:
        return 0
    return min(DEGREE_DROP, max(staves) - OVER_TABLATURE - max(rows))


def _symbol(symbol: PrintedSymbol, x: int, y: int) -> str:
    """A chord symbol as SVG text: the rest of it smaller and raised."""
    body, raised = "", 0
    for text, size, rise in symbol_runs(symbol):
        for piece in re.findall(rf"[{SIGNS}]|[^{SIGNS}]+", text):
            font = ' font-family="Backing Signs"' if piece in SIGNS else ""
            apart = AFTER_SLASH if body.endswith(">/</tspan>") else ASIDE * (rise > raised == 0)
            aside = f' dx="{apart}"' if apart else ""
            where = f'font-size="{size}px" dy="{raised - rise}"{aside}{font}'
            body += f"<tspan {where}>{escape(piece)}</tspan>"
            raised = rise
    return f'<text x="{x}" y="{y}" font-weight="700">{body}</text>'


def _rehearsal(match: re.Match[str]) -> str:
    """The letter of a section in its frame, and before it the number of its first bar."""
    text = re.sub(r"<[^>]*>|\s", "", match.group()[match.group().index("<text") :])
    label, _, number = text.partition(MARK)
    x, y, height = int(match["x"]), int(match["y"]), int(match["h"])
    if number:  # all of it on the page
        x = max(x, NUMBER_ASIDE + round(DIGIT * NUMBER) * len(number) - LEFT_OF_STAFF)
    width = round(CHORD * (0.45 + 0.36 * len(label)))
    middle = f'x="{x + width // 2}" y="{y + round(0.76 * height)}" text-anchor="middle"'
    number_at = f'x="{x - NUMBER_ASIDE}" y="{y + height}" text-anchor="end" font-style="italic"'
    return (
        f'><rect x="{x}" y="{y}" width="{width}" height="{height}" fill="none" stroke-width="24"/>'
        f'<text {middle} font-size="{round(0.72 * CHORD)}px">{escape(label)}</text>'
        f'<text {number_at} font-size="{NUMBER}px" font-weight="400">{number}</text>'
    )


def _number(match: re.Match[str]) -> str:
    """The number of the first bar, over the clef."""
    where = f'x="0" y="{int(match["y"]) - NUMBER_RISE}" text-anchor="middle"'
    return f'<text {where} font-style="italic" font-size="{NUMBER}px">{match["number"]}</text>'


def _fret(match: re.Match[str]) -> str:
    return f'{match[1]}{FRETS[len(match["fret"])]}px">{match["fret"]}</tspan>'


TO_HEAD = 90 + 106
"""From where Verovio begins a syllable to the middle of its note head."""


def _degree(match: re.Match[str], drop: int) -> str:
    """A degree, centered under its note, ``drop`` lower than Verovio has it."""
    text = widened(unescape(re.sub(r"<[^>]*>|\s", "", match["text"])))
    size = round(DEGREE * {1: 1.0, 2: 0.95}.get(len(text), 0.82))
    runs = "".join(
        f'<tspan font-family="Backing Signs" font-size="{round(size * 0.9)}px">{c}</tspan>'
        if c in SIGNS
        else escape(c)
        for c in text
    )
    where = f'x="{int(match["x"]) + TO_HEAD}" y="{int(match["y"]) + drop}"'
    return f'<text {where} text-anchor="middle" font-size="{size}px">{runs}</text>'
