"""The synth: quiet, in floating point, and the same bits whatever was played before."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from backing.errors import InternalError, MissingProgram, SoundFontError
from backing.mixdown import synth as synth_module
from backing.mixdown.loops import BLOCK
from backing.mixdown.synth import KeyEvent, Synth
from tests.mixdown.band import built_in_soundfont


@pytest.fixture
def synth() -> Iterator[Synth]:
    with Synth(built_in_soundfont()) as made:
        yield made


def test_a_note_is_the_same_bits_whatever_was_before(synth: Synth) -> None:
    piano, kit = synth.channel(0, 0), synth.channel(128, 32)
    first = synth.play(piano, [KeyEvent(0, 60, 96)], 20 * BLOCK)
    synth.play(kit, [KeyEvent(0, 51, 120)], 50 * BLOCK)
    synth.play(piano, [KeyEvent(0, 61, 40), KeyEvent(BLOCK, 64, 40)], 7 * BLOCK)
    assert np.array_equal(first, synth.play(piano, [KeyEvent(0, 60, 96)], 20 * BLOCK))
    assert first.dtype == np.float32
    assert first.shape == (20 * BLOCK, 2)
    assert np.abs(first).max() > 0.001


def test_a_longer_rendering_begins_with_the_shorter(synth: Synth) -> None:
    piano = synth.channel(0, 0)
    short = synth.play(piano, [KeyEvent(0, 60, 96)], 10 * BLOCK)
    long = synth.play(piano, [KeyEvent(0, 60, 96)], 100 * BLOCK)
    assert np.array_equal(short, long[: len(short)])


def test_a_key_let_go_falls_silent(synth: Synth) -> None:
    organ = synth.channel(0, 16)
    strokes = [KeyEvent(0, 60, 96), KeyEvent(100 * BLOCK, 60, 0)]
    sound = np.abs(synth.play(organ, strokes, 800 * BLOCK))
    assert sound[50 * BLOCK : 100 * BLOCK].max() > 1000 * sound[-50 * BLOCK :].max()


def test_a_preset_that_is_not_there_is_our_mistake(synth: Synth) -> None:
    with pytest.raises(InternalError):
        synth.channel(77, 3)


def test_a_soundfont_fluidsynth_refuses_is_an_error(tmp_path: Path) -> None:
    broken = tmp_path / "broken.sf2"
    broken.write_bytes(built_in_soundfont().path.read_bytes()[:4000])
    with pytest.raises(SoundFontError, match="cannot load"):
        Synth(replace(built_in_soundfont(), path=broken))


@pytest.mark.parametrize("error", [ImportError, OSError])
def test_missing_fluidsynth_is_said_with_its_install_lines(
    monkeypatch: pytest.MonkeyPatch, error: type[Exception]
) -> None:
    class Absent:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "fluidsynth":
                raise error("Couldn't find the FluidSynth library.")

    monkeypatch.delitem(sys.modules, "fluidsynth", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Absent(), *sys.meta_path])
    with pytest.raises(MissingProgram) as caught:
        synth_module.load_library()
    for system in ("Debian", "Fedora", "macOS", "Windows"):
        assert system in caught.value.cure


def test_stdout_stays_clean_under_ci() -> None:
    code = "from backing.mixdown.synth import load_library; load_library()"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={"CI": "true", "PYTHONPATH": ":".join(sys.path)},
        capture_output=True,
        check=True,
    )
    assert done.stdout == b""
