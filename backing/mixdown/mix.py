"""A performance as one finished sound: balanced, in a room, at its level, under the ceiling.

The sound is made in windows, each by itself and so on any thread: it begins early enough to know
what still rings in the room and what the limiter is coming back from. In a loop what comes before
the beginning is the end.

Every stem is a bus of its own from dry sound to limiter, each in the room; the limiter measures
their sum and acts on all alike, and the mix is their sum: exactly, in floating point.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from contextlib import ExitStack, closing
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np

from backing.combo.performance import Performance
from backing.errors import SelectionError
from backing.mixdown import limiter
from backing.mixdown.audio_file import AudioFile
from backing.mixdown.balance import Balance, pan_gains
from backing.mixdown.bank import Bank
from backing.mixdown.formats import check_writable
from backing.mixdown.level import TARGET_LUFS, GainLine, Span, TempoStep, gain_db, spans, steps_of
from backing.mixdown.loops import Audio, Numbers
from backing.mixdown.loudness import (
    CHUNK,
    block_energies,
    gated_loudness,
    hop_energies,
    hop_frames,
)
from backing.mixdown.probing import StruckKey
from backing.mixdown.room import STEP, add_room, fast_size, reach
from backing.mixdown.sampler import Sampler
from backing.mixdown.tags import Tags
from backing.mixdown.threads import Threads, in_order, usual_threads

TRANSFORM: Final = 1 << 16
"""Length of the Fourier transforms in the room: of a window of 5 s and what it begins with."""
PREPARING: Final = 0.6
"""The share of rendering the notes in all work, for the progress: in a track of some minutes."""
MEASURING: Final = 0.2
"""The share of measuring in the rest."""
FADE_SECONDS: Final = 0.5
"""What still rings at the very end of a track fades out in this time."""

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Window:
    """A piece of the finished sound: the mix and its stems, float32 (n, 2)."""

    mix: Audio
    stems: tuple[Audio, ...]


class _Bus:
    """The dry sum of some parts, panned and balanced; any frames of it, from any thread.

    Outside [0, length) there is silence, or in a loop the other end.
    """

    def __init__(self, samplers: Sequence[Sampler], *, circular: bool) -> None:
        self._samplers = [(sampler, pan_gains(sampler.part)) for sampler in samplers]
        self._length = samplers[0].length
        self._circular = circular

    def sound(self, start: int, frames: int) -> Audio:
        """The frames from ``start`` on."""
        total = np.zeros((frames, 2), np.float32)
        stop, length = start + frames, self._length
        at = start if self._circular else max(start, 0)
        end = stop if self._circular else min(stop, length)
        while at < end:
            place = at % length
            count = min(end - at, length - place)
            for sampler, pan in self._samplers:
                sampler.add_to(total[at - start : at - start + count], place, pan)
            at += count
        return total


class Mixdown:
    """A performance ready to be heard, as often as wanted: iterate over its windows.

    ``length`` in frames; ``stem_names`` in the order of every window's stems (none if they were
    not asked for).
    """

    def __init__(
        self,
        performance: Performance,
        samplers: Sequence[Sampler],
        sample_rate: int,
        *,
        stems: bool,
        progress: Progress | None,
        threads: int | None = None,
    ) -> None:
        self.sample_rate = sample_rate
        self.circular = performance.circular
        self.length = samplers[0].length
        self.stem_names = tuple(sampler.part for sampler in samplers) if stems else ()
        self.threads = threads or usual_threads()
        self._progress = progress
        for sampler in samplers:
            sampler.prepare()
        self._whole = _Bus(samplers, circular=self.circular)
        self._buses = [self._whole]
        if stems:
            self._buses = [_Bus([sampler], circular=self.circular) for sampler in samplers]
        self._fade = 0
        if performance.tail:
            self._fade = min(round(FADE_SECONDS * sample_rate), self.length)
        self._lead = -(-reach(sample_rate) // CHUNK) * CHUNK + limiter.LEAD
        self._window = STEP * TRANSFORM - self._lead - limiter.TRAIL
        self._steps = steps_of(performance, self.length, sample_rate)
        self._line: GainLine | None = None

    @property
    def steps(self) -> tuple[TempoStep, ...]:
        """The runs of passes at one tempo, and what gain brings each to TARGET_LUFS."""
        self._levelled()
        return tuple(self._steps)

    def __iter__(self) -> Iterator[Window]:
        """The windows in order; together exactly ``length`` frames."""
        line = self._levelled()
        starts = range(0, self.length, self._window)

        def make(start: int) -> Window:
            return self._finished(start, line)

        for start, window in zip(starts, in_order(make, starts, self.threads), strict=True):
            yield window
            self._report(MEASURING + (1 - MEASURING) * (start + self._window) / self.length)

    def _finished(self, start: int, line: GainLine) -> Window:
        """The window from frame ``start`` on."""
        buses = []
        for bus in self._buses:
            sound = bus.sound(start - self._lead, STEP * TRANSFORM)
            if sound.any():  # most of the stem of a count-in is silent
                add_room(sound, self.sample_rate)
            sound = sound[self._lead - limiter.LEAD :]
            self._amplify(sound, start - limiter.LEAD, line)
            buses.append(sound)
        curve = limiter.gain_curve(_sum(buses))
        count = min(self._window, self.length - start)
        for at, sound in enumerate(buses):
            buses[at] = sound[limiter.LEAD : -limiter.TRAIL]
            if curve is not None:
                limiter.apply(curve, buses[at])
            buses[at] = buses[at][:count]
        return Window(_sum(buses), tuple(buses) if self.stem_names else ())

    def _amplify(self, sound: Audio, start: int, line: GainLine) -> None:
        """Bring a sound to its level, in place; a track that ends fades out."""
        gains = line.at(start, len(sound))
        if self._fade and start + len(sound) > self.length - self._fade:
            frames = np.arange(start, start + len(sound))
            gains = gains * np.clip((self.length - frames) / self._fade, 0, 1)
        if isinstance(gains, float):
            sound *= np.float32(gains)
        else:
            sound *= gains.astype(np.float32)[:, None]

    def _levelled(self) -> GainLine:
        """The gains of the track; the first time the steps are measured."""
        if self._line is None:
            todo = list(spans(self._steps, self.sample_rate))
            heard: list[list[Numbers]] = [[] for _ in self._steps]
            measured = in_order(self._energies, todo, self.threads)
            for done, (span, energies) in enumerate(zip(todo, measured, strict=True), 1):
                heard[span.step].append(energies)
                self._report(MEASURING * done / len(todo))
            for index, step in enumerate(self._steps):
                gain = gain_db(heard[index], dry=not step.is_short(self.sample_rate))
                self._steps[index] = replace(step, gain_db=gain)
            self._line = GainLine(
                self._steps, self.length, self.sample_rate, circular=self.circular
            )
        return self._line

    def _energies(self, span: Span) -> Numbers:
        """The energies of the hops of a span; of a short step, in the room and limited."""
        hop = hop_frames(self.sample_rate)
        if not self._steps[span.step].is_short(self.sample_rate):
            # from a hop before, which the filter has forgotten by then
            sound = self._whole.sound(span.start - hop, (span.hops + 1) * hop)
            return hop_energies(sound, self.sample_rate)[1:]
        lead = reach(self.sample_rate)
        frames = lead + span.hops * hop
        sound = self._whole.sound(span.start - lead, STEP * fast_size(-(-frames // STEP)))
        sound[frames:] = 0
        add_room(sound, self.sample_rate)
        return _limited_energies(sound[lead:frames], self.sample_rate)

    def _report(self, done: float) -> None:
        if self._progress is not None:
            self._progress(min(done, 1.0))


def _limited_energies(sound: Audio, sample_rate: int) -> Numbers:
    """The energies of its hops, less what the limiter will take off at its level."""
    energies = hop_energies(sound, sample_rate)
    lufs = gated_loudness(block_energies(energies))
    if lufs == -np.inf:
        return energies
    gain = 10 ** ((TARGET_LUFS - lufs) / 20)
    louder = limiter.limited(sound * np.float32(gain))
    return hop_energies(louder, sample_rate) / gain**2


def _sum(buses: Sequence[Audio]) -> Audio:
    """The buses added in order; the first one itself if it is alone."""
    if len(buses) == 1:
        return buses[0]
    total = buses[0] + buses[1]
    for bus in buses[2:]:
        total += bus
    return total


def render(
    performance: Performance,
    bank: Bank,
    *,
    parts: Iterable[str] | None = None,
    stems: bool = False,
    progress: Progress | None = None,
    threads: int | None = None,
) -> Mixdown:
    """The finished sound of ``parts`` (None: all) at the sample rate of ``bank``.

    ``stems``: every part also by itself. ``progress`` is told how much is done, from 0 to 1.
    ``threads``: how many mix (None: one for each processor, at most four). Raises SelectionError
    for a part that does not play, SoundFontError and MissingProgram.
    """
    playing = performance.part_names
    names = playing if parts is None else tuple(dict.fromkeys(parts))
    for name in names:
        if name not in playing:
            raise SelectionError(f"No {name} plays here.", f"There are: {', '.join(playing)}.")
    if not names:
        raise SelectionError("Nobody plays.", "Name at least one part to play.")
    balance = Balance(bank)
    samplers = [Sampler(performance, name, bank, partial(balance.gain_db, name)) for name in names]
    holds: dict[StruckKey, int] = {}
    for sampler in samplers:
        needs = balance.needs(sampler.part, sampler.holds)
        for struck, hold in (*sampler.holds.items(), *needs):
            holds[struck] = max(holds.get(struck, 0), hold)
    if progress is not None:
        progress(0)
    preparing = PREPARING if bank.lacks(holds) else 0
    bank.prepare(holds, _share(progress, 0, preparing))
    rest = _share(progress, preparing, 1)
    return Mixdown(
        performance, samplers, bank.sample_rate, stems=stems, progress=rest, threads=threads
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
            stack.enter_context(
                AudioFile(each, mixdown.sample_rate, bits=bits, tags=tags, threads=mixdown.threads)
            )
            for each in paths
        ]
        with closing(Threads(1)) as writer:  # while the next window is finished
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
