"""One short room around the whole band.

What the band plays goes into the room in mono at a quarter of the sample rate and comes back in
stereo: a room returns little above 5 kHz anyway, and a convolution costs a ninth that way. The
bass stays out of it (a low cut), so that the walking line keeps its outline.

The impulse response is synthetic: seeded noise that dies away, brighter at the start than at the
end, after a few early reflections.
"""

from __future__ import annotations

import random
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from backing.mixdown.loops import Audio, Numbers, add_higher_rate, lower_rate

STEP: Final = 4
"""The room works at the sample rate divided by this."""
DECAY_SECONDS: Final = 0.7
"""Time in which the ring falls by 60 dB (ISO 3382-1: T): a small club (common practice)."""
PRE_DELAY_SECONDS: Final = 0.012
EARLY_SECONDS: Final = (0.0, 0.005, 0.0085, 0.0131, 0.0187, 0.0233, 0.0299)
"""Early reflections after the pre-delay, a small stage: no two the same distance apart."""
EARLY_SHARE: Final = 0.6
"""Amplitude of all early reflections against the tail."""
LOW_CUT_HZ: Final = 220.0
HIGH_CUT_HZ: Final = (4500.0, 1800.0)
"""Where the ring loses its brightness, at its start and at its end."""
LEVEL_DB: Final = -14.0
"""The ring's energy against the band's, for sound that the cuts let through (common practice)."""
SEED: Final = 1770
TAPS: Final = 8
"""Length of the filters between the two rates, in samples of the lower rate."""


@lru_cache(maxsize=4)
def impulse_response(sample_rate: int) -> Audio:
    """The room at ``sample_rate`` / STEP: (n, 2), left and right of equal energy LEVEL_DB."""
    rate = sample_rate / STEP
    rng = random.Random(SEED)
    count = round(DECAY_SECONDS * rate)
    response = _tail(count, rate, rng) + EARLY_SHARE * _early(count, rate, rng)
    response *= 10 ** (LEVEL_DB / 20) / np.sqrt((response**2).sum(axis=0))
    silence = np.zeros((round(PRE_DELAY_SECONDS * rate), 2))
    return np.concatenate([silence, response]).astype(np.float32)


def _tail(count: int, rate: float, rng: random.Random) -> Numbers:
    """Noise that dies away by 60 dB, of energy 1 a side."""
    noise = 2 * np.array([rng.random() for _ in range(2 * count)]).reshape(count, 2) - 1
    bright, dark = (_band(noise, rate, high) for high in HIGH_CUT_HZ)
    time = np.arange(count)[:, None] / count
    # the last tenth fades out so that the end is no step
    tail = (bright * (1 - time) + dark * time) * 10 ** (-3 * time) * np.minimum((1 - time) * 10, 1)
    return np.asarray(tail / np.sqrt((tail**2).sum(axis=0)))


def _early(count: int, rate: float, rng: random.Random) -> Numbers:
    """A few reflections from here and there, of energy 1 a side."""
    early = np.zeros((count, 2))
    for seconds in EARLY_SECONDS:
        angle = rng.uniform(0.1, 0.9) * np.pi / 2
        early[round(seconds * rate)] = np.array([np.cos(angle), np.sin(angle)]) * rng.choice(
            (-1, 1)
        )
    early = _band(early, rate, HIGH_CUT_HZ[0])
    return np.asarray(early / np.sqrt((early**2).sum(axis=0)))


def _band(sound: Numbers, rate: float, high_hz: float) -> Numbers:
    """``sound`` between the low cut and ``high_hz``, by first-order slopes."""
    size = fast_size(2 * len(sound))
    spectrum = np.fft.rfft(sound, n=size, axis=0)
    s = 1j * np.fft.rfftfreq(size, 1 / rate)[:, None]
    shaped = spectrum * (s / (s + LOW_CUT_HZ)) * (high_hz / (s + high_hz))
    return np.fft.irfft(shaped, n=size, axis=0)[: len(sound)]


def low_pass() -> Numbers:
    """The filter between the rates: STEP * TAPS taps, a windowed sinc, unit gain at 0 Hz."""
    taps = np.arange(STEP * TAPS) - (STEP * TAPS - 1) / 2
    # the cut-off lies a little under the half of the lower rate (Kaiser, beta 5: about -50 dB)
    kernel = np.sinc(0.86 * taps / STEP) * np.kaiser(len(taps), 5.0)
    return np.asarray(kernel / kernel.sum())


def reach(sample_rate: int) -> int:
    """Frames after which a sound has left the room."""
    return (len(impulse_response(sample_rate)) + 2 * TAPS) * STEP


def add_room(sound: Audio, sample_rate: int) -> None:
    """Add the room's answer to ``sound`` (n, 2), in place; n is STEP times a ``fast_size``.

    In the first ``reach`` frames it is wrong: the end of the sound answers there, too.
    """
    size = len(sound) // STEP
    # without "ortho" numpy transforms in double precision (it scales by the whole number 1)
    spectrum = np.fft.rfft(lower_rate(sound, _DOWN)[:size], norm="ortho")
    left, right = (
        np.asarray(np.fft.irfft(spectrum * response, size, norm="ortho"), np.float32)
        for response in _spectra(sample_rate, size)
    )
    add_higher_rate(left, right, _UP, sound)


@lru_cache(maxsize=4)
def _spectra(sample_rate: int, size: int) -> tuple[npt.NDArray[np.complex64], ...]:
    """Both sides of the room as transforms of this size."""
    response = impulse_response(sample_rate)
    return tuple(np.fft.rfft(side, n=size).astype(np.complex64) for side in response.T)


_KERNEL = low_pass().astype(np.float32).reshape(TAPS, STEP)
# (tap, frame, channel): mono is half of left and right, from the latest tap to the oldest
_DOWN: Final = np.repeat(_KERNEL[:, ::-1] / np.float32(2), 2, axis=1).reshape(TAPS, STEP, 2)
# from the oldest to the latest
_UP: Final = np.repeat(_KERNEL[::-1] * STEP, 2, axis=1).reshape(TAPS, STEP, 2)


def fast_size(least: int) -> int:
    """The smallest length from ``least`` that a Fourier transform is fast at."""
    sizes: list[int] = [2**two * 3**three for two in range(1, 20) for three in range(4)]
    return min(size for size in sizes if size >= least)
