"""A performance as one finished sound: balanced, in a room, at its level, under the ceiling.

The sound is made in windows; how many lie in memory together does not depend on how long the
climb is. A step waits there until it has been heard whole and its gain is known (see ``level``).

A loop is a ring. Room and limiter know nothing of that: the windows simply begin before the ring's
start (that is, near its end) and go on past its end (at its start), and only one round is kept.

Stems are lanes of their own from dry sound to limiter, each with its room; the limiter listens to
their sum and acts on all alike, and the mix is their sum: exactly, in floating point.
"""

from __future__ import annotations

import math
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
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
from backing.mixdown.level import WHOLE_SECONDS, Levels, Step, pieces, steps_of
from backing.mixdown.limiter import Limiter
from backing.mixdown.loudness import CHUNK, Audio, LoudnessMeter
from backing.mixdown.room import Room
from backing.mixdown.tags import Tags
from backing.mixdown.timeline import Timeline

WINDOW: Final = 1536 * CHUNK
"""Frames made at a time (2.2 s): a window and its ring in the room fill one fast transform."""
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


class Mixdown:
    """A performance ready to be heard, as often as wanted: iterate over its windows.

    ``length`` in frames; ``stem_names`` in the order of every window's stems (none if they were
    not asked for).
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
        steps = steps_of(performance, self.length, sample_rate)
        self._levels = Levels(steps, self.length, sample_rate, circular=self.circular)
        self._measured = 0.0

    @property
    def steps(self) -> tuple[Step, ...]:
        """The runs of passes at one tempo, and what gain brings each to TARGET_LUFS."""
        self._measure(list(self._levels.unknown()))
        return self._levels.steps

    def __iter__(self) -> Iterator[Window]:
        """The windows in order; together exactly ``length`` frames."""
        self._measure(list(self._beforehand()))
        groups = [[line] for line in self._lines] if self.stem_names else [self._lines]
        hold = Limiter()
        before: tuple[int, list[Audio], Audio] | None = None
        for start, lanes in self._windows(groups):
            mix = _sum(lanes)
            curve = hold.feed(mix)
            if before is not None and before[0] >= 0:
                yield self._limited(*before, curve)
                self._report(self._measured + (1 - self._measured) * start / self.length)
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

    def _beforehand(self) -> Iterator[int]:
        """The steps whose gain must be known before they pass by.

        Those that are too long to wait in memory: with stems all of them, and in a ring, which
        begins with its end.
        """
        longest = 0 if self.stem_names or self.circular else WHOLE_SECONDS * self.sample_rate
        for index in self._levels.unknown():
            step = self._levels.steps[index]
            if step.stop - step.start > longest:
                yield index

    def _measure(self, steps: Sequence[int]) -> None:
        """Hear the steps at these places, or pieces of them if they are long."""
        if not steps:
            return
        self._measured = MEASURING
        source = _Source(self._lines, circular=self.circular)
        parts = ((index, pieces(self._levels.steps[index], self.sample_rate)) for index in steps)
        places = [(index, piece) for index, all_of_it in parts for piece in all_of_it]
        meters = {index: LoudnessMeter(self.sample_rate) for index in steps}

        def made(place: tuple[int, tuple[int, int]]) -> Audio:
            return source.frames(*place[1])

        for done, ((index, _), sound) in enumerate(_ahead(made, places, self._workers)):
            meters[index].feed(sound)
            self._report(MEASURING * done / len(places))
        for index, meter in meters.items():
            self._levels.learn(index, meter.integrated())

    def _windows(self, groups: Sequence[Sequence[Timeline]]) -> Iterator[tuple[int, list[Audio]]]:
        """One lane for each group, with its room, window by window, and one window more.

        In a ring the windows begin as long before its start as its end is heard beyond. The dry
        sound and what it sends into the room are made on all processors; they depend on nothing
        but the window, so the samples are the same on one.
        """
        sources = [_Source(group, circular=self.circular) for group in groups]
        rooms = [Room(self.sample_rate, WINDOW) for _ in groups]

        def dry(start: int) -> list[Audio]:
            return [source.frames(start, start + WINDOW) for source in sources]

        def sent(window: tuple[int, list[Audio]]) -> list[Audio]:
            start, lanes = window
            for lane in lanes:
                self._amplify(lane, start)
            return [room.send(lane) for room, lane in zip(rooms, lanes, strict=True)]

        lead = -(-(rooms[0].reach + Limiter.reach) // WINDOW) * WINDOW if self.circular else 0
        starts = range(-lead, self.length + WINDOW, WINDOW)
        levelled = self._levelled(_ahead(dry, starts, self._workers))
        for (start, lanes), rings in _ahead(sent, levelled, self._workers):
            for lane, ring, room in zip(lanes, rings, rooms, strict=True):
                np.add(lane, room.back(ring, WINDOW), out=lane)
            yield start, lanes

    def _levelled(
        self, windows: Iterable[tuple[int, list[Audio]]]
    ) -> Iterator[tuple[int, list[Audio]]]:
        """The dry windows, each as soon as its gain is known."""
        waiting: deque[tuple[int, list[Audio]]] = deque()
        for start, lanes in windows:
            waiting.append((start, lanes))
            if self._levels.known_to() < math.inf:
                self._levels.hear(start, _sum(lanes))
            while waiting and waiting[0][0] + WINDOW <= self._levels.known_to():
                yield waiting.popleft()
        yield from waiting

    def _amplify(self, dry: Audio, start: int) -> None:
        """Bring a window to its level, in place; a track that ends ends in silence."""
        first, last = start % self.length, start % self.length + len(dry)
        points, levels = self._levels.line
        ends = np.interp((first, last), points, levels)
        if any(first < point < last for point in points) or last > self.length:
            frames = np.arange(start, start + len(dry))
            place = frames % self.length if self.circular else frames
            gains = np.interp(place, points, levels)
            if self._fade:
                gains *= np.clip((self.length - frames) / self._fade, 0, 1)
            dry *= gains.astype(np.float32)[:, None]
        else:
            dry *= np.float32(ends[0])

    def _report(self, done: float) -> None:
        if self._progress is not None:
            self._progress(min(done, 1.0))


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
    mixdown: Mixdown,
    path: Path,
    *,
    tags: Tags | None = None,
    bits: int = 16,
    names: Mapping[str, str] | None = None,
) -> tuple[Path, ...]:
    """Write the mix to ``path`` and each stem beside it ("tune.wav": "tune.bass.wav").

    ``names``: of the parts, for their files, where another is meant ("piano" for the comping).
    Returns the files, the mix first; all of them are there, or none. Raises OutputError and
    MissingProgram.
    """
    stems = [
        path.with_name(f"{path.stem}.{(names or {}).get(part, part)}{path.suffix}")
        for part in mixdown.stem_names
    ]
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
