"""The level of a track: what gain brings each of its steps to TARGET_LUFS, as it becomes known.

More notes a second are louder: each step of a climb has its own gain, so that a faster step is
faster and nothing else. A step is heard here and there, in gating blocks of BS.1770 that lie all
over it: as it passes by, unless it is too long to be kept until its gain is known; then beforehand.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from backing.combo.performance import Performance
from backing.mixdown.loudness import Audio, block_energies, block_frames, gated_loudness
from backing.mixdown.sample_clock import sample_of

TARGET_LUFS: Final = -16.0
"""Integrated loudness of a track (AES TD1008, 2021, for music; design target +-0.5 LU)."""
WHOLE_SECONDS: Final = 240.0
"""A step up to this length is heard as it passes by (85 MB of it are kept meanwhile)."""
MOST_HEARD: Final = 400
"""Of a step so many gating blocks of 0.4 s are heard at most."""
DENSE_SECONDS: Final = 60.0
"""A step up to this length is heard without a gap, a longer one a little more than half: within
0.2 LU of the whole (measured on twelve tunes at three tempos; 0.1 without a gap)."""
SPARSE_SECONDS: Final = 0.75
"""In a longer step, one block of 0.4 s in so much."""
ROOM_LU: Final = 0.08
"""What the room adds to the loudness of a band (0.02 for a bass alone, 0.15 for a piano)."""
RAMP_SECONDS: Final = 0.2
"""The gain moves to that of the next step just before it begins."""
SEED: Final = 1770

Heard = tuple[int, float]
"""A step, and the energy of a gating block of it."""


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
    """The runs of passes at one tempo, in frames."""
    steps: list[Step] = []
    for played in performance.passes:
        tempo = float(played.routine_pass.tempo)
        if not steps or steps[-1].tempo != tempo:
            start = sample_of(performance.clock.seconds(played.start), sample_rate)
            if steps:
                steps[-1] = replace(steps[-1], stop=start)
            steps.append(Step(tempo, start, length))
    return steps


def heard_places(step: Step, sample_rate: int, window: int) -> list[int]:
    """Where gating blocks of a step are heard: the frames at which they begin, in order.

    Blocks at even distances would fall on the same places of the form again and again; chance,
    the same every time, moves each within its share. None lies across two of the windows of
    ``window`` frames, counted from frame 0, unless there is no room for
    anything else.
    """
    size = block_frames(sample_rate)
    length = step.stop - step.start
    share = size if length <= DENSE_SECONDS * sample_rate else SPARSE_SECONDS * sample_rate
    share = max(share, length / MOST_HEARD)
    rng = random.Random(SEED)
    places: list[int] = []
    for number in range(max(1, int(length / share))):
        place = step.start + int(number * share + rng.random() * (share - size))
        end = (place // window + 1) * window
        place = max(min(place, end - size), place // window * window)
        if place >= step.start and place + size <= step.stop:
            places.append(place)
    # a step of a moment may have no room for one
    return places or [step.start]


class Levels:
    """The steps of a track, and the line their gains draw: straight, with a ramp before each.

    ``steps`` come in order; in a ring the line goes back to where it began. Sound comes in windows
    of ``window`` frames.
    """

    def __init__(
        self, steps: Sequence[Step], length: int, sample_rate: int, window: int, *, circular: bool
    ) -> None:
        self.steps = tuple(steps)
        self.block = block_frames(sample_rate)
        """The length of a gating block in frames."""
        self._length = length
        self._rate = sample_rate
        self._window = window
        self._circular = circular
        self._places = [heard_places(step, sample_rate, window) for step in steps]
        self._heard: list[list[float]] = [[] for _ in steps]
        self.line: tuple[list[int], list[float]] = ([], [])
        """Where the gain bends (frames), and what it is there, as far as it is known."""

    def unknown(self) -> Iterator[int]:
        """The places of the steps whose gain is not known, in order."""
        return (index for index, step in enumerate(self.steps) if step.gain_db is None)

    def places(self, index: int) -> list[int]:
        """Where a step is to be heard: the frames at which its gating blocks begin."""
        return self._places[index]

    def fits_windows(self, index: int) -> bool:
        """Whether a step can be heard window by window: no block of it lies across two."""
        window = self._window
        return all(at // window == (at + self.block - 1) // window for at in self._places[index])

    def measure(self, sound: Audio, start: int) -> list[Heard]:
        """What is to be heard in a window of dry sound, of the steps that are not known.

        It changes nothing here, and may run in any thread.
        """
        stop = start + self._window
        here = [n for n, step in enumerate(self.steps) if step.start < stop and step.stop > start]
        if all(self.steps[index].gain_db is not None for index in here):
            return []
        # those that are known as well: the last bit depends on what is measured together
        places = [
            (index, place)
            for index in here
            for place in self._places[index]
            if start <= place <= stop - self.block
        ]
        if not places:
            return []
        blocks = np.stack([sound[at - start : at - start + self.block] for _, at in places])
        energies = block_energies(blocks, self._rate).tolist()
        return [(index, energy) for (index, _), energy in zip(places, energies, strict=True)]

    def hear(self, heard: Iterable[Heard], start: int) -> None:
        """Take in what was measured in the window from frame ``start`` on; they come in order.

        A step is learnt when it has been heard to its end.
        """
        if start <= 0:
            self._heard = [[] for _ in self.steps]
        for index, energy in heard:
            self._heard[index].append(energy)
        for index in list(self.unknown()):
            if self.steps[index].stop > start + self._window:
                return
            self.learn(index, gated_loudness(np.array(self._heard[index])))

    def learn(self, index: int, lufs: float) -> None:
        """A step's dry sound has the loudness ``lufs``; silence keeps its level."""
        gain = TARGET_LUFS - ROOM_LU - lufs if math.isfinite(lufs) else 0.0
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
