"""Loudness and true peak against the standards' own signals and two other meters."""

from __future__ import annotations

import math
import re
import subprocess
from collections.abc import Sequence

import numpy as np
import pyloudnorm
import pytest
import soundfile

from backing.mixdown import loudness as module
from backing.mixdown.loudness import (
    AFTER,
    BEFORE,
    CHUNK,
    chunk_peaks,
    high_pass,
    integrated_loudness,
    shelf,
    true_peak,
)


def tone(dbfs: float, seconds: float, rate: int = 48000, hertz: float = 1000.0) -> np.ndarray:
    """A stereo sine, both channels in phase, at ``dbfs`` per channel."""
    time = np.arange(round(seconds * rate)) / rate
    sine = 10 ** (dbfs / 20) * np.sin(2 * np.pi * hertz * time)
    return np.repeat(sine[:, None], 2, axis=1).astype(np.float32)


def bursts(seed: int, rate: int, seconds: float = 12.0) -> np.ndarray:
    """Stereo noise that swells and dies, so that gates have something to do."""
    noise = np.random.default_rng(seed).standard_normal((round(seconds * rate), 2))
    time = np.arange(len(noise))[:, None] / rate
    return (0.2 * noise * np.exp(-4 * (time % 3.1))).astype(np.float32)


def test_the_filters_are_those_of_the_standard():
    # ITU-R BS.1770-4, tables 1 and 2 (48 kHz), from memory
    b, a = shelf(48000)
    assert b == pytest.approx([1.53512485958697, -2.69169618940638, 1.19839281085285], abs=1e-8)
    assert a == pytest.approx([1.0, -1.69065929318241, 0.73248077421585], abs=1e-8)
    b, a = high_pass(48000)
    assert b == pytest.approx([1.0, -2.0, 1.0])
    assert a == pytest.approx([1.0, -1.99004745483398, 0.99007225036621], abs=1e-8)


@pytest.mark.parametrize("rate", [44100, 48000])
def test_a_full_scale_sine_in_one_channel(rate):
    # BS.1770-4, Annex 1: 0 dBFS at 1 kHz (997 Hz) in one channel reads -3.01 LKFS
    sine = tone(0.0, 5, rate, 997.0)
    sine[:, 1] = 0
    assert integrated_loudness(sine, rate) == pytest.approx(-3.01, abs=0.01)


# EBU Tech 3341, table 1, cases 1 to 5 (from memory): (dBFS, seconds) in a row, the reading +-0.1
EBU_CASES = [
    ([(-23, 20)], -23.0),
    ([(-33, 20)], -33.0),
    ([(-36, 10), (-23, 60), (-36, 10)], -23.0),
    ([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)], -23.0),
    ([(-26, 20), (-20, 20.1), (-26, 20)], -23.0),
]


@pytest.mark.parametrize(("levels", "reading"), EBU_CASES)
def test_ebu_signals(levels: Sequence[tuple[float, float]], reading: float):
    signal = np.concatenate([tone(dbfs, seconds) for dbfs, seconds in levels])
    assert integrated_loudness(signal, 48000) == pytest.approx(reading, abs=0.1)


@pytest.mark.parametrize("rate", [22050, 44100, 48000, 96000])
def test_pyloudnorm_reads_the_same(rate):
    sound = bursts(rate, rate)
    # its other filter set is an approximation that reads 0.04 LU lower
    exact = pyloudnorm.Meter(rate, filter_class="DeMan").integrated_loudness(sound.astype(float))
    assert integrated_loudness(sound, rate) == pytest.approx(exact, abs=0.001)
    usual = pyloudnorm.Meter(rate).integrated_loudness(sound.astype(float))
    assert integrated_loudness(sound, rate) == pytest.approx(usual, abs=0.1)


def test_ffmpeg_reads_the_same(tmp_path):
    """ffmpeg (apt install ffmpeg) is among the tools that development needs."""
    path = tmp_path / "bursts.wav"
    sound = bursts(3, 48000)
    soundfile.write(path, sound, 48000, "FLOAT")
    command = ["ffmpeg", "-nostats", "-i", str(path), "-af", "ebur128=peak=true", "-f", "null", "-"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    summary = said[said.rindex("Summary") :]
    lufs = float(re.search(r"I:\s+(-[\d.]+) LUFS", summary)[1])
    peak = float(re.search(r"Peak:\s+(-?[\d.]+) dBFS", summary)[1])
    # it prints one decimal
    assert integrated_loudness(sound, 48000) == pytest.approx(lufs, abs=0.1)
    assert true_peak(sound) == pytest.approx(peak, abs=0.25)


def test_silence_and_what_is_too_short():
    assert integrated_loudness(np.zeros((44100, 2), np.float32), 44100) == -math.inf
    assert integrated_loudness(tone(0, 0.3), 48000) == -math.inf
    assert true_peak(np.zeros((0, 2), np.float32)) == -math.inf


# EBU Tech 3341, cases 15 to 18 (from memory): sines whose samples miss the crest; -6.0 dBTP,
# tolerance +0.2 / -0.4 dB
@pytest.mark.parametrize(("divisor", "phase"), [(4, 0), (4, 45), (6, 60), (8, 67.5)])
def test_the_crest_between_samples(divisor, phase):
    n = np.arange(8000)
    sine = 0.5 * np.sin(2 * np.pi * n / divisor + math.radians(phase)) * np.hanning(8000)
    reading = true_peak(np.repeat(sine[:, None], 2, axis=1).astype(np.float32))
    assert -6.4 <= reading <= -5.8


def curves(kind: int, count: int, rng: np.random.Generator) -> np.ndarray:
    """Stereo noise, or noise summed up once or twice (smoother), or a sine; 1 at its highest."""
    if kind == 3:
        place = np.arange(count)[:, None] * rng.uniform(0, 3.1) + rng.uniform(0, 6, 2)
        sound = np.sin(place)
    else:
        sound = rng.standard_normal((count, 2))
        for _ in range(kind):
            sound = np.cumsum(sound, axis=0)
    return (sound / np.abs(sound).max()).astype(np.float32)


@pytest.mark.parametrize("kind", [0, 1, 2, 3])
def test_no_peak_is_missed_where_none_was_thought_possible(kind):
    rng = np.random.default_rng(kind)
    for _ in range(150):
        sound = curves(kind, BEFORE + 4 * CHUNK + AFTER, rng)
        everything = chunk_peaks(sound)
        for above in (0.9, 0.99, *(everything * rng.uniform(0.97, 1, 4)).tolist()):
            found = chunk_peaks(sound, above)
            over = everything > above
            assert found[over] == pytest.approx(everything[over], abs=1e-6)
            assert (found[~over] <= above).all()


def test_the_bound_on_a_bend_holds_and_is_reached():
    half, share = module.HALF_TAPS, np.arange(1, 4) / 4
    rng = np.random.default_rng(4)
    # the worst signs for the second differences, against noise
    line = np.zeros_like(module._KERNEL)
    line[half - 1], line[half] = 1 - share, share
    steps = np.cumsum(module._KERNEL - line, axis=0)
    steps[half - 1] -= steps.sum(axis=0)
    worst = np.sign(np.cumsum(steps, axis=0)[:-2]).T
    used = 0.0
    for bend in (*worst, *rng.standard_normal((2000, 2 * half - 2))):
        slope = np.concatenate([[0], np.cumsum(bend)])
        taps = np.concatenate([[0], np.cumsum(slope - slope[half - 1])])
        above = np.abs(taps @ module._KERNEL - ((1 - share) * taps[half - 1] + share * taps[half]))
        bound = module._BEND_BOUND * np.abs(bend).max()
        bound += module._SLOPE_BOUND * np.abs(np.diff(taps)).max()
        assert above.max() <= bound * (1 + 1e-9)
        used = max(used, above.max() / bound)
    assert used > 0.99
