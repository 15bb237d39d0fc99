"""Runs, rests and phrases of a take, and what phrases take up from each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from backing.take.course import Course
from backing.take.grid import PlacedNote
from backing.take.heard import Heard

REST = 1.0
"""Beats of silence that end a phrase."""
LONG_RUN = 8
"""The eighths of a run whose end is told of."""
LEFT_OUT = 0.88
"""Beats between two notes with an eighth left out: a beat, less what they may be late and early."""
IN_RUNS, FEWEST_IN_RUNS = 0.9, 32
"""The part of a take's notes in such runs, and how many notes, by which it is an exercise in
unbroken eighths."""
ECHO = 4
"""The notes that must agree for a phrase to take up another."""


@dataclass(frozen=True, slots=True)
class Run:
    """Eighths without a stop: how many ``notes``, from and to which note (indexes)."""

    notes: int
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Break:
    """Where a run stopped: the ``eighth`` of the track that was left out, and its ``bar``."""

    bar: int
    eighth: int


@dataclass(frozen=True, slots=True)
class Phrases:
    """The phrases of a take: how many, how long the middle one is in ``beats``; ``space``: the part
    of the player's bars that is silent; ``echoes``: phrases that take up the rhythm or the line of
    one of the two before. ``longest``: the longest unbroken run of eighths; ``breaks``: where runs
    of LONG_RUN and more stopped; ``unbroken``: nearly all of it is such runs, an exercise.
    """

    count: int
    beats: float
    space: float
    echoes: int
    longest: Run | None
    breaks: tuple[Break, ...]
    unbroken: bool = False


def phrases(course: Course, notes: Sequence[PlacedNote], heard: Heard) -> Phrases:
    """The phrases of the notes in the player's bars."""
    if not notes:
        return Phrases(0, 0.0, 1.0, 0, None, ())
    parts = list(_parts(notes))
    runs = list(_runs(notes))
    running = sum(run.notes for run in runs if run.notes >= LONG_RUN)
    return Phrases(
        len(parts),
        median([part[-1].end - part[0].beat for part in parts]),
        _space(course, notes),
        _echoes(parts),
        max(runs, key=lambda run: run.notes),
        tuple(_breaks(course, notes, runs, heard)),
        len(notes) >= FEWEST_IN_RUNS and running >= IN_RUNS * len(notes),
    )


def _parts(notes: Sequence[PlacedNote]) -> Iterator[list[PlacedNote]]:
    part = [notes[0]]
    for before, after in pairwise(notes):
        if after.beat - before.end >= REST or after.eighth - before.eighth > 8:
            yield part
            part = []
        part.append(after)
    yield part


def _space(course: Course, notes: Sequence[PlacedNote]) -> float:
    """The silent part of the player's bars from the first to the last that has a note."""
    bars = course.bars[notes[0].bar : notes[-1].bar + 1]
    mine = sum(bar.beats for bar in bars if bar.yours)
    sounding = 0.0
    for note, following in zip(notes, [*notes[1:], None], strict=True):
        until = min(note.end, following.beat) if following else note.end
        sounding += max(0.0, until - note.beat)
    return max(0.0, 1 - sounding / mine) if mine else 1.0


def _echoes(parts: Sequence[Sequence[PlacedNote]]) -> int:
    count = 0
    for at, part in enumerate(parts):
        if any(_alike(part, other) for other in parts[max(0, at - 2) : at]):
            count += 1
    return count


def _alike(one: Sequence[PlacedNote], other: Sequence[PlacedNote]) -> bool:
    """Whether two phrases begin with the same rhythm that is more than even eighths, or with the
    same intervals."""
    if min(len(one), len(other)) < ECHO:
        return False
    size = min(len(one), len(other), 6)
    rhythms = [[b.eighth - a.eighth for a, b in pairwise(p[:size])] for p in (one, other)]
    intervals = [[b.pitch - a.pitch for a, b in pairwise(p[:size])] for p in (one, other)]
    varied = len(set(rhythms[0])) > 1
    return (varied and rhythms[0] == rhythms[1]) or intervals[0] == intervals[1]


def _runs(notes: Sequence[PlacedNote]) -> Iterator[Run]:
    first = 0
    for at in range(1, len(notes) + 1):
        if at == len(notes) or _apart(notes[at - 1], notes[at]):
            yield Run(at - first, first, at - 1)
            first = at


def _apart(note: PlacedNote, following: PlacedNote) -> bool:
    """Whether an eighth is left out between two notes, wherever in their eighths they stand."""
    return following.eighth - note.eighth > 1 and following.beat - note.beat >= LEFT_OUT


def _breaks(
    course: Course, notes: Sequence[PlacedNote], runs: Sequence[Run], heard: Heard
) -> Iterator[Break]:
    """Where runs of LONG_RUN notes and more stop before the take does: not where the player's turn
    ends, nor where a note may have been missed."""
    for run in runs[:-1]:
        last, following = notes[run.last], notes[run.last + 1]
        missing = last.eighth + 1
        at = course.bar_at(missing / 2)
        over = missing / 2 >= course.bars[-1].end
        if run.notes < LONG_RUN or over or not course.bars[at].yours:
            continue
        if heard.exact or _silent(last, following, heard):
            yield Break(at, missing)


def _silent(last: PlacedNote, following: PlacedNote, heard: Heard) -> bool:
    """Whether a stop between two notes was heard as one: of one eighth the silence, too."""
    first, until = last.note.onset + 0.02, following.note.onset - 0.02
    if any(first < doubt < until for doubt in heard.doubts):
        return False
    let_go = last.end < (last.eighth + 1) / 2 + 0.2
    return (let_go and heard.clean) or following.eighth - last.eighth > 2
