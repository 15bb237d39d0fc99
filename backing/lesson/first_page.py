"""The first page of a folder: what to do, in what order, for how long, in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from backing.errors import how_many
from backing.lesson.lesson_file import Lesson, Student
from backing.lesson.week import MINUTES_A_DAY

QUIETLY = "Keep headphones at a level you can talk over, and stop when a hand hurts."
RIGHTS = "These files are for your own practice; rights in the tunes are their owners'."
GIG_RIGHTS = "Rights in the tunes are their owners'."


@dataclass(frozen=True, slots=True)
class Entry:
    """A task on the page: its ``number``, what it is, ``facts`` (tempos, key), the word to the
    student, its turn in ``minutes`` (0: it has none), and its ``tracks`` by name and length (0: it
    has that of the one before)."""

    number: str
    what: str
    facts: str
    say: str
    minutes: float
    tracks: Sequence[tuple[str, float]] = ()


def first_page(
    lesson: Lesson,
    student: Student,
    entries: Sequence[Entry],
    others: Sequence[str],
    made: str,
    *,
    paper: str = "a4",
    large: bool = False,
) -> dict[str, Any]:
    """The content of first_page.typ.

    ``others``: sentences about the files that are no tracks; ``made``: the program and its command;
    ``paper``: in the words of a sheet; ``large``: in large print, as its sheets are.
    """
    gig = lesson.set_list
    dates = [f"from {lesson.starts}"] * bool(lesson.starts) + [f"due {student.due}"] * bool(
        student.due
    )
    return {
        "title": lesson.title,
        "name": student.name,
        "dates": ", ".join(filter(None, dates)),
        "say": student.say,
        "how": [*(_set(entries) if gig else _how(student, entries))],
        "entries": [
            {
                "number": each.number,
                "what": each.what,
                "facts": ", ".join(filter(None, (each.facts, minutes(each.minutes)))),
                "say": each.say,
                "tracks": [
                    f"{name} ({clock(seconds)})" if seconds else name
                    for name, seconds in each.tracks
                ],
            }
            for each in entries
        ],
        "others": [*others],
        "cautions": [QUIETLY, GIG_RIGHTS if gig else RIGHTS],
        "made": made,
        "large": large,
        "paper": {"letter": "us-letter"}.get(paper.strip().lower(), "a4"),  # Typst's names
    }


def _how(student: Student, entries: Sequence[Entry]) -> Iterator[str]:
    """How to go about it; common practice (no source) but for the turns: see week."""
    day, total = student.minutes or MINUTES_A_DAY, sum(each.minutes for each in entries)
    yield (
        f"{day:g} minutes a day, with the tasks in turn: a few minutes at one, as it says, then "
        "the next, even if it isn't done. It sticks better that way."
    )
    if total > day:
        yield "They don't all fit in one day: tomorrow begin where you stopped."
    elif total <= day - min((each.minutes for each in entries), default=day):
        yield "When you have done them all, start again at the first until the time is up."
    yield (
        "Put the instrument down for half a minute between two tasks, and for ten minutes after "
        "half an hour. Slow is not a lesser way to play: a tempo is yours when it goes well twice "
        "in a row."
    )


def _set(entries: Sequence[Entry]) -> Iterator[str]:
    length = sum(seconds for each in entries for _, seconds in each.tracks)
    yield f"{how_many(len(entries), 'tune')}, {clock(length)} in all, in this order."


def minutes(count: float) -> str:
    """A turn in words; nothing for none."""
    return f"{count:g} minute{'s' * (count != 1)}" if count else ""


def clock(seconds: float) -> str:
    """A length as players show it, "2:05"."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02}"
