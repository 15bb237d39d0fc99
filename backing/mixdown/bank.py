"""The bank of notes: each distinct held note of the band, rendered once, dry.

A tone (preset, key, velocity) is rendered as long as it is ever held; how it dies away when it is
let go, and whether a softer or louder one is the same waveform times a gain, is measured once by
short probes. Most fall in straight lines in dB; some presets also close a filter as they do, or
fall otherwise when they were held longer: those are probed at several holds (see Colour).

What the bank holds for a tone never depends on which other tones are needed, on threads, or on how
long it was needed the last time: a longer rendering begins with the shorter.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from backing.mixdown.crew import mapped
from backing.mixdown.release import (
    RING_LIMIT_S,
    Colour,
    Release,
    envelope,
    fitted_release,
    fitted_taps,
    per_block,
)
from backing.mixdown.soundfont import SoundFont
from backing.mixdown.synth import BLOCK, Audio, Stroke, Synth
from backing.mixdown.tone import Group, Law, Rendered, Tone

if TYPE_CHECKING:  # it takes as long to load as all the rest, and a track may do without
    from backing.mixdown.note_store import NoteStore

REFERENCE_VELOCITY = 96
"""The velocity that stands for the others of its key wherever they are the same waveform."""

_SILENCE = 10 ** (-72 / 20)
_SAME_WAVEFORM = 10 ** (-80 / 20)
_CHUNK = 172 * BLOCK  # a quarter of a second at 44.1 kHz
_HELD_PROBE = {False: 256 * BLOCK, True: 128 * BLOCK}  # a tone; a drum, often shorter
_WATCHED = {False: 128 * BLOCK, True: 512 * BLOCK}  # after the release
_PLAIN = 10 ** (-46 / 20)  # what a release may leave unsaid
_HOLDS = {  # where it is probed if it leaves more: the second shows it, if the long probe does not
    False: tuple(BLOCK * blocks for blocks in (56, 88, 120, 160, 208, 288, 512)),
    True: tuple(BLOCK * blocks for blocks in (48, 64, 96, 128, 192, 352)),
}
_KNOTS = {False: (0, 2, 6, 16, 32, 64, 96, 128), True: (0, 4, 16, 64, 128, 256, 512)}
_LAGS = {False: 3, True: 1}


@dataclass(frozen=True, slots=True, eq=False)
class BankNote:
    """A held note: ``samples`` float32 (n, 2), to be multiplied by ``gain``.

    ``complete``: it has died away by the end of ``samples``; if not, it can be had longer.
    """

    samples: Audio
    gain: float
    release: Release
    complete: bool
    colour: Colour | None = None


class Bank:
    """The notes of one SoundFont at one sample rate, rendered when they are needed."""

    def __init__(
        self,
        soundfont: SoundFont,
        sample_rate: int = 44100,
        workers: int | None = None,
        store: NoteStore | None = None,
    ) -> None:
        """``workers``: how many render at once (None: one for each processor, at most four).

        ``store``: where notes are kept for the next time, if anywhere.
        """
        self.soundfont = soundfont
        self._store = store
        self.sample_rate = sample_rate
        self._workers = workers or min(4, os.cpu_count() or 1)
        self._laws: dict[Tone, Law] = {}
        self._samples: dict[Tone, tuple[Audio, bool]] = {}

    def prepare(
        self, holds: Mapping[Tone, int], progress: Callable[[float], None] | None = None
    ) -> None:
        """Render the tones in ``holds``, each for as many samples as it is ever held.

        A drum needs no length: it is rendered until it has died away. ``progress`` is told how
        much is done, up to 1. Raises MissingProgram or SoundFontError.
        """
        groups = self._missing(holds)
        if not groups:
            return
        if self._store is not None:
            for group in groups:
                self._take_in(self._store.load(group))
            groups = self._missing(holds)
        if groups:
            self._render(groups, progress)
        if self._store is not None:
            self._store.used()

    def _render(
        self,
        groups: Mapping[Group, dict[Tone, int]],
        progress: Callable[[float], None] | None,
    ) -> None:
        if progress:
            progress(0)
        jobs = list(groups.values())
        for done, rendered in enumerate(mapped(self._desk, jobs, self._workers), 1):
            self._take_in(rendered)
            if progress:
                progress(done / len(jobs))
        if self._store is not None:
            for group in groups:
                self._store.save(group, self._known(group))

    def _missing(self, holds: Mapping[Tone, int]) -> dict[Group, dict[Tone, int]]:
        """The tones that are not there long enough, by preset and key."""
        groups: dict[Group, dict[Tone, int]] = {}
        for tone, hold in sorted(holds.items()):
            if not self._covers(tone, hold):
                groups.setdefault(tone[:3], {})[tone] = hold
        return groups

    def _take_in(self, rendered: Rendered | None) -> None:
        if rendered is not None:
            laws, samples = rendered
            self._laws.update(laws)
            self._samples.update(samples)

    def _known(self, group: Group) -> Rendered:
        """All that is known of a key of a preset."""
        laws = {tone: law for tone, law in self._laws.items() if tone[:3] == group}
        samples = {tone: held for tone, held in self._samples.items() if tone[:3] == group}
        return laws, samples

    def lacks(self, holds: Mapping[Tone, int]) -> bool:
        """Whether ``prepare`` would have anything to render."""
        return not all(self._covers(tone, hold) for tone, hold in holds.items())

    def note(self, tone: Tone, hold: int = 0) -> BankNote:
        """The note of a tone, long enough to be held for ``hold`` samples and let go then."""
        self.prepare({tone: hold})
        law = self._laws[tone]
        samples, complete = self._samples[law.source]
        return BankNote(samples, law.gain, law.release, complete, law.colour)

    @property
    def bytes_held(self) -> int:
        """The memory that the samples take."""
        return sum(samples.nbytes for samples, _ in self._samples.values())

    def _covers(self, tone: Tone, hold: int) -> bool:
        law = self._laws.get(tone)
        return law is not None and self._lasts(law.source, self._need(tone, hold, law))

    def _lasts(self, source: Tone, need: int) -> bool:
        samples, complete = self._samples.get(source, (None, False))
        return samples is not None and (complete or len(samples) >= need)

    def _need(self, tone: Tone, hold: int, law: Law) -> int:
        if tone.kit:
            return int(RING_LIMIT_S * self.sample_rate)
        return hold + (len(law.release.gains(self.sample_rate)) - 1) * BLOCK

    @contextmanager
    def _desk(self) -> Iterator[Callable[[dict[Tone, int]], Rendered]]:
        """The desk of a worker: a synth of its own."""
        with Synth(self.soundfont, self.sample_rate) as synth:
            yield lambda group: self._rendered(synth, group)

    def _rendered(self, synth: Synth, group: dict[Tone, int]) -> Rendered:
        """The tones of one key of one preset, which may share their samples."""
        missing = [tone for tone in group if tone not in self._laws]
        laws = _laws(synth, missing, self._laws, self.sample_rate)
        needs: dict[Tone, int] = {}
        for tone, hold in group.items():
            law = laws[tone] if tone in laws else self._laws[tone]
            needs[law.source] = max(needs.get(law.source, 0), self._need(tone, hold, law))
        samples = {
            source: _held(synth, source, need)
            for source, need in needs.items()
            if not self._lasts(source, need)
        }
        return laws, samples


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


def _laws(
    synth: Synth, tones: Iterable[Tone], known: Mapping[Tone, Law], sample_rate: int
) -> dict[Tone, Law]:
    """The laws of tones of one preset and key, by probes; what is ``known`` is not probed again."""
    laws: dict[Tone, Law] = {}
    reference: Audio | None = None
    for tone in tones:
        first = tone._replace(velocity=REFERENCE_VELOCITY)
        if reference is None:
            reference = _probe(synth, first)
            law = known.get(first) or _law(
                synth, first, reference, _probe(synth, first, let_go=True), sample_rate
            )
            laws[first] = law
        if tone == first:
            continue
        heard, start = _probe(synth, tone, let_go=True), _HELD_PROBE[tone.kit]
        gain = _same_waveform(reference[:start], heard[:start])
        if gain is None:
            laws[tone] = _law(synth, tone, _probe(synth, tone), heard, sample_rate)
            continue
        # equal waveforms need not die away equally: in FluidR3 soft notes are damped faster
        release = _release(tone, reference, heard, sample_rate, gain)
        laws[tone] = Law(first, gain, release, law.colour)
    return laws


def _law(synth: Synth, tone: Tone, held: Audio, let_go: Audio, sample_rate: int) -> Law:
    release = _release(tone, held, let_go, sample_rate)
    early = _HOLDS[tone.kit][1]
    plain = _plain(tone, held, let_go, release, sample_rate) and _plain(
        tone, held, _probe(synth, tone, let_go=True, start=early), release, sample_rate
    )
    colour = None if plain else _colour(synth, tone, release, sample_rate)
    return Law(tone, 1.0, release, colour)


def _probe(synth: Synth, tone: Tone, *, let_go: bool = False, start: int = 0) -> Audio:
    """The beginning of a tone, held, or let go (a drum: struck again) and watched after that."""
    channel, start = synth.channel(tone.bank, tone.program), start or _HELD_PROBE[tone.kit]
    strokes = [Stroke(0, tone.key, tone.velocity)]
    if let_go:
        strokes.append(Stroke(start, tone.key, tone.velocity if tone.kit else 0))
    return synth.play(channel, strokes, start + _WATCHED[tone.kit])


def _fall(tone: Tone, held: Audio, let_go: Audio, start: int) -> Audio:
    """What is heard of a probe from its release on; of a drum without the second stroke."""
    heard = let_go[start:]
    return heard - held[: len(heard)] if tone.kit else heard


def _plain(tone: Tone, held: Audio, let_go: Audio, release: Release, sample_rate: int) -> bool:
    """Whether a release is all there is to hear in a probe."""
    start = len(let_go) - _WATCHED[tone.kit]
    first = BLOCK if tone.kit else 0  # a drum's first block depends on what was before
    heard = _fall(tone, held, let_go, start)
    gains = release.gains(sample_rate)
    count = min(len(heard), (len(gains) - 1) * BLOCK)
    still = held[start : start + count] * envelope(gains, 0, count)
    wrong = np.sum(np.square(heard[first:count] - still[first:]), dtype=np.float64)
    whole = np.sum(np.square(held[:start]), dtype=np.float64)
    whole += np.sum(np.square(heard), dtype=np.float64)
    return bool(wrong <= _PLAIN**2 * whole)


def _colour(synth: Synth, tone: Tone, release: Release, sample_rate: int) -> Colour:
    """The colour of a release, by probes at several holds."""
    holds, knots = _HOLDS[tone.kit], _KNOTS[tone.kit]
    watched = _WATCHED[tone.kit]
    channel = synth.channel(tone.bank, tone.program)
    held = synth.play(channel, [Stroke(0, tone.key, tone.velocity)], max(holds) + watched)
    gains = release.gains(sample_rate)
    gains = np.pad(gains, (0, max(0, watched // BLOCK + 1 - len(gains))))
    fall = envelope(gains, 0, watched).astype(np.float64)
    taps = []
    for hold in holds:
        heard = _fall(tone, held, _probe(synth, tone, let_go=True, start=hold), hold)
        lags = [held[hold - lag : hold - lag + watched] * fall for lag in range(_LAGS[tone.kit])]
        taps.append(fitted_taps(lags, heard - lags[0], knots, skip=tone.kit))
    return Colour(tuple(hold // BLOCK for hold in holds), knots, np.array(taps))


def _same_waveform(reference: Audio, sound: Audio) -> float | None:
    """The gain that turns ``reference`` into ``sound``, or None if no gain does."""
    # sums, not dot products: those are split among threads, and then differ in the last bit
    energy = _sum(reference, reference)
    if energy == 0:
        return None
    gain = _sum(reference, sound) / energy
    rest = sound - reference * np.float32(gain)
    return gain if _sum(rest, rest) <= _SAME_WAVEFORM**2 * _sum(sound, sound) else None


def _sum(a: Audio, b: Audio) -> float:
    return float((a * b).sum(dtype=np.float64))


def _release(
    tone: Tone, held: Audio, let_go: Audio, sample_rate: int, gain: float = 1.0
) -> Release:
    """How a tone falls when it is let go, or a drum when it is struck again, from its probes.

    ``held`` times ``gain`` is the tone held.
    """
    start = _HELD_PROBE[tone.kit]
    still = held[start:]
    heard = let_go[start:]
    power, product = per_block(still, still) * gain**2, per_block(still, heard) * gain
    if tone.kit:
        # what is heard of the old stroke is what is heard, less the new stroke
        product -= per_block(still, held[: len(heard)]) * gain**2
        # the first block depends on what was before
        power[0] = product[0] = 0.0
    return fitted_release(power, product, sample_rate)
