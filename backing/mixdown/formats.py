"""Formats of audio files: the suffix says which, and how it is written."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from backing import saving
from backing.errors import MissingProgram, OutputError

FFMPEG_CURE: Final = (
    "Install it (`apt install ffmpeg`, `brew install ffmpeg`, `winget install ffmpeg`), "
    "or name a .wav, .flac, .mp3, .ogg or .opus file."
)


@dataclass(frozen=True, slots=True)
class Format:
    """How a suffix is written.

    ``container`` and ``encoding`` are libsndfile's names, or ffmpeg's where ``ffmpeg`` is set.
    ``pcm``: samples are stored as whole numbers. ``level``: the encoder's compression, 0 to 1.
    ``sample_rate``: the only one possible in Hz, or None.
    """

    container: str
    encoding: str = ""
    pcm: bool = False
    level: float | None = None
    sample_rate: int | None = None
    ffmpeg: bool = False


FORMATS: Final = {
    ".wav": Format("WAV", pcm=True),
    ".flac": Format("FLAC", pcm=True),
    # about 205 kbit/s, the encoder's V1
    ".mp3": Format("MP3", "MPEG_LAYER_III", level=0.1),
    # about 190 kbit/s
    ".ogg": Format("OGG", "VORBIS", level=0.3),
    # about 128 kbit/s; Opus knows no 44.1 kHz (RFC 6716, section 2)
    ".opus": Format("OGG", "OPUS", level=0.77, sample_rate=48000),
    ".m4a": Format("ipod", "aac", ffmpeg=True),
}


def format_of(path: Path) -> Format:
    """The format the suffix of ``path`` asks for; raises OutputError where there is none."""
    suffix = path.suffix.lower()
    if suffix not in FORMATS:
        end = f"ends in {suffix}, which isn't a format of sound" if suffix else "has no ending"
        known = f"{', '.join(list(FORMATS)[:-1])} or {list(FORMATS)[-1]}"
        raise OutputError(f"{path} {end}.", f"Use {known}, or .mid for notes.")
    return FORMATS[suffix]


def sample_rate_of(path: Path, wanted: int = 44100) -> int:
    """The sample rate (Hz) a file of this suffix can have: ``wanted`` if possible."""
    return format_of(path).sample_rate or wanted


def check_writable(path: Path) -> None:
    """See to it before a long piece of work that ``path`` can be written afterwards.

    Raises OutputError (an unknown suffix, a missing folder, no right to write) or MissingProgram.
    """
    if format_of(path).ffmpeg and shutil.which("ffmpeg") is None:
        cause = f"{path.suffix} files are written by the program ffmpeg, which is not installed."
        raise MissingProgram(cause, FFMPEG_CURE)
    saving.check_writable(path)
