"""The mix: level, ceiling, length, seams, stems; measured on rendered sound."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.combo.performance import Performance
from backing.errors import OutputError, SelectionError
from backing.mixdown import level
from backing.mixdown.audio_file import AudioFile
from backing.mixdown.bank import Bank
from backing.mixdown.level import TARGET_LUFS
from backing.mixdown.loudness import integrated_loudness, true_peak
from backing.mixdown.mix import Mixdown, render, save
from backing.mixdown.schedule import sample_of
from backing.mixdown.tags import Tags
from tests.mixdown import trio
from tests.mixdown.band import built_in_soundfont

RATE = 44100


@pytest.fixture(scope="module")
def bank() -> Bank:
    return Bank(built_in_soundfont())


def whole(mixdown: Mixdown) -> np.ndarray:
    return np.concatenate([window.mix for window in mixdown])


def rounds(performance: Performance, count: int) -> Performance:
    """A loop written out: its round ``count`` times in a row, and no ring."""
    (one,) = performance.passes
    beats = one.routine_pass.tempo * performance.clock.length_seconds / 60
    passes = tuple(replace(one, start=beats * n) for n in range(count))
    clock = type(performance.clock)([(beats * count, one.routine_pass.tempo, Fraction(2))])
    return replace(performance, passes=passes, clock=clock, circular=False, tail=Fraction(0))


@pytest.mark.parametrize("tempo", [60, 132, 280])
def test_level_ceiling_and_length(bank, tempo):
    performance = trio.performance((tempo,), bars=12)
    mixdown = render(performance, bank)
    sound = whole(mixdown)
    seconds = performance.clock.length_seconds + performance.tail
    assert len(sound) == mixdown.length == sample_of(seconds, RATE)
    assert sound.dtype == np.float32
    assert integrated_loudness(sound, RATE) == pytest.approx(TARGET_LUFS, abs=0.5)
    assert true_peak(sound) <= -1.0


def test_the_steps_of_a_climb_are_equally_loud(bank):
    tempos = (80, 120, 160, 240)
    performance = trio.performance(tempos, bars=12)
    sound = whole(render(performance, bank))
    edges = [sample_of(performance.clock.seconds(p.start), RATE) for p in performance.passes]
    edges.append(sample_of(performance.clock.length_seconds, RATE))
    levels = [integrated_loudness(sound[start:stop], RATE) for start, stop in pairwise(edges)]
    assert max(levels) - min(levels) <= 0.5
    assert levels == pytest.approx([TARGET_LUFS] * len(levels), abs=0.5)


@pytest.mark.parametrize("bars", [1, 2])
def test_short_steps_are_equally_loud(bank, bars):
    # of a few strokes each counts: by pyloudnorm, another's reading of BS.1770
    tempos = (60, 75, 90, 120, 150, 200, 240)
    performance = trio.performance(tempos, bars=bars)
    sound = whole(render(performance, bank))
    edges = [sample_of(performance.clock.seconds(p.start), RATE) for p in performance.passes]
    edges.append(sample_of(performance.clock.length_seconds, RATE))
    meter = pyloudnorm.Meter(RATE)
    levels = [
        meter.integrated_loudness(sound[start:stop].astype(float))
        for start, stop in pairwise(edges)
    ]
    assert max(levels) - min(levels) <= 0.3
    assert levels == pytest.approx([TARGET_LUFS] * len(levels), abs=0.4)


def test_a_part_of_a_long_step_comes_near_the_whole(bank, monkeypatch):
    performance = trio.performance((100, 200), bars=24)
    monkeypatch.setattr(level, "SHORT_SECONDS", 0.0)
    full = render(performance, bank).steps
    monkeypatch.setattr(level, "MOST_SPANS", 4)
    some = render(performance, bank).steps
    for one, other in zip(full, some, strict=True):
        assert one.gain_db != other.gain_db
        # five times as much is measured of a real step
        assert one.gain_db == pytest.approx(other.gain_db, abs=0.25)


@pytest.mark.parametrize("seconds", [1, 29, 31, 45, 250, 1800])
def test_what_is_measured_of_a_step_lies_all_over_it(seconds):
    step = level.TempoStep(120.0, 1000, 1000 + seconds * RATE)
    hop = RATE // 10
    found = list(level.spans([step], RATE))
    measured = sum(hops for _, _, hops in found) * hop / (step.stop - step.start)
    assert measured >= min(1.0, level.MOST_SPANS * level.SPAN_HOPS / 10 / seconds) - 0.01
    edges = [step.start, *(start for _, start, _ in found), step.stop]
    assert max(b - a for a, b in pairwise(edges)) <= max(seconds * RATE / 19, 31 * RATE)
    if seconds > 1:
        assert all(start + hops * hop <= step.stop for _, start, hops in found)


def test_a_step_of_a_moment_has_a_level_too(bank):
    # there is no room in it for a block of 0.4 s
    performance = trio.performance((300, 299, 300), bars=3)
    mixdown = render(performance, bank)
    mixdown._steps = [
        level.TempoStep(300.0, 0, 99_500), level.TempoStep(299.0, 99_500, 100_500),
        level.TempoStep(300.0, 100_500, mixdown.length),
    ]  # fmt: skip
    sound = whole(mixdown)
    assert len({step.gain_db for step in mixdown.steps}) == 3
    assert len(sound) == mixdown.length


def test_measured_with_or_without_the_room_it_is_as_loud(bank, monkeypatch):
    performance = trio.performance((80, 160, 240), bars=6)
    by_itself = [step.gain_db for step in render(performance, bank).steps]
    monkeypatch.setattr(level, "SHORT_SECONDS", 0.0)
    dry = [step.gain_db for step in render(performance, bank).steps]
    assert by_itself == pytest.approx(dry, abs=0.3)  # the limiter takes some of the first
    assert by_itself != dry


def test_the_gain_is_one_line():
    steps = [level.TempoStep(t, n * RATE, (n + 1) * RATE, g) for n, (t, g) in enumerate(
        ((90, 0.0), (100, -20.0), (110, -20.0)))]  # fmt: skip
    track = level.GainLine(steps, 3 * RATE, RATE, circular=False)
    assert track.at(-500, 1000) == 1.0
    assert track.at(RATE, 2 * RATE + 999) == pytest.approx(0.1)
    ramp = track.at(RATE - 8821, 8822)
    assert ramp[[0, 1]] == pytest.approx(1.0)
    assert ramp[-1] == pytest.approx(0.1)
    assert np.ptp(np.diff(ramp[1:])) < 1e-9
    loop = level.GainLine(steps, 3 * RATE, RATE, circular=True)
    assert loop.at(3 * RATE - 100, 200)[0] == pytest.approx(1 - 0.9 * 100 / 8820)
    assert loop.at(3 * RATE, 100) == 1.0
    assert loop.at(-100, 100) == pytest.approx(loop.at(3 * RATE - 100, 100))


def test_it_can_be_heard_again_also_when_it_was_broken_off(bank):
    mixdown = render(trio.performance((80, 160), bars=6), bank)
    next(iter(mixdown))
    first = whole(mixdown)
    assert np.array_equal(first, whole(mixdown))
    assert np.array_equal(first, whole(render(trio.performance((80, 160), bars=6), bank)))


def whole_with_gain(mixdown: Mixdown, other: Mixdown) -> np.ndarray:
    """The sound of ``mixdown`` with the gain of ``other``."""
    (step,) = other.steps
    mixdown._steps = [replace(mixdown._steps[0], gain_db=step.gain_db)]
    mixdown._line = level.GainLine(mixdown._steps, mixdown.length, RATE, circular=False)
    return whole(mixdown)


@pytest.mark.parametrize("tempo", [120, 150, 200])
def test_a_loop_of_whole_samples_is_the_written_out_loop(bank, tempo):
    # a bar of 4/4 at these tempos is a whole number of samples, a beat too
    loop = trio.performance((tempo,), bars=2, circular=True)
    assert (loop.clock.length_seconds * RATE).denominator == 1
    mixdown = render(loop, bank)
    once = whole(mixdown)
    line = whole_with_gain(render(rounds(loop, 5), bank), mixdown)
    middle = line[3 * len(once) : 4 * len(once)]
    assert np.abs(middle - once).max() < 1e-5


def test_the_joint_of_a_loop_is_as_smooth_as_its_inside(bank):
    once = whole(render(trio.performance((137,), bars=2, circular=True), bank))
    twice = np.concatenate([once, once])
    bend = np.abs(np.diff(twice, n=2, axis=0)).max(axis=1)
    joint = bend[len(once) - 3 : len(once) + 1].max()
    assert joint <= np.quantile(bend, 0.999)


def test_a_track_ends_in_silence(bank):
    sound = whole(render(trio.performance((120,), bars=2), bank))
    assert np.abs(sound[-1]).max() < 1e-4
    assert np.abs(np.diff(sound[-2000:], axis=0)).max() < 0.01


def test_stems_add_up_exactly(bank):
    mixdown = render(trio.performance((160,), bars=4), bank, stems=True)
    assert mixdown.stem_names == ("bass", "comp", "drums")
    for window in mixdown:
        first, second, third = window.stems
        assert np.array_equal(first + second + third, window.mix)
        assert min(np.abs(stem).max() for stem in window.stems) > 0


def test_the_mix_is_the_same_with_and_without_stems(bank):
    performance = trio.performance((160,), bars=4)
    alone, among = (whole(render(performance, bank, stems=stems)) for stems in (False, True))
    assert np.abs(alone - among).max() < 4e-6  # -108 dB: each has its own rounding in the room


def test_a_part_by_itself(bank):
    sound = whole(render(trio.performance((160,), bars=4), bank, parts=["bass"]))
    assert integrated_loudness(sound, RATE) == pytest.approx(TARGET_LUFS, abs=0.5)


def test_parts_that_do_not_play(bank):
    performance = trio.performance((160,), bars=2)
    with pytest.raises(SelectionError, match="tuba") as caught:
        render(performance, bank, parts=["tuba"])
    assert "comp" in caught.value.cure
    with pytest.raises(SelectionError):
        render(performance, bank, parts=[])


def test_processors_change_no_bit(bank):
    performance = trio.performance((90, 160), bars=4)
    one = whole(render(performance, bank, threads=1))
    assert np.array_equal(one, whole(render(performance, bank, threads=3)))
    stems = [render(performance, bank, stems=True, threads=count) for count in (1, 2)]
    assert np.array_equal(*(whole(mixdown) for mixdown in stems))


@given(st.integers(40, 300), st.integers(1, 3), st.booleans())
@settings(max_examples=15)
def test_any_tempo_has_its_exact_length(bank, tempo, bars, circular):
    performance = trio.performance((tempo,), bars=bars, circular=circular)
    sound = whole(render(performance, bank))
    exact = performance.clock.length_seconds + performance.tail
    assert len(sound) == sample_of(exact, RATE)
    assert true_peak(np.concatenate([sound, sound]) if circular else sound) <= -1.0


def test_progress_goes_from_nothing_to_all(bank):
    told: list[float] = []
    whole(render(trio.performance((160,), bars=8), bank, progress=told.append))
    assert told == sorted(told)
    assert told[0] < 0.1
    assert 0.7 < told[-1] <= 1.0


# --- files ---------------------------------------------------------------------------------------


def test_files_of_mix_and_stems(bank, tmp_path):
    mixdown = render(trio.performance((160,), bars=4), bank, stems=True)
    paths = save(mixdown, tmp_path / "tune.wav", tags=Tags("Tune"))
    assert [path.name for path in paths] == [
        "tune.wav", "tune-bass.wav", "tune-comp.wav", "tune-drums.wav",
    ]  # fmt: skip
    total, *stems = (soundfile.read(path, dtype="int16")[0].astype(int) for path in paths)
    # each file is rounded by half a step
    assert np.abs(sum(stems) - total).max() <= 2


def test_the_same_bytes_every_time(bank, tmp_path):
    performance = trio.performance((160,), bars=4)
    (one,) = save(render(performance, bank), tmp_path / "one.flac")
    (two,) = save(render(performance, Bank(bank.soundfont)), tmp_path / "two.flac")
    assert one.read_bytes() == two.read_bytes()


def test_a_stem_that_cannot_be_written_stops_it_all(bank, tmp_path):
    mixdown = render(trio.performance((160,), bars=2), bank, stems=True)
    (tmp_path / "tune-drums.wav").mkdir()
    with pytest.raises(OutputError, match="is a folder"):
        save(mixdown, tmp_path / "tune.wav")
    assert [path.name for path in tmp_path.iterdir()] == ["tune-drums.wav"]


def test_an_interrupted_mix_leaves_nothing(bank, tmp_path):
    def stop(done: float) -> None:
        if done > 0.9:
            raise KeyboardInterrupt

    mixdown = render(trio.performance((120,), bars=8), bank, stems=True, progress=stop)
    with pytest.raises(KeyboardInterrupt):
        save(mixdown, Path(tmp_path) / "tune.wav")
    assert not list(tmp_path.iterdir())


def test_however_slowly_it_is_written_it_is_the_same(bank, tmp_path, monkeypatch):
    performance = trio.performance((120,), bars=8)
    quick = save(render(performance, bank, stems=True), tmp_path / "quick.wav")
    write = AudioFile.write

    def slowly(file: AudioFile, block: np.ndarray) -> None:
        time.sleep(0.1)  # meanwhile the next window is finished
        write(file, block)

    monkeypatch.setattr(AudioFile, "write", slowly)
    slow = save(render(performance, bank, stems=True), tmp_path / "slow.wav")
    for one, other in zip(quick, slow, strict=True):
        assert one.read_bytes() == other.read_bytes()


@pytest.mark.parametrize("good", [0, 1, 3, 8])
def test_a_disk_that_fails_on_the_way_is_told_of_and_nothing_stays(
    bank, tmp_path, monkeypatch, good
):
    performance = trio.performance((120,), bars=12)
    windows = sum(1 for _ in render(performance, bank))
    write, before = AudioFile.write, threading.active_count()
    written = []

    def failing(file: AudioFile, block: np.ndarray) -> None:
        if len(written) == min(good, windows - 1):  # the last one, too
            raise OutputError("There is no room left.", "Free some space.")
        written.append(len(block))
        write(file, block)

    monkeypatch.setattr(AudioFile, "write", failing)
    (tmp_path / "tune.wav").write_bytes(b"the old one")
    with pytest.raises(OutputError, match="no room left"):
        save(render(performance, bank), tmp_path / "tune.wav")
    assert (tmp_path / "tune.wav").read_bytes() == b"the old one"
    assert [path.name for path in tmp_path.iterdir()] == ["tune.wav"]
    assert threading.active_count() == before
