"""A performance as one finished sound: balanced, in a room, at its level, under the ceiling.

The sound is made in windows that never lie in memory together, however long the climb. It is made
twice: here and there to be measured, then whole to be heard. More notes a second are louder: each
step of a climb has its own gain, so that a faster step is faster and nothing else.

A loop is a ring. Room and limiter know nothing of that: the windows simply begin before the ring's
start (that is, near its end) and go on past its end (at its start), and only one round is kept.

Stems are lanes of their own from dry sound to limiter, each with its room; the limiter listens to
their sum and acts on all alike, and the mix is their sum: exactly, in floating point.
"""

from __future__ import annotations

import math
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Lock
from typing import Final, TypeVar

import numpy as np

from backing.combo.performance import Performance
from backing.errors import SelectionError
from backing.mixdown import limiter
from backing.mixdown.audio_file import AudioFile, check_writable
from backing.mixdown.balance import Balance, BalancedBank, pan_gains
from backing.mixdown.bank import Bank, Tone
from backing.mixdown.limiter import Limiter
from backing.mixdown.loudness import CHUNK, Audio, LoudnessMeter
from backing.mixdown.room import Room
from backing.mixdown.tags import Tags
from backing.mixdown.timeline import Timeline, sample_of

TARGET_LUFS: Final = -16.0
"""Integrated loudness of a track (AES TD1008, 2021, for music; design target +-0.5 LU)."""
WINDOW: Final = 1536 * CHUNK
"""Frames made at a time (2.2 s): a window and its ring in the room fill one fast transform."""
PIECE_SECONDS: Final = 2.0
"""The sound is measured in pieces of this length, whole hops of 100 ms."""
HEARD_SECONDS: Final = 400.0
HEARD_PER_STEP_SECONDS: Final = 40.0
"""How much of a long track and of each of its steps is measured: evenly spread pieces come within
0.2 LU of the whole."""
ROOM_LU: Final = 0.08
"""What the room adds to the loudness of a band (0.02 for a bass alone, 0.15 for a piano)."""
RAMP_SECONDS: Final = 0.2
"""The gain moves to that of the next step just before it begins."""
PREPARING: Final = 0.6
"""The share of rendering the notes in all work, for the progress: in a track of some minutes."""
MEASURING: Final = 0.2
"""The share of measuring in the rest."""
FADE_SECONDS: Final = 0.5
"""What still rings at the very end of a track goes away in this time."""

Progress = Callable[[float], None]
Item = TypeVar("Item")
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Window:
    """A piece of the finished sound: the mix and its stems, float32 (n, 2)."""

    mix: Audio
    stems: tuple[Audio, ...]


class _Source:
    """The dry sound of some parts, summed, panned and balanced; any frames of it, from any thread.

    Outside [0, length) there is silence, or in a ring the other end.
    """

    def __init__(self, lines: Sequence[Timeline], *, circular: bool) -> None:
        self._lines = [(line, pan_gains(line.part), Lock()) for line in lines]
        self._length = lines[0].length
        self._circular = circular

    def frames(self, start: int, stop: int) -> Audio:
        """Frames [start, stop), float32 (stop - start, 2)."""
        total: Audio | None = None
        for line, (left, right), lock in self._lines:
            with lock:  # a timeline keeps the notes it has made
                sound = self._line(line, start, stop)
            if (left, right) != (1.0, 1.0):
                sound[:, 0] *= np.float32(left)
                sound[:, 1] *= np.float32(right)
            total = sound if total is None else np.add(total, sound, out=total)
        assert total is not None
        return total

    def _line(self, line: Timeline, start: int, stop: int) -> Audio:
        length = self._length
        if start >= 0 and stop <= length:
            return line.render(start, stop)
        if not self._circular:
            inside = line.render(min(max(start, 0), length), min(max(stop, 0), length))
            before = min(max(-start, 0), stop - start)
            return np.pad(inside, ((before, stop - start - before - len(inside)), (0, 0)))
        pieces, at = [], start
        while at < stop:
            place = at % length
            count = min(stop - at, length - place)
            pieces.append(line.render(place, place + count))
            at += count
        return np.concatenate(pieces)


@dataclass(frozen=True, slots=True)
class Step:
    """A run of passes at one tempo (bpm), in frames, and the gain that brings it to its level."""

    tempo: float
    start: int
    stop: int
    gain_db: float = 0.0


class Mixdown:
    """A performance ready to be heard, as often as wanted: iterate over its windows.

    ``length`` in frames; ``stem_names`` in the order of every window's stems (none if they were
    not asked for); ``steps`` say what gain brings each tempo to TARGET_LUFS.
    """

    def __init__(
        self,
        performance: Performance,
        lines: Sequence[Timeline],
        sample_rate: int,
        *,
        stems: bool,
        progress: Progress | None,
        workers: int | None = None,
    ) -> None:
        self.sample_rate = sample_rate
        self._workers = workers or min(4, os.cpu_count() or 1)
        self.circular = performance.circular
        self.length = lines[0].length
        self.stem_names = tuple(line.part for line in lines) if stems else ()
        self._lines = lines
        self._fade = 0
        if performance.tail:
            self._fade = min(round(FADE_SECONDS * sample_rate), self.length)
        self._progress = progress
        self.steps = self._levelled(_steps(performance, self.length, sample_rate))
        self._points, self._gains = self._gain_line()

    def __iter__(self) -> Iterator[Window]:
        """The windows in order; together exactly ``length`` frames."""
        groups = [[line] for line in self._lines] if self.stem_names else [self._lines]
        hold = Limiter()
        before: tuple[int, list[Audio], Audio] | None = None
        for start, lanes in self._windows(groups):
            mix = _sum(lanes)
            curve = hold.feed(mix)
            if before is not None and before[0] >= 0:
                yield self._limited(*before, curve)
                self._report(MEASURING + (1 - MEASURING) * start / self.length)
            before = start, lanes, mix

    def _limited(
        self, start: int, lanes: list[Audio], mix: Audio, curve: limiter.Curve | None
    ) -> Window:
        if curve is not None:
            for lane in lanes:
                limiter.apply(curve, lane)
            mix = _sum(lanes)
        count = min(WINDOW, self.length - start)
        stems = tuple(lane[:count] for lane in lanes) if self.stem_names else ()
        return Window(mix[:count], stems)

    def _levelled(self, steps: Sequence[Step]) -> tuple[Step, ...]:
        """The steps with their gains: each is heard, at least here and there, and measured."""
        source = _Source(self._lines, circular=self.circular)
        seconds = max(HEARD_PER_STEP_SECONDS, HEARD_SECONDS / len(steps))
        piece = round(PIECE_SECONDS * self.sample_rate)
        places = [_samples_of(step, piece, round(seconds / PIECE_SECONDS)) for step in steps]
        meters = [LoudnessMeter(self.sample_rate) for _ in steps]
        starts = [(at, index) for index, those in enumerate(places) for at in those]

        def made(place: tuple[int, int]) -> Audio:
            return source.frames(place[0], place[0] + piece)

        for done, ((_, index), sound) in enumerate(_ahead(made, starts, self._workers)):
            meters[index].feed(sound)
            self._report(MEASURING * done / len(starts))
        return tuple(
            replace(step, gain_db=_gain_db(meter.integrated()))
            for step, meter in zip(steps, meters, strict=True)
        )

    def _gain_line(self) -> tuple[list[int], list[float]]:
        """Where the gain bends (frames), and what it is there: a ramp before each step."""
        points, gains = [0], [10 ** (self.steps[0].gain_db / 20)]
        ramp = round(RAMP_SECONDS * self.sample_rate)
        for step in self.steps[1:]:
            points += [max(points[-1], step.start - ramp), step.start]
            gains += [gains[-1], 10 ** (step.gain_db / 20)]
        if self.circular:  # back to where it began
            points += [max(points[-1], self.length - ramp), self.length]
            gains += [gains[-1], gains[0]]
        return points, gains

    def _windows(self, groups: Sequence[Sequence[Timeline]]) -> Iterator[tuple[int, list[Audio]]]:
        """One lane for each group, with its room, window by window, and one window more.

        In a ring the windows begin as long before its start as its end is heard beyond. The dry
        sound and what it sends into the room are made on all processors; they depend on nothing
        but the window, so the samples are the same on one.
        """
        sources = [_Source(group, circular=self.circular) for group in groups]
        rooms = [Room(self.sample_rate, WINDOW) for _ in groups]

        def made(start: int) -> list[tuple[Audio, Audio]]:
            lanes = []
            for source, room in zip(sources, rooms, strict=True):
                dry = source.frames(start, start + WINDOW)
                self._amplify(dry, start)
                lanes.append((dry, room.send(dry)))
            return lanes

        lead = -(-(rooms[0].reach + Limiter.reach) // WINDOW) * WINDOW if self.circular else 0
        starts = range(-lead, self.length + WINDOW, WINDOW)
        for start, lanes in _ahead(made, starts, self._workers):
            for (lane, ring), room in zip(lanes, rooms, strict=True):
                np.add(lane, room.back(ring, WINDOW), out=lane)
            yield start, [lane for lane, _ in lanes]

    def _amplify(self, dry: Audio, start: int) -> None:
        """Bring a window to its level, in place; a track that ends ends in silence."""
        first, last = start % self.length, start % self.length + len(dry)
        ends = np.interp((first, last), self._points, self._gains)
        if any(first < point < last for point in self._points) or last > self.length:
            frames = np.arange(start, start + len(dry))
            place = frames % self.length if self.circular else frames
            gains = np.interp(place, self._points, self._gains)
            if self._fade:
                gains *= np.clip((self.length - frames) / self._fade, 0, 1)
            dry *= gains.astype(np.float32)[:, None]
        else:
            dry *= np.float32(ends[0])

    def _report(self, done: float) -> None:
        if self._progress is not None:
            self._progress(min(done, 1.0))


def _steps(performance: Performance, length: int, sample_rate: int) -> list[Step]:
    """The runs of passes at one tempo, in frames."""
    steps: list[Step] = []
    for played in performance.passes:
        tempo = float(played.plan.tempo)
        if not steps or steps[-1].tempo != tempo:
            start = sample_of(performance.clock.seconds(played.start), sample_rate)
            if steps:
                steps[-1] = replace(steps[-1], stop=start)
            steps.append(Step(tempo, start, length))
    return steps


def _samples_of(step: Step, piece: int, count: int) -> list[int]:
    """Where to listen to a step: all of it, or ``count`` pieces spread evenly over it."""
    room = max(1, (step.stop - step.start) // piece)
    if room <= count:
        return list(range(step.start, step.start + room * piece, piece))
    return [step.start + round(n * room / count) * piece for n in range(count)]


def _gain_db(loudness: float) -> float:
    return TARGET_LUFS - ROOM_LU - loudness if math.isfinite(loudness) else 0.0


def _sum(lanes: Sequence[Audio]) -> Audio:
    """The lanes added in order; the first one itself if it is alone."""
    if len(lanes) == 1:
        return lanes[0]
    total = lanes[0] + lanes[1]
    for lane in lanes[2:]:
        total += lane
    return total


def _ahead(
    make: Callable[[Item], T], items: Iterable[Item], workers: int
) -> Iterator[tuple[Item, T]]:
    """``make`` of every item in order, a few made ahead in other threads."""
    waiting: deque[tuple[Item, Future[T]]] = deque()
    with ThreadPoolExecutor(workers) as pool:
        try:
            for item in items:
                waiting.append((item, pool.submit(make, item)))
                if len(waiting) > workers + 1:
                    done, future = waiting.popleft()
                    yield done, future.result()
            while waiting:
                done, future = waiting.popleft()
                yield done, future.result()
        finally:
            for _, future in waiting:
                future.cancel()


def render(
    performance: Performance,
    bank: Bank,
    *,
    parts: Iterable[str] | None = None,
    stems: bool = False,
    progress: Progress | None = None,
    workers: int | None = None,
) -> Mixdown:
    """The finished sound of ``parts`` (None: all) at the sample rate of ``bank``.

    ``stems``: every part also by itself. ``progress`` is told how much is done, from 0 to 1.
    ``workers``: how many threads mix (None: one for each processor, at most four).
    Raises SelectionError for a part that does not play, SoundFontError and MissingProgram.
    """
    playing = performance.part_names
    names = playing if parts is None else tuple(dict.fromkeys(parts))
    for name in names:
        if name not in playing:
            raise SelectionError(f"No {name} plays here.", f"There are: {', '.join(playing)}.")
    if not names:
        raise SelectionError("Nobody plays.", "Name at least one part to play.")
    balance = Balance(bank)
    lines = [Timeline(performance, name, BalancedBank(bank, balance, name)) for name in names]
    holds: dict[Tone, int] = {}
    for line in lines:
        for tone, hold in (*line.holds.items(), *balance.needs(line.part, line.holds)):
            holds[tone] = max(holds.get(tone, 0), hold)
    if progress is not None:
        progress(0)
    preparing = PREPARING if bank.lacks(holds) else 0
    bank.prepare(holds, _share(progress, 0, preparing))
    rest = _share(progress, preparing, 1)
    return Mixdown(
        performance, lines, bank.sample_rate, stems=stems, progress=rest, workers=workers
    )


def _share(progress: Progress | None, start: float, stop: float) -> Progress | None:
    """The progress of a piece of work that goes from ``start`` to ``stop`` in the whole."""
    if progress is None:
        return None
    return lambda done: progress(start + (stop - start) * done)


def save(
    mixdown: Mixdown, path: Path, *, tags: Tags | None = None, bits: int = 16
) -> tuple[Path, ...]:
    """Write the mix to ``path`` and each stem beside it ("tune.wav": "tune.piano.wav").

    Returns the files, the mix first; all of them are there, or none. Raises OutputError and
    MissingProgram.
    """
    stems = [path.with_name(f"{path.stem}.{name}{path.suffix}") for name in mixdown.stem_names]
    paths = (path, *stems)
    for each in paths:
        check_writable(each)
    with ExitStack() as stack:
        files = [
            stack.enter_context(AudioFile(each, mixdown.sample_rate, bits=bits, tags=tags))
            for each in paths
        ]
        for window in mixdown:
            for file, block in zip(files, (window.mix, *window.stems), strict=True):
                file.write(block)
    return paths
