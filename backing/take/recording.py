"""A recording of any kind as mono sound at the network's rate, piece by piece.

What libsndfile reads (WAV, FLAC, MP3, Ogg, Opus, AIFF) is read by it; what phones write besides
(.m4a, .3gp, .amr) is decoded by ffmpeg through pydub.
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from itertools import takewhile
from math import gcd
from pathlib import Path
from typing import Any

import numpy as np

from backing.errors import MissingProgram, UserError
from backing.reading import CHANNELS, RECORDING_RATES
from backing.take.features import INSTALL, PIECE, RATE, Sound

BLOCK_SECONDS = PIECE // RATE
DECODED_SECONDS = 600
"""How much pydub decodes at once: it begins from the start of the file each time."""
LOUDEST = 100.0
"""Times full scale."""
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
    from backing.libsndfile import soundfile  # noqa: PLC0415 - loads the library

    try:
        with _silenced():
            file = soundfile.SoundFile(path)
    except (soundfile.LibsndfileError, OSError):
        return None
    rate = int(file.samplerate)
    _check_kind(path, rate, file.channels)

    def second() -> Sound:
        try:
            with _silenced() if file.format == "MP3" else nullcontext():
                read = file.read(rate, "float32", always_2d=True)
            return _mono(read)
        except soundfile.LibsndfileError:  # a truncated file ends where it ends
            return np.zeros(0, np.float32)

    def blocks() -> Iterator[Sound]:
        with file:
            while True:
                # no more than a second of all channels at once
                seconds = takewhile(len, (second() for _ in range(BLOCK_SECONDS)))
                block = np.concatenate([np.zeros(0, np.float32), *seconds])
                if not len(block):
                    return
                yield block

    return rate, blocks()


@contextmanager
def _silenced() -> Iterator[None]:
    """Inside, nothing is said on stderr: mpg123 complains there of every broken frame of an MP3."""
    try:
        kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    except OSError:  # there is no stderr
        yield
        return
    os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def _check_kind(path: Path, rate: int, channels: int) -> None:
    """Raise UserError for what nobody records."""
    low, high = RECORDING_RATES
    if not (low <= rate <= high and channels <= CHANNELS):
        raise UserError(f"{path} has {channels} channels at {rate:,} Hz.", CURE)


def _mono(sound: Sound) -> Sound:
    """The middle of all channels; what is no number, or louder than any sound, is damage."""
    whole = np.nan_to_num(sound, posinf=0.0, neginf=0.0)
    return np.asarray(np.clip(whole, -LOUDEST, LOUDEST).mean(axis=1), np.float32)


def _by_ffmpeg(path: Path) -> tuple[int, Iterator[Sound]]:
    pydub, refused = _pydub()
    first = _segment(pydub, refused, path, 0)
    if first is None or not len(first):
        raise UserError(f"{path} isn't a recording that can be read.", CURE)
    rate = int(first.frame_rate)
    _check_kind(path, rate, first.channels)

    def blocks() -> Iterator[Sound]:
        at, segment = 0, first
        while segment is not None and len(segment):
            samples = np.array(segment.get_array_of_samples(), np.float32)
            mono = samples.reshape(-1, segment.channels).mean(axis=1)
            mono /= float(1 << (8 * segment.sample_width - 1))
            size = BLOCK_SECONDS * rate
            for start in range(0, len(mono), size):
                yield mono[start : start + size]
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
