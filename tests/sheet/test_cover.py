"""Cover art: what it costs in bytes, that it stays the same, and that players find it."""

from __future__ import annotations

import struct
import subprocess
from pathlib import Path

import pytest

from backing.chart.text.tune_file import read, read_file
from backing.mixdown.tags import Tags, write_tags
from backing.sheet.cover import PIXELS, cover

FORM = read_file(Path(__file__).parents[2] / "tunes" / "corner-booth.tune")
FACTS = ("B♭ major · 80-160 bpm", "B, 8 times, rest bar 1, trading 4 with drums")


def test_a_cover_is_a_small_square_png() -> None:
    png = cover(FORM, FORM.title, FACTS)
    assert png.startswith(b"\x89PNG\r\n\x1a\n")  # W3C, PNG specification, section 5.2
    assert struct.unpack(">II", png[16:24]) == (PIXELS, PIXELS)
    assert len(png) <= 60_000


def test_the_same_cover_is_the_same_bytes_and_another_tune_has_another() -> None:
    other = read("title: Corner Booth\nkey: F\nsection A\n| F7 | Bb7 | F7 | % |")
    assert cover(FORM, "Corner Booth", FACTS) == cover(FORM, "Corner Booth", FACTS)
    assert cover(FORM, "Corner Booth", FACTS) != cover(other, "Corner Booth", FACTS)


@pytest.mark.parametrize("title", ["x" * 300, "Долгая песня " * 9, "", "\\ # $ _ * @ <b>"])
def test_any_title_makes_a_cover(title: str) -> None:
    assert len(cover(FORM, title, ())) <= 60_000


def test_a_tune_without_chords_has_a_cover() -> None:
    assert cover(read("key: C\nsection A\n| N.C. | N.C. |"), "Drums alone", FACTS)


def silence(path: Path) -> Path:
    """A short audio file in the format of its suffix, by ffmpeg (apt install ffmpeg)."""
    codec = {".opus": ["-c:a", "libopus"], ".ogg": ["-c:a", "libvorbis"]}.get(path.suffix, [])
    source = ["-f", "lavfi", "-i", "anullsrc=r=48000:cl=stereo", "-t", "0.2"]
    subprocess.run(["ffmpeg", "-v", "error", *source, *codec, path], check=True)
    return path


@pytest.mark.parametrize("suffix", [".mp3", ".flac", ".m4a", ".ogg", ".opus"])
def test_ffmpeg_finds_the_cover_in_a_track(tmp_path: Path, suffix: str) -> None:
    png = cover(FORM, FORM.title, FACTS)
    path = silence(tmp_path / f"track{suffix}")
    write_tags(path, Tags(FORM.title, cover=lambda: png))
    picture = ["-map", "0:v", "-c", "copy", "-f", "image2pipe", "-"]
    command = ["ffmpeg", "-v", "error", "-i", path, *picture]
    assert subprocess.run(command, capture_output=True, check=True).stdout == png


def test_a_wav_track_waits_for_no_cover(tmp_path: Path) -> None:
    def never() -> bytes:
        raise AssertionError("a cover was made")

    write_tags(silence(tmp_path / "track.wav"), Tags(FORM.title, cover=never))
