"""What the page is told of each part, and where in the room the part is heard."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from backing.chart.text.tune_file import read
from backing.combo.band import Band
from backing.page import PageMaker
from backing.page.score import make_score
from tests.page.test_data import data_of
from tests.page.test_sound import Rehearse, rehearse

__all__ = ["rehearse"]

LEFT_DB = {"bass": 0.0, "comp": 3.5, "drums": 0.0, "third": -3.5}
"""How much louder a part is on the left: comping a quarter of the way to the left, a guide-tone
line as far to the right, at constant power: 20 lg cot 33.75 degrees."""
SWUNG, TOGETHER, FOOT, MELODIC = 1, 2, 4, 8
TUNE = """\
key: C
tempo: 150

section A
| Dm7 | G7 | Cmaj7 | A7 |
push 3: 1
hits 2: 1 2&
"""


def db(ratio: float) -> float:
    return 20 * math.log10(ratio)


@pytest.mark.parametrize("part", LEFT_DB)
def test_every_part_sits_where_the_mix_has_it(rehearse: Rehearse, part: str) -> None:
    others = {other: 0 for other in LEFT_DB if other != part}
    played = rehearse(seconds=3.0, real=True, parts=[part], levels=others)
    left, right = (np.sqrt(np.square(np.array(played[side])).mean()) for side in ("left", "right"))
    assert left > 0.001
    # the room rings a little differently on either side
    assert db(left / right) == pytest.approx(LEFT_DB[part], abs=0.8)


def test_the_page_is_told_what_kind_of_stroke_each_note_is(maker: PageMaker) -> None:
    form = read(TUNE)
    score = make_score(form, Band())
    data = data_of(maker.page(form))
    told = {part["id"]: part["takes"] for part in data["parts"]}
    strokes = data["line"]["strokes"]
    # a note of a line shares its stroke with others, which has no pitch
    told["etude"] = [
        [[[0, *strokes[int(sign[:2], 36)]] for sign in re.findall("." * 5, bar)] for bar in take]
        for take in data["line"]["lines"][0]["takes"]
    ]
    seen = set()
    for line in score.lines:
        takes = ((*line.takes[0], *line.around), *line.takes[1:])
        for take, bars in zip(takes, told[line.name], strict=True):
            for notes, rows in zip(take, bars, strict=True):
                assert len(notes) == len(rows)
                for note, row in zip(notes, rows, strict=True):
                    flags = row[5]
                    assert bool(flags & SWUNG) == note.swung
                    assert bool(flags & TOGETHER) == note.together
                    assert bool(flags & FOOT) == (note.role == "foot")
                    assert bool(flags & MELODIC) == note.melodic
                    seen |= {flag for flag in (SWUNG, TOGETHER, FOOT, MELODIC) if flags & flag}
    assert seen == {SWUNG, TOGETHER, FOOT, MELODIC}


def test_the_hits_and_the_push_of_the_whole_band_are_told_as_such(maker: PageMaker) -> None:
    """The push of bar 3 and the hits of bar 2, in the drums and in the comping of every take."""
    data = data_of(maker.page(read(TUNE)))
    ticks = data["ticks"]
    for part in data["parts"]:
        if part["id"] not in ("comp", "drums"):
            continue
        for take in part["takes"]:
            pushed = {row[0] for row in take[2] if row[5] & TOGETHER}
            assert pushed == {-ticks / 2}, part["id"]
            struck = {row[0] for row in take[1] if row[5] & TOGETHER}
            assert struck == {0, 3 * ticks / 2}, part["id"]
