"""Copies of bank notes, added to a window: each held, then let go, coloured or choked.

The sums are made by the compiled loop where there is one, else by numpy, in pieces that stay in a
processor's cache. Either makes the same bits wherever a window begins.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from backing.mixdown.bank import BankNote
from backing.mixdown.loops import compiled
from backing.mixdown.placement import RINGS
from backing.mixdown.release import Gains, envelope
from backing.mixdown.synth import BLOCK, Audio

_AT_ONCE = 49152
"""Samples made at a time: they, a copy and what it is multiplied by stay in a processor's cache."""

Pan = tuple[float, float]
"""Gains for left and right."""
MIDDLE: Pan = (1.0, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Fall:
    """What a note is multiplied by from the moment it is let go.

    ``edges``: the gains of its release; ``curve``: the same sample by sample, the note's own gain
    included, for those who add by numpy.
    """

    edges: Gains
    curve: Audio

    @classmethod
    def of(cls, note: BankNote, sample_rate: int) -> Self:
        """How a note falls."""
        edges = note.release.gains(sample_rate)
        samples = 0 if compiled else min((len(edges) - 1) * BLOCK, len(note.samples))
        curve = envelope(edges, 0, samples)
        curve *= np.float32(note.gain)
        return cls(edges, curve)

    @property
    def length(self) -> int:
        """The samples until nothing is left."""
        return (len(self.edges) - 1) * BLOCK


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """How a held tone sounds, its release included: ``length`` samples.

    From ``hold`` on it is multiplied by ``fall``. One of a colour is the sum of the note, of it
    one sample later and so on, each with its own of the gains ``lags``; from ``late_from`` on,
    where those no longer change but by the release, each times its own of ``taps``.
    """

    note: BankNote
    hold: int
    length: int
    fall: Fall
    lags: tuple[Gains, ...] = ()
    late_from: int = RINGS
    taps: tuple[np.float32, ...] = ()

    @classmethod
    def of(cls, note: BankNote, hold: int, fall: Fall) -> Self:
        """A note let go after ``hold`` samples (RINGS: never).

        After the last knot a colour stays, and an envelope would cost five times as much as a
        factor.
        """
        length = min(len(note.samples), hold + fall.length)
        colour = note.colour
        if colour is None:
            return cls(note, hold, length, fall)
        last = colour.knots[-1]
        shares = colour.at(hold / BLOCK, last + 1)
        gains = fall.edges[: last + 1] * note.gain
        lags = (shares[:, : len(gains)] * gains).astype(np.float32)
        taps = shares[:, -1].astype(np.float32)
        return cls(note, hold, length, fall, tuple(lags), hold + last * BLOCK, tuple(taps))

    @property
    def row(self) -> tuple[Any, ...]:
        """The sound as the compiled loop takes it."""
        note, taps = self.note, tuple(map(float, self.taps))
        whole = note.samples, note.gain, self.hold, self.length, self.fall.edges
        return *whole, self.lags, self.late_from, taps

    def add_to(self, out: Audio, start: int, scratch: Audio) -> None:
        """Add the samples from ``start`` on to ``out``, by way of ``scratch`` of equal length."""
        stop, samples = start + len(out), self.note.samples
        let_go = min(max(start, self.hold), stop)
        if start < let_go:
            held = scratch[: let_go - start]
            np.multiply(samples[start:let_go], np.float32(self.note.gain), out=held)
        late = min(max(let_go, self.late_from), stop) if self.lags else let_go
        if let_go < late:
            self._colour(scratch[let_go - start : late - start], let_go, late)
        if late < stop:
            falling = scratch[late - start :]
            curve = self.fall.curve[late - self.hold : stop - self.hold]
            np.multiply(samples[late:stop], curve, falling)
            if self.lags:
                self._tint(falling, curve, late, stop)
        out += scratch

    def _colour(self, falling: Audio, start: int, stop: int) -> None:
        falling[:] = 0
        for lag, gains in enumerate(self.lags):
            later = envelope(gains, start - self.hold, stop - self.hold)
            first = max(0, lag - start)
            later[first:] *= self.note.samples[start - lag + first : max(0, stop - lag)]
            falling[first:] += later[first:]

    def _tint(self, falling: Audio, curve: Audio, start: int, stop: int) -> None:
        """Make the fall of the plain note the sum of its lags, where their shares stay."""
        falling *= self.taps[0]
        for lag, tap in enumerate(self.taps[1:], 1):
            later = self.note.samples[start - lag : stop - lag] * tap
            later *= curve
            falling += later


class Copies:
    """Copies of some sounds in the order of onsets, each to its end."""

    def __init__(
        self, onsets: NDArray[np.int64], which: NDArray[np.int64], sounds: Iterable[Sound]
    ) -> None:
        """``onsets`` in samples; ``which`` of ``sounds`` begins there."""
        self._sounds = tuple(sounds)
        lengths = np.array([sound.length for sound in self._sounds], np.int64)[which]
        self._onsets, self._ends = onsets.astype(np.int64), onsets + lengths
        self._which = which.astype(np.int64)
        self._longest = int(lengths.max(initial=0))
        self._loop = compiled and compiled.Sounds([sound.row for sound in self._sounds])

    @property
    def samples(self) -> int:
        """The length of all copies together."""
        return int((self._ends - self._onsets).sum())

    def add_to(self, out: Audio, start: int, pan: Pan = MIDDLE) -> None:
        """Add the samples from ``start`` on to ``out``, times ``pan``."""
        if self._loop is not None:
            at = self._sounding(start, start + len(out))
            self._loop.add(out, start, self._onsets[at], self._ends[at], self._which[at], *pan)
        elif pan == MIDDLE:
            self._add(out, start)
        else:
            sound = np.zeros_like(out)
            self._add(sound, start)
            out += _panned(sound, pan)

    def _add(self, out: Audio, start: int) -> None:
        for first in range(0, len(out), _AT_ONCE):
            self._add_some(out[first : first + _AT_ONCE], start + first)

    def _add_some(self, out: Audio, start: int) -> None:
        scratch, stop = np.empty_like(out), start + len(out)
        for at in self._sounding(start, stop).tolist():
            onset = int(self._onsets[at])
            begin, end = max(onset, start) - start, min(int(self._ends[at]), stop) - start
            sound = self._sounds[self._which[at]]
            sound.add_to(out[begin:end], start + begin - onset, scratch[begin:end])

    def _sounding(self, start: int, stop: int) -> NDArray[np.int64]:
        """The copies of which something is heard in the samples [start, stop)."""
        first = int(np.searchsorted(self._onsets, start - self._longest))
        last = int(np.searchsorted(self._onsets, stop))
        return first + np.flatnonzero(self._ends[first:last] > start)


def _panned(sound: Audio, pan: Pan) -> Audio:
    """``sound``, in place, times the gains of left and right.

    Products of arrays of one shape take a tenth of the time of products with a pair of gains.
    """
    gains = np.full((8 * BLOCK, 2), pan, np.float32)
    for first in range(0, len(sound), len(gains)):
        some = sound[first : first + len(gains)]
        some *= gains[: len(some)]
    return sound
