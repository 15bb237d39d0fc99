"""The level of a track: the gain that brings each of its tempo steps to TARGET_LUFS.

More notes a second are louder: each step of a climb has its own gain, so that a faster step is
faster and nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np

from backing.combo.performance import Performance
from backing.mixdown.loops import Numbers
from backing.mixdown.loudness import HOPS_PER_BLOCK, block_energies, gated_loudness, hop_frames
from backing.mixdown.schedule import sample_of

TARGET_LUFS: Final = -16.0
"""Integrated loudness of a track (AES TD1008, 2021, for music; design target +-0.5 LU)."""
SHORT_SECONDS: Final = 30.0
"""A step up to this length, of which every stroke counts, is measured in the room and limited."""
SPAN_HOPS: Final = 48
"""Hops of a longer step that are measured in one piece."""
MOST_SPANS: Final = 20
"""So many of these pieces are measured, at even distances: 96 s."""
ROOM_LU: Final = 0.08
"""What the room adds to the loudness of a band that is measured without it (0.02 for a bass alone,
0.15 for a piano)."""
RAMP_SECONDS: Final = 0.2
"""The gain moves to that of the next step just before it begins."""


class Span(NamedTuple):
    """A piece of a step to be measured: so many ``hops`` of 0.1 s from frame ``start`` on."""

    step: int
    start: int
    hops: int


@dataclass(frozen=True, slots=True)
class TempoStep:
    """A run of passes at one tempo (bpm), in frames, and the gain that brings it to its level."""

    tempo: float
    start: int
    stop: int
    gain_db: float = 0.0

    def is_short(self, sample_rate: int) -> bool:
        """Whether it is measured in the room and limited."""
        return self.stop - self.start <= SHORT_SECONDS * sample_rate


def steps_of(performance: Performance, length: int, sample_rate: int) -> list[TempoStep]:
    """The runs of passes at one tempo, in frames; what only rings on at the end belongs to none."""
    steps: list[TempoStep] = []
    end = min(length, sample_of(performance.clock.length_seconds, sample_rate))
    for played in performance.passes:
        tempo = float(played.routine_pass.tempo)
        if not steps or steps[-1].tempo != tempo:
            start = sample_of(performance.clock.seconds(played.start), sample_rate)
            if steps:
                steps[-1] = replace(steps[-1], stop=start)
            steps.append(TempoStep(tempo, start, end))
    return steps


def spans(steps: Sequence[TempoStep], sample_rate: int) -> Iterator[Span]:
    """What is measured of the steps, in order: of a long step a part, of any other every hop."""
    hop = hop_frames(sample_rate)
    for index, step in enumerate(steps):
        hops = (step.stop - step.start) // hop
        if step.is_short(sample_rate):
            yield Span(index, step.start, max(hops, HOPS_PER_BLOCK))
            continue
        every = max(SPAN_HOPS, hops // MOST_SPANS)
        for first in range(0, hops, every):
            yield Span(index, step.start + first * hop, min(SPAN_HOPS, hops - first))


def gain_db(energies: Sequence[Numbers], *, dry: bool) -> float:
    """The gain that brings a step to TARGET_LUFS, from the energies of its spans; silence gets 0.

    ``dry``: they were measured without the room.
    """
    z = np.concatenate([block_energies(hops) for hops in energies])
    lufs = gated_loudness(z) + (ROOM_LU if dry else 0.0)
    # in hundredths, so that it hardly ever depends on the last bits of how it was measured
    return round(TARGET_LUFS - lufs, 2) if math.isfinite(lufs) else 0.0


class GainLine:
    """The gains of all steps as one line: straight, with a ramp before each step.

    In a loop the line goes back to where it began, and goes on.
    """

    def __init__(
        self, steps: Sequence[TempoStep], length: int, sample_rate: int, *, circular: bool
    ) -> None:
        self._length = length if circular else None
        ramp = round(RAMP_SECONDS * sample_rate)
        gains = [10 ** (step.gain_db / 20) for step in steps]
        self._frames, self._gains = [steps[0].start], [gains[0]]
        for (before, after), step in zip(pairwise(gains), steps[1:], strict=True):
            self._ramp(step.start, before, after, ramp)
        if circular:
            self._ramp(length, gains[-1], gains[0], ramp)

    def _ramp(self, stop: int, before: float, after: float, frames: int) -> None:
        self._frames += [max(self._frames[-1], stop - frames), stop]
        self._gains += [before, after]

    def at(self, start: int, count: int) -> Numbers | float:
        """The gains of so many frames; a number if it is the same for all."""
        first, last = start, start + count - 1
        if self._length is not None:
            first, last = first % self._length, last % self._length
        ends = np.interp((first, last), self._frames, self._gains)
        straight = last - first == count - 1 and not any(first < x < last for x in self._frames[1:])
        if len(set(self._gains)) == 1 or (straight and ends[0] == ends[1]):
            return float(ends[0])
        frames = np.arange(start, start + count)
        if self._length is not None:
            frames %= self._length
        gains: Numbers = np.interp(frames, self._frames, self._gains)
        return gains
