"""The account of a take: every note, every change, and figures over all. Never a grade."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from backing.take.changes import Crossing, crossings
from backing.take.course import Course
from backing.take.exercise import (
    AlongLine,
    Answer,
    AtTempo,
    along_line,
    answers,
    tempos,
)
from backing.take.grid import on_course
from backing.take.heard import Heard
from backing.take.kinds import JudgedNote, Kind, judged, nearest_tone, spelled
from backing.take.phrases import Phrases, phrases
from backing.take.timing import Timing, timing

FEWEST_IN_BAR = 3
STRANGE, AT_HOME = 0.5, 0.8
"""The parts of a bar's notes that are chord tones where it is in a wrong place, and where it is
in its own."""
FARTHEST_SLIP = 4


@dataclass(frozen=True, slots=True)
class Outside:
    """A note outside its chord: where, which, the chord tone nearest to it, and how it resolved.

    ``bar`` is an index in the course; ``beat`` as it is counted, "3&"; ``goes_to``: the name of
    the note inside that it leads to, "" where it leads nowhere.
    """

    bar: int
    beat: str
    pitch: int
    name: str
    chord: str
    nearest: str
    kind: Kind
    goes_to: str = ""


@dataclass(frozen=True, slots=True)
class Slip:
    """Bars (indexes in the course) that were played ``by`` bars away from where they belong; two
    that changed places are ``swapped``."""

    bars: tuple[int, ...]
    by: int
    swapped: bool = False


@dataclass(frozen=True, slots=True)
class Account:
    """What there is to say of a take.

    ``notes`` are those in the player's bars; shares are of them, from 0 to 1, None where there are
    none to count; ``tones_on`` and ``tones_off``: chord tones on the beat and off it; ``degrees``:
    how many notes are root, third, fifth and seventh (or sixth); ``in_shape``: the share under the
    hand in the position practiced. ``unclear``: how many were not heard well enough to be judged.
    """

    notes: tuple[JudgedNote, ...]
    tones: float | None
    tones_on: float | None
    tones_off: float | None
    kinds: tuple[tuple[Kind, int], ...]
    degrees: tuple[int, int, int, int]
    in_shape: float | None
    outside: tuple[Outside, ...]
    slips: tuple[Slip, ...]
    crossings: tuple[Crossing, ...]
    timing: Timing
    phrases: Phrases
    along: AlongLine | None
    answers: tuple[Answer, ...]
    tempos: tuple[AtTempo, ...]
    unclear: int

    @property
    def unresolved(self) -> tuple[Outside, ...]:
        """The notes outside that lead nowhere."""
        return tuple(note for note in self.outside if note.kind is Kind.UNRESOLVED)

    def crossed(self, way: str) -> int:
        """How many changes are crossed by "step", "held", "leap" or "rest"."""
        return sum(each.way == way for each in self.crossings)


def account(course: Course, heard: Heard, offset: float, *, absolute: bool = False) -> Account:
    """The account of a take whose second 0 is ``offset`` seconds after the start of the course.

    ``absolute``: the offset is known to the millisecond, so that late is late.
    """
    placed = on_course(course, heard, offset)
    every = judged(course, placed, heard)
    mine = tuple(note for note in every if course.bars[note.placed.bar].yours)
    notes = [note.placed for note in mine]
    shaped = [note.in_shape for note in mine if note.in_shape is not None]
    return Account(
        notes=mine,
        tones=_tones(mine),
        tones_on=_tones([note for note in mine if note.placed.slot == "on"]),
        tones_off=_tones([note for note in mine if note.placed.slot == "off"]),
        kinds=tuple(Counter(note.kind for note in mine).most_common()),
        degrees=_degrees(course, mine),
        in_shape=sum(shaped) / len(shaped) if shaped else None,
        outside=tuple(_outside(course, every)),
        slips=tuple(_slips(course, mine)),
        crossings=tuple(crossings(course, notes)),
        timing=timing(course, notes, absolute=absolute),
        phrases=phrases(course, notes, heard),
        along=along_line(course, placed, heard.doubts, offset),
        answers=tuple(answers(course, placed)),
        tempos=tuple(tempos(course, mine)),
        unclear=sum(note.kind is Kind.UNCLEAR for note in mine),
    )


def _tones(notes: Sequence[JudgedNote]) -> float | None:
    counted = [note for note in notes if note.kind is not Kind.UNCLEAR]
    return sum(n.kind is Kind.TONE for n in counted) / len(counted) if counted else None


def _degrees(course: Course, notes: Sequence[JudgedNote]) -> tuple[int, int, int, int]:
    """How many of the chord tones are the first, second, third and fourth of their chord."""
    counts = [0, 0, 0, 0]
    for note in notes:
        if note.kind is Kind.TONE and note.placed.chord is not None:
            tones = course.chords[note.placed.chord].tones
            at = tones.index(note.placed.pitch % 12)
            counts[min(at, 3)] += 1
    return counts[0], counts[1], counts[2], counts[3]


def _outside(course: Course, notes: Sequence[JudgedNote]) -> Iterator[Outside]:
    for note in notes:
        placed = note.placed
        if not (note.kind.leads or note.kind is Kind.UNRESOLVED) or placed.chord is None:
            continue
        if not course.bars[placed.bar].yours:
            continue
        chord = course.chords[placed.chord]
        target = None if note.target is None else notes[note.target].placed
        there = None if target is None or target.chord is None else course.chords[target.chord]
        yield Outside(
            placed.bar,
            placed.counted(course),
            placed.pitch,
            spelled(chord, placed.pitch, target.pitch if target else None),
            chord.symbol,
            spelled(chord, nearest_tone(chord, placed.pitch)),
            note.kind,
            "" if target is None else spelled(there, target.pitch),
        )


def _slips(course: Course, notes: Sequence[JudgedNote]) -> Iterator[Slip]:
    """Bars that don't fit their own chords and clearly fit those of a bar nearby."""
    by_bar: dict[int, list[JudgedNote]] = {}
    for note in notes:
        by_bar.setdefault(note.placed.bar, []).append(note)
    moved = {bar: _away(course, bar, mine) for bar, mine in by_bar.items()}
    done: set[int] = set()
    for bar, by in sorted(moved.items()):
        other = bar + by
        if by and bar not in done and moved.get(other) == -by:
            yield Slip((bar, other), by, swapped=True)
            done |= {bar, other}
    for bar, by in sorted(moved.items()):
        if by and bar not in done:
            run = [bar]
            while moved.get(run[-1] + 1) == by:
                run.append(run[-1] + 1)
            if len(run) > 1:
                yield Slip(tuple(run), by)
            done |= set(run)


def _away(course: Course, bar: int, notes: Sequence[JudgedNote]) -> int:
    """By how many bars the notes of a bar are early or late; 0 where they are at home."""
    if len(notes) < FEWEST_IN_BAR or _share(course, notes, 0.0) > STRANGE:
        return 0
    length = course.bars[bar].beats
    for by in sorted(range(-FARTHEST_SLIP, FARTHEST_SLIP + 1), key=abs):
        inside = 0 <= bar + by < len(course.bars) and course.bars[bar + by].yours
        if by and inside and _share(course, notes, by * length) >= AT_HOME:
            return by
    return 0


def _share(course: Course, notes: Sequence[JudgedNote], beats: float) -> float:
    """The part of notes that are chord tones, or lead to one, so many beats away."""
    fits = 0
    for note in notes:
        at = course.chord_at(note.placed.written + beats + 0.01)
        fits += at is not None and note.placed.pitch % 12 in course.chords[at].tones
    return fits / len(notes)
