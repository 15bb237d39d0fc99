"""Where the track was: found from the notes alone, with how surely; otherwise not claimed."""

from __future__ import annotations

import random

import pytest

from backing.take.course import Course
from backing.take.grid import on_course
from backing.take.heard import Heard, HeardNote
from backing.take.placing import SURE, place, tempo_ratio
from tests.take.playing import course_for, performed, take_of


def part(
    bars: str, first: str, line: str, *, times: int = 1, wrong: float = 0.0, moved: int = 0
) -> tuple[Course, list[HeardNote], float]:
    """A take that starts recording somewhere before bar ``first``: the course without the line,
    its notes, and the offset."""
    played = performed("corner-booth", 150, line, bars, times=times)
    _, heard = take_of(played, line)
    course = course_for(played)
    start = next(bar.seconds for bar in course.bars if bar.label == first)
    dice = random.Random(4)
    notes = [
        HeardNote(
            n.onset - start + 1.7,
            n.end - start + 1.7,
            (dice.randrange(50, 76) if dice.random() < wrong else n.pitch) + moved,
            n.level,
        )
        for n in heard.notes
        if n.onset > start - 0.05
    ]
    return course, notes, start - 1.7


@pytest.mark.parametrize("line", ["etude level 1", "etude level 4", "etude quarters", "phrases"])
@pytest.mark.parametrize("first", ["1", "3", "10"])
def test_a_take_is_found_wherever_it_starts(first: str, line: str) -> None:
    course, notes, offset = part("1-32", first, line)
    found = place(course, notes)
    assert found.offset == pytest.approx(offset, abs=0.04)
    assert found.sure >= SURE
    assert on_course(course, Heard(tuple(notes), 90), found.offset)[0].bar == course.bar_at(
        float(course.beats_at(notes[0].onset + offset + 0.05))
    )


def test_a_third_of_wrong_notes_does_not_hide_the_place() -> None:
    course, notes, offset = part("1-32", "5", "etude level 2", wrong=0.3)
    found = place(course, notes)
    assert found.offset == pytest.approx(offset, abs=0.04)
    assert found.sure >= SURE


def test_which_time_through_a_loop_is_not_claimed() -> None:
    course, notes, _ = part("A B", "3", "etude level 1", times=4)
    few = notes[:80]
    found = place(course, few)
    assert found.sure >= SURE
    assert found.time_sure < 0.6


@pytest.mark.parametrize("moved", [2, -3, 5])
def test_another_key_is_said(moved: int) -> None:
    course, notes, _ = part("1-32", "1", "etude level 2", moved=moved)
    assert place(course, notes).moved == -moved


def test_notes_at_random_are_found_nowhere() -> None:
    for seed in range(3):
        course, notes, _ = part("1-32", "1", "phrases", wrong=1.0)
        dice = random.Random(seed)
        shuffled = [HeardNote(n.onset, n.end, dice.randrange(50, 76), n.level) for n in notes]
        found = place(course, shuffled)
        assert found.sure < SURE or found.fits < 3


@pytest.mark.parametrize("ratio", [0.7, 0.9, 0.97, 1.15, 1.4])
@pytest.mark.parametrize("line", ["etude level 1", "phrases"])
def test_another_tempo_is_found(ratio: float, line: str) -> None:
    course, notes, _ = part("1-32", "3", line)
    slower = Heard(tuple(notes), 90).at_speed(1 / ratio)
    found = tempo_ratio(course, slower.notes)
    assert found == pytest.approx(ratio, rel=0.004)
    assert place(course, slower.at_speed(found).notes).sure >= SURE


@pytest.mark.parametrize("line", ["etude level 2", "etude quarters", "phrases", "etude triplets"])
def test_a_take_at_the_track_s_tempo_is_left_alone(line: str) -> None:
    for seed in range(3):
        played = performed("corner-booth", 150, line, "1-32", seed=seed)
        course, heard = take_of(played, line, jitter=0.02)
        assert tempo_ratio(course, heard.notes) == 1


def test_too_few_notes_are_never_sure() -> None:
    course, notes, _ = part("1-32", "1", "etude level 1")
    assert place(course, notes[:8]).sure == 0


def test_a_place_that_is_said_holds() -> None:
    """AABA: two bars of it are in two places, and the player says which."""
    course, notes, offset = part("1-32", "9", "etude level 1")
    few = notes[:16]
    assert place(course, few).sure < SURE
    found = place(course, few, around=(offset - 0.6, offset + 0.6))
    assert found.offset == pytest.approx(offset, abs=0.04)
