"""Loudness and true peak of stereo audio, fed block by block.

Integrated loudness after Recommendation ITU-R BS.1770-4, Annex 1 (K-weighting, 400 ms blocks that
overlap by 75 %, an absolute and a relative gate), true peak after its Annex 2 (four times
oversampled). Equation numbers in the comments are those of Annex 1.

Audio is float32 of shape (n, 2), full scale 1.0. Loudness is in LUFS (the standard's LKFS), true
peak in dBTP.

The K-weighting is a recursive filter; numpy has none. Where no loop is compiled, it runs as matrix
products: inside a row of a few dozen samples it is a triangular matrix, and from row to row it is
carried by its four state variables. That is the exact filter, at about three hundred times the
speed of a loop of Python.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from backing.mixdown.loops import compiled

Audio = npt.NDArray[np.float32]
"""Stereo samples, shape (n, 2)."""
Numbers = npt.NDArray[np.float64]

BLOCK_SECONDS: Final = 0.4
"""Gating block T_g (BS.1770-4, Annex 1)."""
HOPS_PER_BLOCK: Final = 4
"""Blocks overlap by 75 %: a new one every 100 ms."""
ABSOLUTE_GATE: Final = -70.0
"""Gamma_a in LUFS."""
RELATIVE_GATE: Final = -10.0
"""Gamma_r in LU below the loudness of what passes the absolute gate."""
OFFSET: Final = -0.691
"""Makes 0 dBFS of 1 kHz in one channel read -3.01 (equation 2)."""

OVERSAMPLING: Final = 4
"""Points per sample for the true peak (BS.1770-4, Annex 2: at least four at 48 kHz)."""
HALF_TAPS: Final = 12
"""The interpolating sinc reaches this many samples to either side."""
CHUNK: Final = 64
"""Peaks are looked for in chunks of this many frames."""
FORGOTTEN: Final = 1e-9
"""What is left of a filter state when it no longer counts."""


def shelf(sample_rate: int) -> tuple[Numbers, Numbers]:
    """Stage 1 of the K-weighting, the head's high shelf: (b, a) of a biquad, a[0] = 1.

    The standard tabulates the filter at 48 kHz only. Its analogue prototype (De Man 2014,
    "Evaluation of implementations of the EBU R128 loudness measurement", AES 137) gives that
    table at 48 kHz and the same curve at any other rate.
    """
    frequency, gain_db, q = 1681.974450955533, 3.999843853973347, 0.7071752369554196
    k = math.tan(math.pi * frequency / sample_rate)
    high = 10 ** (gain_db / 20)
    band = high**0.4996667741545416
    norm = 1 + k / q + k * k
    b = np.array([high + band * k / q + k * k, 2 * (k * k - high), high - band * k / q + k * k])
    return b / norm, np.array([norm, 2 * (k * k - 1), 1 - k / q + k * k]) / norm


def high_pass(sample_rate: int) -> tuple[Numbers, Numbers]:
    """Stage 2 of the K-weighting, the low cut at 38 Hz: (b, a) as in ``shelf``."""
    frequency, q = 38.13547087602444, 0.5003270373238773
    k = math.tan(math.pi * frequency / sample_rate)
    norm = 1 + k / q + k * k
    return np.array([1.0, -2.0, 1.0]), np.array([norm, 2 * (k * k - 1), 1 - k / q + k * k]) / norm


def k_weighting(sample_rate: int) -> tuple[Numbers, Numbers, Numbers, float]:
    """Both stages as one state-space system (A, B, C, D): s' = A s + B x, y = C s + D x."""
    systems = []
    for b, a in (shelf(sample_rate), high_pass(sample_rate)):
        # transposed direct form II
        step = np.array([[-a[1], 1.0], [-a[2], 0.0]])
        systems.append((step, b[1:] - a[1:] * b[0], np.array([1.0, 0.0]), float(b[0])))
    (a1, b1, c1, d1), (a2, b2, c2, d2) = systems
    step = np.block([[a1, np.zeros((2, 2))], [np.outer(b2, c1), a2]])
    return step, np.concatenate([b1, b2 * d1]), np.concatenate([c1 * d2, c2]), d1 * d2


@lru_cache(maxsize=8)
def _biquads(sample_rate: int) -> Numbers:
    """Both stages as b0, b1, b2, a1, a2, one after the other."""
    return np.concatenate(
        [taps for b, a in (shelf(sample_rate), high_pass(sample_rate)) for taps in (b, a[1:])]
    )


def product(rows: Audio, matrix: Audio, out: Audio | None = None) -> Audio:
    """``rows @ matrix`` in batches so small that BLAS does each on one thread.

    Windows of sound are made on several threads already; BLAS threads on top of them would fight
    for the processors (OpenBLAS splits a product from about 2^18 multiplications on).
    """
    batch = max(1, (1 << 17) // matrix.size)
    flat = rows.reshape(-1, rows.shape[-1])
    whole = len(flat) // batch * batch
    if out is None:
        out = np.empty((len(flat), matrix.shape[1]), np.float32)
    np.matmul(
        flat[:whole].reshape(-1, batch, matrix.shape[0]),
        matrix,
        out=out[:whole].reshape(-1, batch, matrix.shape[1]),
    )
    np.matmul(flat[whole:], matrix, out=out[whole:])
    return out.reshape(*rows.shape[:-1], matrix.shape[1])


@dataclass(frozen=True, slots=True, eq=False)
class _Matrices:
    """The filter as products, for rows of samples and groups of rows.

    What a row makes of itself (``inside``) and of the state before it (``from_state``), and what
    it puts into the state (``into_state``); how states go on inside a group of rows (``along``),
    to its end (``to_end``) and from its beginning (``onward``); and the state from one group to
    the next (``leap``). All are transposed: samples and states lie along rows.
    """

    inside: Audio
    into_state: Audio
    from_state: Audio
    along: Audio
    to_end: Audio
    onward: Audio
    leap: Numbers


@lru_cache(maxsize=8)
def _matrices(sample_rate: int, row: int, group: int) -> _Matrices:
    step, into, out, direct = k_weighting(sample_rate)
    powers = [np.linalg.matrix_power(step, n) for n in range(row + 1)]
    response = np.array([direct, *(out @ p @ into for p in powers[: row - 1])])
    lag = np.subtract.outer(np.arange(row), np.arange(row))
    inside = np.where(lag >= 0, response[np.clip(lag, 0, None)], 0.0)
    into_state = np.array([powers[row - 1 - n] @ into for n in range(row)])
    from_state = np.array([out @ p for p in powers[:row]])
    leaps = [np.linalg.matrix_power(powers[row], n) for n in range(group + 1)]
    # along[n, m]: what row m puts into the state before row n
    along = np.zeros((group, 4, group, 4))
    for n in range(group):
        for m in range(n):
            along[n, :, m, :] = leaps[n - 1 - m]
    to_end = np.concatenate([leaps[group - 1 - m] for m in range(group)], axis=1)
    return _Matrices(
        inside=inside.T.astype(np.float32),
        into_state=into_state.astype(np.float32),
        from_state=from_state.T.astype(np.float32),
        along=along.reshape(4 * group, 4 * group).T.astype(np.float32),
        to_end=to_end.T.astype(np.float32),
        onward=np.concatenate(leaps[:group]).T.astype(np.float32),
        leap=leaps[group],
    )


class KWeighting:
    """The K-weighting filter of ``channels`` side by side, returning energies row by row.

    A row holds ``row`` frames, a group ``group`` rows; feed whole groups.
    """

    def __init__(self, sample_rate: int, row: int, group: int, channels: int = 2) -> None:
        self.row = row
        self._group = group
        self._matrices = _matrices(sample_rate, row, group)
        self._state = np.zeros((channels, 4, 1))

    @classmethod
    def for_hops(cls, sample_rate: int, hop: int, channels: int = 2) -> KWeighting:
        """The filter that takes hops of so many frames, with rows and groups of a good size."""
        row = max(n for n in range(1, 43) if hop % n == 0)
        group = max(n for n in range(1, 9) if hop // row % n == 0)
        return cls(sample_rate, row, group, channels)

    def energies(self, channels: Audio) -> Audio:
        """The sum of squares in each row of each weighted channel, (channels, rows).

        ``channels``: (channels, frames). What is fed next follows on this.
        """
        rows = np.ascontiguousarray(channels).reshape(len(channels), -1, self.row)
        states = self._states(product(rows, self._matrices.into_state))
        weighted = product(rows, self._matrices.inside)
        weighted += product(states, self._matrices.from_state)
        energies: Audio = np.einsum("crn,crn->cr", weighted, weighted)
        return energies

    def _states(self, inputs: Audio) -> Audio:
        """The state before every row, from what each row puts in: (channels, rows, 4)."""
        by = self._matrices
        groups = inputs.reshape(len(inputs), -1, 4 * self._group)
        ends = product(groups, by.to_end).transpose(0, 2, 1)
        leap, reach = by.leap, 1
        moved = np.concatenate([self._state, ends], axis=2)
        # s[n] = sum of leap^k ends[n - k]: the sum doubles its reach until the filter forgets
        while reach < moved.shape[2] and np.abs(leap).max() > FORGOTTEN:
            moved[:, :, reach:] += leap @ moved[:, :, :-reach]
            leap, reach = leap @ leap, 2 * reach
        self._state = moved[:, :, -1:]
        before = np.ascontiguousarray(moved[:, :, :-1].transpose(0, 2, 1), dtype=np.float32)
        states = product(groups, by.along)
        states += product(before, by.onward)
        return states.reshape(inputs.shape)


class LoudnessMeter:
    """Integrated loudness of what is fed to it."""

    def __init__(self, sample_rate: int) -> None:
        """``sample_rate`` in Hz, a multiple of 10."""
        self._hop = hop_frames(sample_rate)
        self._filter = KWeighting.for_hops(sample_rate, self._hop)
        self._rest: Audio = np.zeros((0, 2), np.float32)
        self._energies: list[Numbers] = []

    def feed(self, block: Audio) -> None:
        """Hear ``block`` (n, 2), any length."""
        heard = np.concatenate([self._rest, block]) if len(self._rest) else block
        whole = len(heard) // self._hop * self._hop
        self._rest = heard[whole:].copy()
        if whole:
            # G = 1 for left and right
            rows = self._filter.energies(heard[:whole].T).sum(axis=0, dtype=np.float64)
            hops = rows.reshape(-1, self._hop // self._filter.row).sum(axis=1)
            self._energies.append(hops / self._hop)

    def hops(self) -> Numbers:
        """The mean square of every 100 ms heard so far, both channels summed."""
        return np.concatenate(self._energies) if self._energies else np.zeros(0)

    def integrated(self) -> float:
        """Integrated loudness in LUFS; -inf if nothing of 400 ms passes the gates."""
        return gated_loudness(block_energies(self.hops()))


def hop_frames(sample_rate: int) -> int:
    """The frames from one gating block to the next, 100 ms."""
    return round(sample_rate * BLOCK_SECONDS / HOPS_PER_BLOCK)


def hop_energies(samples: Audio, sample_rate: int) -> Numbers:
    """The mean square of every whole 100 ms of ``samples`` (n, 2), weighted, both channels summed.

    The filter is at rest before them: that moves the first 400 ms by 0.1 dB at most.
    """
    if compiled is not None:
        hop = hop_frames(sample_rate)
        energies = np.empty(len(samples) // hop)
        whole = np.ascontiguousarray(samples, np.float32)
        compiled.hop_energies(whole, hop, _biquads(sample_rate), energies)
        return energies
    meter = LoudnessMeter(sample_rate)
    # in pieces that stay in a processor's cache
    for start in range(0, len(samples), sample_rate):
        meter.feed(samples[start : start + sample_rate])
    return meter.hops()


def block_energies(hops: Numbers) -> Numbers:
    """The mean square (z of equation 3) of each gating block, from those of its four hops.

    An unfinished block at the end is not used.
    """
    if len(hops) < HOPS_PER_BLOCK:
        return np.zeros(0)
    share = np.full(HOPS_PER_BLOCK, 1 / HOPS_PER_BLOCK)
    z: Numbers = np.convolve(hops, share, mode="valid")
    return z


def gated_loudness(z: Numbers) -> float:
    """Integrated loudness (LUFS) from the mean squares of gating blocks; -inf for silence."""
    loud = z > mean_square(ABSOLUTE_GATE)
    if not loud.any():
        return -math.inf
    # equation 6: the relative threshold hangs below the mean of what passed the absolute gate
    threshold = mean_square(loudness(float(z[loud].mean())) + RELATIVE_GATE)
    # equation 7
    return loudness(float(z[loud & (z > threshold)].mean()))


def loudness(energy: float) -> float:
    """LUFS of a weighted mean square summed over channels (equation 2)."""
    return OFFSET + 10 * math.log10(energy) if energy > 0 else -math.inf


def mean_square(lufs: float) -> float:
    """The inverse of ``loudness``."""
    return float(10 ** ((lufs - OFFSET) / 10))


def integrated_loudness(samples: Audio, sample_rate: int) -> float:
    """Integrated loudness of ``samples`` (n, 2) in LUFS."""
    return gated_loudness(block_energies(hop_energies(samples, sample_rate)))


def interpolator() -> Numbers:
    """Windowed sinc (Kaiser, beta 8) for the points between samples: (2 * HALF_TAPS, 3).

    Column p gives the point (p + 1) / 4 after sample 0 from samples -HALF_TAPS + 1 to HALF_TAPS.
    """
    taps = np.arange(-HALF_TAPS + 1, HALF_TAPS + 1)[:, None]
    distance = taps - np.arange(1, OVERSAMPLING) / OVERSAMPLING
    window = np.i0(8 * np.sqrt(1 - (distance / (HALF_TAPS + 0.5)) ** 2)) / np.i0(8)
    kernel = np.sinc(distance) * window
    normal: Numbers = kernel / kernel.sum(axis=0)  # a constant stays itself
    return normal


BEFORE: Final = HALF_TAPS - 1
AFTER: Final = HALF_TAPS
"""Frames of context before and after a chunk that its true peak depends on."""
_KERNEL = interpolator()
_KERNEL_32 = _KERNEL.astype(np.float32)
PEAK_BOUND: Final = float(np.abs(_KERNEL).sum(axis=0).max())
"""No point between samples is larger than this times the largest sample around it."""


def _bend_bound() -> tuple[float, float]:
    """How far a point between two samples can lie over the line between them, (slope, bend).

    That is at most ``slope`` times the largest step between samples around it, and ``bend`` times
    the largest second difference: the kernel less the straight line, summed up twice.
    """
    share = np.arange(1, OVERSAMPLING) / OVERSAMPLING
    line = np.zeros_like(_KERNEL)
    line[HALF_TAPS - 1], line[HALF_TAPS] = 1 - share, share
    steps = np.cumsum(_KERNEL - line, axis=0)
    slope = steps.sum(axis=0)
    steps[HALF_TAPS - 1] -= slope
    return float(np.abs(slope).max()), float(np.abs(np.cumsum(steps, axis=0)).sum(axis=0).max())


_SLOPE_BOUND, _BEND_BOUND = _bend_bound()


def _between() -> Audio:
    """The matrix from a chunk with its context to all points between its samples."""
    matrix = np.zeros((BEFORE + CHUNK + AFTER, CHUNK, OVERSAMPLING - 1), np.float32)
    for frame in range(CHUNK):
        matrix[frame : frame + 2 * HALF_TAPS, frame] = _KERNEL
    return matrix.reshape(len(matrix), -1)


_BETWEEN = _between()


def chunk_peaks(frames: Audio, above: float = 0.0) -> Audio:
    """The true peak (linear, both channels) of each chunk of CHUNK frames.

    ``frames`` holds whole chunks with BEFORE frames of context before and AFTER frames after
    them. Only peaks over ``above`` are sought between the samples: a chunk that cannot hold one
    gives its largest sample, a number not over ``above``.
    """
    count = (len(frames) - BEFORE - AFTER) // CHUNK
    if compiled is not None:
        highest = np.empty(count, np.float32)
        bounds = PEAK_BOUND, _SLOPE_BOUND, _BEND_BOUND
        whole = np.ascontiguousarray(frames, np.float32)
        compiled.chunk_peaks(whole, above, _KERNEL_32, *bounds, highest)
        return highest
    inner = frames[BEFORE : BEFORE + count * CHUNK].reshape(count, -1)
    peaks = _largest(inner)
    # a point between two samples may owe its height to the neighbouring chunk
    edges = np.abs(np.concatenate([frames[:BEFORE], frames[len(frames) - AFTER :]])).max()
    around = np.concatenate([[edges], peaks, [edges]])
    around = np.maximum(np.maximum(around[:-2], around[2:]), peaks)
    found = np.flatnonzero(around * PEAK_BOUND > above)
    if len(found):
        whole = np.lib.stride_tricks.sliding_window_view(frames, BEFORE + CHUNK + AFTER, axis=0)
        some = whole[::CHUNK][found]  # (found, channel, frame)
        # most of them are smooth enough to be sure that nothing rises between their samples
        steps = np.diff(some)
        over = _SLOPE_BOUND * np.abs(steps).max(axis=(1, 2))
        over += _BEND_BOUND * np.abs(np.diff(steps)).max(axis=(1, 2))
        could = around[found] + over > above
        found, some = found[could], some[could]
        points = np.abs(product(some, _BETWEEN)).max(axis=(1, 2), initial=0.0)
        peaks[found] = np.maximum(peaks[found], points)
    return peaks


def _largest(rows: Audio) -> Audio:
    """The largest magnitude in each row.

    Read as whole numbers, floats without their sign are in the same order, and numpy finds the
    largest of those in half the time.
    """
    whole = rows.view(np.int32) & np.int32(0x7FFFFFFF)
    largest: Audio = whole.max(axis=1).view(np.float32)
    return largest


class TruePeakMeter:
    """The true peak of what is fed to it; silence is understood around it."""

    def __init__(self) -> None:
        self._rest: Audio = np.zeros((BEFORE, 2), np.float32)
        self._peak = 0.0

    def feed(self, block: Audio) -> None:
        """Hear ``block`` (n, 2), any length."""
        heard = np.concatenate([self._rest, block])
        count = (len(heard) - BEFORE - AFTER) // CHUNK
        if count > 0:
            peaks = chunk_peaks(heard[: count * CHUNK + BEFORE + AFTER], self._peak)
            self._peak = max(self._peak, float(peaks.max()))
            heard = heard[count * CHUNK :]
        self._rest = heard.copy()

    def peak(self) -> float:
        """The true peak so far in dBTP; -inf for silence."""
        end = np.zeros((AFTER + CHUNK, 2), np.float32)
        heard = np.concatenate([self._rest, end])
        count = (len(heard) - BEFORE - AFTER) // CHUNK
        last = chunk_peaks(heard[: count * CHUNK + BEFORE + AFTER], self._peak)
        top = max(self._peak, float(last.max()))
        return 20 * math.log10(top) if top > 0 else -math.inf


def true_peak(samples: Audio) -> float:
    """The true peak of ``samples`` (n, 2) in dBTP."""
    meter = TruePeakMeter()
    meter.feed(samples)
    return meter.peak()
