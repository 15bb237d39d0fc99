"""The phrase that says a line, and a line's own words."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import permutations
from pathlib import Path

import pytest

from backing.chart.text.tune_file import read_file
from backing.errors import PracticeError
from backing.lines.etude import etude
from backing.lines.line import RHYTHMS
from backing.lines.phrase import Phrase, read_line, read_phrase
from backing.lines.player import Line
from backing.neck.fingerboard import make_fingerboard
from backing.neck.path import best_position, plan_of_bars

TUNE = read_file(Path(__file__).parents[2] / "tunes" / "corner-booth.tune")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("etude", Line()),
        ("étude", Line()),
        ("level 2", Line(level=2)),
        ("etude level 2 off-beats position 5", Line("off-beats", level=2, position=5)),
        ("etude, position 5 7, phrases", Line("phrases", position=(5, 7))),
        ("positions 5, 7", Line(position=(5, 7))),
        ("position 5 3-9", Line(position=5, way="3-9")),
        ("position AUTO etude", Line(position=" Auto")),
        ("anticipating, top 3, both ways", Line(anticipate=True, top_strings=3)),
        ("on 3", Line("call", call_on="3")),
        ("call on each in turn", Line("call")),
        ("call", Line("call")),
        ("call on 1&", Line("call", call_on="1&")),
        ("etude in call on 3", Line("call", call_on="3")),
        ("etude from the 3rd down 3-9 thirds anticipate top 4 strings",
         Line(start=3, direction="down", way="3-9", thirds=True, anticipate=True, top_strings=4)),
        ("a line in triplets from the root", Line("triplets", start=1)),
        ("etude subdivisions", Line("subdivisions")),
        *[(f"etude {rhythm}", Line(rhythm)) for rhythm in RHYTHMS],
    ],
)  # fmt: skip
def test_a_phrase_says_a_line(text: str, line: Line) -> None:
    assert read_line(text) == line
    assert read_phrase(text).subdivisions == (line.rhythm == "subdivisions")


def test_its_words_come_in_any_order() -> None:
    pieces = ("etude", "level 3", "triplets", "position 5", "from the 7th")
    said = {read_line(" ".join(order)) for order in permutations(pieces)}
    assert said == {Line("triplets", level=3, position=5, start=7)}


@pytest.mark.parametrize(
    ("text", "guide"),
    [("guide", "3rd"), ("guide from the 3rd", "3rd"), ("from the 7th guide", "7th"),
     ("guide-tone line from the 3rd", "3rd"), ("Guide Tones", "3rd"),
     ("guide both", "both"), ("guide both 3-9 position 5", "both")],
)  # fmt: skip
def test_a_phrase_says_guide_tones(text: str, guide: str) -> None:
    assert read_phrase(text).guide == guide
    with pytest.raises(PracticeError, match="Guide tones are a part of their own"):
        read_line(text)
    both = read_phrase(f"{text} and level 2")
    assert (both.guide, both.solo, both.line) == (guide, True, Line(level=2))
    assert read_phrase(f"level 2 and {text}") == both


def test_what_is_usual_is_overruled() -> None:
    board = make_fingerboard("drop-d")
    asked = read_phrase("etude quarters", rhythm="phrases", fingerboard=board)
    assert asked == Phrase(Line("quarters", fingerboard=board), said=frozenset({"rhythm"}))
    assert read_phrase("etude", rhythm="phrases").line.rhythm == "phrases"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", ["Nothing is said about a line.", "Write any of: etude"]),
        ("etude levle 2", ['"levle"', 'Did you mean "level"?', "Write any of: etude"]),
        ("etude level 9", ['"9"', "1, 2, 3, 4"]),
        ("etude level", ['"level"', "level 1 to 4"]),
        ("etude level 1 level 2", ['"1" and "2" don\'t go together in a line.']),
        ("etude quarters triplets", ['"quarters" and "triplets"']),
        ("etude guide", ['"etude" and "guide"']),
        ("call quarters", ['"call" and "quarters"']),
        ("etude and call", ["two lines of one kind"]),
        ("guide and guide both", ["two lines of one kind"]),
        ("etude on 2", ["There is no call to start on 2"]),
        ("call on 5", ['"5"', "1, 1&, 2, 3, turn"]),
        ("etude from the 9th", ['"9th"', "root, 3rd, 5th, 7th"]),
        ("etude position high", ['"high" isn\'t a position', "such as 5, or auto"]),
        ("etude position 99", ["Position 99 is off the neck."]),
        ("etude top 9 strings", ["9 top strings"]),
        ("etude both", ['"both" is for guide tones, not for an etude.']),
        ("guide level 2", ["The level of a line is for an etude"]),
        ("guide from the 5th", ["from the 3rd, from the 7th, or are both"]),
        ("guide both from the 3rd", ["from the 3rd, from the 7th, or are both"]),
        ("guide subdivisions", ["The rhythm of a line is for an etude"]),
    ],
)
def test_what_no_line_can_be_is_said(text: str, said: list[str]) -> None:
    with pytest.raises(PracticeError) as caught:
        read_phrase(text)
    for words in said:
        assert words in str(caught.value)
    assert caught.value.cure


def test_a_line_takes_words_and_types() -> None:
    words = Line("Quarters", level="2", position="5, 7", start="3", top_strings="4")
    assert words == Line("quarters", level=2, position=(5, 7), start=3, top_strings=4)
    assert Line(fingerboard="drop-d") == Line(fingerboard=make_fingerboard("drop-d"))
    assert replace(words) == words


@pytest.mark.parametrize("position", ["", "high", "5.5", (5, -1)])
def test_what_is_no_position_is_said(position: object) -> None:
    with pytest.raises(PracticeError, match="isn't a position"):
        Line(position=position)  # type: ignore[arg-type]


def test_a_line_finds_its_position() -> None:
    bars = TUNE.played("solos")
    best = best_position(bars, Line().fingerboard).path.position
    assert Line().placed(bars) == Line(position=best)
    assert Line(position=9).placed(bars) == Line(position=9)
    plan = plan_of_bars(bars)
    found = etude(plan, Line(), random.Random(1))
    assert found == etude(plan, Line(position=best), random.Random(1))


def test_subdivisions_are_the_routines() -> None:
    with pytest.raises(PracticeError, match="A line in subdivisions is for a track"):
        etude(plan_of_bars(TUNE.played("solos")), Line("subdivisions"), random.Random(1))
