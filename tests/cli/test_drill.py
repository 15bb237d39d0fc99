"""What a track says it is for: in its summary and its tags."""

from __future__ import annotations

import shlex

import mutagen
import pytest

from backing.cli.drill import drill
from backing.cli.given import track_as_usual
from backing.cli.parser import make_parser
from tests.cli.conftest import Run


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", ""),
        ("--choruses 4 --tempo 80 --key Bb --seed 3 --stems --comp guitar", ""),
        ("--bars 13-16 --times 4", "bars 13-16"),
        ("--bars B:5-8 --lead-in 2 --breath 1",
         "section B:5-8, 2 bars of lead-in, 1 bar of hi-hat between rounds"),
        ("--bars 1-8 --grow", "bars 1-8, grown backwards"),
        ("--climb 80-160:8", "climbing 80-160:8"),
        ("--climb 60% --climb-order slow-and-goal",
         "climbing 60%, each tempo and the goal in turn"),
        ("--keys fourths --bars 1-4", "bars 1-4, keys by fourths"),
        ('--keys "C F Bb"', "in C F Bb"),
        ("--ladder", "wholes to triplets"),
        ("--trade 4", "trading fours with the drums"),
        ("--trade 3 --trade-with melody", "trading 3 bars with the melody"),
        ("--lay-out 8", "the last 8 bars with the hi-hat alone"),
        ('--melody call --call-on "1&"', "call and response on 1&"),
        ("--melody etude --rhythm off-beats", "an étude in off-beats"),
        ('--guide --click "2 and 4" --without piano,bass',
         "guide tones from the third, click on 2 and 4, without piano,bass"),
        ("--guide both --click sparse", "both lines of guide tones, a sparse click"),
        ("--keys Half-Steps", "keys by half-steps"),
        ("--trade 4 --melody etude", "trading fours with the drums, an étude"),
        ("--only click --click", "click, click alone"),
    ],
)  # fmt: skip
def test_a_drill_is_said_as_a_teacher_would(words: str, said: str) -> None:
    asked = make_parser().parse_args(["track", "a.tune", *shlex.split(words)])
    assert drill(track_as_usual(asked)) == said


def test_a_track_says_its_drill(run: Run, here) -> None:
    words = ("--bars", "1-2", "--times", "1", "--without", "piano", "--count-in", "0")
    said = run("track", "four.tune", "-o", "four.flac", *words)
    assert "\n  drill: bars 1-2, without piano\n" in said.err
    tags = mutagen.File(here / "four.flac").tags
    assert tags["DESCRIPTION"] == ["bars 1-2, without piano"]
    said = run("track", "four.tune", "-o", "four.flac", "--choruses", "1", "--count-in", "0")
    assert "drill" not in said.err
    assert "DESCRIPTION" not in mutagen.File(here / "four.flac").tags
