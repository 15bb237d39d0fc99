"""Drums alone are within 3 LU of the band they trade with, and their solo grows.

Heard, not guessed: a track is made and its turns are measured (BS.1770 by pyloudnorm).
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pretty_midi
import pyloudnorm
import pytest
import soundfile

import backing
from backing.cli import main
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.instruments import SNARE
from backing.combo.part import Note
from backing.routine.passes import Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine

TUNES = sorted((Path(backing.__file__).parents[1] / "tunes").glob("*.tune"))
SOUNDFONT = Path(pretty_midi.__file__).parent / "TimGM6mb.sf2"
ALONE = frozenset({"bass", "comp"})


@pytest.mark.slow
@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_the_drummer_plays_up_in_fours(tune: Path, tmp_path: Path) -> None:
    form = backing.read_file(str(tune))
    played = arrange(make_routine(form, Request(choruses=3, trade="4")), Band())
    target = tmp_path / "fours.wav"
    words = ("track", str(tune), "-o", str(target), "--choruses", "3", "--trade", "4")
    assert main([*words, "--soundfont", str(SOUNDFONT), "--quiet", "--no-cache"]) == 0
    sound, rate = soundfile.read(target)
    meter = pyloudnorm.Meter(rate)
    band, turns, beat = [], [], Fraction(0)
    for each in played.passes:
        for bar in each.routine_pass.bars:
            first, last = (int(played.clock.seconds(b) * rate) for b in (beat, beat + bar.length))
            beat += bar.length
            if each.routine_pass.purpose is not Purpose.SOLO:
                continue
            if not bar.directions.lay_out >= ALONE:
                band.append(sound[first:last])
            elif turns and turns[-1][1] == first:
                turns[-1][1] = last
            else:
                turns.append([first, last])
    level = meter.integrated_loudness(np.concatenate(band))
    assert turns
    for first, last in turns:
        assert meter.integrated_loudness(sound[first:last]) == pytest.approx(level, abs=3)


def test_a_solo_grows() -> None:
    form = backing.read_file(str(TUNES[0]))
    first, last = 0.0, 0.0
    for seed in range(12):
        played = arrange(make_routine(form, Request(choruses=3, trade="4")), Band(seed=seed))
        for each in played.passes:
            drums = [n for part in each.parts if part.name == "drums" for n in part.notes]
            beats = 0
            for bar in each.routine_pass.bars:
                if bar.directions.lay_out >= ALONE:
                    told = [n for n in drums if beats <= n.onset < beats + bar.length]
                    place = (bar.section_bar - 1) % 4
                    first += _loud(told) if place == 0 else 0
                    last += _loud(told) if place == 3 else 0
                beats += int(bar.length)
    assert last > 1.03 * first > 0


def _loud(notes: list[Note]) -> float:
    """The mean velocity of the snare in a bar."""
    snare = [n.velocity for n in notes if n.pitch == SNARE and n.role == "fill"]
    return sum(snare) / len(snare) if snare else 0.0
