"""The level of a track: what gain brings each of its steps to TARGET_LUFS, as it becomes known.

More notes a second are louder: each step of a climb has its own gain, so that a faster step is
faster and nothing else. A step is heard from end to end, or if it is long, here and there in gating
blocks of BS.1770 that lie all over it: as it passes by, unless it is too long to be kept until its
gain is known; then beforehand. A short step, of which every stroke counts, is heard beforehand too,
by itself, in the room and under the ceiling.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from backing.combo.performance import Performance
from backing.mixdown.loudness import (
    HOPS_PER_BLOCK,
    Audio,
    Numbers,
    block_energies,
    gated_loudness,
    hop_energies,
    hop_frames,
)
from backing.mixdown.sample_clock import sample_of

TARGET_LUFS: Final = -16.0
"""Integrated loudness of a track (AES TD1008, 2021, for music; design target +-0.5 LU)."""
WHOLE_SECONDS: Final = 240.0
"""A step up to this length is heard from end to end, as it passes by if it can be (100 MB of it are
kept meanwhile)."""
ALONE_SECONDS: Final = 30.0
"""A step up to this length is heard by itself, from its first sample on."""
MOST_HEARD: Final = 400
"""Of a longer step so many gating blocks of 0.4 s are heard."""
ROOM_LU: Final = 0.08
"""What the room adds to the loudness of a band that is heard without it (0.02 for a bass alone,
0.15 for a piano)."""
RAMP_SECONDS: Final = 0.2
"""The gain moves to that of the next step just before it begins."""
SEED: Final = 1770

Heard = tuple[int, Numbers]
"""A step, and the energies of the hops of a stretch of it."""


class Stretch(NamedTuple):
    """So many ``hops`` of 0.1 s in a row, from frame ``start`` on."""

    start: int
    hops: int


@dataclass(frozen=True, slots=True)
class Step:
    """A run of passes at one tempo (bpm), in frames, and the gain that brings it to its level.

    ``gain_db`` is None while it is not known.
    """

    tempo: float
    start: int
    stop: int
    gain_db: float | None = None


def steps_of(performance: Performance, length: int, sample_rate: int) -> list[Step]:
    """The runs of passes at one tempo, in frames; what only rings on at the end belongs to none."""
    steps: list[Step] = []
    end = min(length, sample_of(performance.clock.length_seconds, sample_rate))
    for played in performance.passes:
        tempo = float(played.routine_pass.tempo)
        if not steps or steps[-1].tempo != tempo:
            start = sample_of(performance.clock.seconds(played.start), sample_rate)
            if steps:
                steps[-1] = replace(steps[-1], stop=start)
            steps.append(Step(tempo, start, end))
    return steps


def stretches(step: Step, sample_rate: int, window: int) -> tuple[Stretch, ...]:
    """What is heard of a step, in order.

    None of them lies across two of the windows of ``window`` frames, counted from frame 0, but that
    of a step that is heard alone.
    """
    if heard_alone(step, sample_rate):
        hops = (step.stop - step.start) // hop_frames(sample_rate)
        return (Stretch(step.start, max(hops, HOPS_PER_BLOCK)),)
    if heard_whole(step, sample_rate):
        return tuple(_from_end_to_end(step, hop_frames(sample_rate), window))
    return tuple(_here_and_there(step, sample_rate, window))


def heard_alone(step: Step, sample_rate: int) -> bool:
    """Whether a step is heard by itself, in the room and under the ceiling, beforehand."""
    return step.stop - step.start <= ALONE_SECONDS * sample_rate


def heard_whole(step: Step, sample_rate: int) -> bool:
    """Whether a step is heard from end to end."""
    return step.stop - step.start <= WHOLE_SECONDS * sample_rate


def _from_end_to_end(step: Step, hop: int, window: int) -> Iterator[Stretch]:
    """All hops of a step but those that a window or the step ends in."""
    for start in range(step.start // window * window, step.stop, window):
        first, last = max(start, step.start), min(start + window, step.stop)
        if last - first >= hop:
            yield Stretch(first, (last - first) // hop)


def _here_and_there(step: Step, sample_rate: int, window: int) -> Iterator[Stretch]:
    """Single gating blocks all over a step.

    At even distances they would fall on the same places of the beat and of the form again and
    again; chance, the same every time, puts each anywhere in its share.
    """
    size = hop_frames(sample_rate) * HOPS_PER_BLOCK
    length = step.stop - step.start
    share = max(size, length / MOST_HEARD)
    rng = random.Random(SEED)
    for number in range(int(length / share)):
        place = step.start + int((number + rng.random()) * share)
        place = min(place, (place // window + 1) * window - size)
        if step.start <= place and place + size <= step.stop:
            yield Stretch(place, HOPS_PER_BLOCK)


class Levels:
    """The steps of a track, and the line their gains draw: straight, with a ramp before each.

    ``steps`` come in order; in a ring the line goes back to where it began. Sound comes in windows
    of ``window`` frames.
    """

    def __init__(
        self, steps: Sequence[Step], length: int, sample_rate: int, window: int, *, circular: bool
    ) -> None:
        self.steps = tuple(steps)
        self.hop = hop_frames(sample_rate)
        """The length of a hop in frames."""
        self._length = length
        self._rate = sample_rate
        self._window = window
        self._circular = circular
        self._stretches = [stretches(step, sample_rate, window) for step in steps]
        self._heard: list[list[Numbers]] = [[] for _ in steps]
        self.line: tuple[list[int], list[float]] = ([], [])
        """Where the gain bends (frames), and what it is there, as far as it is known."""

    def unknown(self) -> Iterator[int]:
        """The places of the steps whose gain is not known, in order."""
        return (index for index, step in enumerate(self.steps) if step.gain_db is None)

    def stretches(self, index: int) -> tuple[Stretch, ...]:
        """What is to be heard of a step."""
        return self._stretches[index]

    def measure(self, sound: Audio, start: int) -> list[Heard]:
        """What is to be heard in a window of dry sound, of the steps that are not known.

        It changes nothing here, and may run in any thread.
        """
        stop = start + self._window
        return [
            (index, hop_energies(sound[at - start : at - start + hops * self.hop], self._rate))
            for index in self.unknown()
            if self.steps[index].start < stop and self.steps[index].stop > start
            for at, hops in self._stretches[index]
            if start <= at and at + hops * self.hop <= stop
        ]

    def hear(self, heard: Iterable[Heard], start: int) -> None:
        """Take in what was measured in the window from frame ``start`` on; they come in order.

        A step is learnt when it has been heard to its end.
        """
        if start <= 0:
            self._heard = [[] for _ in self.steps]
        for index, hops in heard:
            self._heard[index].append(hops)
        for index in list(self.unknown()):
            if self.steps[index].stop > start + self._window:
                return
            self.learn(index, self.lufs(index, self._heard[index]))

    def lufs(self, index: int, heard: Sequence[Numbers]) -> float:
        """The loudness of a step in the room, from the energies of the hops of its stretches."""
        step, room = self.steps[index], ROOM_LU
        if not heard:
            return -math.inf
        if heard_alone(step, self._rate):
            room = 0.0  # it is in there
        elif not heard_whole(step, self._rate):
            z = np.concatenate([block_energies(hops) for hops in heard])
            return gated_loudness(z) + room
        hops = np.concatenate(heard)
        if self._circular and len(self.steps) == 1:
            # the last blocks lie over the end and the beginning
            hops = np.concatenate([hops, hops[: HOPS_PER_BLOCK - 1]])
        return gated_loudness(block_energies(hops)) + room

    def learn(self, index: int, lufs: float) -> None:
        """A step has the loudness ``lufs`` in the room; silence keeps its level."""
        # in hundredths, so that it hardly ever depends on the last bits of how it was measured
        gain = round(TARGET_LUFS - lufs, 2) if math.isfinite(lufs) else 0.0
        steps = list(self.steps)
        steps[index] = replace(steps[index], gain_db=gain)
        self.steps = tuple(steps)
        self.line = self._drawn()

    def known_to(self) -> float:
        """The frame up to which the line is known."""
        first = next(self.unknown(), None)
        if first is None:
            return math.inf
        return self.steps[first].start - round(RAMP_SECONDS * self._rate) if first else -math.inf

    def _drawn(self) -> tuple[list[int], list[float]]:
        ramp = round(RAMP_SECONDS * self._rate)
        points: list[int] = []
        gains: list[float] = []
        for step in self.steps:
            if step.gain_db is None:
                break
            if points:
                points.append(max(points[-1], step.start - ramp))
                gains.append(gains[-1])
            points.append(step.start)
            gains.append(10 ** (step.gain_db / 20))
        if self._circular and points:
            points += [max(points[-1], self._length - ramp), self._length]
            gains += [gains[-1], gains[0]]
        return points, gains
