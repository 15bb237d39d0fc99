"""One short room around the whole band.

What the band plays goes into the room in mono at a quarter of the sample rate and comes back in
stereo: a room returns little above 5 kHz anyway, and a convolution costs a ninth that way. The
bass stays out of it (a low cut), so that the walking line keeps its outline.

The impulse response is synthetic: seeded noise that dies away, brighter at the start than at the
end, after a few early reflections. Nothing here knows about loops: whoever wants the ring of the
end in the beginning plays the end before the beginning (``Room.reach`` says how much of it).
"""

from __future__ import annotations

import random
from functools import lru_cache
from typing import Final

import numpy as np

from backing.mixdown.loops import compiled
from backing.mixdown.loudness import Audio, Numbers, product

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
    size = _fast_size(2 * len(sound))
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


class Room:
    """The room's answer to one stereo stream, in blocks of ``frames`` (a multiple of STEP).

    It knows nothing of the blocks before: see Overlap. Not to be shared by threads.
    """

    def __init__(self, sample_rate: int, frames: int) -> None:
        response = impulse_response(sample_rate)
        self.reach = (len(response) + 2 * TAPS) * STEP
        """Frames after which a sound has left the room."""
        self._whole = frames // STEP + TAPS - 1 + len(response)
        self._size = _fast_size(self._whole)
        self._spectra = [np.fft.rfft(side, n=self._size) for side in response.T]
        kernel = low_pass().astype(np.float32).reshape(TAPS, STEP)
        # (phase, lag): what a frame adds to this sample of the lower rate and the next
        self._down: Audio = np.ascontiguousarray(kernel.T[::-1] / 2, np.float32)
        # (TAPS samples back in time, frame, channel)
        self._up = np.repeat(kernel[::-1] * STEP, 2, axis=1).reshape(TAPS, STEP, 2)
        self.tail = (self._whole + TAPS - 1) * STEP - frames
        """Frames for which a block rings on after its end."""
        # the desk: memory that is asked for anew costs as much as the sums in it
        self._mono = np.zeros(self._size, np.float32)

    def ring(self, block: Audio, out: Audio) -> None:
        """Write what ``block`` (frames, 2) sets ringing, from its own start on, over ``out``.

        That is (frames + tail, 2).
        """
        _lower_rate(block, self._down, self._mono)
        # without "ortho" numpy transforms in double precision (it scales by the whole number 1)
        spectrum = np.fft.rfft(self._mono, norm="ortho")
        left, right = (
            np.asarray(np.fft.irfft(spectrum * response, self._size, norm="ortho"), np.float32)
            for response in self._spectra
        )
        _higher_rate(left[: self._whole], right[: self._whole], self._up, out)


def _lower_rate(block: Audio, kernel: Audio, mono: Audio) -> None:
    """Write ``block`` (frames, 2) in mono at the lower rate over the beginning of ``mono``.

    It gets TAPS - 1 samples longer. ``kernel``: (STEP, TAPS), for each phase and lag.
    """
    if compiled is not None:
        compiled.lower_rate(np.ascontiguousarray(block, np.float32), kernel, mono)
        return
    parts = product(block.reshape(-1, 2 * STEP), np.repeat(kernel, 2, axis=0))
    mono[: len(parts) + TAPS - 1] = 0
    for lag in range(TAPS):
        mono[lag : lag + len(parts)] += parts[:, lag]


def _higher_rate(left: Audio, right: Audio, kernel: Audio, out: Audio) -> None:
    """Write both sides (n) at the higher rate over ``out``, ((n + TAPS - 1) * STEP, 2).

    ``kernel``: (TAPS, STEP, 2), from the oldest sample to the latest.
    """
    if compiled is not None:
        compiled.higher_rate(left, right, kernel, out)
        return
    # (tap, channel) -> (frame, channel), as one matrix
    matrix = np.zeros((TAPS, 2, STEP, 2), np.float32)
    for channel in range(2):
        matrix[:, channel, :, channel] = kernel[:, :, channel]
    around = np.zeros((len(left) + 2 * (TAPS - 1), 2), np.float32)
    around[TAPS - 1 : TAPS - 1 + len(left)] = np.stack([left, right], axis=1)
    rows = np.lib.stride_tricks.sliding_window_view(around.reshape(-1), TAPS * 2)[::2]
    product(
        np.ascontiguousarray(rows), matrix.reshape(TAPS * 2, STEP * 2), out.reshape(len(rows), -1)
    )


class Overlap:
    """Blocks of ``frames``, each with the ring it left behind, one after the other."""

    def __init__(self, frames: int) -> None:
        self._frames = frames
        self._late = np.zeros((0, 2), np.float32)

    def add(self, ringing: Audio) -> Audio:
        """The next frames: the beginning of ``ringing``, and what is left of those before it."""
        late = self._late
        ringing[: len(late)] += late
        self._late = ringing[self._frames :]
        return ringing[: self._frames]


def _fast_size(least: int) -> int:
    """The smallest length from ``least`` that a Fourier transform is fast at."""
    sizes: list[int] = [2**two * 3**three for two in range(1, 20) for three in range(4)]
    return min(size for size in sizes if size >= least)
