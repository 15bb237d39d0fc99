"""How notes die away when they are let go: straight lines in dB, with some presets a filter too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

from backing.mixdown import loops
from backing.mixdown.loops import BLOCK, Audio, Numbers, block_products

RELEASE_FLOOR_DB = 80.0
"""A released note ends when it has fallen so far: under the noise of 16 bits in any mix."""

RING_LIMIT_S = 12.0
"""Nothing rings longer."""

BENDS = (4, 16, 64, 128, 256)
"""The blocks after a release at which its slope may change: presets of several layers bend."""

Gains = NDArray[np.float32]
"""The gains at the edges of consecutive blocks of 64 samples; straight lines between."""

_RAMP = np.repeat(np.arange(BLOCK, dtype=np.float32) / BLOCK, 2)
_STIFFNESS = 1e-8
_NEPERS_PER_DB = np.log(10) / 20
_STEEPEST_DB_PER_S = 20_000.0


@dataclass(frozen=True, slots=True)
class Release:
    """How a note falls after it is let go (a drum: struck again), beyond its own decay.

    Straight lines in dB: ``slopes`` in dB per second, each up to the block of the same place in
    BENDS, counted from the release; the last one goes on.
    """

    slopes: tuple[float, ...]

    def levels_db(self, blocks: int, sample_rate: int) -> Numbers:
        """The level at the beginning of each of so many blocks of 64 samples."""
        steps = np.asarray(self.slopes)[_segments(len(self.slopes), blocks)]
        levels = np.zeros(blocks)
        np.cumsum(steps[:-1], out=levels[1:])
        levels *= -BLOCK
        levels /= sample_rate
        return levels

    def gains(self, sample_rate: int) -> Gains:
        """The gains at the edges of all blocks until it has fallen by RELEASE_FLOOR_DB.

        It falls for at most RING_LIMIT_S.
        """
        return _gains(self, sample_rate)


@lru_cache(maxsize=32)
def _segments(slopes: int, blocks: int) -> NDArray[np.intp]:
    """Which of so many slopes a release has in each block."""
    return np.searchsorted(BENDS[: slopes - 1], np.arange(blocks), side="right")


@lru_cache(maxsize=4096)
def _gains(release: Release, sample_rate: int) -> Gains:
    limit = int(RING_LIMIT_S * sample_rate) // BLOCK
    count = 2 * BENDS[-1]
    levels = release.levels_db(min(count, limit) + 1, sample_rate)
    # after its last bend it only falls; most have ended long before the limit
    while count < limit and levels[count] > -RELEASE_FLOOR_DB:
        count *= 4
        levels = release.levels_db(min(count, limit) + 1, sample_rate)
    blocks = int(np.count_nonzero(levels[: min(count, limit)] > -RELEASE_FLOOR_DB))
    gains: Gains = np.exp(levels[: blocks + 1] * _NEPERS_PER_DB).astype(np.float32)
    return gains


def envelope(gains: Gains, start: int, stop: int) -> Audio:
    """The gains of the samples [start, stop) of a fall, float32 (n, 2).

    FluidSynth reckons the level once a block and draws straight lines between; so do we.
    """
    first = start // BLOCK
    edges = gains[first : -(-stop // BLOCK) + 1, np.newaxis]
    lines: Audio = np.multiply(edges[1:] - edges[:-1], _RAMP, dtype=np.float32)
    lines += edges[:-1]
    return lines.reshape(-1, 2)[start - first * BLOCK : stop - first * BLOCK]


@dataclass(frozen=True, slots=True, eq=False)
class ReleaseFilter:
    """What a release does beyond falling: it closes a filter, or depends on how long it was held.

    The note let go is the sum of the note held, and of the same one and two samples later, each
    with its own gain (times that of the Release): ``taps`` (hold, lag, knot), at the ``holds`` in
    blocks and at the ``knots``, blocks after the release; straight lines between all of them.
    """

    holds: tuple[int, ...]
    knots: tuple[int, ...]
    taps: Numbers

    def at(self, hold: float, blocks: int) -> Numbers:
        """The taps at the edges of so many blocks after a hold (blocks): (lag, edge)."""
        place = float(np.interp(hold, self.holds, np.arange(len(self.holds))))
        low = min(int(place), len(self.holds) - 2)
        near = self.taps[low] + (place - low) * (self.taps[low + 1] - self.taps[low])
        return np.array([np.interp(np.arange(blocks), self.knots, lag) for lag in near])


CHOKE = Release((96.0 / 2 ** (-200 / 1200),))
"""How a choked note falls: FluidSynth gives an exclusive class a release of -200 timecents
(fluid_voice_kill_excl), and an envelope falls through 96 dB in that time."""


def fitted_release(power: Numbers, product: Numbers, sample_rate: int) -> Release:
    """The release whose envelope over a note held comes nearest to the same note let go.

    ``power`` and ``product``: of the note held with itself and with the note let go, block by
    block from the moment of letting go. A block of 0 and 0 is left out of the fit.
    """
    ends = [bend for bend in BENDS if bend < len(power)] + [len(power)]
    level, slopes, start = 1.0, [], 0
    for end in ends:
        slope = _slope(power[start:end], product[start:end], level, sample_rate)
        level *= 10 ** (-slope * (end - start) * BLOCK / sample_rate / 20)
        slopes.append(slope)
        start = end
    # no note grows forever
    return Release((*slopes[:-1], max(0.0, slopes[-1])))


def fitted_taps(
    lags: Sequence[Audio], rest: Audio, knots: tuple[int, ...], *, skip: bool
) -> Numbers:
    """The taps (lag, knot) of a ReleaseFilter by least squares.

    ``lags``: what a plain release makes of the note held, and of it held later and later;
    ``rest``: what is heard beyond the first of them. ``skip``: leave out the first block.
    """
    blocks = np.arange(len(rest) // BLOCK) + 0.5
    hats = np.array([np.interp(blocks, knots, row) for row in np.eye(len(knots))])
    if skip:
        hats[:, 0] = 0.0
    powers = np.empty((len(lags), len(lags), len(blocks)))
    for (i, a), (j, b) in combinations_with_replacement(enumerate(lags), 2):
        powers[i, j] = powers[j, i] = block_products(a, b)
    products = np.array([block_products(lag, rest) for lag in lags])
    size = len(lags) * len(knots)
    matrix = np.einsum("klb,jb,mb->kjlm", powers, hats, hats).reshape(size, size)
    # knots at which next to nothing is heard keep the gain of the plain release
    matrix += np.eye(size) * (_STIFFNESS * np.trace(matrix) / size + 1e-30)
    right = np.einsum("kb,jb->kj", products, hats).reshape(size)
    taps: Numbers = np.linalg.solve(matrix, right).reshape(len(lags), len(knots))
    taps[0] += 1
    return taps


def _slope(power: Numbers, product: Numbers, level: float, sample_rate: int) -> float:
    """The slope (dB per second, from ``level``) that fits a few blocks best, by least squares.

    It may be negative: a release slower than the decay of the held note.
    """
    slopes, falls = _falls(len(power), sample_rate)
    nepers = BLOCK / sample_rate * _NEPERS_PER_DB
    return loops.fitted_slope(power, product, level, nepers, slopes=slopes, falls=falls)


@lru_cache(maxsize=64)
def _falls(blocks: int, sample_rate: int) -> tuple[Numbers, Numbers]:
    """Slopes from steep rises to steep falls, in steps of 18 %; the gains of their blocks.

    Two arrays: (slope), (block, slope).
    """
    steep = np.geomspace(1.0, _STEEPEST_DB_PER_S, 60)
    slopes = np.concatenate([-steep[20::-1], [0.0], steep])
    seconds = (np.arange(blocks) + 0.5) * BLOCK / sample_rate
    return slopes, 10 ** (-slopes * seconds[:, np.newaxis] / 20)


def misfit(release: Release, held: Audio, heard: Audio, sample_rate: int, first: int = 0) -> float:
    """The energy of what is heard of a fall beyond the note held times its release.

    ``held`` and ``heard``, each in one piece, begin where it is let go; counted from block
    ``first`` on, until the release ends.
    """
    gains = release.gains(sample_rate)
    blocks = min(len(heard) // BLOCK, len(gains) - 1)
    if blocks <= first:
        return 0.0
    start, stop = first * BLOCK, blocks * BLOCK
    return loops.misfit(held[start:stop], heard[start:stop], gains[first:], blocks - first)
