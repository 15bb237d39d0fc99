"""The line phrase: one table of what is said and what it means."""

from __future__ import annotations

import pytest

from backing.errors import PracticeError
from backing.lines.line import Line
from backing.lines.phrase import Phrase, read_line, read_phrase

SOLOS = {
    "etude": Line(),
    "étude": Line(),
    "level 2": Line(level=2),
    "etude level 2 off-beats position 5": Line("off-beats", level=2, position=5),
    "position 5, off-beats, etude, level 2": Line("off-beats", level=2, position=5),
    "position 5 7 level 3": Line(level=3, position=(5, 7)),
    "positions 5, 7": Line(position=(5, 7)),
    "position 5 3-9": Line(position=5, way="3-9"),
    "3-9 position auto": Line(way="3-9"),
    "etude from the 3rd down 3-9 thirds anticipate top 4 strings": Line(
        start=3, direction="down", way="3-9", thirds=True, anticipate=True, top_strings=4
    ),
    "from root up": Line(start=1, direction="up"),
    "from the seventh, both ways": Line(start=7),
    "anticipating top 3": Line(anticipate=True, top_strings=3),
    "phrases": Line("phrases"),
    "subdivisions": Line("subdivisions"),
    "call": Line("call"),
    "call on 1&": Line("call", call_on="1&"),
    "on 3": Line("call", call_on="3"),
    "call on each in turn": Line("call"),
    "CALL  On  2": Line("call", call_on="2"),
}
GUIDES = {
    "guide": "3rd",
    "guide from the 3rd": "3rd",
    "from the 7th guide": "7th",
    "guide both": "both",
}


@pytest.mark.parametrize(("text", "line"), SOLOS.items())
def test_a_line_is_what_is_said(text: str, line: Line) -> None:
    phrase = read_phrase(text)
    assert (phrase.line, phrase.guide, phrase.solo) == (line, None, True)
    assert phrase.subdivisions == (text == "subdivisions")
    assert read_line(text) == line


@pytest.mark.parametrize(("text", "guide"), GUIDES.items())
def test_guide_tones_are_what_is_said(text: str, guide: str) -> None:
    assert read_phrase(text) == Phrase(Line(), guide, solo=False)
    both = read_phrase(f"{text} and level 2")
    assert (both.guide, both.solo, both.line) == (guide, True, Line(level=2))
    assert read_phrase(f"level 2 and {text}") == both
    with pytest.raises(PracticeError):
        read_line(text)


def test_what_is_usual_gives_way_to_what_is_said() -> None:
    usual = {"rhythm": "phrases", "level": 3}
    assert read_phrase("etude", **usual).line == Line("phrases", level=3)
    assert read_phrase("eighths", **usual).line == Line("eighths", level=3)
    assert read_phrase("guide position 5", **usual).line.position == (5,)
