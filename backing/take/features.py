"""Frames of sound: pitch by a small network, and how the strength of its harmonics rises."""

from __future__ import annotations

from collections.abc import Iterable
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
HARMONICS = 8
PIECE = 60 * RATE
MARGIN = RATE // HOP * HOP
"""A recording is heard in pieces of a minute, with what lies a second around them."""
INSTALL = 'Install what hears a recording: pip install "backing[take]".'

Floats = NDArray[np.float64]
Sound = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Frames:
    """``pitch`` (MIDI numbers with fractions), ``confidence`` (0 to 1, voiced from 0.5) and
    ``loudness`` (dB below full scale) each HOP samples; ``power`` of the fine spectrum, by frame
    (each FINE_HOP) and bin."""

    pitch: Floats
    confidence: Floats
    loudness: Floats
    power: NDArray[np.float32]


def frames(sound: Sound) -> Frames:
    """Frames of mono sound at RATE. Raises MissingProgram without the network's runtime."""
    found = network().detect(sound, RATE)
    pitch = 69 + 12 * np.log2(np.maximum(found.pitch_hz, 1.0) / 440)
    return Frames(pitch, found.confidence, found.loudness_db, _power(sound))


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


def _power(sound: Sound) -> NDArray[np.float32]:
    padded = np.pad(sound, WINDOW // 2)
    count = len(sound) // FINE_HOP
    views = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::FINE_HOP][:count]
    window = np.hanning(WINDOW).astype(np.float32)
    found = np.abs(np.fft.rfft(views * window)) ** 2
    return found.astype(np.float32)


def harmonic_db(power: NDArray[np.float32], pitch: Floats) -> Floats:
    """The strength of the harmonics of ``pitch`` (MIDI; one for each fine frame) in dB."""
    hz = 440 * 2 ** ((pitch - 69) / 12)
    width = RATE / WINDOW
    total = np.full(len(power), 1e-9)
    rows = np.arange(len(power))
    for number in range(1, HARMONICS + 1):
        bins = hz * number / width
        inside = bins < power.shape[1] - 2
        at = np.where(inside, np.rint(bins), 1).astype(int)
        total += np.where(inside, power[rows, at], 0.0)
    return 10 * np.log10(total)


def flux(power: NDArray[np.float32]) -> Floats:
    """How much all of the spectrum rises in two frames: half-wave rectified, in dB a bin."""
    logged = 10 * np.log10(power + 1e-7)
    rise = np.maximum(logged[2:] - logged[:-2], 0).mean(axis=1)
    return np.concatenate([np.zeros(2), rise])


def joined(parts: Iterable[Frames]) -> Frames:
    """Frames of pieces in a row."""
    each = list(parts)
    return Frames(
        np.concatenate([p.pitch for p in each]),
        np.concatenate([p.confidence for p in each]),
        np.concatenate([p.loudness for p in each]),
        np.concatenate([p.power for p in each]),
    )
