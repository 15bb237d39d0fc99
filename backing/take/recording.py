"""A recording of any kind as mono sound at the network's rate, piece by piece.

What libsndfile reads (WAV, FLAC, MP3, Ogg, Opus, AIFF) is read by it; what phones write besides
(.m4a, .3gp, .amr) is decoded by ffmpeg through pydub.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from math import gcd
from pathlib import Path
from typing import Any

import numpy as np

from backing.errors import MissingProgram, UserError
from backing.take.features import INSTALL, PIECE, RATE, Sound

BLOCK_SECONDS = PIECE // RATE
DECODED_SECONDS = 600
"""How much pydub decodes at once: it begins from the start of the file each time."""
LONGEST_SECONDS = 2 * 3600
CURE = "Record it again, or save it as .wav."
_PLAIN = {".wav", ".flac", ".mp3", ".ogg", ".oga", ".opus", ".aif", ".aiff", ".au", ".caf", ".w64"}


def pieces(path: Path) -> Iterator[tuple[Sound, int, int]]:
    """The recording in pieces of a minute at RATE: the sound with a second around it, and the
    samples before and after the piece's own.

    Raises UserError for what is no recording, MissingProgram without ffmpeg or the extra.
    """
    rate, blocks = _blocks(path)
    before: Sound = np.zeros(0, np.float32)
    here = next(blocks, None)
    seconds = 0
    while here is not None and len(here):
        after = next(blocks, None)
        margin = np.zeros(0, np.float32) if after is None else after[:rate]
        sound = _resampled(np.concatenate([before, here, margin]), rate)
        yield sound, len(before) * RATE // rate, len(margin) * RATE // rate
        seconds += BLOCK_SECONDS
        if seconds >= LONGEST_SECONDS and after is not None:
            raise UserError(f"{path} lasts longer than two hours.", "Cut out the take.")
        before, here = here[-rate:], after


def _resampled(sound: Sound, rate: int) -> Sound:
    if rate == RATE or not len(sound):
        return sound
    try:
        from scipy.signal import resample_poly  # noqa: PLC0415 - an extra
    except ImportError:
        raise MissingProgram("Recordings can't be heard yet.", INSTALL) from None
    shared = gcd(rate, RATE)
    return np.asarray(resample_poly(sound, RATE // shared, rate // shared), np.float32)


def _blocks(path: Path) -> tuple[int, Iterator[Sound]]:
    """The sample rate in Hz and the sound in blocks of BLOCK_SECONDS, mono."""
    if not path.exists():
        raise UserError(f"There is no file {path}.", "Name the recording of your take.")
    if path.is_dir():
        raise UserError(f"{path} is a folder.", "Name the recording of your take.")
    if path.suffix.lower() in _PLAIN:
        found = _by_libsndfile(path)
        if found is not None:
            return found
    return _by_ffmpeg(path)


def _by_libsndfile(path: Path) -> tuple[int, Iterator[Sound]] | None:
    import soundfile  # noqa: PLC0415 - loads libsndfile

    try:
        file = soundfile.SoundFile(path)
    except (soundfile.LibsndfileError, OSError):
        return None

    def blocks() -> Iterator[Sound]:
        with file:
            while True:
                try:
                    read = file.read(BLOCK_SECONDS * file.samplerate, "float32", always_2d=True)
                except soundfile.LibsndfileError:
                    return  # a truncated file ends where it ends
                if not len(read):
                    return
                yield _finite(read.mean(axis=1))

    return int(file.samplerate), blocks()


def _finite(sound: Any) -> Sound:
    return np.nan_to_num(np.asarray(sound, np.float32), posinf=0.0, neginf=0.0)


def _by_ffmpeg(path: Path) -> tuple[int, Iterator[Sound]]:
    pydub, refused = _pydub()
    first = _segment(pydub, refused, path, 0)
    if first is None or not len(first):
        raise UserError(f"{path} isn't a recording that can be read.", CURE)
    rate = int(first.frame_rate)

    def blocks() -> Iterator[Sound]:
        at, segment = 0, first
        while segment is not None and len(segment):
            samples = np.array(segment.get_array_of_samples(), np.float32)
            mono = samples.reshape(-1, segment.channels).mean(axis=1)
            mono /= float(1 << (8 * segment.sample_width - 1))
            size = BLOCK_SECONDS * rate
            for start in range(0, len(mono), size):
                yield _finite(mono[start : start + size])
            at += DECODED_SECONDS
            full = len(mono) >= DECODED_SECONDS * rate - rate
            segment = _segment(pydub, refused, path, at) if full else None

    return rate, blocks()


def _segment(pydub: Any, refused: Any, path: Path, start: int) -> Any:
    try:
        return pydub.from_file(str(path), start_second=start, duration=DECODED_SECONDS)
    except refused:
        return None
    except FileNotFoundError:
        raise MissingProgram(
            f"{path.suffix} recordings are read by the program ffmpeg, which is not installed.",
            "Install it, or save the take as .wav, .flac, .mp3 or .ogg.",
        ) from None
    except (OSError, IndexError, KeyError, ValueError, EOFError):
        return None


def _pydub() -> tuple[Any, Any]:
    try:
        with warnings.catch_warnings():  # it warns of Python's own audioop, and without ffmpeg
            warnings.simplefilter("ignore")
            from pydub import AudioSegment  # noqa: PLC0415 - an extra
            from pydub.exceptions import CouldntDecodeError  # noqa: PLC0415
    except ImportError:
        raise MissingProgram("Recordings of this kind can't be read yet.", INSTALL) from None
    return AudioSegment, CouldntDecodeError
