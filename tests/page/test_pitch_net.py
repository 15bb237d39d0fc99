"""The pitch network of the page beside the one of the tracks' program, frame by frame."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from backing.take.features import RATE, network
from tests.mixdown.band import built_in_soundfont
from tests.page.test_scripts import run
from tests.take.playing import mixed, performed, solo_of

NEAR = 1e-3
"""Of confidence, and of half steps."""
SCRIPT = """
import { readFileSync } from "node:fs";
import { PitchStream, pitchNetwork } from "./backing/page/web/pitch_net.js";
const bytes = readFileSync(process.argv[1]);
const samples = new Float32Array(bytes.buffer, bytes.byteOffset, bytes.length / 4);
const stream = new PitchStream(pitchNetwork());
const found = { pitch: [], confidence: [] };
const add = ({ pitch, confidence }) => {
  found.pitch.push(...pitch);
  found.confidence.push(...confidence);
};
for (let at = 0; at < samples.length; at += 700) add(stream.add(samples.subarray(at, at + 700)));
add(stream.add(samples.subarray(0, 0), true));
console.log(JSON.stringify(found));
"""


def by_the_page(sound: np.ndarray, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Pitch in Hz and confidence, frame by frame."""
    path = folder / "sound.f32"
    path.write_bytes(sound.astype("<f4").tobytes())
    found = json.loads(run("--input-type=module", "--eval", SCRIPT, str(path)))
    return np.array(found["pitch"]), np.array(found["confidence"])


def sounds() -> dict[str, np.ndarray]:
    from scipy.signal import resample_poly

    played = performed("corner-booth", 280, "etude level 4", "1-4")
    line, _ = solo_of(played, "tenor", built_in_soundfont().path)
    noise = np.random.default_rng(5).standard_normal(len(line)).astype(np.float32)
    t = np.arange(2 * RATE) / RATE
    hiss = 1e-4 * noise[: len(t)]  # in bins of nothing at all, rounding would be compared
    return {
        "line": resample_poly(line, 160, 441),
        "line in noise": resample_poly(mixed(line, noise, -6), 160, 441),
        "sweep": 0.2 * np.sin(2 * np.pi * 60 * np.cumsum(32 ** (t / 2)) / RATE) + hiss,
        "silence": np.zeros(RATE),
        "shorter than a frame": 0.1 * np.sin(2 * np.pi * 440 * np.arange(100) / RATE),
    }


@pytest.mark.parametrize(
    "name", ["line", "line in noise", "sweep", "silence", "shorter than a frame"]
)
def test_the_page_hears_what_the_program_hears(name: str, tmp_path: Path) -> None:
    sound = np.asarray(sounds()[name], np.float32)
    wanted = network().detect(sound, RATE)
    pitch, confidence = by_the_page(sound, tmp_path)
    assert confidence == pytest.approx(wanted.confidence, abs=NEAR)
    voiced = wanted.confidence > 0.1
    apart = 12 * np.log2(pitch[voiced] / wanted.pitch_hz[voiced])
    assert np.abs(apart).max(initial=0) < NEAR
    assert voiced.any() == (name in ("line", "line in noise", "sweep"))
