"""What can be heard and read in a finished track, however it was made."""

from __future__ import annotations

import json
import subprocess
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from mutagen.mp3 import MP3

from backing.combo import instruments as gm
from backing.combo.feel import Clock
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass
from backing.mixdown.bank import Bank
from backing.mixdown.mix import render
from backing.routine import Pass, Purpose
from tests.cli.conftest import SMALL, Run, here, run
from tests.mixdown.band import RATE, built_in_soundfont

__all__ = ["here", "run"]

BEATS, TEMPO = 16, Fraction(120)
EDGE = BEATS * RATE // 2
"""Where the second step begins, in frames."""
BLOCK = RATE // 100


def two_steps(second: Fraction) -> Performance:
    """A soft chord, then a loud one as well; at another tempo a step of its own.

    The soft one is held from the first step far into the second.
    """
    soft = Part.of("comp", gm.ORGAN, [Note(Fraction(0), Fraction(3 * BEATS, 2), 60, 40)])
    loud = Part.of("guide", gm.ORGAN, [Note(Fraction(0), Fraction(BEATS), 67, 120)])
    passes = (
        PlayedPass(Pass(Purpose.SOLO, (), TEMPO), Fraction(0), (soft,)),
        PlayedPass(Pass(Purpose.SOLO, (), second), Fraction(BEATS), (loud,)),
    )
    clock = Clock([(Fraction(BEATS), each.routine_pass.tempo, Fraction(1)) for each in passes])
    return Performance("Two Steps", passes, clock, Fraction(0))


def sound_of(performance: Performance, bank: Bank) -> np.ndarray:
    return np.concatenate([window.mix for window in render(performance, bank)])


def test_the_level_of_a_climb_glides_from_step_to_step() -> None:
    """The gain is read off a twin whose notes are the same and which is all one step."""
    bank = Bank(built_in_soundfont())
    # so little faster that no note begins a sample earlier
    steps = sound_of(two_steps(TEMPO + Fraction(1, 10**7)), bank)
    twin = sound_of(two_steps(TEMPO), bank)
    count = min(len(steps), len(twin)) // BLOCK
    mine, other = (
        sound[: count * BLOCK].astype(float).reshape(count, -1) for sound in (steps, twin)
    )
    gain = (mine * other).sum(axis=1) / np.maximum((other * other).sum(axis=1), 1e-12)
    assert np.abs(mine - gain[:, None] * other)[20 : EDGE // BLOCK].max() < 0.01
    edge = EDGE // BLOCK
    before, after = np.median(gain[edge - 200 : edge - 50]), np.median(gain[edge + 50 : edge + 200])
    apart = abs(before - after)
    assert apart > 0.5 * min(before, after)  # 3.5 dB and more: there is something to glide over
    around = gain[edge - 50 : edge + 50]
    # no faster than over a twentieth of a second, all in half a second around the edge
    assert np.abs(np.diff(around)).max() < apart / 5
    assert gain[edge - 40] == pytest.approx(before, rel=0.02)
    assert gain[edge + 10] == pytest.approx(after, rel=0.02)


LOOP = ("--bars", "1-4", "--times", "1", "--climb", "150-180:15", "--soundfont", SMALL)


def decoded_seconds(path: Path) -> float:
    """The length of the sound itself, by ffprobe counting its frames (apt install ffmpeg)."""
    command = ["ffprobe", "-v", "error", "-show_entries", "stream=duration", "-of", "json"]
    done = subprocess.run([*command, str(path)], capture_output=True, check=True)
    return float(json.loads(done.stdout)["streams"][0]["duration"])


def test_chapters_follow_one_another_to_the_very_end_of_an_mp3(here: Path, run: Run) -> None:
    """ID3v2 Chapter Frame Addendum 1.0, section 3.1: start and end in milliseconds."""
    assert run("track", "four.tune", "-o", "x.mp3", *LOOP).status == 0
    frames = MP3(here / "x.mp3").tags.getall("CHAP")
    chapters = sorted((frame.start_time, frame.end_time) for frame in frames)
    assert len(chapters) == 6  # a count-in and a round at each of three tempos
    assert chapters[0][0] == 0
    for (_, end), (start, _) in pairwise(chapters):
        assert end == start
    # an MP3 has whole frames of 1,152 samples, and the coder's delay before the sound
    assert chapters[-1][1] / 1000 == pytest.approx(decoded_seconds(here / "x.mp3"), abs=0.06)


@pytest.mark.parametrize("suffix", ["m4a", "flac", "ogg"])
def test_the_last_chapter_of_other_formats_ends_with_the_sound(
    here: Path, run: Run, suffix: str
) -> None:
    assert run("track", "four.tune", "-o", f"x.{suffix}", *LOOP).status == 0
    command = ["ffprobe", "-v", "error", "-show_chapters", "-of", "json", f"x.{suffix}"]
    done = subprocess.run(command, capture_output=True, check=True)
    chapters = json.loads(done.stdout)["chapters"]
    assert len(chapters) == 6
    last = max(float(chapter["end_time"]) for chapter in chapters)
    assert last == pytest.approx(decoded_seconds(here / f"x.{suffix}"), abs=0.03)
