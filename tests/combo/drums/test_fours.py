"""Drums alone are within 3 LU of the band they trade with, and their solo grows.

Heard, not guessed: a track is made and its turns are measured (BS.1770 by pyloudnorm).
"""

from __future__ import annotations

from fractions import Fraction
from itertools import accumulate
from pathlib import Path
from statistics import median

import pyloudnorm
import pytest
import soundfile

import backing
from backing.cli import main
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.instruments import SNARE
from backing.combo.part import Note
from backing.routine.request import Request
from backing.routine.routine import make_routine

TUNE = Path(backing.__file__).parents[1] / "tunes" / "corner-booth.tune"
ALONE = frozenset({"bass", "comp"})


@pytest.mark.slow
def test_the_drummer_plays_up_in_fours(tmp_path: Path) -> None:
    form = backing.read_file(str(TUNE))
    played = arrange(make_routine(form, Request(choruses=3, trade="4")), Band())
    target = tmp_path / "fours.wav"
    words = ("track", str(TUNE), "-o", str(target), "--choruses", "3", "--trade", "4")
    assert main([*words, "--quiet", "--no-cache"]) == 0
    sound, rate = soundfile.read(target)
    meter = pyloudnorm.Meter(rate)
    bars = [bar for each in played.passes for bar in each.routine_pass.bars]
    ends = accumulate((bar.length for bar in bars), initial=Fraction(0))
    lines = [float(played.clock.seconds(beat)) for beat in ends]
    alone = [bar.directions.lay_out >= ALONE for bar in bars]
    turns: dict[bool, list[float]] = {True: [], False: []}
    start = 0
    for at in range(1, len(bars) + 1):
        if at == len(bars) or alone[at] != alone[start] or at - start == 4:
            if at - start == 4:
                first, last = (int(lines[n] * rate) for n in (start, at))
                turns[alone[start]].append(meter.integrated_loudness(sound[first:last]))
            start = at
    assert len(turns[True]) >= 4
    assert median(turns[False]) - median(turns[True]) <= 3


def test_a_solo_grows() -> None:
    form = backing.read_file(str(TUNE))
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
