"""The lines of a page: what can be chosen, and that every note is the track's."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import pytest

import backing
from backing.chart.form import Form
from backing.chart.text.tune_file import read, read_file
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.lines.phrase import read_phrase, words_of
from backing.lines.player import Line
from backing.page.line_data import line_data
from backing.page.rows import TICKS
from backing.page.score import Score, make_score
from backing.routine.request import Request
from backing.routine.routine import make_routine
from tests.page.conftest import ROOT

CALLS = ["call on 1", "call on 1&", "call on 2", "call on 3"]


def lines_of(form: Form, line: Line) -> tuple[dict[str, Any], Score]:
    score = make_score(form, Band(), line)
    return line_data(score.etudes, line), score


def notes_of(
    data: dict[str, Any], number: int, take: int, score: Score, line: Line
) -> Iterator[tuple[float, float, int]]:
    """Onset, length and pitch of a line through the chorus, as the page reads them."""
    strings = line.fingerboard
    for planned, text in zip(score.plan.bars, data["lines"][number]["takes"][take], strict=False):
        for at in range(0, len(text), 5):
            onset, length, *_ = data["strokes"][int(text[at : at + 2], 36)]
            pitch = strings.open_pitch(int(text[at + 2])) + int(text[at + 3], 36)
            yield float(planned.start) + onset / TICKS, length / TICKS, pitch


@pytest.mark.parametrize(
    ("tune", "phrase"),
    [
        ("corner-booth", "etude level 2"),
        ("kite-string-waltz", "call level 3 position 5"),
        ("stairwell-study", "off-beats thirds"),
    ],
)
def test_each_line_of_a_page_is_the_one_of_a_track(tune: str, phrase: str) -> None:
    form, line = read_file(ROOT / "tunes" / f"{tune}.tune"), backing.read_line(phrase)
    data, score = lines_of(form, line)
    for number, each in enumerate(data["lines"]):
        own = read_phrase(f"{data['besides']} {each['words']}").line
        routine = make_routine(form, Request(times=3, count_in=0))
        track = arrange(routine, Band(players="line", line=own))
        assert len(each["takes"]) == 3
        for take, played in enumerate(track.passes):
            length = float(sum((bar.length for bar in score.bars), Fraction(0)))
            theirs = (
                (float(n.onset), float(n.length), n.pitch) for p in played.parts for n in p.notes
            )
            # what leads over the end belongs to the first bar
            mine, others = (
                sorted(
                    (round(onset % length, 2), round(lasts, 2), pitch)
                    for onset, lasts, pitch in one
                )
                for one in (notes_of(data, number, take, score, own), theirs)
            )
            assert mine == others, each["words"]


def test_calls_and_subdivisions_can_be_had_where_a_track_has_them() -> None:
    data, _ = lines_of(read_file(ROOT / "tunes" / "corner-booth.tune"), Line())
    words = [each["words"] for each in data["lines"]]
    assert words == ["eighths", "wholes", "halves", "quarters", "triplets", *CALLS]
    ladder = [words[at] for at in data["subdivisions"]]
    assert ladder == ["wholes", "halves", "quarters", "eighths", "triplets"]
    assert [words[at] for at in data["calls"]] == CALLS
    short, _ = lines_of(read("key: C\nmeter: 3/4\n\nsection A\n| C6 |\n"), Line())
    # a bar alone has no room for a call and its answer; a bar of three has no halves
    assert short["calls"] == []
    ladder = [short["lines"][at]["words"] for at in short["subdivisions"]]
    assert ladder == ["wholes", "quarters", "eighths", "triplets"]


def test_a_page_opens_in_subdivisions() -> None:
    line = Line("subdivisions", level=2)
    data, score = lines_of(read_file(ROOT / "tunes" / "paper-route-blues.tune"), line)
    assert (data["opens"], data["besides"]) == ("subdivisions", "etude level 2")
    assert score.etudes[0].words == "wholes"


@pytest.mark.parametrize(
    "phrase",
    [
        "etude", "etude 7 off-beats level 2 position 5 down from the 3rd top 4 strings",
        "subdivisions level 3 3-9 thirds anticipate", "phrases position 5 7", "call on 1& level 4",
    ],
)  # fmt: skip
def test_a_line_is_asked_for_again_in_its_words(phrase: str) -> None:
    line = read_phrase(phrase).line
    start = "" if line.call_on == "turn" else f" on {line.call_on}"
    assert read_phrase(f"{words_of(line)} {line.rhythm}{start}").line == line
