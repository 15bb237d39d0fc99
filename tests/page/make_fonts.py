"""Makes the type of the page: ``python -m tests.page.make_fonts``.

A subset of Lato (SIL Open Font License 1.1) with the sheets' chord signs added, in two weights. A
changed font may not keep the reserved name (OFL, condition 3), so it is called Backing Text.
"""

from __future__ import annotations

from importlib.resources import files
from io import BytesIO
from pathlib import Path

from fontTools.pens.cu2quPen import Cu2QuPen
from fontTools.pens.transformPen import TransformPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont
from fontTools.ttLib.tables._c_m_a_p import CmapSubtable

import backing.page
from tests.sheet.draw_signs import SIGNS

FOLDER = Path(backing.page.__file__).parent / "web" / "fonts"
FAMILY = "Backing Text"
WEIGHTS = ("Regular", "Bold")
NOT_IN_LATO = "♭𝄫♯♮𝄪△"
TEXT = {*range(0x20, 0x7F), *range(0xA0, 0x180), *map(ord, "–—‘’“”„•…−×·")}
"""Basic Latin, Latin-1, Latin Extended-A as far as Lato has it, and punctuation."""


def make_font(weight: str) -> TTFont:
    """One weight, the same tables every time."""
    font = TTFont(str(files("font_lato") / "files" / f"Lato-{weight}.ttf"), recalcTimestamp=False)
    options = Options(
        hinting=False, name_IDs=[0, 13, 14], layout_features=["kern"], notdef_outline=True
    )
    subsetter = Subsetter(options)
    subsetter.populate(unicodes=TEXT)
    subsetter.subset(font)
    add_wide_cmap(font)
    for sign in NOT_IN_LATO:
        add(font, sign)
    for number, text in (
        (1, FAMILY),
        (2, weight),
        (4, f"{FAMILY} {weight}"),
        (6, f"BackingText-{weight}"),
    ):
        font["name"].setName(text, number, 3, 1, 0x409)
    return font


def add(font: TTFont, sign: str) -> None:
    """One of the sheets' signs, from thousandths of the size to the units of this font."""
    advance, draw = SIGNS[sign]
    scale = font["head"].unitsPerEm / 1000
    outline = TTGlyphPen(None)
    # the sheets' outlines are cubic, those of a TrueType font quadratic
    pen = TransformPen(
        Cu2QuPen(outline, max_err=1.0, reverse_direction=True), (scale, 0, 0, scale, 0, 0)
    )
    draw(pen)
    name = f"u{ord(sign):04X}"
    font["glyf"][name] = glyph = outline.glyph()
    glyph.recalcBounds(font["glyf"])
    font["hmtx"][name] = round(advance * scale), glyph.xMin
    for table in font["cmap"].tables:
        if table.isUnicode() and (ord(sign) < 0x10000 or table.format == 12):
            table.cmap[ord(sign)] = name


def add_wide_cmap(font: TTFont) -> None:
    """A table for signs beyond U+FFFF, as double accidentals are."""
    table = CmapSubtable.newSubtable(12)
    table.platformID, table.platEncID, table.language = 3, 10, 0
    table.cmap = dict(font.getBestCmap())
    font["cmap"].tables.append(table)


def as_woff2(font: TTFont) -> bytes:
    font.flavor = "woff2"
    data = BytesIO()
    font.save(data)
    return data.getvalue()


if __name__ == "__main__":
    for each in WEIGHTS:
        (FOLDER / f"BackingText-{each}.woff2").write_bytes(as_woff2(make_font(each)))
