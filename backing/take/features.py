"""Frames of sound: pitch by a small network, and how the strength of its harmonics rises."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from backing.errors import MissingProgram

RATE = 16_000
"""Hz, of the network and of all that is measured here."""
HOP = 256
FINE_HOP = 64
"""Samples between frames of pitch (16 ms) and of strength (4 ms)."""
WINDOW = 512
"""Samples of a frame of strength: 32 ms."""
BINS = 130
"""Bins that are kept: up to 4 kHz."""
HARMONICS = 8
INSTALL = 'Install what hears a recording: pip install "backing[take]".'

Floats = NDArray[np.float64]
Sound = NDArray[np.float32]
Power = NDArray[np.float16]


@dataclass(frozen=True, slots=True)
class Frames:
    """``pitch`` (MIDI numbers with fractions), ``confidence`` (0 to 1, voiced from 0.5) and
    ``loudness`` (dB below full scale) each HOP samples."""

    pitch: Floats
    confidence: Floats
    loudness: Floats

    def part(self, own: slice) -> Frames:
        """Some of the frames."""
        return Frames(self.pitch[own], self.confidence[own], self.loudness[own])


def frames(sound: Sound) -> Frames:
    """Frames of mono sound at RATE. Raises MissingProgram without the network's runtime."""
    found = network().detect(sound, RATE)
    pitch = 69 + 12 * np.log2(np.maximum(found.pitch_hz, 1.0) / 440)
    return Frames(pitch, found.confidence, found.loudness_db)


@lru_cache(maxsize=1)
def network() -> Any:
    """The pitch detector (Nieradzik 2025, SwiftF0, arXiv 2508.18440; MIT, 14,386 parameters).

    Raises MissingProgram.
    """
    try:
        import swift_f0  # noqa: PLC0415 - an extra
    except ImportError:
        raise MissingProgram("Recordings can't be heard yet.", INSTALL) from None
    return swift_f0.SwiftF0(threads=1, spin=False)


def power_of(sound: Sound) -> Power:
    """The power of mono sound at RATE in dB, by fine frame (each FINE_HOP) and bin, in half
    precision."""
    padded = np.pad(sound, WINDOW // 2)
    count = len(sound) // FINE_HOP
    views = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::FINE_HOP][:count]
    window = np.hanning(WINDOW).astype(np.float32)
    found = np.empty((count, BINS), np.float16)
    for at in range(0, count, 4096):
        bins = np.fft.rfft(views[at : at + 4096] * window)[:, :BINS]
        found[at : at + 4096] = 10 * np.log10(np.abs(bins) ** 2 + 1e-7)
    return found


def harmonic_db(power: Power, pitch: float) -> Floats:
    """The strength of the harmonics of ``pitch`` (MIDI) in dB, for each fine frame.

    The bins next to a harmonic belong to it: a finger that moves doesn't leave them.
    """
    base = 440 * 2 ** ((pitch - 69) / 12) * WINDOW / RATE
    middle = np.rint(base * np.arange(1, HARMONICS + 1))
    bins = np.unique((middle[:, None] + np.array([-1, 0, 1])).astype(int))
    bins = bins[(bins > 0) & (bins < BINS)]
    found: Floats = 10 * np.log10((10 ** (power[:, bins].astype(float) / 10)).sum(axis=1) + 1e-9)
    return found


def fading_db(power: Power, pitch: float) -> tuple[Floats, Floats]:
    """The strength in dB of the odd harmonics of ``pitch`` (MIDI) beside that of the even ones, and
    that of the even ones, for each fine frame."""
    odd, even = (_sum_db(power, pitch, range(first, HARMONICS + 1, 2)) for first in (1, 2))
    return odd - even, even


def _sum_db(power: Power, pitch: float, numbers: range) -> Floats:
    """The strength of some harmonics in dB, of which each is the strongest bin near its place."""
    base = 440 * 2 ** ((pitch - 69) / 12) * WINDOW / RATE
    total = np.full(len(power), 1e-9)
    for middle in np.rint(base * np.array(numbers)).astype(int):
        near = power[:, middle - 1 : middle + 2]
        if near.shape[1]:
            total += 10 ** (near.max(axis=1).astype(float) / 10)
    found: Floats = 10 * np.log10(total)
    return found


def joined(parts: Sequence[Frames]) -> Frames:
    """Frames of pieces in a row."""
    return Frames(
        np.concatenate([p.pitch for p in parts]),
        np.concatenate([p.confidence for p in parts]),
        np.concatenate([p.loudness for p in parts]),
    )
