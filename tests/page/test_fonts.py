"""The page's type: a subset of Lato, as the script makes it, with every sign a page may need."""

from __future__ import annotations

from io import BytesIO

import pytest
from fontTools.ttLib import TTFont

from backing.page import bundle
from tests.page.make_fonts import FAMILY, FOLDER, NOT_IN_LATO, WEIGHTS, as_woff2, make_font


@pytest.mark.parametrize("weight", WEIGHTS)
def test_the_font_is_the_one_that_is_made(weight: str) -> None:
    kept = TTFont(FOLDER / f"BackingText-{weight}.woff2")
    made = TTFont(BytesIO(as_woff2(make_font(weight))))
    assert kept.getBestCmap() == made.getBestCmap()
    assert kept["glyf"].glyphs.keys() == made["glyf"].glyphs.keys()
    for name in kept.getGlyphOrder():
        assert kept["glyf"][name] == made["glyf"][name], name
    assert kept["hmtx"].metrics == made["hmtx"].metrics
    # the reserved name is the original's alone (SIL OFL 1.1, condition 3)
    assert {str(kept["name"].getDebugName(number)) for number in (1, 16)} <= {FAMILY, "None"}


def test_signs_and_letters_are_there() -> None:
    for weight in WEIGHTS:
        known = TTFont(FOLDER / f"BackingText-{weight}.woff2").getBestCmap()
        assert [sign for sign in f"{NOT_IN_LATO}ø°×−–·éłŻñ" if ord(sign) not in known] == []


def test_the_style_carries_its_fonts() -> None:
    style = bundle.style()
    assert style.count("url(data:font/woff2;base64,") == len(WEIGHTS)
    assert "url(fonts" not in style
    assert (FOLDER / "OFL.txt").read_text("utf-8").startswith("Copyright (c) 2010-2014 by tyPoland")
