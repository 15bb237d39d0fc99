"""Takes of exercises: a line note by note, the answers to calls, the tempos of a climb."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from backing.routine.passes import Purpose
from backing.take.course import CALL, LINE, Course, LineTone
from backing.take.grid import PlacedNote
from backing.take.kinds import JudgedNote

NEAR = 0.3
"""Beats between a note and its place in the line."""
COUNTED = (str(Purpose.COUNT_IN), str(Purpose.REST_BAR))
"""Labels of bars in which nobody calls."""
PLAYS_ALONG = 0.5
"""The part of the line that a take must have for it to be a take of that line."""


@dataclass(frozen=True, slots=True)
class Departure:
    """A place where the take leaves the line: ``eighth`` and ``bar`` of the track, the pitch that
    the line has there, and the one that was ``played`` (None: none)."""

    bar: int
    eighth: int
    wanted: int
    played: int | None


@dataclass(frozen=True, slots=True)
class AlongLine:
    """A take of the line that the track plays: ``right`` of its ``notes``, and the departures."""

    notes: int
    right: int
    departures: tuple[Departure, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer: the first of its bars, how many ``strokes`` the call has, and how many of them
    the answer takes up at the same place of its own bars."""

    bar: int
    strokes: int
    taken_up: int


@dataclass(frozen=True, slots=True)
class AtTempo:
    """A tempo of a climb: its ``notes``, and how many of them are ``outside`` unresolved."""

    tempo: float
    notes: int
    outside: int


def along_line(
    course: Course, notes: Sequence[PlacedNote], doubts: Sequence[float], offset: float
) -> AlongLine | None:
    """The take beside the line; None where there is no line, or the player plays another."""
    if course.kind != LINE or not notes:
        return None
    first, last = notes[0].beat - NEAR, notes[-1].beat + NEAR
    wanted = [tone for tone in course.line if first <= tone.beat <= last]
    pairs = [(tone, _nearest(notes, tone)) for tone in wanted]
    octave = _octave([(tone.pitch, n.pitch) for tone, n in pairs if n is not None])
    right = sum(n is not None and n.pitch - octave == tone.pitch for tone, n in pairs)
    if not wanted or right < PLAYS_ALONG * len(wanted):
        return None
    found = []
    for tone, note in pairs:
        if note is not None and (note.pitch - octave == tone.pitch or not note.clear):
            continue
        seconds = tone.seconds - offset
        if note is None and any(abs(doubt - seconds) < 0.12 for doubt in doubts):
            continue
        eighth = round(2 * tone.beat - 0.15)
        played = None if note is None else note.pitch
        found.append(Departure(course.bar_at(eighth / 2), eighth, tone.pitch + octave, played))
    return AlongLine(len(wanted), right, tuple(found))


def _nearest(notes: Sequence[PlacedNote], tone: LineTone) -> PlacedNote | None:
    near = min(notes, key=lambda note: abs(note.beat - tone.beat))
    return near if abs(near.beat - tone.beat) <= NEAR else None


def _octave(pairs: Sequence[tuple[int, int]]) -> int:
    """The octaves, in half steps, by which the player's instrument differs from the line."""
    moves = Counter(played - wanted for wanted, played in pairs if (played - wanted) % 12 == 0)
    return moves.most_common(1)[0][0] if moves else 0


def answers(course: Course, notes: Sequence[PlacedNote]) -> Iterator[Answer]:
    """The answers to the calls of the track."""
    if course.kind != CALL:
        return
    bars = course.bars
    at = 0
    while at < len(bars):
        if bars[at].yours or bars[at].label in COUNTED:
            at += 1
            continue
        call = at
        while at < len(bars) and not bars[at].yours and bars[at].label not in COUNTED:
            at += 1
        first = at
        while at < len(bars) and bars[at].yours:
            at += 1
        start, end = bars[call].start, bars[first - 1].end
        strokes = {round(2 * (t.beat - start) - 0.15) for t in course.line if start <= t.beat < end}
        if not strokes or first == at:
            continue
        mine = {
            n.eighth - round(2 * bars[first].start) for n in notes if first <= n.bar < at
        }  # fmt: skip
        if mine:
            yield Answer(first, len(strokes), len(strokes & mine))


def tempos(course: Course, notes: Sequence[JudgedNote]) -> Iterator[AtTempo]:
    """The tempos of a climb in order of speed, where there are several."""
    by_tempo: dict[float, list[JudgedNote]] = {}
    for note in notes:
        by_tempo.setdefault(course.bars[note.placed.bar].tempo, []).append(note)
    if len(by_tempo) > 1:
        for tempo, mine in sorted(by_tempo.items()):
            outside = sum(note.kind == "unresolved" for note in mine)
            yield AtTempo(tempo, len(mine), outside)
