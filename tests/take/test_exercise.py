"""Takes of exercises: a line note by note, answers to calls, turns in a trade, a climb's tempos."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

import backing
from backing.combo.performance import Performance
from backing.take.account import Account, account
from backing.take.advice import advise
from backing.take.course import Course, make_course
from backing.take.heard import Heard, HeardNote
from tests.take.playing import ROOT


def track(line: str = "", seed: int = 7, **asked: object) -> tuple[Performance, Course]:
    """A track of a demo tune, and what a take over it is held against."""
    form = backing.read_file(ROOT / "tunes" / "corner-booth.tune")
    routine = backing.make_routine(form, backing.Request(**asked))  # type: ignore[arg-type]
    band = (
        backing.Band(line=backing.read_line(line), seed=seed) if line else backing.Band(seed=seed)
    )
    performance = backing.arrange(routine, band)
    return performance, make_course(routine, performance, band)


def notes_of(performance: Performance) -> list[HeardNote]:
    dice = random.Random(2)
    return [
        HeardNote(float(n.onset) + dice.gauss(0, 0.006), float(n.end), n.note.pitch, 80)
        for n in performance.notes("line")
    ]


def told_of(course: Course, notes: list[HeardNote]) -> Account:
    return account(course, Heard(tuple(notes), course.seconds, exact=True), 0.0)


def test_a_line_is_held_against_the_take_note_by_note() -> None:
    performance, course = track("etude level 2", bars="A", times=1, tempo=140)
    notes = notes_of(performance)
    wrong = [replace(n, pitch=n.pitch + 12 * (i == 10)) for i, n in enumerate(notes)]
    del wrong[20]
    told = told_of(course, wrong)
    assert told.along is not None
    assert (told.along.notes, told.along.right) == (64, 62)
    other, missing = told.along.departures
    assert (other.wanted, other.played) == (notes[10].pitch, notes[10].pitch + 12)
    assert (missing.wanted, missing.played) == (notes[20].pitch, None)
    topics = [fault.topic for fault in advise(course, told).faults]
    assert topics == ["run", "line"]


@pytest.mark.parametrize("octave", [-12, 12])
def test_an_instrument_that_sounds_an_octave_away_plays_the_same_line(octave: int) -> None:
    performance, course = track("etude level 2", bars="A", times=1, tempo=140)
    moved = [replace(n, pitch=n.pitch + octave) for n in notes_of(performance)]
    told = told_of(course, moved)
    assert told.along is not None
    assert told.along.departures == ()


def test_another_line_over_the_track_is_a_solo() -> None:
    _, course = track("etude level 2", bars="A", times=1, tempo=140)
    other, _ = track("etude 8 level 2", bars="A", times=1, tempo=140)
    told = told_of(course, notes_of(other))
    assert told.along is None
    assert advise(course, told).faults == ()


def test_an_answer_is_held_against_the_rhythm_of_its_call() -> None:
    performance, course = track("call on 1&", bars="B", times=1, tempo=140)
    calls = notes_of(performance)
    two_bars = float(course.seconds_at(course.bars[2].start + 8)) - course.bars[2].seconds
    same = [replace(n, onset=n.onset + two_bars, end=n.end + two_bars) for n in calls]
    told = told_of(course, same)
    assert len(told.answers) == 2
    assert all(answer.taken_up == answer.strokes for answer in told.answers)
    beat = 60 / 140
    plain = [
        HeardNote(bar.seconds + at * beat, bar.seconds + (at + 0.9) * beat, 60, 80)
        for bar in course.bars
        if bar.yours
        for at in range(4)
    ]
    told = told_of(course, plain)
    taken = sum(answer.taken_up for answer in told.answers)
    assert taken < sum(answer.strokes for answer in told.answers)


def test_only_your_turns_count_in_a_trade() -> None:
    _, course = track(bars="1-16", times=1, trade="4 drums first", tempo=140)
    mine = [bar.yours for bar in course.bars if bar.label.isdigit()]
    assert mine == [False] * 4 + [True] * 4 + [False] * 4 + [True] * 4
    beat = 60 / 140
    outside = [
        HeardNote(bar.seconds + at * beat, bar.seconds + (at + 0.9) * beat, 61 + 5 * (at % 2), 80)
        for bar in course.bars
        if not bar.yours
        for at in range(4)
    ]
    told = told_of(course, outside)
    assert told.notes == ()
    assert advise(course, told).faults == ()


def test_a_climb_is_told_tempo_by_tempo() -> None:
    performance, course = track("etude level 1", bars="1-4", times=1, climb="100-140:20")
    told = told_of(course, notes_of(performance))
    assert [(each.tempo, each.outside) for each in told.tempos] == [(100, 0), (120, 0), (140, 0)]
    names = {bar.name for bar in course.bars if bar.yours}
    assert "bar 1, at 100 bpm" in {name.replace("1st time ", "") for name in names}
    assert advise(course, told).faults == ()


def test_keys_in_turn_have_their_own_chords() -> None:
    performance, course = track("etude level 2", bars="1-4", times=1, key="C F Bb", tempo=140)
    told = told_of(course, notes_of(performance))
    assert told.unresolved == ()
    assert {chord.symbol for chord in course.chords} > {"Cmaj7", "Fmaj7", "Bbmaj7"}


def test_a_position_is_told_of() -> None:
    performance, course = track("etude level 1 position 5", bars="A", times=1, tempo=140)
    assert course.position == 5
    assert told_of(course, notes_of(performance)).in_shape == 1
    high = [replace(n, pitch=n.pitch + 12) for n in notes_of(performance)]
    share = told_of(course, high).in_shape
    assert share is not None
    assert share < 0.9
