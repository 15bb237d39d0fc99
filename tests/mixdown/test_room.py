"""The room: its size, its sound, and that blocks and threads leave no trace."""

from __future__ import annotations

import numpy as np
import pytest

from backing.mixdown.room import (
    DECAY_SECONDS,
    LEVEL_DB,
    STEP,
    add_room,
    fast_size,
    impulse_response,
    reach,
)

RATE = 44100


def heard(sound: np.ndarray, frames: int = 65536) -> np.ndarray:
    """The room's answer to ``sound``, in blocks of ``frames``."""
    lead, played = reach(RATE), []
    around = np.pad(sound, ((lead, frames), (0, 0)))
    for at in range(0, len(sound), frames):
        block = around[at : at + lead + frames]
        block = np.pad(block, ((0, STEP * fast_size(-(-len(block) // STEP)) - len(block)), (0, 0)))
        dry = block.copy()
        add_room(block, RATE)
        played.append((block - dry)[lead : lead + frames])
    return np.concatenate(played)[: len(sound)]


def click(frames: int = 3 * RATE) -> np.ndarray:
    sound = np.zeros((frames, 2), np.float32)
    sound[1000] = 1
    return sound


def test_it_rings_as_long_as_a_small_club():
    energy = (heard(click())[1000:, 0].astype(float) ** 2)[: 2 * RATE]
    # ISO 3382-1: the reverberation time from the fall between -5 and -25 dB (T20)
    fall = 10 * np.log10(np.cumsum(energy[::-1])[::-1] / energy.sum() + 1e-20)
    t20 = 3 * (np.argmax(fall < -25) - np.argmax(fall < -5)) / RATE
    assert t20 == pytest.approx(DECAY_SECONDS, abs=0.1)


def test_both_sides_are_equally_loud_and_not_alike():
    left, right = impulse_response(RATE).T.astype(float)
    assert 10 * np.log10((left**2).sum()) == pytest.approx(LEVEL_DB, abs=0.01)
    assert 10 * np.log10((right**2).sum()) == pytest.approx(LEVEL_DB, abs=0.01)
    assert abs(np.corrcoef(left, right)[0, 1]) < 0.4


def test_it_lets_neither_bass_nor_aliases_back():
    noise = np.random.default_rng(0).standard_normal((4 * RATE, 2)).astype(np.float32)
    spectrum = np.abs(np.fft.rfft(heard(noise, 65536)[:, 0])) ** 2
    hertz = np.fft.rfftfreq(2 * (len(spectrum) - 1), 1 / RATE)

    def band(low: float, high: float) -> float:
        return 10 * np.log10(spectrum[(hertz >= low) & (hertz < high)].mean())

    middle = band(500, 2000)
    assert band(20, 100) < middle - 9
    assert band(7000, 22050) < middle - 50


@pytest.mark.parametrize("frames", [4096, 9600, 98304])
def test_the_size_of_the_blocks_does_not_matter(frames):
    sound = np.random.default_rng(1).standard_normal((2 * RATE, 2)).astype(np.float32)
    one, other = heard(sound, frames), heard(sound, 65536)
    shorter = min(len(one), len(other))
    assert np.abs(one[:shorter] - other[:shorter]).max() < 1e-5


def test_its_reach_is_where_it_falls_silent():
    sound = click()
    answer = heard(sound)
    assert reach(RATE) % STEP == 0
    assert not np.abs(answer[1001 + reach(RATE) :]).max() > 1e-6
    assert np.abs(answer[1000 + reach(RATE) // 2 :]).max() > 1e-6


def test_it_is_the_same_room_every_time():
    assert np.array_equal(heard(click()), heard(click()))
    impulse_response.cache_clear()
    assert np.array_equal(impulse_response(RATE), impulse_response.__wrapped__(RATE))
