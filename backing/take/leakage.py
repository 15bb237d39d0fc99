"""The band taken out of a recording in which it is heard: its sound is known, from the track."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from backing.take.features import RATE, Floats, Sound
from backing.take.recording import pieces

WINDOW, HOP = 1024, 256
"""Samples of a frame, 64 ms, and between two."""
SEARCHED = int(0.3 * RATE)
"""Samples on both sides of the place of the take in which the band is looked for."""
CLEAR = 8.0
"""How far the best lag stands out, in standard deviations of all lags (by chance some 4)."""
LOUD, LEAST = 70, 25
"""Of each frequency: the percentile from which the band is loud there, and that of the ratio of
recording to track in those frames which the player's own notes don't reach."""
SILENT = 1e-3
"""The strength of a frame of the track below which there is no band: some -90 dB of full scale."""
OVER = 2.5
"""Times the band's strength that is taken out: a room spreads it, and phases add up."""
FLOOR = 0.05
"""What is left at least, so that there is no silence between notes that nobody recorded."""
SMOOTHED = 9
"""Frequencies over which the ratio is smoothed."""

Piece = tuple[Sound, int, int]


class Leakage:
    """The track that a take was played to, whose second ``offset`` is the recording's second 0.

    Where exactly it lies is found in each piece, within SEARCHED of there: clocks may differ by no
    more than that over the whole take.
    """

    def __init__(self, track: Path, offset: float) -> None:
        self._track = track
        self._offset = round(offset * RATE)

    def taken_out(self, recording: Iterator[Piece]) -> Iterator[Piece]:
        """The pieces of a recording without the band, where it is clearly heard in them."""
        strip = _Strip(self._track)
        at, lag = self._offset, None
        for sound, before, after in recording:
            first = at - before - SEARCHED
            around = strip.part(first, first + len(sound) + 2 * SEARCHED)
            found = lag_of(sound, around)
            lag = lag if found is None else found
            band = around[lag or 0 :][: len(sound)]
            yield sound if lag is None else without(sound, band), before, after
            at += len(sound) - before - after


class _Strip:
    """The sound of a track, of which no more is kept than is asked for; silence around it."""

    def __init__(self, track: Path) -> None:
        self._pieces = pieces(track)
        self._kept: Sound = np.zeros(0, np.float32)
        self._first = 0

    def part(self, first: int, last: int) -> Sound:
        """Samples ``first`` up to ``last``; those before are let go."""
        while self._first + len(self._kept) < last:
            piece = next(self._pieces, None)
            if piece is None:
                break
            sound, before, after = piece
            self._kept = np.concatenate([self._kept, sound[before : len(sound) - after]])
        gone = min(max(0, first - self._first), len(self._kept))
        self._kept, self._first = self._kept[gone:], self._first + gone
        here = np.zeros(last - first, np.float32)
        start = self._first - first
        mine = self._kept[max(0, -start) : max(0, last - self._first)]
        here[max(0, start) : max(0, start) + len(mine)] = mine[: max(0, len(here) - max(0, start))]
        return here


def lag_of(sound: Sound, around: Sound) -> int | None:
    """The sample of ``around`` (longer by 2 SEARCHED) at which ``sound`` begins; None where it is
    not heard there.

    By the phases alone (Knapp & Carter 1976, "The generalized correlation method for estimation of
    time delay", PHAT), for the player is louder than the band.
    """
    size = 1 << (len(around) - 1).bit_length()
    cross = np.conj(np.fft.rfft(sound, size)) * np.fft.rfft(around, size)
    phases = cross / np.maximum(np.abs(cross), 1e-12)
    found = np.fft.irfft(phases, size)[: len(around) - len(sound)]
    best = int(np.argmax(found))
    spread = float(np.std(found))
    return best if spread > 0 and found[best] >= CLEAR * spread else None


def without(sound: Sound, band: Sound) -> Sound:
    """``sound`` with the band weakened where it is strong, frequency by frequency."""
    heard, known = _frames(sound), _frames(band)
    strength, track = np.abs(heard), np.abs(known) + 1e-9
    leaks = OVER * _ratio(strength, track)[None, :] * track
    left = 1 - (leaks / np.maximum(strength, 1e-9)) ** 2
    return _sound(heard * np.sqrt(np.maximum(left, FLOOR**2)), len(sound))


def _ratio(strength: Floats, track: Floats) -> Floats:
    """How strong the band is in the recording beside the track, for each frequency."""
    level = np.percentile(track, LOUD, axis=0)
    loud = track >= level
    ratio = np.where(loud, strength / track, np.nan)
    found = np.where(level > SILENT, np.nanpercentile(ratio, LEAST, axis=0), 0.0)
    near = np.lib.stride_tricks.sliding_window_view(np.pad(found, SMOOTHED // 2, "edge"), SMOOTHED)
    smoothed: Floats = np.median(near, axis=1)
    return smoothed


def _shape() -> Floats:
    """A window whose squares add up to 1.5 at a quarter of its length (periodic Hann)."""
    return 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)


def _frames(sound: Sound) -> np.ndarray:
    padded = np.pad(sound, (WINDOW, 2 * WINDOW))
    views = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::HOP]
    shaped = (views * _shape()).astype(np.float32)
    return np.fft.rfft(shaped, axis=1).astype(np.complex64)


def _sound(frames: np.ndarray, size: int) -> Sound:
    shaped = np.fft.irfft(frames, WINDOW, axis=1) * _shape() / 1.5
    out = np.zeros(HOP * len(shaped) + WINDOW)
    quarters = WINDOW // HOP
    for quarter in range(quarters):
        part = shaped[:, quarter * HOP : (quarter + 1) * HOP].reshape(-1)
        out[quarter * HOP : quarter * HOP + len(part)] += part
    return out[WINDOW : WINDOW + size].astype(np.float32)
