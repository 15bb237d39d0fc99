"""MP3 in pieces: the same bytes as in one, the right length, and nothing to hear at a joint."""

from __future__ import annotations

import io
import subprocess
from pathlib import Path

import mutagen
import numpy as np
import pytest
import soundfile

from backing.mixdown import audio_file, mp3
from backing.mixdown.audio_file import AudioFile
from backing.mixdown.marks import Mark
from backing.mixdown.tags import Tags

RATE = 44100

pytestmark = pytest.mark.skipif(mp3.lame() is None, reason="LAME is not installed")


def strokes(seconds: float, seed: int = 1) -> np.ndarray:
    """Noise and tones that begin and die away, so that the encoder has to change its windows."""
    rng = np.random.default_rng(seed)
    time = np.arange(round(seconds * RATE))[:, None] / RATE
    tones = np.sin(2 * np.pi * time * rng.uniform(100, 2000, (1, 2)))
    noise = rng.standard_normal((len(time), 2))
    return (0.3 * (tones + 0.3 * noise) * np.exp(-8 * (time % 0.37))).astype(np.float32)


def encoded(sound: np.ndarray, threads: int = 2, block: int = 225_152) -> bytes:
    file = io.BytesIO()
    writer = mp3.Mp3Writer(file, RATE, 2, threads)
    for at in range(0, len(sound), block):
        writer.write(sound[at : at + block])
    writer.close()
    return file.getvalue()


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mp3, "PIECE", 100)


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("block", [1000, 99_999, 10**7])
def test_pieces_are_the_bytes_of_the_whole(monkeypatch: pytest.MonkeyPatch, block: int) -> None:
    sound = strokes(14)
    in_pieces = encoded(sound, 3, block)
    monkeypatch.setattr(mp3, "PIECE", 10**6)
    assert in_pieces == encoded(sound, 1)


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("frames", [1, 576, 1152, 100 * 1152 + 1, 250_000, 400_001])
def test_it_is_decoded_to_its_exact_length(tmp_path: Path, frames: int) -> None:
    path = tmp_path / "x.mp3"
    path.write_bytes(encoded(strokes(10)[:frames]))
    assert len(soundfile.read(path)[0]) == frames  # by mpg123
    # another decoder (apt install ffmpeg)
    subprocess.run(["ffmpeg", "-v", "error", "-i", path, tmp_path / "x.wav"], check=True)
    assert len(soundfile.read(tmp_path / "x.wav")[0]) == frames


@pytest.mark.usefixtures("small")
def test_nothing_is_heard_at_a_joint(tmp_path: Path) -> None:
    sound = strokes(20)
    path = tmp_path / "x.mp3"
    path.write_bytes(encoded(sound))
    wrong = soundfile.read(path, dtype="float32")[0] - sound
    blocks = np.square(wrong[: len(wrong) // 1152 * 1152]).reshape(-1, 2304).mean(axis=1)
    joints = np.arange(100, len(blocks) - 2, 100)
    near = max(blocks[joint - 2 : joint + 3].mean() for joint in joints)
    assert near <= np.quantile(blocks, 0.99)


def test_a_long_file_has_its_length_and_chapters(tmp_path: Path) -> None:
    marks = tuple(Mark(float(at), f"{at} s") for at in range(0, 40, 10))
    path = tmp_path / "x.mp3"
    with AudioFile(path, RATE, tags=Tags("Long", marks=marks)) as file:
        for _ in range(4):
            file.write(strokes(10))
    read = mutagen.File(path)
    # the last frame is a whole one
    assert read.info.length == pytest.approx(40, abs=2 * 1152 / RATE)
    chapters = read.tags.getall("CHAP")
    assert [chapter.start_time for chapter in chapters] == [0, 10_000, 20_000, 30_000]
    assert chapters[-1].end_time == pytest.approx(40_000, abs=60)
    assert len(soundfile.read(path)[0]) == 40 * RATE


def test_without_lame_libsndfile_encodes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(audio_file, "lame", lambda: None)
    path = tmp_path / "x.mp3"
    with AudioFile(path, RATE) as file:
        file.write(strokes(3))
    assert len(soundfile.read(path)[0]) == 3 * RATE


def test_whoever_stops_leaves_nothing(tmp_path: Path) -> None:
    def stopped() -> None:
        with AudioFile(tmp_path / "x.mp3", RATE) as file:
            file.write(strokes(60))
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert not list(tmp_path.iterdir())
