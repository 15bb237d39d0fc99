"""Audio files: every format, whole or not at all, and the same bytes every time."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from pathlib import Path

import mutagen
import numpy as np
import pytest
import soundfile

from backing.errors import InternalError, MissingProgram, OutputError
from backing.mixdown import audio_file
from backing.mixdown.audio_file import AudioFile, whole_numbers
from backing.mixdown.formats import FORMATS, check_writable, sample_rate_of
from backing.mixdown.tags import ITUNES_KEY, Tags

TAGS = Tags(
    "Low Tide Ferry", "Ann Lee", "Bb minor", 131.6, "three choruses, seed 1", "bars 5-8, fours"
)


def sound(seconds: float = 1.0, rate: int = 44100) -> np.ndarray:
    time = np.arange(round(seconds * rate))[:, None] / rate
    return (0.5 * np.sin(2 * np.pi * time * np.array([220.0, 331.0]))).astype(np.float32)


def written(path: Path, data: np.ndarray | None = None, **more) -> Path:
    data = sound() if data is None else data
    with AudioFile(path, sample_rate_of(path), **more) as file:
        for start in range(0, len(data), 10000):
            file.write(data[start : start + 10000])
    return path


@pytest.mark.parametrize("suffix", FORMATS)
def test_every_format_is_read_back(tmp_path, suffix):
    path = written(tmp_path / f"take{suffix}", sound(1, sample_rate_of(Path(f"x{suffix}"))))
    if suffix == ".m4a":
        # libsndfile cannot read it; ffmpeg (apt install ffmpeg) turns it back
        back = tmp_path / "back.wav"
        subprocess.run(["ffmpeg", "-v", "error", "-i", path, back], check=True)
        path = back
    data, rate = soundfile.read(path, dtype="float32")
    original = sound(1, rate)
    # AAC fills its last frame (1,024 samples)
    assert 0 <= len(data) - len(original) <= (1024 if suffix == ".m4a" else 0)
    error = data[2000:-4000] - original[2000 : len(data) - 4000]
    if FORMATS[suffix].pcm:
        assert np.abs(error).max() <= 2**-16
    # a shift by one sample would be an error of 0.012
    assert np.sqrt(np.square(error).mean()) <= 0.01


@pytest.mark.parametrize("suffix", FORMATS)
def test_the_same_sound_gives_the_same_bytes(tmp_path, suffix, monkeypatch):
    one = written(tmp_path / f"one{suffix}", tags=TAGS).read_bytes()
    # libsndfile draws serial numbers by the clock, in seconds and below
    two = written(tmp_path / f"two{suffix}", tags=TAGS).read_bytes()
    assert one == two


@pytest.mark.parametrize(
    ("suffix", "names"),
    [
        (".wav", ("TPE1", "TCOM", "TIT2", "TKEY", "TBPM", "COMM::eng", "TIT3")),
        (".mp3", ("TPE1", "TCOM", "TIT2", "TKEY", "TBPM", "COMM::eng", "TIT3")),
        (".flac", ("ARTIST", "COMPOSER", "TITLE", "KEY", "BPM", "COMMENT", "DESCRIPTION")),
        (".ogg", ("ARTIST", "COMPOSER", "TITLE", "KEY", "BPM", "COMMENT", "DESCRIPTION")),
        (".opus", ("ARTIST", "COMPOSER", "TITLE", "KEY", "BPM", "COMMENT", "DESCRIPTION")),
        (".m4a", ("\xa9ART", "\xa9wrt", "\xa9nam", ITUNES_KEY, "tmpo", "\xa9cmt", "desc")),
    ],
)
def test_players_see_title_key_and_tempo(tmp_path, suffix, names):
    tags = mutagen.File(written(tmp_path / f"take{suffix}", tags=TAGS)).tags
    artist, by, title, key, tempo, comment, drill = (tags[name][0] for name in names)
    assert (artist, by) == ("backing", TAGS.composer)
    assert (title, comment, drill) == (TAGS.title, TAGS.comment, TAGS.drill)
    assert str(tempo) == "132"
    # ID3 gives a key three characters at most (ID3v2.4, section 4.2.3)
    assert key in {"Bbm", "Bb minor", b"Bb minor"}


def test_a_wav_also_says_it_in_its_info_list(tmp_path):
    with soundfile.SoundFile(written(tmp_path / "take.wav", tags=TAGS)) as file:
        assert (file.title, file.comment) == (TAGS.title, TAGS.comment)


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_24_bits(tmp_path, suffix):
    path = written(tmp_path / f"take{suffix}", bits=24)
    assert soundfile.info(path).subtype == "PCM_24"
    data, _ = soundfile.read(path, dtype="float32")
    assert np.abs(data - sound()).max() <= 2**-24


def test_whole_numbers_round_to_the_nearest_and_clip():
    block = np.array([[0.0, 1.0], [-1.0, -2.0], [0.4 / 32768, 0.6 / 32768]], np.float32)
    assert whole_numbers(block, 16).tolist() == [[0, 32767], [-32768, -32768], [0, 1]]
    assert (whole_numbers(block, 24) >> 8).tolist()[0] == [0, 2**23 - 1]


# --- what cannot be written --------------------------------------------------------------------


@pytest.mark.parametrize("name", ["take.aiff", "take", "take.mid.xyz"])
def test_an_unknown_suffix_names_the_known_ones(tmp_path, name):
    with pytest.raises(OutputError) as caught:
        check_writable(tmp_path / name)
    assert all(suffix in caught.value.cure for suffix in FORMATS)


def test_places_that_are_none(tmp_path):
    (tmp_path / "file").write_text("x")
    (tmp_path / "folder.wav").mkdir()
    for path, cause in [
        (tmp_path / "nowhere" / "take.wav", "no folder|does not exist"),
        (tmp_path / "file" / "take.wav", "is a file"),
        (tmp_path / "folder.wav", "is a folder"),
    ]:
        with pytest.raises(OutputError, match=cause) as caught:
            check_writable(path)
        assert caught.value.cure


@pytest.mark.parametrize(
    ("number", "cause"),
    [
        (errno.ENOSPC, "no space left"),
        (errno.EACCES, "may not write to"),
        (errno.EROFS, "may not write to"),
        (errno.EFBIG, "larger than this system allows"),
        (errno.EIO, "cannot be written"),
    ],
)
def test_the_system_refuses(tmp_path, monkeypatch, number, cause):
    """The tests may run as root, whom no folder refuses: the refusal is put in its mouth."""

    def refuse(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(Path, "touch", refuse)
    with pytest.raises(OutputError, match=cause):
        check_writable(tmp_path / "take.wav")
    assert not list(tmp_path.iterdir())


def test_the_kernel_itself_is_a_place_that_refuses():
    with pytest.raises(OutputError) as caught:
        check_writable(Path("/proc/take.wav"))
    assert caught.value.cure


def test_m4a_without_ffmpeg(tmp_path, monkeypatch):
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with pytest.raises(MissingProgram, match="ffmpeg") as caught:
        check_writable(tmp_path / "take.m4a")
    assert "apt install ffmpeg" in caught.value.cure


def test_opus_has_one_sample_rate(tmp_path):
    assert sample_rate_of(tmp_path / "take.opus") == 48000
    with pytest.raises(InternalError):
        AudioFile(tmp_path / "take.opus", 44100)


# --- whole or not at all -----------------------------------------------------------------------


@pytest.mark.parametrize("suffix", FORMATS)
@pytest.mark.parametrize("interruption", [KeyboardInterrupt, ValueError])
def test_an_interruption_leaves_what_was_there(tmp_path, suffix, interruption):
    path = tmp_path / f"take{suffix}"
    path.write_text("good")

    def work() -> None:
        with AudioFile(path, sample_rate_of(path)) as file:
            file.write(sound())
            raise interruption

    with pytest.raises(interruption):
        work()
    assert [p.name for p in tmp_path.iterdir()] == [path.name]
    assert path.read_text() == "good"


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg"])
def test_a_disk_that_fills_up(tmp_path, monkeypatch, suffix):
    path = tmp_path / f"take{suffix}"
    path.write_text("good")
    noise = np.random.default_rng(0).uniform(-0.5, 0.5, (200_000, 2)).astype(np.float32)

    class Full:
        """A file on a disk with room for 50 kB."""

        def __init__(self, inner) -> None:
            self.inner, self.left = inner, 50_000
            self.seek, self.tell, self.close = inner.seek, inner.tell, inner.close

        def write(self, data) -> int:
            if self.left <= 0:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            count = self.inner.write(data[: self.left])
            self.left -= count
            return count

    usual = Path.open
    monkeypatch.setattr(
        Path,
        "open",
        lambda self, mode="r", **more: (
            Full(usual(self, mode, **more)) if mode == "xb" else usual(self, mode, **more)
        ),
    )
    with pytest.raises(OutputError, match="no space left"):
        written(path, noise)
    assert [p.name for p in tmp_path.iterdir()] == [path.name]
    assert path.read_text() == "good"


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".mp3", ".ogg"])
def test_a_real_limit_of_the_system(tmp_path, suffix):
    """setrlimit(2) makes the kernel refuse what goes beyond 64 kB."""
    program = f"""
import resource, sys, pathlib, numpy as np
from backing.errors import OutputError
from backing.mixdown.audio_file import AudioFile
resource.setrlimit(resource.RLIMIT_FSIZE, (65536, 65536))
noise = np.random.default_rng(0).uniform(-.5, .5, (400_000, 2)).astype("f4")
try:
    with AudioFile(pathlib.Path({str(tmp_path / "take")!r} + {suffix!r}), 44100) as file:
        file.write(noise)
except OutputError as error:
    sys.exit(str(error))
"""
    run = subprocess.run(
        [sys.executable, "-c", program], check=False, capture_output=True, text=True
    )
    assert run.returncode == 1
    assert "larger than this system allows" in run.stderr
    assert "Traceback" not in run.stderr
    assert not list(tmp_path.iterdir())


def test_a_link_stays_a_link(tmp_path):
    real, link = tmp_path / "real.wav", tmp_path / "link.wav"
    real.write_text("old")
    link.symlink_to(real)
    written(link)
    assert link.is_symlink()
    assert soundfile.info(real).frames == 44100


def test_the_file_has_the_rights_of_any_new_file(tmp_path):
    (tmp_path / "plain").touch()
    path = written(tmp_path / "take.wav")
    assert path.stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_a_long_vorbis_does_not_crash(tmp_path):
    # a single huge write of Vorbis overflows the stack of libsndfile 1.2
    path = tmp_path / "take.ogg"
    with AudioFile(path, 44100) as file:
        file.write(sound(20.0))
    assert soundfile.info(path).frames == 20 * 44100
    assert audio_file.PIECE == 4096
