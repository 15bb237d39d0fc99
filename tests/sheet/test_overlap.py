"""Nothing is printed over anything else: the boxes of chord symbols in 40 generated tunes."""

from __future__ import annotations

import random
import re
from functools import lru_cache
from importlib.resources import files
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from PIL import ImageFont

from backing.chart.form import Form
from backing.chart.text.tune_file import read
from backing.lines.player import Line
from backing.sheet.engraving import SIGNS
from backing.sheet.line_block import line_block
from backing.sheet.request import SheetRequest, chosen_position

LONG = ("maj7#11", "13#11", "m7b5", "7alt", "7", "m7", "maj7", "6/9", "7b9b13", "m(maj7)", "dim7")
ROOTS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
RHYTHMS = ("eighths", "quarters", "triplets", "off-beats")
SVG = "{http://www.w3.org/2000/svg}"
ONCE = 100
"""The size at which letters are measured."""


def generated(number: int) -> Form:
    """A tune of twelve bars of one to four chords, many of them long."""
    dice = random.Random(number)
    bars = []
    for _ in range(12):
        count = dice.choice((1, 1, 2, 2, 4))
        roots = dice.sample(
            ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"), count
        )
        bars.append(" ".join(root + dice.choice(LONG) for root in roots))
    rows = [" | ".join(bars[at : at + 4]) for at in range(0, 12, 4)]
    lines = "\n".join(f"| {row} |" for row in rows)
    return read(f"title: Tune {number}\nkey: {dice.choice(('C', 'Eb', 'A', 'Db'))}\n{lines}")


@lru_cache
def font(signs: bool) -> ImageFont.FreeTypeFont:
    own = files("backing.sheet") / "fonts"
    chosen = (
        next(f for f in own.iterdir() if f.name.endswith((".otf", ".ttf")))
        if signs
        else files("font_lato") / "files" / "Lato-Bold.ttf"
    )
    return ImageFont.truetype(str(chosen), ONCE)


def width(text: ElementTree.Element) -> float:
    """How wide a text of tspans is, in the units of the system."""
    total = 0.0
    for run in text.iter(f"{SVG}tspan"):
        size = float((run.get("font-size") or "0px").removesuffix("px"))
        letters = run.text or ""
        total += font(any(c in SIGNS for c in letters)).getlength(letters) * size / ONCE
    return total


@pytest.mark.parametrize("number", range(40))
def test_chord_symbols_of_a_staff_do_not_overlap(number: int) -> None:
    form = generated(number)
    level, rhythm = (
        1 + number % 4,
        ("eighths", "quarters", "triplets", "off-beats")[number // 4 % 4],
    )
    request = SheetRequest(line="etude", etude=Line(rhythm, level=level), position="auto")
    images: dict[str, str] = {}
    line_block(form, request, chosen_position(form, request), images)
    assert images
    for system in images.values():
        root = ElementTree.fromstring(re.sub(r"<\?xml.*?\?>", "", system))
        symbols = []
        for group in root.iter(f"{SVG}g"):
            if group.get("class") == "harm":
                (text,) = group.iter(f"{SVG}text")
                symbols.append((float(text.get("x") or 0), width(text)))
        symbols.sort()
        for (x, wide), (following, _) in pairwise(symbols):
            assert x + wide < following, "two symbols overlap"
