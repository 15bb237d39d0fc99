"""The tones of one key of one preset, rendered: how each sounds while it is held, and how it falls.

Short probes, let go (a drum: struck again) and watched, say how a tone dies away, and whether a
softer or louder one is the same waveform times a gain. Most fall in straight lines in dB; some
presets also close a filter as they do, or fall otherwise when they were held longer: those are
probed at several holds (see Colour).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import cached_property
from types import MappingProxyType
from typing import Self

import numpy as np

from backing.mixdown.release import (
    RING_LIMIT_S,
    Colour,
    Numbers,
    Release,
    envelope,
    fitted_release,
    fitted_taps,
    misfit,
    per_block,
)
from backing.mixdown.synth import BLOCK, Audio, Stroke, Synth
from backing.mixdown.tone import Law, Rendered, Tone

REFERENCE_VELOCITY = 96
"""The velocity that stands for the others of its key wherever they are the same waveform."""

_SILENCE = 10 ** (-72 / 20)
_SAME_WAVEFORM = 10 ** (-80 / 20)
_CHUNK = 172 * BLOCK  # a quarter of a second at 44.1 kHz
_HELD_PROBE = {False: 256 * BLOCK, True: 128 * BLOCK}  # a tone; a drum, often shorter
_WATCHED = {False: 128 * BLOCK, True: 384 * BLOCK}  # after the release
_WATCHED_EARLY = 128 * BLOCK
_SPAN = {kit: _HELD_PROBE[kit] + _WATCHED[kit] for kit in (False, True)}
_PLAIN = 10 ** (-46 / 20)  # what a release may leave unsaid
_HOLDS = {  # where it is probed if it leaves more: the second shows it, if the long probe does not
    False: tuple(BLOCK * blocks for blocks in (56, 88, 120, 160, 208, 288, 512)),
    True: tuple(BLOCK * blocks for blocks in (48, 64, 96, 128, 192, 352)),
}
_KNOTS = {False: (0, 2, 6, 16, 32, 64, 96, 128), True: (0, 4, 16, 64, 128, 256, 384)}
_LAGS = {False: 3, True: 1}


def needed(tone: Tone, hold: int, release: Release, sample_rate: int) -> int:
    """How many samples it takes to hold a tone for ``hold`` of them and let it go.

    A drum is kept as long as it rings.
    """
    if tone.kit:
        return int(RING_LIMIT_S * sample_rate)
    return hold + (len(release.gains(sample_rate)) - 1) * BLOCK


def rendered(
    synth: Synth,
    group: Mapping[Tone, int],
    known: Mapping[Tone, Law],
    lasts: Callable[[Tone, int], bool],
    sample_rate: int,
) -> Rendered:
    """The tones of ``group``, of one key of one preset, each held for so many samples.

    What is ``known`` is not probed again; where there are samples enough of a source already (it
    ``lasts``), they are not rendered.
    """
    first = next(iter(group))._replace(velocity=REFERENCE_VELOCITY)
    new = {tone: _probe(synth, tone) for tone in group if tone not in known and tone != first}
    sources = dict.fromkeys(known[tone].source for tone in group if tone in known)
    study = _Study(synth, group, known, lasts, sample_rate)
    if new or first in group or first in sources:
        study.examine(first, None, new)
    for source in (*new, *sources):
        if source != first and source not in study.laws:
            study.examine(source, new.get(source))
    return study.laws, study.samples


class _Study:
    """What is found out about the tones of a group, source by source."""

    def __init__(
        self,
        synth: Synth,
        group: Mapping[Tone, int],
        known: Mapping[Tone, Law],
        lasts: Callable[[Tone, int], bool],
        sample_rate: int,
    ) -> None:
        self.laws: dict[Tone, Law] = {}
        self.samples: dict[Tone, tuple[Audio, bool]] = {}
        self._synth, self._group, self._known, self._lasts = synth, group, known, lasts
        self._sample_rate = sample_rate

    def examine(
        self,
        source: Tone,
        probe: Audio | None,
        others: Mapping[Tone, Audio] = MappingProxyType({}),
    ) -> None:
        """Find the law of a source, and of those of ``others`` that are the same waveform.

        ``others`` come with their probes, and the source if there is one of it. It is rendered as
        long as all of them need it: in one go, since nothing else may be struck while it sounds.
        """
        law, probes = self._known.get(source), []
        if law is None:
            early = _HOLDS[source.kit][1]
            probes = [
                (_HELD_PROBE[source.kit], _probe(self._synth, source) if probe is None else probe),
                (early, _probe(self._synth, source, early, _WATCHED_EARLY)),
            ]
        longest = max(self._group.values()) + int(RING_LIMIT_S * self._sample_rate)
        with _Sounding(self._synth, source, longest) as sounding:
            held = _Held(source, sounding.upto(_SPAN[source.kit]), self._sample_rate)
            if law is None:
                law = self.laws[source] = Law(source, 1.0, held.release(probes[0][1]), None)
            self.laws.update(held.alike(others, law.colour))
            need = self._need(source)
            if need is not None and not self._lasts(source, need):
                self.samples[source] = sounding.held(need)
            if all(held.tells(law.release, start, heard) for start, heard in probes):
                return
            whole = sounding.upto(_HOLDS[source.kit][-1] + _WATCHED[source.kit])
        colour = _colour(self._synth, source, whole, law.release, self._sample_rate)
        for tone, other in self.laws.items():
            if other.source == source:
                self.laws[tone] = replace(other, colour=colour)

    def _need(self, source: Tone) -> int | None:
        """The samples that the tones of the group need of a source; None if they need none."""
        laws = {tone: self.laws.get(tone) or self._known.get(tone) for tone in self._group}
        needs = (
            needed(tone, self._group[tone], law.release, self._sample_rate)
            for tone, law in laws.items()
            if law is not None and law.source == source
        )
        return max(needs, default=None)


class _Sounding:
    """A tone being held, read only as far as it is wanted; nothing else may be struck meanwhile."""

    def __init__(self, synth: Synth, tone: Tone, longest: int) -> None:
        """``longest``: the most samples that may be wanted."""
        self._synth, self._tone = synth, tone
        self._sound = np.empty((-(-longest // _CHUNK) * _CHUNK, 2), np.float32)
        self._have = 0
        self._peak = 0.0
        self._dead: int | None = None

    def __enter__(self) -> Self:
        self._channel = self._synth.channel(self._tone.bank, self._tone.program)
        self._synth.start(self._channel, self._tone.key, self._tone.velocity)
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
        """So many samples of it, or fewer if it dies away before, and whether it does.

        It ends at the first quarter second that is silent against its peak: a moment that does
        not depend on ``need``.
        """
        while self._have < need and self._dead is None:
            self.upto(self._have + _CHUNK)
        complete = self._dead is not None and self._dead < need
        return self._sound[: self._dead if complete else need].copy(), complete


class _Held:
    """The beginning of a tone held, to which probes are compared."""

    def __init__(self, tone: Tone, sound: Audio, sample_rate: int) -> None:
        self._tone, self._sound, self._sample_rate = tone, sound, sample_rate
        self._start = _HELD_PROBE[tone.kit]
        self._power = per_block(sound, sound)
        # the first block of a drum struck again depends on what was before
        self._first = 1 if tone.kit else 0

    def alike(
        self, others: Mapping[Tone, Audio], colour: Colour | None
    ) -> Iterator[tuple[Tone, Law]]:
        """The laws of those of ``others``, which come with their probes, that are this waveform."""
        for tone, heard in others.items():
            gain = self._gain(heard)
            if gain is not None:
                # equal waveforms need not die away equally: in FluidR3 soft notes are damped faster
                yield tone, Law(self._tone, gain, self.release(heard, gain), colour)

    def _gain(self, heard: Audio) -> float | None:
        """The gain that turns this into ``heard``, or None if no gain does."""
        blocks = self._start // BLOCK
        energy = float(self._power[:blocks].sum())
        if energy == 0:
            return None
        start = heard[: self._start]
        shared, theirs = (
            float(per_block(self._sound, start).sum()),
            float(per_block(start, start).sum()),
        )
        rest = theirs - shared**2 / energy
        return shared / energy if rest <= _SAME_WAVEFORM**2 * theirs else None

    def release(self, heard: Audio, gain: float = 1.0) -> Release:
        """How the tone that is this one times ``gain`` falls after it, as is ``heard`` in a probe.

        A drum is struck again then, and heard are both strokes.
        """
        start = self._start
        power = self._power[start // BLOCK :] * gain**2
        product = per_block(self._sound[start:], heard[start:]) * gain
        if self._tone.kit:
            product -= self._again * gain**2
            power[0] = product[0] = 0.0
        return fitted_release(power, product, self._sample_rate)

    @cached_property
    def _again(self) -> Numbers:
        """The products of a drum's sound with its beginning, from where it is struck again."""
        return per_block(self._sound[self._start :], self._sound)

    def tells(self, release: Release, start: int, probe: Audio) -> bool:
        """Whether a release is all there is to hear of it in a probe, let go at ``start``."""
        heard = _fall(self._tone, self._sound, probe, start)
        wrong = misfit(release, self._sound[start:], heard, self._sample_rate, self._first)
        whole = self._power[: start // BLOCK].sum() + per_block(heard, heard).sum()
        return bool(wrong <= _PLAIN**2 * whole)


def _probe(synth: Synth, tone: Tone, start: int = 0, watched: int = 0) -> Audio:
    """A tone let go (a drum: struck again) at ``start`` and watched, as usual if they are 0."""
    channel, start = synth.channel(tone.bank, tone.program), start or _HELD_PROBE[tone.kit]
    again = Stroke(start, tone.key, tone.velocity if tone.kit else 0)
    strokes = Stroke(0, tone.key, tone.velocity), again
    return synth.play(channel, strokes, start + (watched or _WATCHED[tone.kit]))


def _fall(tone: Tone, held: Audio, probe: Audio, start: int) -> Audio:
    """What is heard of a probe from its release on; of a drum without the second stroke."""
    heard = probe[start:]
    return heard - held[: len(heard)] if tone.kit else heard


def _colour(synth: Synth, tone: Tone, held: Audio, release: Release, sample_rate: int) -> Colour:
    """The colour of a release, by probes at several holds; ``held`` as long as the longest."""
    holds, knots, watched = _HOLDS[tone.kit], _KNOTS[tone.kit], _WATCHED[tone.kit]
    gains = release.gains(sample_rate)
    gains = np.pad(gains, (0, max(0, watched // BLOCK + 1 - len(gains))))
    fall = envelope(gains, 0, watched)
    taps = []
    for hold in holds:
        heard = _fall(tone, held, _probe(synth, tone, hold), hold)
        lags = [held[hold - lag : hold - lag + watched] * fall for lag in range(_LAGS[tone.kit])]
        taps.append(fitted_taps(lags, heard - lags[0], knots, skip=tone.kit))
    return Colour(tuple(hold // BLOCK for hold in holds), knots, np.array(taps))
