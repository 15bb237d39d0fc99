"""Measure the loudness and the true peak of stereo audio.

Integrated loudness after Recommendation ITU-R BS.1770-4, Annex 1 (K-weighting, 400 ms blocks that
overlap by 75 %, an absolute and a relative gate), true peak after its Annex 2 (four times
oversampled). Equation numbers in the comments are those of Annex 1.

Audio is float32 of shape (n, 2), full scale 1.0. Loudness is in LUFS (the standard's LKFS), true
peak in dBTP.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import numpy as np

from backing.mixdown import loops
from backing.mixdown.loops import Audio, Numbers

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


@lru_cache(maxsize=8)
def _biquads(sample_rate: int) -> Numbers:
    """Both stages as b0, b1, b2, a1, a2, one after the other."""
    return np.concatenate(
        [taps for b, a in (shelf(sample_rate), high_pass(sample_rate)) for taps in (b, a[1:])]
    )


def hop_frames(sample_rate: int) -> int:
    """The frames from one gating block to the next, 100 ms."""
    return round(sample_rate * BLOCK_SECONDS / HOPS_PER_BLOCK)


def hop_energies(samples: Audio, sample_rate: int) -> Numbers:
    """The mean square of every whole 100 ms of ``samples`` (n, 2), weighted, both channels summed.

    The filter is at rest before them: that moves the first 400 ms by 0.1 dB at most.
    """
    return loops.hop_energies(samples, hop_frames(sample_rate), _biquads(sample_rate))


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


def chunk_peaks(frames: Audio, above: float = 0.0) -> Audio:
    """The true peak (linear, both channels) of each chunk of CHUNK frames.

    ``frames`` holds whole chunks with BEFORE frames of context before and AFTER frames after
    them. Between samples only peaks over ``above`` are looked for: a chunk that can't have one
    gives its largest sample, which isn't over ``above``.
    """
    count = (len(frames) - BEFORE - AFTER) // CHUNK
    bounds = PEAK_BOUND, _SLOPE_BOUND, _BEND_BOUND
    return loops.chunk_peaks(frames, count, above, _KERNEL_32, bounds)


def true_peak(samples: Audio) -> float:
    """The true peak of ``samples`` (n, 2) in dBTP; -inf for silence. Silence is around them."""
    room = np.zeros((CHUNK + BEFORE + AFTER + -(-len(samples) // CHUNK) * CHUNK, 2), np.float32)
    room[BEFORE : BEFORE + len(samples)] = samples
    highest = float(chunk_peaks(room).max())
    return 20 * math.log10(highest) if highest > 0 else -math.inf
