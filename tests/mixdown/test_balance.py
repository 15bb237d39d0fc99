"""The balance: whatever the SoundFont, the same mix."""

from __future__ import annotations

import numpy as np
import pytest

from backing.combo import instruments as gm
from backing.mixdown.balance import (
    BASS_LUFS,
    PIECES,
    Balance,
    BalancedBank,
    pan_gains,
    place_of,
)
from backing.mixdown.bank import Bank, Tone
from backing.mixdown.loudness import integrated_loudness
from backing.mixdown.timeline import Timeline
from tests.mixdown import trio
from tests.mixdown.band import built_in_soundfont


@pytest.fixture(scope="module")
def bank() -> Bank:
    return Bank(built_in_soundfont())


@pytest.fixture(scope="module")
def balance(bank) -> Balance:
    return Balance(bank)


def tone(bank: Bank, instrument: gm.Instrument, key: int, velocity: int = 72) -> Tone:
    voice = bank.soundfont.voice(instrument)
    return Tone(voice.bank, voice.program, key, velocity)


CASES = [
    ("bass", gm.ACOUSTIC_BASS, 36),
    ("comping", gm.PIANO, 60),
    ("comping", gm.JAZZ_GUITAR, 60),
    ("guide", gm.VIBES, 64),
    ("drums", gm.JAZZ_KIT, gm.RIDE),
    ("drums", gm.JAZZ_KIT, gm.KICK),
    ("drums", gm.JAZZ_KIT, gm.PEDAL_HAT),
    ("drums", gm.BRUSH_KIT, gm.BRUSH_SWIRL),
    ("click", gm.STANDARD_KIT, gm.HIGH_WOOD_BLOCK),
]


@pytest.mark.parametrize(("part", "instrument", "key"), CASES)
def test_every_player_comes_to_its_place(bank, balance, part, instrument, key):
    this = tone(bank, instrument, key)
    _, place = place_of(part, this)
    own = BalancedBank(bank, balance, part)
    # measured again, now through the gains
    level = Balance(own).passage_lufs(this, place)
    assert level == pytest.approx(BASS_LUFS + place.level_lu, abs=0.05)


def test_the_order_of_the_mix(bank):
    """Common practice, no source: who must be louder than whom."""

    def level(part: str, instrument: gm.Instrument, key: int) -> float:
        return place_of(part, tone(bank, instrument, key))[1].level_lu

    bass = level("bass", gm.ACOUSTIC_BASS, 36)
    comping = level("comping", gm.PIANO, 60)
    guide = level("guide", gm.VIBES, 64)
    ride = level("drums", gm.JAZZ_KIT, gm.RIDE)
    kick = level("drums", gm.JAZZ_KIT, gm.KICK)
    foot = level("drums", gm.JAZZ_KIT, gm.PEDAL_HAT)
    assert bass > comping
    assert guide > comping
    assert bass - 8 < ride < bass
    assert kick < foot < ride


def test_real_music_comes_near_the_passages(bank, balance):
    """A walking bass and a comping piano, as played, stand within 2 LU of their places."""
    performance = trio.performance((140,), bars=16)

    def level(part: str) -> float:
        line = Timeline(performance, part, BalancedBank(bank, balance, part))
        return integrated_loudness(line.render(0, line.length), 44100)

    assert level("bass") == pytest.approx(BASS_LUFS, abs=2)
    assert level("comping") == pytest.approx(BASS_LUFS - 4, abs=2)


def test_all_pieces_of_the_kit_have_a_place(bank):
    keys = [gm.KICK, gm.SIDE_STICK, gm.SNARE, gm.BRUSH_SLAP, gm.BRUSH_SWIRL, gm.CLOSED_HAT,
            gm.PEDAL_HAT, gm.OPEN_HAT, gm.LOW_TOM, gm.MID_TOM, gm.HIGH_TOM, gm.CRASH, gm.RIDE,
            gm.RIDE_BELL]  # fmt: skip
    assert {place_of("drums", tone(bank, gm.JAZZ_KIT, key))[0] for key in keys} == set(PIECES)
    assert place_of("drums", tone(bank, gm.JAZZ_KIT, gm.SHAKER))[0] == "percussion 82"


def test_what_is_asked_for_beforehand_is_all_that_is_needed(bank):
    fresh = Bank(bank.soundfont)
    balance = Balance(fresh)
    ride = tone(fresh, gm.JAZZ_KIT, gm.RIDE)
    fresh.prepare(dict(balance.needs("drums", [ride])))
    held = fresh.bytes_held
    balance.gain_db("drums", ride)
    assert fresh.bytes_held == held


def test_panning_keeps_the_power():
    for part in ("bass", "comping", "guide", "drums"):
        left, right = pan_gains(part)
        assert left**2 + right**2 == pytest.approx(2)
    assert pan_gains("bass") == (1.0, 1.0)
    assert pan_gains("comping")[0] > pan_gains("comping")[1]
    assert np.allclose(pan_gains("comping"), pan_gains("guide")[::-1])
