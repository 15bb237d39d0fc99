"""The notes of a part at exact samples, each ended where its key is struck again or it is choked.

``combo/feel.py`` says where in time a note is played. A climb has tens of thousands of notes, so
they are calculated by its formulas in floating point, a pass at a time and column by column.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np
import numpy.typing as npt

from backing.combo.feel import Clock, late_beats, melodic_lateness_ms, swing_place
from backing.combo.instruments import CHOKED_BY, CLOSED_HAT, OPEN_HAT, PEDAL_HAT
from backing.combo.part import Part
from backing.combo.performance import Performance, PlayedPass
from backing.mixdown.loops import BLOCK, Numbers, Samples
from backing.mixdown.soundfont import DRUM_BANK, ChosenPreset

RINGS: Final = 1 << 40
"""A hold without an end."""
ROUNDING_BEATS: Final = 1e-9
"""A moment so near before a beat, or a change of tempo, is on it: sums of floats are inexact."""
ROUNDING_SAMPLES: Final = 1e-6
"""One so near before the middle between two samples goes to the later, as the exact middle."""

_CHOKED_BY = CHOKED_BY | {
    # one pair of cymbals: a stroke ends what is left of any other kind
    CLOSED_HAT: (PEDAL_HAT, OPEN_HAT),
    PEDAL_HAT: (CLOSED_HAT, OPEN_HAT),
}


@dataclass(frozen=True, slots=True, eq=False)
class Schedule:
    """Notes in the order of onsets, column by column, in samples.

    A note is held for ``hold`` (RINGS: without an end), then let go, or ``choked``.
    """

    onset: Samples
    key: Samples
    velocity: Samples
    hold: Samples
    choked: npt.NDArray[np.bool_]


def sample_of(seconds: Fraction, sample_rate: int) -> int:
    """The sample nearest to an exact time; one that lies between two goes to the later."""
    return (2 * seconds.numerator * sample_rate + seconds.denominator) // (2 * seconds.denominator)


def schedule(
    performance: Performance, part: str, preset: ChosenPreset, sample_rate: int, length: int
) -> Schedule:
    """The notes of ``part`` as ``preset`` plays them; a loop is ``length`` samples long.

    Two strokes of a key at one sample are one, the louder. A hold is rounded to blocks, so that
    notes of nearly the same length share their samples: an end moves by at most 0.8 ms.
    """
    onset, hold, pitch, velocity = _struck(performance, part, sample_rate)
    kit, ring = preset.bank == DRUM_BANK, length if performance.circular else None
    if ring is not None:
        onset = onset % ring
    else:
        hold = np.maximum(hold + np.minimum(onset, 0), 0)
        onset = np.maximum(onset, 0)
    hold = np.full_like(hold, RINGS) if kit else _blocks(hold)
    pitches, which = np.unique(pitch, return_inverse=True)
    key = np.array([preset.key(each) for each in pitches.tolist()], np.int64)[which]
    # by onset and key, the loudest first; equals as they come
    order = np.lexsort((-velocity, key, onset))
    onset, key, hold, velocity = onset[order], key[order], hold[order], velocity[order]
    first = np.ones(len(order), bool)
    first[1:] = (np.diff(onset) != 0) | (np.diff(key) != 0)
    choked = np.zeros(np.count_nonzero(first), bool)
    notes = Schedule(onset[first], key[first], velocity[first], hold[first], choked)
    _end_notes(notes, preset, ring, kit=kit)
    return notes


# ---- when notes are played -------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Written:
    """The notes of a part as they are written, column by column."""

    pitch: Numbers
    velocity: Numbers
    onset: Numbers
    end: Numbers
    swung: npt.NDArray[np.bool_]
    melodic: npt.NDArray[np.bool_]
    lateness_ms: Numbers
    slowest: Numbers
    fastest: Numbers


def _written(part: Part) -> _Written:
    rows = [
        (
            note.pitch, note.velocity, float(note.onset), float(note.onset + note.length),
            note.swung, note.melodic, note.lateness_ms, *(note.tempos or (-np.inf, np.inf)),
        )
        for note in part.notes
    ]  # fmt: skip
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    return _Written(*columns)


class _Columns:
    """The tempo stretches of a clock, column by column."""

    def __init__(self, clock: Clock) -> None:
        names = ("start", "seconds", "tempo", "ratio", "grid", "beat_seconds")
        self._columns = {
            name: np.array([float(getattr(each, name)) for each in clock.stretches])
            for name in names
        }
        self._columns["melodic_ms"] = np.array(
            [melodic_lateness_ms(float(s.tempo), True, float(s.ratio)) for s in clock.stretches]
        )

    def at(self, beat: Numbers) -> dict[str, Numbers]:
        """The stretch in which each beat lies."""
        found = np.searchsorted(self._columns["start"] - ROUNDING_BEATS, beat, side="right") - 1
        return {name: column[np.maximum(found, 0)] for name, column in self._columns.items()}

    def swung(self, beat: Numbers, swung: npt.NDArray[np.bool_]) -> Numbers:
        """The beat at which each written beat is played."""
        here = self.at(beat)
        ratio = np.where(swung, here["ratio"], 1.0)
        played: Numbers = here["grid"] + swing_place(beat - here["grid"], ratio)
        return played

    def seconds(self, beat: Numbers) -> Numbers:
        """The time of each played beat."""
        here = self.at(beat)
        return here["seconds"] + (beat - here["start"]) * here["beat_seconds"]


def _struck(performance: Performance, part: str, rate: int) -> Samples:
    """Onset, hold, pitch and velocity of the notes that sound, pass by pass, in four rows.

    An onset before the start is negative.
    """
    stretches = _Columns(performance.clock)
    known: dict[int, _Written] = {}
    found = [np.zeros((4, 0), np.int64)]
    for played in performance.passes:
        for mine in played.parts:
            if mine.name == part and mine.notes:
                if id(mine) not in known:  # the steps of a climb share their parts
                    known[id(mine)] = _written(mine)
                found.append(_played(played, known[id(mine)], stretches, rate))
    return np.concatenate(found, axis=1)


def _played(played: PlayedPass, notes: _Written, stretches: _Columns, rate: int) -> Samples:
    """The notes of a pass, where ``Performance.notes`` has them to the nearest sample."""
    start = float(played.start)
    first, last = start + notes.onset, start + notes.end
    here = stretches.at(first)
    in_beat = first - here["grid"]
    on_beat = abs(in_beat - np.rint(in_beat)) < ROUNDING_BEATS
    late = late_beats(notes.lateness_ms, here["tempo"])
    late = late + notes.melodic * on_beat * late_beats(here["melodic_ms"], here["tempo"])
    onset = stretches.swung(first, notes.swung) + late
    end = np.maximum(onset, stretches.swung(last, notes.swung) + late)
    begins, ends = stretches.seconds(onset), stretches.seconds(end)
    rows = np.stack([_nearest(begins * rate), _nearest((ends - begins) * rate)])
    rows = np.concatenate([rows, [notes.pitch, notes.velocity]])
    sounds = (notes.slowest <= here["tempo"]) & (here["tempo"] <= notes.fastest)
    return rows[:, sounds].astype(np.int64)


def _nearest(samples: Numbers) -> Numbers:
    nearest: Numbers = np.floor(samples + (0.5 + ROUNDING_SAMPLES))
    return nearest


# ---- where notes end -------------------------------------------------------------------------


def _end_notes(notes: Schedule, preset: ChosenPreset, ring: int | None, *, kit: bool) -> None:
    """End each note where its key is struck again or something chokes it, in place."""
    onsets = {key: notes.onset[notes.key == key] for key in dict.fromkeys(notes.key.tolist())}
    for key, mine in onsets.items():
        at = np.flatnonzero(notes.key == key)
        hold, choked = notes.hold[at], np.zeros(len(at), bool)
        again = _next(mine, mine, ring) - mine
        hold = np.where(again < hold, _blocks(again), hold)
        for choker in _CHOKED_BY.get(key, ()) if kit else ():
            chokes = onsets.get(preset.key(choker))
            if chokes is not None:
                stop = _next(chokes, mine, ring) - mine
                choked |= stop < hold
                hold = np.where(stop < hold, _blocks(stop), hold)
        notes.hold[at], notes.choked[at] = hold, choked


def _next(onsets: Samples, after: Samples, ring: int | None) -> Samples:
    """The first of sorted ``onsets`` later than each of ``after``; in a loop the first comes again.

    Where there is none, later than anything.
    """
    then = RINGS if ring is None else onsets[0] + ring
    return np.append(onsets, then + (after.max() if ring is None else 0))[
        np.searchsorted(onsets, after, side="right")
    ]


def _blocks(samples: Samples) -> Samples:
    return (samples + BLOCK // 2) // BLOCK * BLOCK
