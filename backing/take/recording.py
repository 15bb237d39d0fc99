"""A recording of any kind as mono sound at the network's rate, piece by piece.

What libsndfile reads (WAV, FLAC, MP3, Ogg, Opus, AIFF) is read by it; what phones write besides
(.m4a, .3gp, .amr) is decoded by the program ffmpeg.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from itertools import chain, takewhile
from math import gcd
from pathlib import Path

import numpy as np

from backing.errors import MissingProgram, UserError
from backing.reading import CHANNELS, RECORDING_RATES
from backing.take.features import INSTALL, RATE, Sound

BLOCK_SECONDS = 60
MARGIN_SECONDS = 2
"""A recording is heard in pieces of a minute, with what lies around them: both are whole numbers of
frames, or the frames of the second piece would begin elsewhere."""
LOUDEST = 100.0
"""Times full scale."""
LONGEST_SECONDS = 2 * 3600
CURE = "Record it again, or save it as .wav."
_PLAIN = {".wav", ".flac", ".mp3", ".ogg", ".oga", ".opus", ".aif", ".aiff", ".au", ".caf", ".w64"}


def pieces(path: Path) -> Iterator[tuple[Sound, int, int]]:
    """The recording in pieces of BLOCK_SECONDS at RATE: the sound with what lies MARGIN_SECONDS
    around it, and how many samples come before and after the piece's own.

    Raises UserError for what is no recording, MissingProgram without ffmpeg or the extra.
    """
    rate, blocks = _blocks(path)
    around = MARGIN_SECONDS * rate
    before: Sound = np.zeros(0, np.float32)
    here = next(blocks, None)
    seconds = 0
    while here is not None and len(here):
        after = next(blocks, None)
        margin = np.zeros(0, np.float32) if after is None else after[:around]
        sound = _resampled(np.concatenate([before, here, margin]), rate)
        yield sound, len(before) * RATE // rate, len(margin) * RATE // rate
        seconds += BLOCK_SECONDS
        if seconds >= LONGEST_SECONDS and after is not None:
            raise UserError(f"{path} lasts longer than two hours.", "Cut out the take.")
        before, here = here[-around:], after


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
    if not path.is_file():
        raise UserError(f"{path} isn't a file.", "Name the recording of your take.")
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
    """At RATE, as ffmpeg hands it on: no more than a block is kept."""
    # a list of other files, or of addresses, is no recording
    command = ["ffmpeg", "-nostdin", "-v", "quiet", "-protocol_whitelist", "file", "-i"]
    command += [f"file:{path}", "-map", "0:a:0", "-ac", "1", "-ar", str(RATE), "-f", "f32le"]
    try:
        decoder = subprocess.Popen(
            [*command, "pipe:1"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
    except FileNotFoundError:
        raise MissingProgram(
            f"{path.suffix} recordings are read by the program ffmpeg, which is not installed.",
            "Install it, or save the take as .wav, .flac, .mp3 or .ogg.",
        ) from None
    blocks = _decoded(decoder)
    first = next(blocks, None)
    if first is None:
        raise UserError(f"{path} isn't a recording that can be read.", CURE)
    return RATE, chain([first], blocks)


def _decoded(decoder: subprocess.Popen[bytes]) -> Iterator[Sound]:
    """The samples a decoder writes, in blocks; it ends with whoever reads them."""
    assert decoder.stdout is not None
    try:
        while data := decoder.stdout.read(4 * BLOCK_SECONDS * RATE):
            samples = np.frombuffer(data[: len(data) // 4 * 4], "<f4")
            yield _mono(samples[:, None])
    finally:
        decoder.kill()
        decoder.stdout.close()
        decoder.wait()
