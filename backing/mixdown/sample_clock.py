"""The notes of a part on the sample clock, to the sample where exact arithmetic puts them.

combo/feel.py says when a note is played, in fractions; a climb has tens of thousands of them.
Here the same is reckoned in floating point, a pass at a time, and wherever a sample could come out
another way (a moment nearly half-way between two samples, or near a change of tempo), that note is
reckoned again in fractions. Nothing is ever a sample off.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from backing.combo.feel import Clock, melodic_lateness_ms
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass

Numbers = npt.NDArray[np.float64]

DOUBT_SAMPLES: Final = 1e-3
"""Nearer to the middle between two samples is reckoned again. The error here is below 1e-5 (2e-6
were measured in nine hours)."""
DOUBT_BEATS: Final = 1e-6
"""Nearer to a change of tempo or swing too."""


class Struck(NamedTuple):
    """A note that begins at sample ``onset`` (negative: before the start), held for ``hold``."""

    onset: int
    hold: int
    note: Note


def struck(performance: Performance, part: str, sample_rate: int) -> Iterator[Struck]:
    """The notes of ``part``, pass by pass, as ``Performance.notes`` has them."""
    tempos = _Tempos(performance.clock)
    known: dict[int, _Columns] = {}
    for played in performance.passes:
        for mine in played.parts:
            if mine.name == part:
                columns = known.get(id(mine))
                if columns is None:
                    columns = known[id(mine)] = _columns(mine)
                yield from _struck(performance, played, columns, tempos, sample_rate)


def sample_of(seconds: Fraction, sample_rate: int) -> int:
    """The sample nearest to an exact time; one that lies between two goes to the later."""
    return (2 * seconds.numerator * sample_rate + seconds.denominator) // (2 * seconds.denominator)


@dataclass(frozen=True, slots=True, eq=False)
class _Columns:
    """The notes of a part, column by column, as they are written."""

    notes: tuple[Note, ...]
    onset: Numbers
    end: Numbers
    swung: npt.NDArray[np.bool_]
    lateness_ms: Numbers
    melodic: npt.NDArray[np.bool_]
    slowest: Numbers
    fastest: Numbers


def _columns(part: Part) -> _Columns:
    notes = part.notes
    return _Columns(
        notes,
        np.array([float(note.onset) for note in notes]),
        np.array([float(note.end) for note in notes]),
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
) -> Iterator[Struck]:
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
    sounds = (columns.slowest <= tempos.tempo[here]) & (tempos.tempo[here] <= columns.fastest)
    rows = zip(
        np.floor(places).astype(int).tolist(),
        np.floor(holds).astype(int).tolist(),
        columns.notes,
        doubtful.tolist(),
        sounds.tolist(),
        strict=True,
    )
    for place, hold, note, doubt, sound in rows:
        if doubt:
            yield from _exactly(performance, played, note, rate)
        elif sound:
            yield Struck(place, hold, note)


def _doubtful(places: Numbers) -> npt.NDArray[np.bool_]:
    return abs(places - np.rint(places)) < DOUBT_SAMPLES


def _exactly(
    performance: Performance, played: PlayedPass, note: Note, rate: int
) -> Iterator[Struck]:
    for exact in performance.in_time((note,), played.start):
        onset = exact.onset
        yield Struck(sample_of(onset, rate), sample_of(exact.end - onset, rate), note)
