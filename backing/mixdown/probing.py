"""Render the notes of one key of a preset, and measure how they die away.

Short probes, let go (a drum: struck again) after a while, show how a note dies away, and whether
one of another velocity is the same waveform times a gain. Most fall in straight lines in dB; some
presets also close a filter, or fall differently after a longer hold: those are probed at several
holds (see ReleaseFilter).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType
from typing import NamedTuple, Self

import numpy as np

from backing.mixdown.decay import (
    RING_LIMIT_S,
    Release,
    ReleaseFilter,
    envelope,
    fitted_release,
    fitted_taps,
    misfit,
)
from backing.mixdown.loops import BLOCK, Audio, Numbers, block_products
from backing.mixdown.soundfont import DRUM_BANK
from backing.mixdown.synth import KeyEvent, Synth

REFERENCE_VELOCITY = 96
"""The velocity that stands for the others of its key wherever they are the same waveform."""


class StruckKey(NamedTuple):
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
class NoteModel:
    """How a note is made: the samples of ``source`` times a gain, and its release."""

    source: StruckKey
    gain: float
    release: Release
    filter: ReleaseFilter | None


Rendered = tuple[dict[StruckKey, NoteModel], dict[StruckKey, tuple[Audio, bool]]]
"""The models of some notes; and the samples of their sources, with whether they are complete
(the note has died away by their end)."""

_SILENCE = 10 ** (-72 / 20)
_SAME_WAVEFORM = 10 ** (-80 / 20)
_CHUNK = 172 * BLOCK  # a quarter of a second at 44.1 kHz
_HELD_PROBE = {False: 256 * BLOCK, True: 128 * BLOCK}  # notes; drums are often shorter
_WATCHED = {False: 128 * BLOCK, True: 384 * BLOCK}  # after the release
_WATCHED_EARLY = 128 * BLOCK
_SPAN = {kit: _HELD_PROBE[kit] + _WATCHED[kit] for kit in (False, True)}
_PLAIN = 10 ** (-46 / 20)  # what a plain release may miss
# where a release that misses more is probed; the second shows what the usual hold may not
_HOLDS = {
    False: tuple(BLOCK * blocks for blocks in (56, 88, 120, 160, 208, 288, 512)),
    True: tuple(BLOCK * blocks for blocks in (48, 64, 96, 128, 192, 352)),
}
_KNOTS = {False: (0, 2, 6, 16, 32, 64, 96, 128), True: (0, 4, 16, 64, 128, 256, 384)}
_LAGS = {False: 3, True: 1}


def needed(note: StruckKey, hold: int, release: Release, sample_rate: int) -> int:
    """How many samples it takes to hold a note for ``hold`` of them and let it go.

    A drum is kept as long as it rings.
    """
    if note.kit:
        return int(RING_LIMIT_S * sample_rate)
    return hold + (len(release.gains(sample_rate)) - 1) * BLOCK


def rendered(
    synth: Synth,
    group: Mapping[StruckKey, int],
    known: Mapping[StruckKey, NoteModel],
    lasts: Callable[[StruckKey, int], bool],
    sample_rate: int,
) -> Rendered:
    """The notes of ``group``, of one key of one preset, each held for so many samples.

    Those in ``known`` are not probed again, and a source that already ``lasts`` long enough is not
    rendered again.
    """
    first = next(iter(group))._replace(velocity=REFERENCE_VELOCITY)
    new = {note: _probe(synth, note) for note in group if note not in known and note != first}
    sources = dict.fromkeys(known[note].source for note in group if note in known)
    study = _Study(synth, group, known, lasts, sample_rate)
    if new or first in group or first in sources:
        study.examine(first, None, new)
    for source in (*new, *sources):
        if source != first and source not in study.models:
            study.examine(source, new.get(source))
    return study.models, study.samples


class _Study:
    """The models of the notes of a group, source by source."""

    def __init__(
        self,
        synth: Synth,
        group: Mapping[StruckKey, int],
        known: Mapping[StruckKey, NoteModel],
        lasts: Callable[[StruckKey, int], bool],
        sample_rate: int,
    ) -> None:
        self.models: dict[StruckKey, NoteModel] = {}
        self.samples: dict[StruckKey, tuple[Audio, bool]] = {}
        self._synth, self._group, self._known, self._lasts = synth, group, known, lasts
        self._sample_rate = sample_rate

    def examine(
        self,
        source: StruckKey,
        probe: Audio | None,
        others: Mapping[StruckKey, Audio] = MappingProxyType({}),
    ) -> None:
        """Find the models of a source, and of those of ``others`` that are the same waveform.

        ``others`` come with their probes. The source is rendered as long as all of them need it, in
        one go: nothing else may be struck while it sounds.
        """
        model, probes = self._known.get(source), []
        if model is None:
            early = _HOLDS[source.kit][1]
            probes = [
                (_HELD_PROBE[source.kit], _probe(self._synth, source) if probe is None else probe),
                (early, _probe(self._synth, source, early, _WATCHED_EARLY)),
            ]
        longest = max(self._group.values()) + int(RING_LIMIT_S * self._sample_rate)
        with _Sounding(self._synth, source, longest) as sounding:
            held = _Held(source, sounding.upto(_SPAN[source.kit]), self._sample_rate)
            if model is None:
                model = self.models[source] = NoteModel(
                    source, 1.0, held.release(probes[0][1]), None
                )
            self.models.update(held.alike(others, model.filter))
            need = self._need(source)
            if need is not None and not self._lasts(source, need):
                self.samples[source] = sounding.held(need)
            if all(held.explains(model.release, start, heard) for start, heard in probes):
                return
            whole = sounding.upto(_HOLDS[source.kit][-1] + _WATCHED[source.kit])
        fitted = _fitted_filter(self._synth, source, whole, model.release, self._sample_rate)
        for note, other in self.models.items():
            if other.source == source:
                self.models[note] = replace(other, filter=fitted)

    def _need(self, source: StruckKey) -> int | None:
        """The samples that the notes of the group need of a source; None if they need none."""
        models = {note: self.models.get(note) or self._known.get(note) for note in self._group}
        needs = (
            needed(note, self._group[note], model.release, self._sample_rate)
            for note, model in models.items()
            if model is not None and model.source == source
        )
        return max(needs, default=None)


class _Sounding:
    """A note being held, read as far as it is wanted; nothing else may be struck until it ends."""

    def __init__(self, synth: Synth, note: StruckKey, longest: int) -> None:
        """``longest``: the most samples that may be wanted."""
        self._synth, self._struck = synth, note
        self._sound = np.empty((-(-longest // _CHUNK) * _CHUNK, 2), np.float32)
        self._have = 0
        self._peak = 0.0
        self._dead: int | None = None

    def __enter__(self) -> Self:
        self._channel = self._synth.channel(self._struck.bank, self._struck.program)
        self._synth.start(self._channel, self._struck.key, self._struck.velocity)
        return self

    def __exit__(self, *_: object) -> None:
        self._synth.silence(self._channel)

    def upto(self, samples: int) -> Audio:
        """Its first samples; not to be kept."""
        while self._have < samples:
            chunk = self._sound[self._have : self._have + _CHUNK]
            self._synth.read_into(chunk)
            loudest = float(max(chunk.max(), -chunk.min()))
            self._peak = max(self._peak, loudest)
            if self._dead is None and loudest <= _SILENCE * self._peak:
                self._dead = self._have
            self._have += _CHUNK
        return self._sound[:samples]

    def held(self, need: int) -> tuple[Audio, bool]:
        """Its first ``need`` samples, or fewer if it dies away before, and whether it does.

        It ends at the first quarter second that is silent against its peak, whatever ``need``.
        """
        while self._have < need and self._dead is None:
            self.upto(self._have + _CHUNK)
        complete = self._dead is not None and self._dead < need
        return self._sound[: self._dead if complete else need].copy(), complete


class _Held:
    """The beginning of a note held, to which probes are compared."""

    def __init__(self, note: StruckKey, sound: Audio, sample_rate: int) -> None:
        self._struck, self._sound, self._sample_rate = note, sound, sample_rate
        self._start = _HELD_PROBE[note.kit]
        self._power = block_products(sound, sound)
        # the first block of a drum struck again depends on what was before
        self._first = 1 if note.kit else 0

    def alike(
        self, others: Mapping[StruckKey, Audio], release_filter: ReleaseFilter | None
    ) -> Iterator[tuple[StruckKey, NoteModel]]:
        """The models of those of ``others`` (with their probes) that are the same waveform."""
        for note, heard in others.items():
            gain = self._gain(heard)
            if gain is not None:
                # equal waveforms need not die away equally: in FluidR3 soft notes are damped faster
                yield note, NoteModel(self._struck, gain, self.release(heard, gain), release_filter)

    def _gain(self, heard: Audio) -> float | None:
        """The gain that turns this into ``heard``, or None if no gain does."""
        blocks = self._start // BLOCK
        energy = float(self._power[:blocks].sum())
        if energy == 0:
            return None
        start = heard[: self._start]
        shared, theirs = (
            float(block_products(self._sound, start).sum()),
            float(block_products(start, start).sum()),
        )
        rest = theirs - shared**2 / energy
        return shared / energy if rest <= _SAME_WAVEFORM**2 * theirs else None

    def release(self, heard: Audio, gain: float = 1.0) -> Release:
        """How the note that is this one times ``gain`` falls, from its probe ``heard``.

        A drum is struck again there, and both strokes are heard.
        """
        start = self._start
        power = self._power[start // BLOCK :] * gain**2
        product = block_products(self._sound[start:], heard[start:]) * gain
        if self._struck.kit:
            product -= self._again * gain**2
            power[0] = product[0] = 0.0
        return fitted_release(power, product, self._sample_rate)

    @cached_property
    def _again(self) -> Numbers:
        """The products of a drum's sound with its beginning, from where it is struck again."""
        return block_products(self._sound[self._start :], self._sound)

    def explains(self, release: Release, start: int, probe: Audio) -> bool:
        """Whether a plain release explains a probe let go at ``start``."""
        heard = _fall(self._struck, self._sound, probe, start)
        wrong = misfit(release, self._sound[start:], heard, self._sample_rate, self._first)
        whole = self._power[: start // BLOCK].sum() + block_products(heard, heard).sum()
        return bool(wrong <= _PLAIN**2 * whole)


def _probe(synth: Synth, note: StruckKey, start: int = 0, watched: int = 0) -> Audio:
    """A note let go (a drum: struck again) at ``start`` and watched; 0: the usual times."""
    channel, start = synth.channel(note.bank, note.program), start or _HELD_PROBE[note.kit]
    again = KeyEvent(start, note.key, note.velocity if note.kit else 0)
    strokes = KeyEvent(0, note.key, note.velocity), again
    return synth.play(channel, strokes, start + (watched or _WATCHED[note.kit]))


def _fall(note: StruckKey, held: Audio, probe: Audio, start: int) -> Audio:
    """What is heard of a probe from its release on; of a drum without the second stroke."""
    heard = probe[start:]
    return heard - held[: len(heard)] if note.kit else heard


def _fitted_filter(
    synth: Synth, note: StruckKey, held: Audio, release: Release, sample_rate: int
) -> ReleaseFilter:
    """The filter of a release, by probes at several holds; ``held`` as long as the longest."""
    holds, knots, watched = _HOLDS[note.kit], _KNOTS[note.kit], _WATCHED[note.kit]
    gains = release.gains(sample_rate)
    gains = np.pad(gains, (0, max(0, watched // BLOCK + 1 - len(gains))))
    fall = envelope(gains, 0, watched)
    taps = []
    for hold in holds:
        heard = _fall(note, held, _probe(synth, note, hold), hold)
        lags = [held[hold - lag : hold - lag + watched] * fall for lag in range(_LAGS[note.kit])]
        taps.append(fitted_taps(lags, heard - lags[0], knots, skip=note.kit))
    return ReleaseFilter(tuple(hold // BLOCK for hold in holds), knots, np.array(taps))
