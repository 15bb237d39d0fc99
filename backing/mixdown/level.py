"""The level of a track: what gain brings each of its steps to TARGET_LUFS, as it becomes known.

More notes a second are louder: each step of a climb has its own gain, so that a faster step is
faster and nothing else. A step is heard whole as it passes by, unless it is too long to be kept
until its gain is known; then pieces of it are heard beforehand.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from backing.combo.performance import Performance
from backing.mixdown.loudness import Audio, LoudnessMeter
from backing.mixdown.timeline import sample_of

TARGET_LUFS: Final = -16.0
"""Integrated loudness of a track (AES TD1008, 2021, for music; design target +-0.5 LU)."""
WHOLE_SECONDS: Final = 240.0
"""A step up to this length is heard whole (85 MB of it are kept meanwhile)."""
HEARD_SECONDS: Final = 160.0
"""How much of a longer step is heard: pieces from all over it, within 0.3 LU of the whole."""
PIECE_SECONDS: Final = 2.0
"""The length of the pieces, whole hops of 100 ms."""
ROOM_LU: Final = 0.08
"""What the room adds to the loudness of a band (0.02 for a bass alone, 0.15 for a piano)."""
RAMP_SECONDS: Final = 0.2
"""The gain moves to that of the next step just before it begins."""
SEED: Final = 1770


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


def pieces(step: Step, sample_rate: int) -> list[tuple[int, int]]:
    """Where to listen to a step, (start, stop) in frames in order: all of it, or here and there.

    Pieces at even distances would fall on the same places of the form again and again; chance,
    the same every time, moves each within its share.
    """
    size = round(PIECE_SECONDS * sample_rate)
    there = max(1, (step.stop - step.start) // size)
    places = list(range(there))
    if (step.stop - step.start) / sample_rate > WHOLE_SECONDS:
        count = round(HEARD_SECONDS / PIECE_SECONDS)
        share = there / count
        rng = random.Random(SEED)
        places = sorted({int((n + rng.random()) * share) for n in range(count)})
    starts = [step.start + place * size for place in places]
    return [(start, start + size) for start in starts]


class Levels:
    """The steps of a track, and the line their gains draw: straight, with a ramp before each.

    ``steps`` come in order; in a ring the line goes back to where it began.
    """

    def __init__(
        self, steps: Sequence[Step], length: int, sample_rate: int, *, circular: bool
    ) -> None:
        self.steps = tuple(steps)
        self._length = length
        self._rate = sample_rate
        self._circular = circular
        self._meter = LoudnessMeter(sample_rate)
        self.line: tuple[list[int], list[float]] = ([], [])
        """Where the gain bends (frames), and what it is there, as far as it is known."""

    def unknown(self) -> Iterator[int]:
        """The places of the steps whose gain is not known, in order."""
        return (index for index, step in enumerate(self.steps) if step.gain_db is None)

    def learn(self, index: int, lufs: float) -> None:
        """A step's dry sound has the loudness ``lufs``; silence keeps its level."""
        gain = TARGET_LUFS - ROOM_LU - lufs if math.isfinite(lufs) else 0.0
        steps = list(self.steps)
        steps[index] = replace(steps[index], gain_db=gain)
        self.steps = tuple(steps)
        self.line = self._drawn()

    def hear(self, start: int, sound: Audio) -> None:
        """Hear the dry sound from frame ``start`` on; blocks come in order, without a gap.

        A step is learnt when it has been heard to its end.
        """
        stop = start + len(sound)
        for index in list(self.unknown()):
            step = self.steps[index]
            if step.start >= stop:
                return
            if step.start >= start:
                self._meter = LoudnessMeter(self._rate)
            self._meter.feed(sound[max(0, step.start - start) : step.stop - start])
            if step.stop > stop:
                return
            self.learn(index, self._meter.integrated())

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
