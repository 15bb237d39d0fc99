"""Draws the signs of chord symbols as a font: ``python -m tests.sheet.draw_signs``.

Text fonts have no accidentals of the weight of a chord symbol, and many none at all. These are our
own outlines, in thousandths of the font size, made to stand beside bold capitals 720 high.
"""

from __future__ import annotations

from collections.abc import Callable
from math import hypot
from pathlib import Path

from fontTools.fontBuilder import FontBuilder
from fontTools.pens.t2CharStringPen import T2CharStringPen

import backing.sheet

FILE = Path(backing.sheet.__file__).parent / "fonts" / "BackingSigns.otf"
FAMILY = "Backing Signs"
ROUND = 0.5523
"""The handle of a quarter circle drawn as a cubic curve, of its radius."""
Point = tuple[float, float]


def polygon(pen: T2CharStringPen, *points: Point) -> None:
    pen.moveTo(points[0])
    for point in points[1:]:
        pen.lineTo(point)
    pen.closePath()


def ellipse(pen: T2CharStringPen, x: float, y: float, rx: float, ry: float, *, hole: bool) -> None:
    """An ellipse around (x, y), clockwise; a hole runs the other way round."""
    turn = -1 if hole else 1
    kx, ky = rx * ROUND, ry * ROUND * turn
    pen.moveTo((x - rx, y))
    pen.curveTo((x - rx, y + ky), (x - kx, y + ry * turn), (x, y + ry * turn))
    pen.curveTo((x + kx, y + ry * turn), (x + rx, y + ky), (x + rx, y))
    pen.curveTo((x + rx, y - ky), (x + kx, y - ry * turn), (x, y - ry * turn))
    pen.curveTo((x - kx, y - ry * turn), (x - rx, y - ky), (x - rx, y))
    pen.closePath()


def stroke(pen: T2CharStringPen, start: Point, end: Point, width: float) -> None:
    """A straight stroke with square ends."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    across = width / 2 / hypot(dx, dy)
    nx, ny = -dy * across, dx * across
    polygon(
        pen,
        (start[0] + nx, start[1] + ny),
        (end[0] + nx, end[1] + ny),
        (end[0] - nx, end[1] - ny),
        (start[0] - nx, start[1] - ny),
    )


def flat(pen: T2CharStringPen, x: float = 0) -> None:
    pen.moveTo((x + 60, -45))
    pen.lineTo((x + 60, 830))
    pen.lineTo((x + 135, 830))
    pen.lineTo((x + 135, 425))
    pen.curveTo((x + 185, 480), (x + 240, 505), (x + 295, 505))
    pen.curveTo((x + 385, 505), (x + 435, 445), (x + 435, 365))
    pen.curveTo((x + 435, 215), (x + 235, 110), (x + 60, -45))
    pen.closePath()
    pen.moveTo((x + 135, 105))
    pen.curveTo((x + 240, 190), (x + 325, 275), (x + 325, 355))
    pen.curveTo((x + 325, 400), (x + 300, 425), (x + 262, 425))
    pen.curveTo((x + 215, 425), (x + 165, 390), (x + 135, 345))
    pen.closePath()


def double_flat(pen: T2CharStringPen) -> None:
    flat(pen)
    flat(pen, 370)


def sharp(pen: T2CharStringPen) -> None:
    polygon(pen, (135, -80), (135, 740), (200, 740), (200, -80))
    polygon(pen, (320, -20), (320, 800), (385, 800), (385, -20))
    for y in (165, 425):
        polygon(pen, (45, y), (45, y + 115), (475, y + 215), (475, y + 100))


def natural(pen: T2CharStringPen) -> None:
    polygon(pen, (65, 110), (65, 820), (132, 820), (132, 110))
    polygon(pen, (318, -90), (318, 610), (385, 610), (385, -90))
    for y in (110, 410):
        polygon(pen, (65, y), (65, y + 110), (385, y + 200), (385, y + 90))


def double_sharp(pen: T2CharStringPen) -> None:
    stroke(pen, (60, 130), (480, 550), 95)
    stroke(pen, (60, 550), (480, 130), 95)


def triangle(pen: T2CharStringPen) -> None:
    polygon(pen, (20, 0), (350, 690), (680, 0))
    polygon(pen, (135, 75), (565, 75), (350, 525))


def circle(pen: T2CharStringPen) -> None:
    ellipse(pen, 270, 400, 225, 225, hole=False)
    ellipse(pen, 270, 400, 150, 150, hole=True)


def slashed_circle(pen: T2CharStringPen) -> None:
    ellipse(pen, 320, 330, 275, 275, hole=False)
    ellipse(pen, 320, 330, 197, 197, hole=True)
    stroke(pen, (70, -10), (570, 670), 66)


def quarter(pen: T2CharStringPen) -> None:
    """A quarter note, for metronome marks."""
    pen.moveTo((40, 75))
    pen.curveTo((40, 185), (190, 260), (290, 240))
    pen.lineTo((290, 780))
    pen.lineTo((345, 780))
    pen.lineTo((345, 150))
    pen.curveTo((345, 40), (200, -40), (110, -20))
    pen.curveTo((65, -10), (40, 25), (40, 75))
    pen.closePath()


SIGNS: dict[str, tuple[int, Callable[[T2CharStringPen], None]]] = {
    "♭": (455, flat),
    "𝄫": (825, double_flat),
    "♯": (520, sharp),
    "♮": (450, natural),
    "𝄪": (540, double_sharp),
    "△": (700, triangle),
    "°": (540, circle),
    "ø": (640, slashed_circle),
    "♩": (400, quarter),
}
"""Each sign with its advance and how it is drawn."""


def make_font() -> FontBuilder:
    """The font, the same bytes every time."""
    names = {sign: f"u{ord(sign):04X}" for sign in SIGNS}
    builder = FontBuilder(1000, isTTF=False)
    builder.setupGlyphOrder([".notdef", "space", *names.values()])
    builder.setupCharacterMap({32: "space"} | {ord(sign): name for sign, name in names.items()})
    strings = {name: T2CharStringPen(250, None).getCharString() for name in (".notdef", "space")}
    metrics = {".notdef": (250, 0), "space": (250, 0)}
    for sign, (advance, draw) in SIGNS.items():
        pen = T2CharStringPen(advance, None)
        draw(pen)
        strings[names[sign]] = pen.getCharString()
        metrics[names[sign]] = (advance, 0)
    builder.setupCFF(f"{FAMILY.replace(' ', '')}-Bold", {"FullName": FAMILY}, strings, {})
    builder.setupHorizontalMetrics(metrics)
    builder.setupHorizontalHeader(ascent=900, descent=-200)
    builder.setupNameTable(
        {"familyName": FAMILY, "styleName": "Bold", "psName": "BackingSigns-Bold"}
    )
    builder.setupOS2(sTypoAscender=900, sTypoDescender=-200, usWeightClass=700, sCapHeight=720)
    builder.setupPost()
    builder.font["head"].created = builder.font["head"].modified = 0
    builder.font.recalcTimestamp = False
    return builder


if __name__ == "__main__":
    make_font().save(FILE)
