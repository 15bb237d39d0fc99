"""The fonts of a sheet: our signs as they are drawn, and a glyph for everything that is printed."""

from __future__ import annotations

from importlib.resources import files

from fontTools.pens.recordingPen import RecordingPen
from fontTools.ttLib import TTFont

from backing.chart.harmony import parse_chord
from backing.chart.printed import printed_symbol
from backing.chart.quality import QUALITIES
from tests.sheet.draw_signs import FILE, SIGNS, make_font


def outlines(font: TTFont) -> dict[str, object]:
    glyphs = font.getGlyphSet()
    found: dict[str, object] = {}
    for code, name in font.getBestCmap().items():
        pen = RecordingPen()
        glyphs[name].draw(pen)
        found[chr(code)] = (pen.value, glyphs[name].width)
    return found


def test_the_font_is_what_the_drawing_draws() -> None:
    kept = outlines(TTFont(FILE))
    assert kept == outlines(make_font().font)
    assert set(SIGNS) <= set(kept)


def test_chord_symbols_have_a_glyph_for_every_character() -> None:
    lato = TTFont(str(files("font_lato") / "files" / "Lato-Bold.ttf"))
    known = {chr(code) for code in lato.getBestCmap()} | set(SIGNS)
    for quality in QUALITIES.values():
        suffix = quality.symbol or "6"
        for root in ("Bb", "Fx", "Gbb"):
            chord = parse_chord(f"{root}{suffix}/F#")
            for signs in (False, True):
                assert set(printed_symbol(chord, signs=signs).text) <= known, chord.text
