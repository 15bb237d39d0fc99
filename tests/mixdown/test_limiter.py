"""The limiter: nothing over the ceiling, nothing touched that need not be."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.mixdown import limiter
from backing.mixdown.limiter import CEILING_DBTP, LEAD, TRAIL
from backing.mixdown.loudness import CHUNK, true_peak

RATE = 44100


def limited(sound: np.ndarray, frames: int, *stems: np.ndarray) -> list[np.ndarray]:
    """``sound``, and ``stems`` by the same curve, in blocks of ``frames``."""
    count = -(-len(sound) // frames) * frames
    whole = np.pad(sound, ((LEAD, TRAIL + count - len(sound)), (0, 0)))
    buses = [np.pad(x, ((0, count - len(x)), (0, 0))) for x in (sound, *stems)]
    for at in range(0, count, frames):
        curve = limiter.gain_curve(whole[at : at + LEAD + frames + TRAIL])
        for bus in buses:
            if curve is not None:
                assert len(curve) == frames // CHUNK + 1
                limiter.apply(curve, bus[at : at + frames])
    return [bus[: len(sound)] for bus in buses]


def hits(seed: int, level: float = 0.4, seconds: float = 3.0) -> np.ndarray:
    noise = np.random.default_rng(seed).standard_normal((round(seconds * RATE), 2))
    time = np.arange(len(noise))[:, None] / RATE
    return (level * noise * np.exp(-20 * (time % 0.5))).astype(np.float32)


@given(st.integers(0, 1000), st.floats(0.05, 1.5), st.sampled_from([512, 4096, 98304]))
@settings(max_examples=50)
def test_no_true_peak_over_the_ceiling(seed, level, frames):
    (out,) = limited(hits(seed, level), frames)
    assert true_peak(out) <= CEILING_DBTP


@pytest.mark.parametrize("frames", [0, 1, 63, 64, 20_000])
def test_a_whole_sound_at_once_is_the_same(frames):
    sound = hits(3, 1.2)[:frames]
    before = sound.copy()
    assert np.array_equal(limiter.limited(sound), limited(sound, 512)[0])
    assert np.array_equal(sound, before)


def test_what_is_under_the_ceiling_is_not_touched():
    sound = hits(1, 0.1)
    assert true_peak(sound) < CEILING_DBTP
    (out,) = limited(sound, 4096)
    assert np.array_equal(out, sound)


def test_only_the_moments_around_a_peak_are_touched():
    sound = np.full((RATE, 2), 0.1, np.float32)
    sound[20000] = 1.5
    (out,) = limited(sound, 4096)
    touched = np.flatnonzero((out != sound).any(axis=1))
    assert touched[0] >= 20000 - (limiter.ATTACK + 1) * CHUNK
    assert touched[-1] <= 20000 + LEAD + CHUNK
    assert 20 * np.log10(np.abs(out[20000]).max()) == pytest.approx(CEILING_DBTP, abs=0.2)


def test_the_gain_moves_without_a_step():
    sound = np.full((RATE, 2), 0.1, np.float32)
    sound[20000] = 1.5
    gains = limited(sound, 4096)[0][:, 0] / sound[:, 0]
    assert np.abs(np.diff(gains)).max() < 0.005


def test_the_size_of_the_blocks_does_not_matter():
    sound = hits(2, 0.8)
    assert np.array_equal(limited(sound, 512)[0], limited(sound, 98304)[0])


def test_stems_share_the_curve():
    one, two = hits(3), hits(4)
    mix, first, second = limited(one + two, 4096, one, two)
    assert true_peak(one + two) > CEILING_DBTP
    assert np.abs(first + second - mix).max() < 1e-6
