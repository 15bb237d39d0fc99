"""The bank of notes: each distinct held note of the band, rendered once, dry.

A tone (preset, key, velocity) is rendered as long as it is ever held; how it dies away when it is
let go, and whether a softer or louder one is the same waveform times a gain, is measured once by
short probes. What the bank holds for a tone never depends on which other tones are needed, on
threads, or on how long it was needed the last time: a longer rendering begins with the shorter.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from queue import Empty, SimpleQueue
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backing.mixdown.soundfont import DRUM_BANK, SoundFont
from backing.mixdown.synth import BLOCK, Audio, Stroke, Synth

REFERENCE_VELOCITY = 96
"""The velocity that stands for the others of its key wherever they are the same waveform."""

RELEASE_FLOOR_DB = 80.0
"""A released note ends when it has fallen so far: under the noise of 16 bits in any mix."""

RING_LIMIT_S = 12.0
"""No struck thing is let ring longer."""

BENDS = (4, 16, 64, 128, 256)
"""The blocks after a release at which its slope may change: presets of several layers bend."""

PROGRESS_SECONDS = 0.2
"""How often the progress is told."""

_RAMP = np.repeat(np.arange(BLOCK, dtype=np.float32) / BLOCK, 2)
_SILENCE = 10 ** (-72 / 20)
_SAME_WAVEFORM = 10 ** (-80 / 20)
_CHUNK = 172 * BLOCK  # a quarter of a second at 44.1 kHz
_HELD_PROBE = {False: 256 * BLOCK, True: 128 * BLOCK}  # a tone; a drum, often shorter
_WATCHED = {False: 128 * BLOCK, True: 512 * BLOCK}  # after the release
_STEEPEST_DB_PER_S = 20_000.0


class Tone(NamedTuple):
    """What is struck: a preset's ``bank`` and ``program``, the ``key`` and the ``velocity``."""

    bank: int
    program: int
    key: int
    velocity: int

    @property
    def kit(self) -> bool:
        """Whether it is a drum, which rings until it is struck again."""
        return self.bank == DRUM_BANK


@dataclass(frozen=True, slots=True)
class Release:
    """How a note falls once it is let go (a drum: struck again), beyond its own decay.

    Straight lines in dB: ``slopes`` in dB per second, each up to the block of the same place in
    BENDS, counted from the release; the last one goes on.
    """

    slopes: tuple[float, ...]

    def levels_db(self, blocks: int, sample_rate: int) -> NDArray[np.float64]:
        """The level at the beginning of each of so many blocks of 64 samples."""
        bends = BENDS[: len(self.slopes) - 1]
        steps = np.asarray(self.slopes)[np.searchsorted(bends, np.arange(blocks), side="right")]
        return -np.concatenate([[0.0], np.cumsum(steps[:-1])]) * BLOCK / sample_rate

    @property
    def last_bend(self) -> int:
        """The block from which it falls in one straight line."""
        return BENDS[len(self.slopes) - 2] if len(self.slopes) > 1 else 0

    def level_db(self, block: int, sample_rate: int) -> float:
        """The level at the beginning of one block after the release."""
        return float(self.levels_db(block + 1, sample_rate)[-1])

    def samples(self, sample_rate: int) -> int:
        """How many samples it takes to fall by RELEASE_FLOOR_DB; at most RING_LIMIT_S."""
        return (len(_gains(self, sample_rate)) - 2) * BLOCK

    def envelope(self, start: int, stop: int, sample_rate: int) -> Audio:
        """The gains of the samples [start, stop) after the note is let go, float32 (n, 2).

        FluidSynth reckons the level once a block and draws straight lines between; so do we.
        ``stop`` must not lie behind the end of the fall.
        """
        first = start // BLOCK
        gains = _gains(self, sample_rate)[first : -(-stop // BLOCK) + 1, np.newaxis]
        lines = np.diff(gains, axis=0) * _RAMP
        lines += gains[:-1]
        return lines.reshape(-1, 2)[start - first * BLOCK : stop - first * BLOCK]


@lru_cache(maxsize=4096)
def _gains(release: Release, sample_rate: int) -> NDArray[np.float32]:
    """The gains at the beginnings of all blocks of a release, and at the end of the last two."""
    limit = int(RING_LIMIT_S * sample_rate) // BLOCK
    levels = release.levels_db(limit + 2, sample_rate)
    blocks = int(np.count_nonzero(levels[:limit] > -RELEASE_FLOOR_DB))
    return (10 ** (levels[: blocks + 2] / 20)).astype(np.float32)


CHOKE = Release((96.0 / 2 ** (-200 / 1200),))
"""How a choked note falls: FluidSynth gives an exclusive class a release of -200 timecents
(fluid_voice_kill_excl), and an envelope falls through 96 dB in that time."""


@dataclass(frozen=True, slots=True, eq=False)
class BankNote:
    """A held note: ``samples`` float32 (n, 2), to be multiplied by ``gain``.

    ``complete``: it has died away by the end of ``samples``; if not, it can be had longer.
    """

    samples: Audio
    gain: float
    release: Release
    complete: bool


@dataclass(frozen=True, slots=True)
class _Law:
    """What the probes say of a tone: the tone whose samples it uses, its gain, its release."""

    source: Tone
    gain: float
    release: Release


class Bank:
    """The notes of one SoundFont at one sample rate, rendered when they are needed."""

    def __init__(
        self, soundfont: SoundFont, sample_rate: int = 44100, workers: int | None = None
    ) -> None:
        """``workers``: how many threads render (None: one for each processor, at most four)."""
        self.soundfont = soundfont
        self.sample_rate = sample_rate
        self._workers = workers or min(4, os.cpu_count() or 1)
        self._laws: dict[Tone, _Law] = {}
        self._samples: dict[Tone, tuple[Audio, bool]] = {}

    def prepare(
        self, holds: Mapping[Tone, int], progress: Callable[[float], None] | None = None
    ) -> None:
        """Render the tones in ``holds``, each for as many samples as it is ever held.

        A drum needs no length: it is rendered until it has died away. ``progress`` is told how
        much is done, up to 1. Raises MissingProgram or SoundFontError.
        """
        groups: dict[tuple[int, int, int], dict[Tone, int]] = {}
        for tone, hold in sorted(holds.items()):
            if not self._covers(tone, hold):
                groups.setdefault(tone[:3], {})[tone] = hold
        if not groups:
            return
        jobs: SimpleQueue[dict[Tone, int]] = SimpleQueue()
        for group in groups.values():
            jobs.put(group)
        count = min(self._workers, len(groups))
        with ThreadPoolExecutor(count) as pool:
            try:
                done = [pool.submit(self._work, jobs) for _ in range(count)]
                while progress and wait(done, PROGRESS_SECONDS).not_done:
                    progress(1 - jobs.qsize() / len(groups))
                for each in done:
                    each.result()
            finally:
                # after Ctrl-C or an error nothing new is begun
                with suppress(Empty):
                    while True:
                        jobs.get_nowait()

    def lacks(self, holds: Mapping[Tone, int]) -> bool:
        """Whether ``prepare`` would have anything to render."""
        return not all(self._covers(tone, hold) for tone, hold in holds.items())

    def note(self, tone: Tone, hold: int = 0) -> BankNote:
        """The note of a tone, long enough to be held for ``hold`` samples and let go then."""
        self.prepare({tone: hold})
        law = self._laws[tone]
        samples, complete = self._samples[law.source]
        return BankNote(samples, law.gain, law.release, complete)

    @property
    def bytes_held(self) -> int:
        """The memory that the samples take."""
        return sum(samples.nbytes for samples, _ in self._samples.values())

    def _covers(self, tone: Tone, hold: int) -> bool:
        law = self._laws.get(tone)
        have = self._samples.get(law.source) if law else None
        if law is None or have is None:
            return False
        samples, complete = have
        return complete or len(samples) >= self._need(tone, hold, law)

    def _need(self, tone: Tone, hold: int, law: _Law) -> int:
        if tone.kit:
            return int(RING_LIMIT_S * self.sample_rate)
        return hold + law.release.samples(self.sample_rate)

    def _work(self, jobs: SimpleQueue[dict[Tone, int]]) -> None:
        with Synth(self.soundfont, self.sample_rate) as synth:
            while True:
                try:
                    group = jobs.get_nowait()
                except Empty:
                    return
                self._render_group(synth, group)

    def _render_group(self, synth: Synth, group: dict[Tone, int]) -> None:
        """Render the tones of one key of one preset, which may share their samples."""
        missing = [tone for tone in group if tone not in self._laws]
        self._laws.update(_laws(synth, missing, self.sample_rate))
        needs: dict[Tone, int] = {}
        for tone, hold in group.items():
            law = self._laws[tone]
            needs[law.source] = max(needs.get(law.source, 0), self._need(tone, hold, law))
        for source, need in needs.items():
            self._samples[source] = _held(synth, source, need)


def _held(synth: Synth, tone: Tone, need: int) -> tuple[Audio, bool]:
    """A held tone of ``need`` samples, or fewer if it dies away before, and whether it does.

    It ends at the first quarter second that is silent against its peak: a moment that does not
    depend on ``need``.
    """
    channel = synth.channel(tone.bank, tone.program)
    synth.start(channel, tone.key, tone.velocity)
    pieces: list[Audio] = []
    peak, complete, have = 0.0, False, 0
    while have < need and not complete:
        piece = synth.read(_CHUNK)
        loudest = float(np.abs(piece).max())
        peak = max(peak, loudest)
        complete = loudest <= _SILENCE * peak
        if not complete:
            pieces.append(piece)
            have += _CHUNK
    synth.silence(channel)
    held = np.concatenate(pieces)[:need] if pieces else np.zeros((0, 2), np.float32)
    return held, complete


def _laws(synth: Synth, tones: Iterable[Tone], sample_rate: int) -> dict[Tone, _Law]:
    """The laws of tones of one preset and key, by probes."""
    laws: dict[Tone, _Law] = {}
    reference: Audio | None = None
    for tone in tones:
        first = tone._replace(velocity=REFERENCE_VELOCITY)
        if reference is None:
            reference = _probe(synth, first)
            laws[first] = _Law(first, 1.0, _release(synth, first, reference, sample_rate))
        if tone == first:
            continue
        sound = _probe(synth, tone)
        gain = _same_waveform(reference, sound)
        # equal waveforms need not die away equally: in FluidR3 soft notes are damped faster
        release = _release(synth, tone, sound, sample_rate)
        laws[tone] = _Law(tone, 1.0, release) if gain is None else _Law(first, gain, release)
    return laws


def _probe(synth: Synth, tone: Tone) -> Audio:
    """The beginning of a held tone, as long as its release is watched in another probe."""
    channel = synth.channel(tone.bank, tone.program)
    return synth.play(
        channel, [Stroke(0, tone.key, tone.velocity)], _HELD_PROBE[tone.kit] + _WATCHED[tone.kit]
    )


def _same_waveform(reference: Audio, sound: Audio) -> float | None:
    """The gain that turns ``reference`` into ``sound``, or None if no gain does."""
    a, b = reference.astype(np.float64), sound.astype(np.float64)
    # sums, not dot products: those are split among threads, and then differ in the last bit
    energy = float(np.sum(a * a))
    if energy == 0:
        return None
    gain = float(np.sum(a * b)) / energy
    wrong = float(np.sum(np.square(b - gain * a)))
    return gain if wrong <= _SAME_WAVEFORM**2 * float(np.sum(b * b)) else None


def _release(synth: Synth, tone: Tone, held: Audio, sample_rate: int) -> Release:
    """How a tone falls when it is let go, or a drum when it is struck again, by a probe.

    The release is the one whose envelope over the held note comes nearest to what is heard.
    """
    channel = synth.channel(tone.bank, tone.program)
    let_go = _HELD_PROBE[tone.kit]
    again = Stroke(let_go, tone.key, tone.velocity if tone.kit else 0)
    strokes = [Stroke(0, tone.key, tone.velocity), again]
    heard, still = synth.play(channel, strokes, len(held))[let_go:], held[let_go:]
    if tone.kit:
        heard = heard - held[: len(heard)]
    power, product = _per_block(still, still), _per_block(still, heard)
    if tone.kit:  # the first block of a note is the one that depends on what was before
        power[0] = product[0] = 0.0
    ends = [bend for bend in BENDS if bend < len(power)] + [len(power)]
    level, slopes, start = 1.0, [], 0
    for end in ends:
        slope = _slope(power[start:end], product[start:end], level, sample_rate)
        level *= 10 ** (-slope * (end - start) * BLOCK / sample_rate / 20)
        slopes.append(slope)
        start = end
    # nothing grows for ever
    return Release((*slopes[:-1], max(0.0, slopes[-1])))


def _slope(
    power: NDArray[np.float64], product: NDArray[np.float64], level: float, sample_rate: int
) -> float:
    """The slope (dB per second, from ``level``) of least squares over a few blocks.

    It may be negative: a release slower than the decay of the held note.
    """
    seconds = (np.arange(len(power)) + 0.5) * BLOCK / sample_rate
    steep = np.geomspace(1.0, _STEEPEST_DB_PER_S, 60)
    slopes = np.concatenate([-steep[20::-1], [0.0], steep])
    for _ in range(2):  # steps of 18 %, then of 0.6 % about the best of those
        envelopes = level * 10 ** (-slopes[:, np.newaxis] * seconds / 20)
        misfits = np.sum(envelopes * (envelopes * power - 2 * product), axis=1)
        best = int(np.argmin(misfits))
        near = slopes[max(0, best - 1)], slopes[min(len(slopes) - 1, best + 1)]
        slope, slopes = slopes[best], np.linspace(*near, 60)
    return float(slope)


def _per_block(a: Audio, b: Audio) -> NDArray[np.float64]:
    product = a.astype(np.float64) * b
    return np.asarray(product.reshape(-1, 2 * BLOCK).sum(axis=1))
