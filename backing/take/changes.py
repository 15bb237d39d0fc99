"""How a take goes from chord to chord: from which degree to which, by step, held or by leap."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from backing.take.course import Course
from backing.take.grid import PlacedNote
from backing.take.kinds import STEP

BEFORE, AFTER = 1.5, 1.0
"""Beats around a change in which its two notes begin."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """A change: ``bar`` and ``chord`` (the one it leads to) are indexes in the course.

    ``way``: "step", "held" (the same pitch), "leap", or "rest" where nobody plays around it;
    ``size``: half steps up (negative: down); ``left`` and ``reached``: degrees in the old chord and
    in the new one, "" for a tone outside.
    """

    bar: int
    chord: int
    way: str
    size: int = 0
    left: str = ""
    reached: str = ""


def crossings(course: Course, notes: Sequence[PlacedNote]) -> Iterator[Crossing]:
    """The changes between the first and the last note, in the player's bars."""
    if not notes:
        return
    for old, new in pairwise(range(len(course.chords))):
        before, after = course.chords[old], course.chords[new]
        at = course.bar_at(after.start + 0.05)
        inside = notes[0].beat <= after.start <= notes[-1].beat
        if not inside or not course.bars[at].yours or after.start - before.end > 0.01:
            continue
        if before.root == after.root and set(before.tones) == set(after.tones):
            continue
        yield _crossing(course, notes, old, new, at)


def _crossing(
    course: Course, notes: Sequence[PlacedNote], old: int, new: int, at: int
) -> Crossing:
    change = course.chords[new].start
    here = [n for n in notes if change - BEFORE - 0.1 <= n.beat < change + AFTER - 0.1]
    reached = next((n for n in here if _belongs(n, new, change)), None)
    left = [n for n in notes if n.beat < (reached.beat if reached else change) - 0.01]
    left = [n for n in left if not _belongs(n, new, change)]
    if not left:
        return Crossing(at, new, "rest")
    last = left[-1]
    if reached is None:
        if last.end >= change + 0.5 and last.beat >= change - 4:
            reached = last  # it sounds on
        else:
            return Crossing(at, new, "rest")
    if reached.beat - last.end > 1.0 or last.beat < change - 4:
        return Crossing(at, new, "rest")
    size = reached.pitch - last.pitch
    way = "held" if size == 0 else "step" if abs(size) <= STEP else "leap"
    return Crossing(
        at,
        new,
        way,
        size,
        course.chords[old].degree(last.pitch),
        course.chords[new].degree(reached.pitch),
    )


def _belongs(note: PlacedNote, chord: int, change: float) -> bool:
    return note.chord == chord and note.beat > change - 1.0
