"""Repeats and endings against music21's Expander, which writes out MusicXML's repeats."""

from __future__ import annotations

import pytest
from music21 import bar as m21_bar
from music21 import note, repeat, spanner, stream

from backing.chart.text.tune_file import read

CASES = [
    ("| 1 | 2 | 3 |", "1 2 3"),
    ("|: 1 | 2 :|", "1 2 1 2"),
    ("| 1 | 2 :| 3 |", "1 2 1 2 3"),
    ("| 1 |: 2 :| 3 |", "1 2 2 3"),
    ("|: 1 | 2 :| x3", "1 2 1 2 1 2"),
    ("|: 1 :| x4 | 2 |", "1 1 1 1 2"),
    ("|: 1 :|: 2 :|", "1 1 2 2"),
    ("|: 1 :| 2 :|", "1 1 2 2"),
    ("|: 1 | [1] 2 :| [2] 3 |", "1 2 1 3"),
    ("|: 1 | [1] 2 | 3 :| [2] 4 | 5 |", "1 2 3 1 4 5"),
    ("| 1 | [1] 2 :| [2] 3 | 4 |: 5 :|", "1 2 1 3 4 5 5"),
    ("|: 1 | [1] 2 :| [2] 3 :| [3] 4 |", "1 2 1 3 1 4"),
    ("|: 1 | [1,2] 2 :| [3] 3 |", "1 2 1 2 1 3"),
    (
        "| 1 |: 2 | 3 | [1-3] 4 :| [4] 5 |: 6 | [1] 7 :| [2] 8 |",
        "1 2 3 4 2 3 4 2 3 4 2 3 5 6 7 6 8",
    ),
]
# each bar of a case is named by a number and stands for a major chord a semitone higher
ROOTS = ["B", "C", "Db", "D", "Eb", "E", "F", "Gb", "G"]


def played(case: str) -> str:
    """The numbers of the bars in the order in which we play them."""
    words = [
        ROOTS[int(word)] if word.isdigit() and not word.startswith("x") else word
        for word in case.split(" ")
    ]
    form = read("key: C\n" + " ".join(words))
    return " ".join(str(ROOTS.index(str(b.changes[0].chord))) for b in form.played("solos"))


@pytest.mark.parametrize(("case", "expected"), CASES)
def test_repeats_are_written_out(case: str, expected: str) -> None:
    assert played(case) == expected


def expanded(bars: list[tuple[str, bool, int, tuple[int, ...]]]) -> str:
    """What music21 plays of bars given as name, whether a repeat opens, times, ending."""
    part = stream.Part()
    for name, opens, closes, ending in bars:
        measure = stream.Measure(number=int(name))
        measure.append(note.Note(60 + int(name), quarterLength=4))
        if opens:
            measure.leftBarline = m21_bar.Repeat(direction="start")
        if closes:
            measure.rightBarline = m21_bar.Repeat(direction="end", times=closes)
        part.append(measure)
        if ending:
            part.insert(0, spanner.RepeatBracket([measure], number=list(ending)))
    out = repeat.Expander(part).process()
    return " ".join(str(n.pitch.midi - 60) for n in out.recurse().notes)


@pytest.mark.parametrize(
    ("case", "bars"),
    [
        ("|: 1 | 2 :|", [("1", True, 0, ()), ("2", False, 2, ())]),
        ("| 1 | 2 :| 3 |", [("1", False, 0, ()), ("2", False, 2, ()), ("3", False, 0, ())]),
        ("|: 1 | 2 :| x3", [("1", True, 0, ()), ("2", False, 3, ())]),
        (
            "| 1 |: 2 :| 3 |: 4 :| x4",
            [("1", False, 0, ()), ("2", True, 2, ()), ("3", False, 0, ()), ("4", True, 4, ())],
        ),
        (
            "|: 1 | [1] 2 :| [2] 3 | 4 |",
            [("1", True, 0, ()), ("2", False, 2, (1,)), ("3", False, 0, (2,)), ("4", False, 0, ())],
        ),
    ],
)
def test_repeats_are_played_as_music21_plays_them(
    case: str, bars: list[tuple[str, bool, int, tuple[int, ...]]]
) -> None:
    assert played(case) == expanded(bars)
