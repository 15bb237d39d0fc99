"""Faults planted in takes that are recorded and heard: each is found, and nothing else claimed."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import soundfile

from backing.take.account import Account, account
from backing.take.advice import Advice, advise
from backing.take.course import Course
from backing.take.hearing import hear
from backing.take.placing import SURE, place, tempo_ratio
from tests.mixdown.band import built_in_soundfont
from tests.take.playing import (
    RATE,
    Struck,
    band_sound,
    course_for,
    line_of,
    mixed,
    performed,
    solo_sound,
)

FONT = built_in_soundfont().path
PLAYED = ("corner-booth", 140, "etude level 1", "1-16")
BAR = 4 * 60 / 140
Fault = Callable[[list[Struck]], list[Struck]]


def bar_of(note: Struck) -> int:
    return int((note.onset - 2 * BAR + 0.08) / BAR) + 1


def perfect(notes: list[Struck]) -> list[Struck]:
    return notes


def one_outside(notes: list[Struck]) -> list[Struck]:
    """The third note of bar 9 a half step too high."""
    at = [n for n, note in enumerate(notes) if bar_of(note) == 9][2]
    return [replace(n, pitch=n.pitch + (i == at)) for i, n in enumerate(notes)]


def rush(notes: list[Struck]) -> list[Struck]:
    """Bar 9 comes 40 ms early."""
    return [
        replace(n, onset=n.onset - 0.04, end=n.end - 0.04) if bar_of(n) == 9 else n for n in notes
    ]


def broken(notes: list[Struck]) -> list[Struck]:
    """Three eighths of bar 6 are missing."""
    at = [n for n, note in enumerate(notes) if bar_of(note) == 6][3]
    return [n for i, n in enumerate(notes) if not at <= i < at + 3]


def swapped(notes: list[Struck]) -> list[Struck]:
    """Bars 5 and 6 the other way round."""
    by = {5: BAR, 6: -BAR}
    moved = [
        replace(n, onset=n.onset + by.get(bar_of(n), 0), end=n.end + by.get(bar_of(n), 0))
        for n in notes
    ]
    return sorted(moved, key=lambda n: n.onset)


def from_bar_3(notes: list[Struck]) -> list[Struck]:
    return [n for n in notes if bar_of(n) >= 3]


def recorded(
    folder: Path, fault: Fault, program: int = 26, band: float | None = None
) -> tuple[Course, Account, Advice]:
    """A human take (within 6 ms) with a fault, recorded from a moment before its first note."""
    played = performed(*PLAYED)
    dice = random.Random(5)
    even = [replace(n, onset=n.onset + dice.gauss(0, 0.006)) for n in line_of(played)]
    notes = fault(even)
    start = notes[0].onset - 0.7
    moved = [replace(n, onset=n.onset - start, end=n.end - start) for n in notes]
    sound = solo_sound(moved, program, moved[-1].end + 1.2, FONT)
    if band is not None:
        sound = mixed(sound, band_sound(played, FONT)[int(start * RATE) :], band)
    soundfile.write(folder / "take.wav", sound, RATE)
    heard = hear(folder / "take.wav")
    course = course_for(played)
    assert tempo_ratio(course, heard.notes) == 1
    found = place(course, heard.notes)
    assert found.sure >= SURE
    assert found.offset == pytest.approx(start, abs=0.06)
    told = account(course, heard, found.offset)
    return course, told, advise(course, told)


def bars_of(course: Course, advice: Advice) -> list[list[str]]:
    return [[course.bars[at].label for at in fault.bars] for fault in advice.faults]


@pytest.mark.parametrize(
    ("fault", "topics", "bars"),
    [
        (perfect, [], []),
        (one_outside, ["notes"], [["9"]]),
        (rush, ["time"], [["9"]]),
        (broken, ["run"], [["6"]]),
        (swapped, ["place"], [["5", "6"]]),
        (from_bar_3, [], []),
    ],
)
@pytest.mark.parametrize("program", [26, 66], ids=["guitar", "sax"])
def test_a_fault_is_found_and_nothing_else(
    fault: Fault, topics: list[str], bars: list[list[str]], program: int, tmp_path: Path
) -> None:
    course, told, advice = recorded(tmp_path, fault, program)
    assert [each.topic for each in advice.faults] == topics
    assert bars_of(course, advice) == bars
    first = course.bars[told.notes[0].placed.bar]
    assert first.label == ("3" if fault is from_bar_3 else "1")


@pytest.mark.parametrize("fault", [perfect, one_outside])
def test_the_same_with_the_band_in_the_room(fault: Fault, tmp_path: Path) -> None:
    course, _, advice = recorded(tmp_path, fault, band=-20)
    assert [each.topic for each in advice.faults] == ["notes"] * (fault is one_outside)
    assert bars_of(course, advice) == [["9"]] * (fault is one_outside)


def test_the_sentences_say_where_and_what(tmp_path: Path) -> None:
    _, told, advice = recorded(tmp_path, one_outside)
    assert advice.sentences[0] == (
        f"One note left the chord and led nowhere: {told.unresolved[0].name} on 2 of bar 9, "
        "over Fmaj7; the nearest chord tone is F."
    )
    assert advice.loop == "8-9"
    assert len(advice.sentences) == 3


def test_a_rush_is_told_in_its_size(tmp_path: Path) -> None:
    _, told, _ = recorded(tmp_path, rush)
    (shift,) = told.timing.shifts
    assert shift.ms == pytest.approx(-40, abs=8)
