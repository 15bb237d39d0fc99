"""The compiled loops again in a few plain lines of numpy and scipy: what they are compared with."""

from __future__ import annotations

import numpy as np
import scipy.signal

from backing.mixdown.loops import BLOCK, HeldNote


def envelope(edges: np.ndarray, samples: int) -> np.ndarray:
    """Straight lines between the gains at the edges of blocks, sample by sample."""
    return np.interp(np.arange(samples) / BLOCK, np.arange(len(edges)), edges)


def note(held: HeldNote) -> np.ndarray:
    """All samples of a held note."""
    samples = held.samples[: held.length].astype(float)
    sound, hold = samples * held.gain, min(held.hold, held.length)
    falling = held.length - hold
    if not falling:
        return sound
    fall = envelope(held.edges, falling)
    if not held.lags:
        sound[hold:] *= fall[:, None]
        return sound
    sound[hold:] = 0
    changing = min(held.late_from - hold, falling)
    for lag, (edges, tap) in enumerate(zip(held.lags, held.taps, strict=True)):
        gains = fall * held.gain * tap
        gains[:changing] = envelope(edges, changing)
        later = np.pad(samples, ((lag, 0), (0, 0)))[hold : held.length]
        sound[hold:] += later * gains[:, None]
    return sound


def added(
    notes: list[HeldNote], onsets: list[int], which: list[int], start: int, frames: int
) -> np.ndarray:
    """The frames from ``start`` on of some notes at some places."""
    out = np.zeros((frames, 2))
    for onset, kind in zip(onsets, which, strict=True):
        sound = note(notes[kind])
        first, last = max(onset, start), min(onset + len(sound), start + frames)
        if first < last:
            out[first - start : last - start] += sound[first - onset : last - onset]
    return out


def block_products(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """The sum of the products of each block."""
    blocks = min(len(a), len(b)) // BLOCK
    pairs = (each[: blocks * BLOCK].astype(float).reshape(blocks, 2 * BLOCK) for each in (a, b))
    return np.einsum("bi,bi->b", *pairs)


def misfit(held: np.ndarray, heard: np.ndarray, edges: np.ndarray, blocks: int) -> float:
    """The energy of what an envelope misses."""
    frames = blocks * BLOCK
    fall = envelope(edges.astype(float), frames)[:, None]
    return float(np.square(heard[:frames].astype(float) - held[:frames] * fall).sum())


def hop_energies(sound: np.ndarray, hop: int, biquads: np.ndarray) -> np.ndarray:
    """The mean square of each hop after two filters, run from the beginning to the end."""
    stages = [np.insert(stage, 3, 1.0) for stage in biquads.reshape(2, 5)]
    weighted = scipy.signal.sosfilt(stages, sound.astype(float), axis=0)
    hops = len(sound) // hop
    return (weighted[: hops * hop] ** 2).reshape(hops, -1).sum(axis=1) / hop


def chunk_peaks(frames: np.ndarray, chunks: int, kernel: np.ndarray) -> np.ndarray:
    """The largest of all samples and points between them, chunk by chunk."""
    half = len(kernel) // 2
    windows = np.lib.stride_tricks.sliding_window_view(frames, 2 * half, axis=0)
    between = np.abs(windows @ kernel).max(axis=(1, 2))
    samples = np.abs(frames[half - 1 :]).max(axis=1)[: len(between)]
    return np.maximum(between, samples)[: chunks * BLOCK].reshape(chunks, BLOCK).max(axis=1)


def lower_rate(block: np.ndarray, low_pass: np.ndarray) -> np.ndarray:
    """``block`` in mono at a quarter of its rate: filtered, then every fourth sample."""
    filtered = np.convolve(block.mean(axis=1, dtype=float), low_pass)
    return filtered[3::4]


def higher_rate(left: np.ndarray, right: np.ndarray, low_pass: np.ndarray) -> np.ndarray:
    """Two sides at four times their rate: zeros between the samples, then the filter."""
    sides = [scipy.signal.upfirdn(4 * low_pass, side.astype(float), up=4) for side in (left, right)]
    return np.stack(sides, axis=1)[: 4 * len(left)]


def round16(block: np.ndarray) -> np.ndarray:
    """In 16 bits, ties to even, clipped."""
    return np.clip(np.rint(block * np.float32(32768)), -32768, 32767).astype(np.int16)
