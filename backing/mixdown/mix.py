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
from typing import Final

import numpy as np

from backing.combo.performance import Performance
from backing.errors import SelectionError
from backing.mixdown import limiter
from backing.mixdown.audio_file import AudioFile, check_writable
from backing.mixdown.balance import Balance, BalancedBank, pan_gains
from backing.mixdown.bank import Bank
from backing.mixdown.crew import made
from backing.mixdown.level import (
    TARGET_LUFS,
    Heard,
    Levels,
    Step,
    Stretch,
    heard_alone,
    heard_whole,
    steps_of,
)
from backing.mixdown.limiter import Limiter
from backing.mixdown.loudness import (
    CHUNK,
    Audio,
    Numbers,
    block_energies,
    gated_loudness,
    hop_energies,
)
from backing.mixdown.room import Overlap, Room
from backing.mixdown.tags import Tags
from backing.mixdown.timeline import Timeline
from backing.mixdown.tone import Tone

WINDOW: Final = 2580 * CHUNK
"""Frames made at a time (3.7 s): a window and its ring in the room fill one fast transform."""
PREPARING: Final = 0.6
"""The share of rendering the notes in all work, for the progress: in a track of some minutes."""
MEASURING: Final = 0.2
"""The share of measuring in the rest."""
FADE_SECONDS: Final = 0.5
"""What still rings at the very end of a track goes away in this time."""

Progress = Callable[[float], None]


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
        self._lines = [(line, pan_gains(line.part)) for line in lines]
        self._length = lines[0].length
        self._circular = circular
        for line in lines:
            line.place()

    def add_to(self, total: Audio, start: int) -> None:
        """Add the frames from ``start`` on to ``total``."""
        for line, pan in self._lines:
            self._add(line, pan, start, total)

    def _add(self, line: Timeline, pan: tuple[float, float], start: int, total: Audio) -> None:
        stop, length = start + len(total), self._length
        if not self._circular:
            inside = slice(max(-start, 0), max(min(stop, length) - start, 0))
            line.add_to(total[inside], max(start, 0), pan)
            return
        at = start
        while at < stop:
            place = at % length
            count = min(stop - at, length - place)
            line.add_to(total[at - start : at - start + count], place, pan)
            at += count


Lanes = list[Audio]
"""The sound of each stem, or of all in one, in one window."""


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
        self._levels = Levels(steps, self.length, sample_rate, WINDOW, circular=self.circular)
        self._measured = 0.0

    @property
    def steps(self) -> tuple[Step, ...]:
        """The runs of passes at one tempo, and what gain brings each to TARGET_LUFS."""
        self._measure(list(self._levels.unknown()))
        return self._levels.steps

    def __iter__(self) -> Iterator[Window]:
        """The windows in order; together exactly ``length`` frames."""
        self._measure(list(self._beforehand()))
        hold = Limiter()
        before: tuple[int, Lanes, Audio] | None = None
        for start, lanes in self._levelled():
            for lane in lanes:
                self._amplify(lane, start)
            mix = _sum(lanes)
            curve = hold.feed(mix)
            if before is not None and before[0] >= 0:
                yield self._limited(*before, curve)
                self._report(self._measured + (1 - self._measured) * start / self.length)
            before = start, lanes, mix

    def _limited(self, start: int, lanes: Lanes, mix: Audio, curve: limiter.Curve | None) -> Window:
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
        begins with its end; and those that are heard alone.
        """
        never_passing, rate = bool(self.stem_names) or self.circular, self.sample_rate
        for index in self._levels.unknown():
            step = self._levels.steps[index]
            if never_passing or heard_alone(step, rate) or not heard_whole(step, rate):
                yield index

    def _measure(self, steps: Sequence[int]) -> None:
        """Hear the steps at these places."""
        if not steps:
            return
        self._measured = MEASURING
        source, hop = _Source(self._lines, circular=self.circular), self._levels.hop

        def begin() -> Callable[[list[tuple[int, Stretch]], Audio], list[Numbers]]:
            room = Room(self.sample_rate, WINDOW)

            def energies(index: int, stretch: Stretch) -> Numbers:
                frames = stretch.hops * hop
                if heard_alone(self._levels.steps[index], self.sample_rate):
                    return _finished_energies(
                        _in_room(source, room, stretch.start, frames), self.sample_rate
                    )
                sound = np.zeros((frames, 2), np.float32)
                source.add_to(sound, stretch.start)
                return hop_energies(sound, self.sample_rate)

            def listen(some: list[tuple[int, Stretch]], _: Audio) -> list[Numbers]:
                return [energies(*each) for each in some]

            return listen

        some = self._listening(steps)
        heard: dict[int, list[Numbers]] = {index: [] for index in steps}
        for done, (places, _, found) in enumerate(made(begin, some, (0,), self._workers)):
            for (index, _), hops in zip(places, found, strict=True):
                heard[index].append(hops)
            self._report(MEASURING * done / len(some))
        for index, stretches in heard.items():
            self._levels.learn(index, self._levels.lufs(index, stretches))

    def _listening(self, steps: Iterable[int]) -> list[list[tuple[int, Stretch]]]:
        """The stretches of these steps, together about as many frames as a window has."""
        together: list[list[tuple[int, Stretch]]] = []
        room = 0
        for index in steps:
            for stretch in self._levels.stretches(index):
                room -= stretch.hops * self._levels.hop
                if room < 0:
                    together.append([])
                    room = WINDOW - stretch.hops * self._levels.hop
                together[-1].append((index, stretch))
        return together

    def _levelled(self) -> Iterator[tuple[int, Lanes]]:
        """The windows with their room, each as soon as its gain is known, and one window more."""
        waiting: deque[tuple[int, Lanes]] = deque()
        for start, lanes, heard in self._windows():
            waiting.append((start, lanes))
            if self._levels.known_to() < math.inf:
                self._levels.hear(heard, start)
            # two for each that comes: meanwhile the next step is made
            for _ in range(2):
                if waiting and waiting[0][0] + WINDOW <= self._levels.known_to():
                    yield waiting.popleft()
        yield from waiting

    def _windows(self) -> Iterator[tuple[int, Lanes, list[Heard]]]:
        """A lane for each stem, with its room, window by window, and what is measured of them.

        In a ring the windows begin as long before its start as its end is heard beyond.
        """
        groups = [[line] for line in self._lines] if self.stem_names else [self._lines]
        sources = [_Source(group, circular=self.circular) for group in groups]

        def begin() -> Callable[[int, Audio], list[Heard]]:
            mine = Room(self.sample_rate, WINDOW)
            dry = np.empty((len(sources), WINDOW, 2), np.float32)

            def make(start: int, ringing: Audio) -> list[Heard]:
                dry[:] = 0
                for at, source in enumerate(sources):
                    source.add_to(dry[at], start)
                    if dry[at].any():
                        mine.ring(dry[at], ringing[at])
                        ringing[at, :WINDOW] += dry[at]
                    else:  # most of the stem of a count-in
                        ringing[at] = 0
                if self._levels.known_to() == math.inf:
                    return []
                return self._levels.measure(_sum(dry), start)

            return make

        room = Room(self.sample_rate, WINDOW)
        lead = -(-(room.reach + Limiter.reach) // WINDOW) * WINDOW if self.circular else 0
        starts = range(-lead, self.length + WINDOW, WINDOW)
        overlaps = [Overlap(WINDOW) for _ in groups]
        shape = len(groups), WINDOW + room.tail, 2
        for start, ringing, heard in made(begin, starts, shape, self._workers):
            lanes = [overlap.add(lane) for overlap, lane in zip(overlaps, ringing, strict=True)]
            yield start, lanes, heard

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


def _in_room(source: _Source, room: Room, start: int, frames: int) -> Audio:
    """The frames from ``start`` on in the room, with what rings there from before."""
    overlap, pieces = Overlap(WINDOW), []
    for at in range(start - room.reach, start + frames, WINDOW):
        dry = np.zeros((WINDOW, 2), np.float32)
        source.add_to(dry[: start + frames - at], at)
        ringing = np.empty((WINDOW + room.tail, 2), np.float32)
        room.ring(dry, ringing)
        ringing[:WINDOW] += dry
        pieces.append(overlap.add(ringing))
    return np.concatenate(pieces)[room.reach : room.reach + frames]


def _finished_energies(sound: Audio, sample_rate: int) -> Numbers:
    """The energies of its hops, with what the limiter will take of it at its level."""
    energies = hop_energies(sound, sample_rate)
    lufs = gated_loudness(block_energies(energies))
    if lufs == -math.inf:
        return energies
    gain = 10 ** ((TARGET_LUFS - lufs) / 20)
    louder = limiter.limited(sound * np.float32(gain))
    return hop_energies(louder, sample_rate) / gain**2


def _sum(lanes: Sequence[Audio] | Audio) -> Audio:
    """The lanes added in order; the first one itself if it is alone."""
    if len(lanes) == 1:
        return lanes[0]
    total = lanes[0] + lanes[1]
    for lane in lanes[2:]:
        total += lane
    return total


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
    ``workers``: how many processes or threads mix (None: one for each processor, at most four).
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
    path: Path | str,
    *,
    tags: Tags | None = None,
    bits: int = 16,
    names: Mapping[str, str] | None = None,
) -> tuple[Path, ...]:
    """Write the mix to ``path`` and each stem beside it ("tune.wav": "tune-bass.wav").

    ``names``: of the parts, for their files, where another is meant ("count-in" for the count).
    Returns the files, the mix first; all of them are there, or none. Raises OutputError and
    MissingProgram.
    """
    path = Path(path)
    stems = [
        path.with_name(f"{path.stem}-{(names or {}).get(part, part)}{path.suffix}")
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
        with ThreadPoolExecutor(1) as writer:  # while the next window is finished
            writing: Future[None] | None = None
            for window in mixdown:
                if writing is not None:
                    writing.result()
                writing = writer.submit(_write, files, window)
            if writing is not None:
                writing.result()
    return paths


def _write(files: Sequence[AudioFile], window: Window) -> None:
    for file, block in zip(files, (window.mix, *window.stems), strict=True):
        file.write(block)
