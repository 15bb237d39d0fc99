"""Faults planted in recorded takes, as the page's scripts find them: the same ones that the tracks'
program finds (tests/take/test_faults.py), in the same words, and nothing else."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from backing.chart.text.tune_file import read_file
from backing.page import PageMaker
from tests.page.conftest import ROOT
from tests.page.test_data import data_of
from tests.page.test_scripts import run
from tests.take.playing import RATE, line_of, performed, solo_sound
from tests.take.test_faults import (
    FONT,
    PLAYED,
    Fault,
    broken,
    from_bar_3,
    one_outside,
    perfect,
    rush,
    swapped,
)

ROUTINE = {"bars": list(range(16)), "tempo": 140}
GUITAR, SAX = 26, 66


@pytest.fixture(scope="module")
def data_file(maker: PageMaker, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("take") / "data.json"
    form = read_file(ROOT / "tunes" / "corner-booth.tune")
    path.write_text(json.dumps(data_of(maker.page(form))), "utf-8")
    return path


def judged(data: Path, sound: np.ndarray, folder: Path, *bar: str) -> dict[str, Any]:
    """What the page says of a recording, whose first note may be said to be in a ``bar``."""
    samples = folder / "sound.f32"
    samples.write_bytes(sound.astype("<f4").tobytes())
    found: dict[str, Any] = json.loads(
        run("tests/page/judge.js", str(data), json.dumps(ROUTINE), str(samples), str(RATE), *bar)
    )
    return found


def recorded(fault: Fault, program: int = GUITAR, semitones: int = 0) -> np.ndarray:
    """A human take (within 6 ms) with a fault, from a moment before its first note."""
    dice = random.Random(5)
    even = [
        replace(n, onset=n.onset + dice.gauss(0, 0.006), pitch=n.pitch + semitones)
        for n in line_of(performed(*PLAYED))
    ]
    notes = fault(even)
    moved = [n.moved(0.7 - notes[0].onset) for n in notes]
    return solo_sound(moved, program, moved[-1].end + 1.2, FONT)


@pytest.mark.parametrize(
    ("fault", "program", "faults"),
    [
        (perfect, GUITAR, {}),
        (one_outside, GUITAR, {"notes": ["9"]}),
        (rush, GUITAR, {"time": ["9"]}),
        (broken, GUITAR, {"run": ["6"]}),
        (swapped, GUITAR, {"place": ["5", "6"]}),
        (from_bar_3, GUITAR, {}),
        (perfect, SAX, {}),
        (one_outside, SAX, {"notes": ["9"]}),
    ],
)
def test_a_fault_is_found_and_nothing_else(
    fault: Fault, program: int, faults: dict[str, list[str]], data_file: Path, tmp_path: Path
) -> None:
    found = judged(data_file, recorded(fault, program), tmp_path)
    assert found["topics"] == list(faults), found
    assert found["bars"] == list(faults.values())
    assert found["first"] == ("3" if fault is from_bar_3 else "1")
    if fault is one_outside:
        assert found["sentences"][0].startswith("One note left the chord and led nowhere: ")
        assert found["sentences"][0].endswith("over Fmaj7; the nearest chord tone is F.")
        assert found["loop"] == ["8", "9"]


def test_where_it_begins_can_be_said(data_file: Path, tmp_path: Path) -> None:
    notes = line_of(performed(*PLAYED))[:12]
    few = solo_sound([n.moved(0.5 - notes[0].onset) for n in notes], GUITAR, 5, FONT)
    assert "Not sure where in the form" in judged(data_file, few, tmp_path)["refused"]
    assert judged(data_file, few, tmp_path, "1")["first"] == "1"
    assert "no bar 17" in judged(data_file, few, tmp_path, "17")["refused"]


def test_what_cannot_be_judged_is_said(data_file: Path, tmp_path: Path) -> None:
    dice = np.random.default_rng(2)
    noise = 0.1 * dice.standard_normal(20 * RATE)
    few = solo_sound([n.moved(-3) for n in line_of(performed(*PLAYED))[:3]], GUITAR, 3, FONT)
    elsewhere = recorded(perfect, semitones=3)
    for sound, words in (
        (np.zeros(5 * RATE), "There is nothing to hear: the loudest moment is at -140 dB."),
        (noise, "this sounds like noise, drums or chords, not a line."),
        (few, "notes were heard: play on, or come nearer to the microphone."),
        (elsewhere, "3 half steps down: choose your key."),
    ):
        assert words in judged(data_file, sound, tmp_path).get("refused", ""), words
