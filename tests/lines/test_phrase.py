"""The phrase that says a line, and a line's own words."""

import random
from dataclasses import replace
from itertools import permutations
from pathlib import Path

import pytest

from backing.chart.text.tune_file import read_file
from backing.errors import PracticeError
from backing.lines.etude import etude
from backing.lines.line import RHYTHMS, Line
from backing.lines.phrase import Phrase, read_line, read_phrase
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
        ("position AUTO etude", Line(position=" Auto")),
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
     ("guide both", "both"), ("guide both 3-9 position 5", "both")],
)  # fmt: skip
def test_a_phrase_says_guide_tones(text: str, guide: str) -> None:
    assert read_phrase(text).guide == guide
    with pytest.raises(PracticeError, match="Guide tones are a part of their own"):
        read_line(text)


def test_what_is_usual_is_overruled() -> None:
    board = make_fingerboard("drop-d")
    asked = read_phrase("etude quarters", rhythm="phrases", fingerboard=board)
    assert asked == Phrase(Line("quarters", fingerboard=board), said=frozenset({"rhythm"}))
    assert read_phrase("etude", rhythm="phrases").line.rhythm == "phrases"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", ["Nothing is said of the line."]),
        (
            "etude levle 2",
            ['"levle" says nothing about a line.', 'Did you mean "level"?', "The words are: etude"],
        ),
        ("etude level 9", ['After "level"', '"9"', "1, 2, 3, 4"]),
        ("etude level", ["nothing follows"]),
        ("etude level 1 level 2", ["says the level twice"]),
        ("etude quarters triplets", ["says the rhythm twice"]),
        ("etude guide", ["says the kind of line twice"]),
        ("call quarters", ["says the rhythm twice"]),
        ("etude on 2", ["There is no call to start on 2"]),
        ("call on 5", ['After "on"', "1, 1&, 2, 3, turn"]),
        ("etude from the 9th", ['After "from the"']),
        ("etude position high", ["A position is named by its fret."]),
        ("etude position 99", ["Position 99 is off the neck."]),
        ("etude top 9 strings", ["9 top strings"]),
        ("etude both", ['"both" is for guide tones, not for an etude.']),
        ("guide level 2", ["The level of a line is for an etude"]),
        ("guide from the 5th", ["doesn't say one guide-tone line"]),
        ("guide both from the 3rd", ["doesn't say one guide-tone line"]),
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
