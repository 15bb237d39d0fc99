"""The notes of a part on the sample clock, to the sample where exact arithmetic puts them.

combo/feel.py says when a note is played, in fractions; a climb has tens of thousands of them.
Here the same is reckoned in floating point, a pass at a time, and wherever a sample could come out
another way (a moment nearly half-way between two samples, or near a change of tempo), that note is
reckoned again in fractions. Nothing is ever a sample off.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np
import numpy.typing as npt

from backing.combo.feel import Clock, melodic_lateness_ms
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass

Numbers = npt.NDArray[np.float64]
Samples = npt.NDArray[np.int64]

DOUBT_SAMPLES: Final = 1e-3
"""Nearer to the middle between two samples is reckoned again. The error here is below 1e-5 (2e-6
were measured in nine hours)."""
DOUBT_BEATS: Final = 1e-6
"""Nearer to a change of tempo or swing too."""


@dataclass(frozen=True, slots=True, eq=False)
class Strokes:
    """The notes of a part, column by column, pass by pass.

    A note begins at sample ``onset`` (negative: before the start) and is held for ``hold``.
    """

    onset: Samples
    hold: Samples
    pitch: Samples
    velocity: Samples


def strokes(performance: Performance, part: str, sample_rate: int) -> Strokes:
    """The notes of ``part`` where ``Performance.notes`` has them."""
    tempos = _Tempos(performance.clock)
    known: dict[int, _Columns] = {}
    found: list[Samples] = []
    for played in performance.passes:
        for mine in played.parts:
            if mine.name == part and mine.notes:
                columns = known.get(id(mine))
                if columns is None:
                    columns = known[id(mine)] = _columns(mine)
                found.append(_struck(performance, played, columns, tempos, sample_rate))
    return Strokes(*np.concatenate(found, axis=1) if found else np.zeros((4, 0), np.int64))


def sample_of(seconds: Fraction, sample_rate: int) -> int:
    """The sample nearest to an exact time; one that lies between two goes to the later."""
    return (2 * seconds.numerator * sample_rate + seconds.denominator) // (2 * seconds.denominator)


@dataclass(frozen=True, slots=True, eq=False)
class _Columns:
    """The notes of a part, column by column, as they are written."""

    notes: tuple[Note, ...]
    pitch: Numbers
    velocity: Numbers
    onset: Numbers
    end: Numbers
    swung: npt.NDArray[np.bool_]
    lateness_ms: Numbers
    melodic: npt.NDArray[np.bool_]
    slowest: Numbers
    fastest: Numbers


def _columns(part: Part) -> _Columns:
    notes = part.notes
    onset = np.array([float(note.onset) for note in notes])
    return _Columns(
        notes,
        np.array([note.pitch for note in notes], float),
        np.array([note.velocity for note in notes], float),
        onset,
        onset + [float(note.length) for note in notes],
        np.array([note.swung for note in notes], bool),
        # to the thousandth, as the clock has it
        np.rint([note.lateness_ms * 1000 for note in notes]) / 1000,
        np.array([note.melodic for note in notes], bool),
        np.array([note.tempos[0] if note.tempos else -np.inf for note in notes]),
        np.array([note.tempos[1] if note.tempos else np.inf for note in notes]),
    )


class _Tempos:
    """The stretches of a clock, column by column."""

    def __init__(self, clock: Clock) -> None:
        stretches = clock.stretches
        self.clock = clock
        self.start = np.array([float(each.start) for each in stretches])
        self.seconds = np.array([float(each.seconds) for each in stretches])
        self.tempo = np.array([float(each.tempo) for each in stretches])
        self.ratio = np.array([float(each.ratio) for each in stretches])
        self.grid = np.array([float(each.grid) for each in stretches])
        # how late a line is on the beat
        self.melodic_ms = np.array(
            [melodic_lateness_ms(float(s.tempo), True, float(s.ratio)) for s in stretches]
        )

    def at(self, beat: Numbers) -> npt.NDArray[np.intp]:
        """The stretch in which each beat lies."""
        return np.maximum(np.searchsorted(self.start, beat, side="right") - 1, 0)

    def near_change(self, beat: Numbers) -> npt.NDArray[np.bool_]:
        """Whether a beat lies so near to the border of its stretch that it may be in another."""
        at = np.searchsorted(self.start, beat)
        after = self.start[np.minimum(at, len(self.start) - 1)]
        before = self.start[np.maximum(at - 1, 0)]
        near: npt.NDArray[np.bool_] = np.minimum(abs(beat - after), abs(beat - before)) < (
            DOUBT_BEATS
        )
        return near

    def swing(self, beat: Numbers) -> Numbers:
        """The beat at which each written beat is played (see ``feel.swing_place``)."""
        at = self.at(beat)
        off = self.ratio[at] / (self.ratio[at] + 1)
        place = beat - self.grid[at]
        inside = place - np.floor(place)
        late = off + (inside - 0.5) * 2 * (1 - off)
        moved: Numbers = beat - inside + np.where(inside <= 0.5, inside * 2 * off, late)
        return moved

    def time(self, beat: Numbers) -> Numbers:
        """The time of each played beat, in seconds."""
        at = self.at(beat)
        time: Numbers = self.seconds[at] + (beat - self.start[at]) * 60 / self.tempo[at]
        return time


def _struck(
    performance: Performance, played: PlayedPass, columns: _Columns, tempos: _Tempos, rate: int
) -> Samples:
    """Onset, hold, pitch and velocity of the notes of a pass that sound, in four rows."""
    start = float(played.start)
    first, last = start + columns.onset, start + columns.end
    here = tempos.at(first)
    beats_a_ms = tempos.tempo[here] / 60_000
    on_beat = first - tempos.grid[here]
    on_beat = abs(on_beat - np.rint(on_beat)) < DOUBT_BEATS
    late = columns.lateness_ms + np.where(columns.melodic & on_beat, tempos.melodic_ms[here], 0.0)
    late *= beats_a_ms
    onset = np.where(columns.swung, tempos.swing(first), first) + late
    end = np.where(columns.swung, tempos.swing(last), last) + late
    end = np.maximum(onset, end)
    begins, ends = tempos.time(onset), tempos.time(end)
    places, holds = begins * rate + 0.5, (ends - begins) * rate + 0.5
    doubtful = _doubtful(places) | _doubtful(holds)
    for beat in (first, last, onset, end):
        doubtful |= tempos.near_change(beat)
    rows = np.stack([np.floor(places), np.floor(holds), columns.pitch, columns.velocity])
    tempo = tempos.tempo[here]
    sounds = (columns.slowest <= tempo) & (tempo <= columns.fastest)
    for at in np.flatnonzero(doubtful).tolist():
        exact = next(performance.in_time(columns.notes[at : at + 1], played.start), None)
        sounds[at] = exact is not None
        if exact is not None:
            begin = exact.onset
            rows[0, at] = sample_of(begin, rate)
            rows[1, at] = sample_of(exact.end - begin, rate)
    return rows[:, sounds].astype(np.int64)


def _doubtful(places: Numbers) -> npt.NDArray[np.bool_]:
    return abs(places - np.rint(places)) < DOUBT_SAMPLES
