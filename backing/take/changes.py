"""How a take goes from chord to chord: from which degree to which, by step, held or by leap."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from backing.take.course import Course
from backing.take.grid import LAST_EIGHTH, PlacedNote
from backing.take.kinds import STEP

AFTER, REST, LONGEST = 1.0, 1.0, 4.0
"""Beats after a change in which its first note begins, of silence that parts the two notes, and
before it in which the last one begins."""


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
    """The crossing of one change. A last eighth that both chords have may be the arrival as well as
    the departure: it is what makes the smaller move."""
    change = course.chords[new].start
    found = [_move(notes, new, change)]
    common = [
        n for n in notes
        if change - LAST_EIGHTH <= n.beat < change - 0.1
        and n.chord == old and n.pitch % 12 in course.chords[new].tones
    ]  # fmt: skip
    if common:
        before = [n for n in notes if n.beat < common[0].beat - 0.01]
        found.append((before[-1], common[0]) if before else None)
    moves = [move for move in found if move is not None]
    if not moves:
        return Crossing(at, new, "rest")
    last, reached = min(moves, key=lambda move: abs(move[1].pitch - move[0].pitch))
    size = reached.pitch - last.pitch
    way = "held" if size == 0 else "step" if abs(size) <= STEP else "leap"
    left = course.chords[old].degree(last.pitch)
    return Crossing(at, new, way, size, left, course.chords[new].degree(reached.pitch))


def _move(
    notes: Sequence[PlacedNote], new: int, change: float
) -> tuple[PlacedNote, PlacedNote] | None:
    """The last note of the old chord and the first of the new one; None where there is a rest."""
    reached = next(
        (n for n in notes if change - 1 < n.beat < change + AFTER - 0.1 and n.chord == new), None
    )
    until = reached.beat if reached else change
    last = next((n for n in reversed(notes) if n.beat < until - 0.01 and n.chord != new), None)
    if last is None or last.beat < change - LONGEST:
        return None
    if reached is None:  # it may sound on into the new chord
        return (last, last) if last.end >= change + 0.5 else None
    return (last, reached) if reached.beat - last.end <= REST else None
