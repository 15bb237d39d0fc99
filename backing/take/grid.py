"""The notes of a take in the bars: which eighth each stands on, and which chord it belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, inf
from statistics import median
from typing import Literal

from backing.take.course import Course, CourseBar
from backing.take.heard import Heard, HeardNote

Slot = Literal["on", "off", "other"]
LAST_EIGHTH = 0.6
"""Beats before a change in which a note may belong to the chord that comes: a swung or an even
eighth, and a little."""
SURE = 0.6
"""How clearly a note must be heard to be judged."""
GHOST_DB, LEAKED_DB = 12.0, 6.0
"""dB below the middle note: one that is hardly touched isn't judged, nor one that may be the
band's."""
BETWEEN_CENTS = 38.0
"""A note this far from its pitch may as well be the next one."""


@dataclass(frozen=True, slots=True)
class PlacedNote:
    """A note on the course.

    ``beat`` and ``end`` in played beats of the track; ``slot``: on the beat, on its off-beat, or
    one of three and more in a beat; ``eighth``: the number of the eighth it stands on, from the
    track's start; ``bar`` and ``chord``: indexes in the course, the chord that it belongs to (None
    where there is none); ``early``: it belongs to a chord that comes after it. ``late_ms``: how far
    behind its place, the band's off-beat for one off the beat; None for other places. ``clear``: it
    was heard well enough to be judged.
    """

    note: HeardNote
    beat: float
    end: float
    slot: Slot
    eighth: int
    bar: int
    chord: int | None
    early: bool = False
    late_ms: float | None = None
    clear: bool = True

    @property
    def pitch(self) -> int:
        """The MIDI number."""
        return self.note.pitch

    @property
    def written(self) -> float:
        """The beat it stands on, as written in even eighths."""
        return self.eighth / 2

    def counted(self, course: Course) -> str:
        """The place in the bar as it is counted: "3" or "3&"."""
        return counted(self.eighth, course.bars[self.bar])


def counted(eighth: int, bar: CourseBar) -> str:
    """An eighth of the track as it is counted in its bar: "3" or "3&"."""
    inside = eighth / 2 - bar.start
    return f"{floor(inside + 1e-6) + 1}{'&' if inside % 1 > 0.25 else ''}"


def on_course(course: Course, heard: Heard, offset: float) -> tuple[PlacedNote, ...]:
    """The notes that lie on the course, which the recording meets at ``offset`` seconds."""
    notes = heard.notes
    usual = median([note.level for note in notes]) if notes else 0.0
    ghost = GHOST_DB if heard.clean else LEAKED_DB
    quietest = -inf if heard.exact else usual - ghost
    beats = course.beats_at([note.onset + offset for note in notes])
    ends = course.beats_at([note.end + offset for note in notes])
    crowd = _crowd([float(beat) for beat in beats], course)
    placed = []
    for note, beat, end in zip(notes, map(float, beats), map(float, ends), strict=True):
        if not course.bars[0].start - 0.3 <= beat < course.bars[-1].end:
            continue
        placed.append(_placed(course, note, (beat, end), crowd, quietest))
    return tuple(placed)


def _crowd(beats: Sequence[float], course: Course) -> dict[int, int]:
    """How many notes each beat has."""
    found: dict[int, int] = {}
    for beat in beats:
        bar = course.bars[course.bar_at(beat)]
        at = _eighth(beat, bar) // 2
        found[at] = found.get(at, 0) + 1
    return found


def _eighth(beat: float, bar: CourseBar) -> int:
    """The number of the eighth that a played beat is nearest to; borders lie halfway."""
    inside = beat - bar.start
    off = bar.swing / (bar.swing + 1)
    whole, part = floor(inside), inside % 1
    step = 0 if part < off / 2 else 1 if part < (1 + off) / 2 else 2
    return round(2 * bar.start) + 2 * whole + step


def _placed(
    course: Course,
    note: HeardNote,
    sounds: tuple[float, float],
    crowd: dict[int, int],
    quietest: float,
) -> PlacedNote:
    beat, end = sounds
    bar = course.bars[course.bar_at(beat)]
    eighth = _eighth(beat, bar)
    at = course.bar_at(eighth / 2)
    bar = course.bars[at]
    on = (eighth - round(2 * bar.start)) % 2 == 0
    slot: Slot = "other" if crowd.get(eighth // 2, 0) > 2 else "on" if on else "off"
    off = bar.swing / (bar.swing + 1)
    place = eighth / 2 if on else eighth / 2 - 0.5 + off
    late = (beat - place) * 60_000 / bar.tempo
    chord, early = _chord(course, note.pitch, eighth / 2 if on else beat)
    return PlacedNote(
        note,
        beat,
        end,
        slot,
        eighth,
        at,
        chord,
        early,
        None if slot == "other" else late,
        note.sure >= SURE and abs(note.cents) < BETWEEN_CENTS and note.level >= quietest,
    )


def _chord(course: Course, pitch: int, beat: float) -> tuple[int | None, bool]:
    """The chord a note belongs to, and whether it comes after the note."""
    at = course.chord_at(beat)
    coming = course.chord_at(beat + LAST_EIGHTH)
    if at is None or coming is None or coming == at:
        return at, False
    here, there = course.chords[at], course.chords[coming]
    tone = pitch % 12
    better = tone in there.tones and tone not in here.tones
    rescued = tone in there.tensions and tone not in (*here.tones, *here.tensions)
    return (coming, True) if better or rescued else (at, False)
