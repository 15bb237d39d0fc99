"""How a take goes from chord to chord: from which degree to which, by step, held or by leap."""

from __future__ import annotations

from bisect import bisect_left
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
    beats = [note.beat for note in notes]
    for old, new in pairwise(range(len(course.chords))):
        before, after = course.chords[old], course.chords[new]
        at = course.bar_at(after.start + 0.05)
        inside = notes[0].beat <= after.start <= notes[-1].beat
        if not inside or not course.bars[at].yours or after.start - before.end > 0.01:
            continue
        if before.root == after.root and set(before.tones) == set(after.tones):
            continue
        low = bisect_left(beats, after.start - LONGEST - 1)
        high = bisect_left(beats, after.start + AFTER + 1)
        yield _crossing(course, notes[low:high], old, new, at)


def _crossing(course: Course, notes: Sequence[PlacedNote], old: int, new: int, at: int) -> Crossing:
    """The crossing of one change. A last eighth that goes with the new chord is the arrival if it
    is reached by step, and otherwise whatever makes the smaller move."""
    change = course.chords[new].start
    tones = course.chords[new].tones
    last_eighth = [n for n in notes if change - LAST_EIGHTH <= n.beat < change - 0.1]
    ways = [n.beat for n in last_eighth if n.chord == new]
    ways.append(change - 0.1)
    ways += [n.beat for n in last_eighth if n.chord == old and n.pitch % 12 in tones]
    moves = [_move(notes, arrives, change) for arrives in ways]
    found = [move for move in moves if move is not None]
    if not found:
        return Crossing(at, new, "rest")
    near = [move for move in found if abs(move[1].pitch - move[0].pitch) <= STEP]
    last, reached = next(iter(near), min(found, key=lambda m: abs(m[1].pitch - m[0].pitch)))
    size = reached.pitch - last.pitch
    way = "held" if size == 0 else "step" if abs(size) <= STEP else "leap"
    left = course.chords[old].degree(last.pitch)
    return Crossing(at, new, way, size, left, course.chords[new].degree(reached.pitch))


def _move(
    notes: Sequence[PlacedNote], arrives: float, change: float
) -> tuple[PlacedNote, PlacedNote] | None:
    """The last note before ``arrives`` and the first from there on; None where there is a rest."""
    last = next((n for n in reversed(notes) if n.beat < arrives - 0.01), None)
    if last is None or last.beat < change - LONGEST:
        return None
    until = change + AFTER - 0.1
    reached = next((n for n in notes if arrives - 0.01 <= n.beat < until), None)
    if reached is None:  # it may sound on into the new chord
        return (last, last) if last.end >= change + 0.5 else None
    return (last, reached) if reached.beat - last.end <= REST else None
