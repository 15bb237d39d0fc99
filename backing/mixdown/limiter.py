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

from backing.mixdown.loudness import AFTER, BEFORE, CHUNK, Audio, chunk_peaks

CEILING_DBTP: Final = -1.0
"""Highest true peak (EBU R 128; the AES recommendation TD1008 for streaming gives the same)."""
MARGIN_DB: Final = 0.1
"""Kept free for what the meter's interpolation and a 16-bit step leave out."""
ATTACK: Final = 4
"""Nodes over which the gain goes down before a peak (6 ms at 44.1 kHz)."""
RELEASE: Final = 80
"""Nodes over which it comes back after (116 ms at 44.1 kHz)."""

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


class Limiter:
    """The gain curve of one stream: fed a block, it gives the curve of the block before."""

    reach: Final = (RELEASE + 1) * CHUNK
    """Frames after a peak in which it still lowers the gain."""

    def __init__(self, ceiling_dbtp: float = CEILING_DBTP) -> None:
        self._ceiling = 10 ** ((ceiling_dbtp - MARGIN_DB) / 20)
        # the last chunk heard waits for the samples after it, and needs those before it again
        self._edge = np.zeros((BEFORE + CHUNK, 2), np.float32)
        # from RELEASE chunks before the previous block: how much each must be lowered
        self._lowered: Curve = np.zeros(RELEASE - 1, np.float32)
        self._previous = 0

    def feed(self, block: Audio) -> Curve | None:
        """Hear ``block``: a multiple of CHUNK frames, more than ATTACK chunks.

        Returns the gains of the block fed before (the first time, of an empty one), or None
        where they are all 1. Feed silence to learn the last curve.
        """
        heard = np.concatenate([self._edge, block])
        self._edge = heard[len(block) :]
        peaks = chunk_peaks(heard[: len(block) + BEFORE + AFTER], self._ceiling)
        lowered = np.concatenate(
            [self._lowered, 1 - self._ceiling / np.maximum(peaks, self._ceiling)]
        )
        chunks, self._previous = self._previous, len(block) // CHUNK
        self._lowered = lowered[chunks:]
        around = lowered[: chunks + ATTACK + RELEASE]
        if not around.any():
            return None
        windows = np.lib.stride_tricks.sliding_window_view(around, ATTACK + RELEASE)
        curve: Curve = 1 - (windows * _SHAPE[::-1]).max(axis=1)
        return curve


def limited(sound: Audio) -> Audio:
    """A copy of a whole sound, silence after it, under the ceiling."""
    hold, whole = Limiter(), -(-len(sound) // CHUNK) * CHUNK
    copy = np.zeros((whole + (ATTACK + 1) * CHUNK, 2), np.float32)
    copy[: len(sound)] = sound
    hold.feed(copy)
    curve = hold.feed(np.zeros_like(copy[whole:]))
    if curve is not None:
        apply(curve, copy)
    return copy[: len(sound)]


def apply(curve: Curve, block: Audio) -> None:
    """Multiply ``block`` by the gains of ``curve``, in place, where they are not 1."""
    chunks = block.reshape(-1, CHUNK, 2)
    start, end = curve[:-1, None], curve[1:, None]
    active = np.flatnonzero(np.minimum(start, end) < 1)
    ramp = np.arange(CHUNK, dtype=np.float32) / CHUNK
    gains = start[active] + (end[active] - start[active]) * ramp
    chunks[active] *= gains[:, :, None]
