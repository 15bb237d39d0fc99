"""The bank of notes: what it holds does not depend on what else is asked of it."""

from __future__ import annotations

import hashlib
import subprocess
import sys

import numpy as np

from backing.mixdown.bank import Bank
from backing.mixdown.decay import (
    BENDS,
    CHOKE,
    RELEASE_FLOOR_DB,
    RING_LIMIT_S,
    Release,
    ReleaseFilter,
    envelope,
)
from backing.mixdown.loops import BLOCK
from backing.mixdown.probing import REFERENCE_VELOCITY, StruckKey
from tests.mixdown.band import RATE, built_in_soundfont

PIANO = [StruckKey(0, 0, key, velocity) for key in (48, 60) for velocity in (40, 96, 120)]
DRUMS = [StruckKey(128, 32, key, 88) for key in (36, 46, 51)]


def digest(bank: Bank, notes: list[StruckKey]) -> str:
    hashed = hashlib.sha256()
    for struck in notes:
        note = bank.note(struck, 20_000)
        hashed.update(note.samples[:20_000].tobytes() + repr((note.gain, note.release)).encode())
    return hashed.hexdigest()


def test_threads_order_and_company_change_nothing() -> None:
    notes = PIANO + DRUMS
    font = built_in_soundfont()
    alone = Bank(font, RATE, threads=1)
    together = Bank(font, RATE, threads=3)
    together.prepare(dict.fromkeys(reversed(notes), 60_000))
    assert digest(alone, notes) == digest(together, notes)


def test_another_process_makes_the_same_bits() -> None:
    code = (
        "from tests.mixdown.test_bank import *;"
        "print(digest(Bank(built_in_soundfont(), RATE), PIANO + DRUMS))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONPATH": ":".join(["", *sys.path])},
        capture_output=True,
        check=True,
        text=True,
    )
    assert done.stdout.strip() == digest(Bank(built_in_soundfont(), RATE), PIANO + DRUMS)


def test_a_note_needed_longer_begins_with_what_was_there() -> None:
    bank = Bank(built_in_soundfont(), RATE)
    short = bank.note(PIANO[0], 5_000).samples
    long = bank.note(PIANO[0], 80_000).samples
    assert len(long) >= 80_000
    assert np.array_equal(short, long[: len(short)])


def test_what_is_there_is_not_rendered_again() -> None:
    bank = Bank(built_in_soundfont(), RATE)
    bank.prepare(dict.fromkeys(DRUMS, 0))
    held = [bank.note(struck).samples for struck in DRUMS]
    bank.prepare(dict.fromkeys(DRUMS, 0))
    assert all(bank.note(t).samples is s for t, s in zip(DRUMS, held, strict=True))


def test_one_rendering_serves_all_velocities_of_one_waveform() -> None:
    bank = Bank(built_in_soundfont(), RATE)
    bass = [StruckKey(0, 32, 40, velocity) for velocity in (64, 96, 112)]
    bank.prepare(dict.fromkeys(bass, 20_000))
    soft, middle, loud = (bank.note(struck, 10_000) for struck in bass)
    assert soft.samples is middle.samples is loud.samples
    assert middle.gain == 1.0
    # the default modulator of velocity: 40 log10(v / 127) dB (SoundFont 2.04, section 8.4.1)
    for note, velocity in ((soft, 64), (loud, 112)):
        expected = 40 * np.log10(velocity / REFERENCE_VELOCITY)
        assert abs(20 * np.log10(note.gain) - expected) < 0.2


def test_a_drum_is_kept_until_it_has_died_away() -> None:
    bank = Bank(built_in_soundfont(), RATE)
    for struck in DRUMS:
        note = bank.note(struck)
        samples = np.abs(note.samples)
        assert len(samples) <= RING_LIMIT_S * RATE
        if note.complete:
            assert samples[-2000:].max() < 0.02 * samples.max()


def test_a_straight_release_falls_by_its_slope() -> None:
    release = Release((120.0,))
    gains = release.gains(RATE)
    samples = (len(gains) - 1) * BLOCK
    line = envelope(gains, 0, samples)[:, 0]
    assert line[0] == 1.0
    assert abs(20 * np.log10(line[RATE // 2]) + 60) < 0.1
    assert abs(samples - RELEASE_FLOOR_DB / 120 * RATE) <= 128
    assert len(Release((0.0,)).gains(RATE)) * BLOCK <= RING_LIMIT_S * RATE + BLOCK


def test_a_bent_release_changes_slope_at_its_bends() -> None:
    levels = Release((100.0, 0.0, 200.0)).levels_db(200, RATE)
    first, second = BENDS[:2]
    block = 64 / RATE
    assert np.isclose(levels[first], -100 * first * block)
    assert np.isclose(levels[second], levels[first])
    assert np.isclose(levels[100], levels[second] - 200 * (100 - second) * block)


def test_a_choke_falls_96_db_in_nine_tenths_of_a_second() -> None:
    # -200 timecents are 2 ** (-200 / 1200) s (SoundFont 2.04, section 8.1.3: absolute timecents)
    blocks = int(2 ** (-200 / 1200) * RATE / 64)
    assert abs(CHOKE.levels_db(blocks + 1, RATE)[-1] + 96) < 0.2


def test_a_filter_lies_between_its_holds_and_knots() -> None:
    taps = np.array([[[1.0, 0.5], [0.0, 0.2]], [[1.0, 0.7], [0.0, 0.4]]])
    taps_between = ReleaseFilter((10, 30), (0, 4), taps)
    first, second = taps_between.at(15, 9)
    assert np.allclose(first[[0, 2, 4, 8]], [1.0, 0.775, 0.55, 0.55])
    assert np.allclose(second[[0, 2, 4, 8]], [0.0, 0.125, 0.25, 0.25])
    assert np.array_equal(taps_between.at(5, 9), taps_between.at(10, 9))
    assert np.array_equal(taps_between.at(90, 9), taps_between.at(30, 9))


def test_only_what_needs_it_is_probed_at_several_holds() -> None:
    bank = Bank(built_in_soundfont(), RATE)
    piano, nylon = StruckKey(0, 0, 60, 96), StruckKey(0, 24, 60, 96)
    bank.prepare({piano: 0, nylon: 0})
    assert bank.note(piano).filter is None
    # its filter closes as it is let go: the generators modEnvToFilterFc 4050 cents and
    # releaseModEnv 94 timecents of that instrument (SoundFont 2.04, section 8.1.2)
    taps_between = bank.note(nylon).filter
    assert taps_between is not None
    assert taps_between.at(RATE / BLOCK, 20).shape == (3, 20)
