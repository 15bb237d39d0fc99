"""What each note is in its chord, and how the ones outside it resolve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from backing.chart.pitch import PitchName
from backing.take.course import Course, CourseChord
from backing.take.grid import PlacedNote
from backing.take.heard import Heard

STEP = 2
"""Half steps: a step is one or two of them."""
LONGEST_CHAIN = 3
"""Notes in a row outside the chord that may lead to one note inside."""
HELD = 0.9
"""Beats from which a note is meant, whatever comes after it."""
SOON = 2.0
"""Beats within which a note has to resolve."""


class Kind(StrEnum):
    """What a note is in its chord: inside it, leading there by step, or outside and left there."""

    TONE = "chord tone"
    TENSION = "tension"
    APPROACH = "approach"
    PASSING = "passing"
    ENCLOSURE = "enclosure"
    UNRESOLVED = "unresolved"
    UNCLEAR = "unclear"

    @property
    def inside(self) -> bool:
        """Whether it is of the chord."""
        return self in (Kind.TONE, Kind.TENSION)

    @property
    def leads(self) -> bool:
        """Whether it is outside, and resolves by step."""
        return self in (Kind.APPROACH, Kind.PASSING, Kind.ENCLOSURE)


@dataclass(frozen=True, slots=True)
class JudgedNote:
    """A note and what it is; ``target``: the index of the note it leads to, if it does.

    ``in_shape``: whether it lies under the hand in the position practiced; None without one.
    """

    placed: PlacedNote
    kind: Kind
    target: int | None = None
    in_shape: bool | None = None


def judged(course: Course, notes: Sequence[PlacedNote], heard: Heard) -> tuple[JudgedNote, ...]:
    """Notes in order of time, each with its kind.

    None is called unresolved whose resolution may have been missed.
    """
    return tuple(_judge(course, notes, at, heard) for at in range(len(notes)))


def _judge(course: Course, notes: Sequence[PlacedNote], at: int, heard: Heard) -> JudgedNote:
    note = notes[at]
    if note.chord is None:
        return JudgedNote(note, Kind.UNCLEAR)
    chord = course.chords[note.chord]
    shape = _in_shape(chord, note.pitch)
    if note.pitch % 12 in chord.tones:
        return JudgedNote(note, Kind.TONE, None, shape)
    if note.pitch % 12 in chord.tensions:
        return JudgedNote(note, Kind.TENSION, None, shape)
    end = _resolution(course, notes, at)
    if end is not None:
        return JudgedNote(note, _leading(notes, at, end), end, shape)
    over = at + 1 == len(notes)  # where it leads isn't in the recording
    if over or not note.clear or _doubtful(note, notes[at + 1], heard):
        return JudgedNote(note, Kind.UNCLEAR, None, shape)
    return JudgedNote(note, Kind.UNRESOLVED, None, shape)


def _inside(course: Course, note: PlacedNote) -> bool:
    if note.chord is None:
        return False
    chord = course.chords[note.chord]
    return note.pitch % 12 in (*chord.tones, *chord.tensions)


def _resolution(
    course: Course, notes: Sequence[PlacedNote], at: int, left: int = LONGEST_CHAIN
) -> int | None:
    """The note inside its chord to which the one at ``at`` leads by steps; None if to none."""
    if at + 1 >= len(notes) or not left:
        return None
    before, after = notes[at], notes[at + 1]
    if after.beat - before.end > 1 or after.beat - before.beat > SOON:
        return None
    if _around(course, notes, at):
        return at + 2
    if not 1 <= abs(after.pitch - before.pitch) <= STEP:
        return None
    return at + 1 if _inside(course, after) else _resolution(course, notes, at + 1, left - 1)


def _around(course: Course, notes: Sequence[PlacedNote], at: int) -> bool:
    """Whether this note and the next lie on both sides, by step, of the one after, a chord tone."""
    if at + 2 >= len(notes):
        return False
    one, other, target = (notes[n].pitch for n in (at, at + 1, at + 2))
    sides = (one - target) * (other - target) < 0
    near = max(abs(one - target), abs(other - target)) <= STEP
    soon = notes[at + 2].beat - notes[at].beat <= SOON
    return sides and near and soon and _inside(course, notes[at + 2])


def _leading(notes: Sequence[PlacedNote], at: int, end: int) -> Kind:
    """How a note that resolves leads there."""
    pitch, target = notes[at].pitch, notes[end].pitch
    for other in (at - 1, at + 1):
        if 0 <= other < end and other != at and end - min(at, other) == 2:
            across = (notes[other].pitch - target) * (pitch - target) < 0
            if across and abs(notes[other].pitch - target) <= STEP:
                return Kind.ENCLOSURE
    if at > 0 and notes[at].beat - notes[at - 1].beat <= SOON:
        came, goes = pitch - notes[at - 1].pitch, notes[at + 1].pitch - pitch
        if came * goes > 0 and abs(came) <= STEP and abs(goes) <= STEP:
            return Kind.PASSING
    return Kind.APPROACH


def _doubtful(note: PlacedNote, following: PlacedNote, heard: Heard) -> bool:
    """Whether a note may have been missed between this one and the next, or this one misheard.

    In a recording a short note before a gap may lead to one that was too soft to be heard.
    """
    if heard.exact:
        return False
    gap = following.eighth - note.eighth > 1 and note.end - note.beat < HELD
    first, last = note.note.onset - 0.02, min(following.note.onset, note.note.end + 1)
    return gap or not following.clear or any(first <= doubt <= last for doubt in heard.doubts)


def _in_shape(chord: CourseChord, pitch: int) -> bool | None:
    if not chord.reach:
        return None
    return pitch in (chord.shape if pitch % 12 in chord.tones else chord.reach)


def nearest_tone(chord: CourseChord, pitch: int) -> int:
    """The chord tone nearest to a MIDI pitch, the lower one of two."""
    return min(
        (pitch + n for n in range(-6, 7) if (pitch + n) % 12 in chord.tones),
        key=lambda other: (abs(other - pitch), other),
    )


def spelled(chord: CourseChord | None, pitch: int, following: int | None = None) -> str:
    """The name of a MIDI pitch over a chord; outside it, as a step to the one that follows."""
    if chord is not None and chord.name(pitch):
        return chord.name(pitch)
    sharp = following is not None and following > pitch
    names = [PitchName.of_fifths(fifths) for fifths in (range(-1, 11) if sharp else range(-6, 6))]
    return next(name.pretty for name in names if name.pitch_class == pitch % 12)
