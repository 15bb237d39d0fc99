"""A look-ahead limiter that touches only the moments around a peak.

Music mixed to -16 LUFS crosses the ceiling a few times a minute. The limiter looks for true peaks
chunk by chunk, and where one is too high it lowers the gain shortly before and lets it rise again
after. Everywhere else the gain is exactly 1 and no sample is touched. The gain is one curve for
all: applied to every stem it leaves their sum what it was.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from backing.mixdown.loops import Audio
from backing.mixdown.loudness import AFTER, BEFORE, CHUNK, chunk_peaks

CEILING_DBTP: Final = -1.0
"""Highest true peak (EBU R 128; the AES recommendation TD1008 for streaming gives the same)."""
MARGIN_DB: Final = 0.1
"""Kept free for what the meter's interpolation and a 16-bit step leave out."""
ATTACK: Final = 4
"""Nodes over which the gain goes down before a peak (6 ms at 44.1 kHz)."""
RELEASE: Final = 80
"""Nodes over which it comes back after (116 ms at 44.1 kHz)."""
LEAD: Final = (RELEASE + 1) * CHUNK
"""Frames before a sound on which the gains in it depend."""
TRAIL: Final = (ATTACK + 1) * CHUNK
"""Frames after a sound on which the gains in it depend."""

Curve = npt.NDArray[np.float32]
"""Gains at the edges of consecutive chunks, one more than chunks; straight between them."""


def _shape() -> Curve:
    """How much of a chunk's reduction each node around it takes, ATTACK nodes before it first.

    1 at both edges of the chunk; half a cosine down and up.
    """
    fall = 0.5 - 0.5 * np.cos(np.pi * np.arange(1, ATTACK) / ATTACK)
    rise = 0.5 + 0.5 * np.cos(np.pi * np.arange(1, RELEASE) / RELEASE)
    return np.concatenate([fall, [1.0, 1.0], rise]).astype(np.float32)


_SHAPE = _shape()


def gain_curve(sound: Audio, ceiling_dbtp: float = CEILING_DBTP) -> Curve | None:
    """The gains that keep a sound under the ceiling, or None where they are all 1.

    ``sound``: whole chunks, with LEAD frames before them and TRAIL frames after them.
    """
    ceiling = 10 ** ((ceiling_dbtp - MARGIN_DB) / 20)
    # RELEASE chunks before the sound, its own, and ATTACK after it
    peaks = chunk_peaks(sound[CHUNK - BEFORE : len(sound) - CHUNK + AFTER], ceiling)
    if not (peaks > ceiling).any():
        return None
    lowered = 1 - ceiling / np.maximum(peaks, ceiling)
    windows = np.lib.stride_tricks.sliding_window_view(lowered, ATTACK + RELEASE)
    curve: Curve = 1 - (windows * _SHAPE[::-1]).max(axis=1)
    return curve


def apply(curve: Curve, block: Audio) -> None:
    """Multiply ``block`` by the gains of ``curve``, in place, where they are not 1."""
    chunks = block.reshape(-1, CHUNK, 2)
    start, end = curve[:-1, None], curve[1:, None]
    active = np.flatnonzero(np.minimum(start, end) < 1)
    ramp = np.arange(CHUNK, dtype=np.float32) / CHUNK
    gains = start[active] + (end[active] - start[active]) * ramp
    chunks[active] *= gains[:, :, None]


def limited(sound: Audio) -> Audio:
    """A copy of a whole sound, silence around it, under the ceiling."""
    whole = -(-len(sound) // CHUNK) * CHUNK
    room = np.zeros((LEAD + whole + TRAIL, 2), np.float32)
    room[LEAD : LEAD + len(sound)] = sound
    curve = gain_curve(room)
    copy = room[LEAD : LEAD + whole]
    if curve is not None:
        apply(curve, copy)
    return copy[: len(sound)]
