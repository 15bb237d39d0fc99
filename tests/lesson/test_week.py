"""The tasks of a lesson that has none, the turns, and the words of the first page."""

from __future__ import annotations

from pathlib import Path

import pytest

from backing.chart.text.tune_file import read_file
from backing.errors import Span
from backing.lesson.first_page import Entry, first_page
from backing.lesson.lesson_file import Said, Student, Task
from backing.lesson.lesson_file import read as read_lesson
from backing.lesson.trouble import find_trouble
from backing.lesson.week import (
    MOST_CHORUSES,
    SET_MINUTES,
    TRACKS,
    Tune,
    set_list,
    turn_minutes,
    usual_tasks,
)
from backing.routine.request import Request
from backing.routine.routine import make_routine
from tests.lesson.test_lesson_file import WORDS

TUNE = Said("x.tune", Span(1, 1))
ADA = Student("Ada", (TUNE,), (), {}, Span(1, 1), minutes=25)
TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.tune"))


def tasks_of(*loops: str, count: int = 1) -> tuple[Task, ...]:
    return usual_tasks([Tune(TUNE, None, loops)] * count, ADA)


@pytest.mark.parametrize("count", range(1, 9))
def test_a_week_has_a_dozen_files_at_most(count: int) -> None:
    tasks = tasks_of("1-4", "9-12", "5-8", count=count)
    assert count <= len(tasks) <= TRACKS
    assert all(task.by_us for task in tasks)


def test_the_hardest_loop_comes_first_and_the_line_goes_over_it() -> None:
    tasks = tasks_of("9-12", "1-4")
    bars = [task.options["bars"].word for task in tasks if "bars" in task.options]
    assert bars == ["9-12", "9-12", "1-4"]


def test_a_tune_without_trouble_has_no_loop() -> None:
    assert not any("climb" in task.options for task in tasks_of())


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_the_tracks_of_a_week_last_about_as_long_as_their_turns(path: Path) -> None:
    """But a loop at one tempo, a minute, and what is too long for its turn as it is."""
    form = read_file(path)
    tune = Tune(TUNE, form, find_trouble(form).loops)
    (whole,) = set_list([tune])
    turns = turn_minutes(ADA, usual_tasks([tune], ADA))
    for task, turn in (*zip(usual_tasks([tune], ADA), turns, strict=True), (whole, SET_MINUTES)):
        asked = {name: said.word for name, said in task.options.items() if name != "line"}
        if "bars" in asked and "climb" not in asked:
            continue
        minutes = float(make_routine(form, Request(**asked)).seconds) / 60
        count = int(asked.get("choruses", 1))
        assert minutes > turn / 2 or count == MOST_CHORUSES
        assert minutes < 1.5 * turn or count <= 4, (asked, minutes)


@pytest.mark.parametrize(
    ("minutes", "count", "turn"), [(25, 5, 5), (25, 8, 3), (20, 2, 5), (9, 3, 3)]
)
def test_turns_last_three_to_five_minutes(minutes: float, count: int, turn: float) -> None:
    """Interleaved, as in Carter & Grahn 2016 (Frontiers in Psychology 7:1251)."""
    tasks = tasks_of(count=8)[:count]
    student = Student("A", (), tasks, {}, Span(1, 1), minutes=minutes)
    assert turn_minutes(student, tasks) == [turn] * count


@pytest.mark.parametrize(
    ("turns", "told"),
    [([5.0] * 9, "don't all fit"), ([5.0] * 5, ""), ([5.0] * 2, "start again at the first")],
)
def test_the_first_page_says_what_to_do_when_time_is_left_or_is_over(
    turns: list[float], told: str
) -> None:
    lesson = read_lesson('title = "T"\n[[student]]\nname = "A"', "x.toml", WORDS)
    entries = [Entry(str(n), "Blue", "90 bpm", "", turn) for n, turn in enumerate(turns)]
    content = first_page(lesson, lesson.students[0], entries, (), "made")
    how = " ".join(content["how"])
    assert "25 minutes a day" in how
    assert told in how
    assert ("fit" in how, "begin again" in how) == ("fit" in told, "begin again" in told)
    assert any("stop when a hand hurts" in caution for caution in content["cautions"])
    assert any("headphones" in caution for caution in content["cautions"])
