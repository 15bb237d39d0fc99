"""What a track says it is for, in its summary and its tags."""

from __future__ import annotations

import shlex

import mutagen
import pytest

from backing.cli.parser import parse
from backing.cli.track import read_order
from tests.cli.conftest import Run


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", ""),
        ("--choruses 4 --tempo 80 --key Bb --seed 3 --stems --comp guitar", ""),
        ("--bars 13-16 --times 4", "bars 13-16"),
        ("--bars 31-2", "bars 31-2"),
        ('--bars B:5-8 --drill "lead-in 2, rest bar"',
         "section B:5-8, 2 bars of lead-in, 1 rest bar between times"),
        ("--bars 1-8 --drill grow", "bars 1-8, growing backwards"),
        ("--climb 80-160:8", "climbing 80-160:8"),
        ('--climb "60% slow-and-goal"', "climbing 60%, each tempo and the goal in turn"),
        ("--key fourths --bars 1-4", "bars 1-4, keys by fourths"),
        ('--key "C F Bb"', "in C F Bb"),
        ("--line subdivisions", "subdivisions from wholes to triplets"),
        ("--trade 4", "trading fours with the drums"),
        ('--trade "8 drums first"', "trading eights with the drums, drums first"),
        ('--trade "3 with line"', "trading 3 bars with the line"),
        ('--drill "lay out 8"', "the last 8 bars with the hi-hat alone"),
        ('--line "call on 1&"', "call and response on 1&"),
        ("--line off-beats", "an etude in off-beats"),
        ('--line guide --click "2 and 4" --without comp,bass',
         "guide-tone line from the 3rd, click on 2 and 4, without comp,bass"),
        ('--line "guide both" --click sparse', "both guide-tone lines, a sparse click"),
        ("--key Half-Steps", "keys by half-steps"),
        ("--trade 4 --line etude", "trading fours with the drums, an etude"),
        ("--only click --click", "click, click alone"),
    ],
)  # fmt: skip
def test_the_purpose_is_said_as_a_teacher_would(words: str, said: str) -> None:
    assert read_order(parse(["track", "a.tune", *shlex.split(words)])).purpose == said


def test_a_track_says_its_drill(run: Run, here) -> None:
    words = ("--bars", "1-2", "--times", "1", "--without", "comp", "--count-in", "0")
    said = run("track", "four.tune", "-o", "four.flac", *words)
    assert "\n  drill: bars 1-2, without comp\n" in said.err
    tags = mutagen.File(here / "four.flac").tags
    assert tags["DESCRIPTION"] == ["bars 1-2, without comp"]
    said = run("track", "four.tune", "-o", "four.flac", "--choruses", "1", "--count-in", "0")
    assert "drill" not in said.err
    assert "DESCRIPTION" not in mutagen.File(here / "four.flac").tags
