"""Audio files: the suffix says the format, and a file is there whole or not at all.

A file is written under a passing name in the folder it is meant for, and takes its own name when
it is complete; whatever interrupts the work (Ctrl-C, a full disk, an error) removes it and leaves
a file of that name as it was. The same audio and tags give the same bytes.

WAV and FLAC hold 16 or 24 bits, rounded to the nearest step without dither: the noise of the
sampled instruments lies above the steps, silence stays silent, and stems add up within a step or
two. Lossy encoders may overshoot the true peak of what they are given by some tenths of a dB.
"""

from __future__ import annotations

import subprocess
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

import numpy as np
import numpy.typing as npt

from backing.errors import InternalError, OutputError
from backing.libsndfile import soundfile
from backing.mixdown.formats import FORMATS, Format, check_writable, format_of
from backing.mixdown.loops import Audio, round16
from backing.mixdown.marks import ffmpeg_chapters
from backing.mixdown.mp3 import Mp3Writer, lame
from backing.mixdown.tags import Tags, steady_serial, write_tags
from backing.mixdown.threads import usual_threads
from backing.saving import output_error, temporary_path

PIECE: Final = 4096
"""Frames an encoder is given at a time: one huge write of Vorbis overflows libsndfile's stack."""


class _Disk:
    """A file that libsndfile writes through; keeps the system's error, which libsndfile loses."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("xb", buffering=0)
        self.error: OSError | None = None
        self.seek = self._file.seek
        self.tell = self._file.tell
        self.close = self._file.close

    def write(self, data: bytes) -> int:
        """All of ``data``, or as much as fits."""
        rest = memoryview(data)
        try:
            while rest:
                rest = rest[self._file.write(rest) :]
        except OSError as error:
            self.error = error
        return len(data) - len(rest)


class AudioFile:
    """A stereo file being written: ``with AudioFile(path, 44100) as file: file.write(block)``.

    Leaving the block in peace puts the file in its place; leaving it by any exception leaves
    nothing. Raises what ``check_writable`` raises, and OutputError when the disk fails.
    """

    def __init__(
        self,
        path: Path,
        sample_rate: int,
        *,
        bits: int = 16,
        tags: Tags | None = None,
        threads: int | None = None,
    ) -> None:
        """``sample_rate`` in Hz; ``bits`` 16 or 24, for WAV and FLAC.

        ``threads``: how many encode MP3 (None: one for each processor, at most four).
        """
        check_writable(path)
        self.path = path
        self._format = format_of(path)
        if self._format.sample_rate not in {None, sample_rate}:
            raise InternalError(f"{path.suffix} cannot have a sample rate of {sample_rate} Hz")
        self._bits = bits if self._format.pcm else 16
        self._tags = tags or Tags()
        # through links, so that a link keeps pointing at the file
        self._target = path.resolve()
        self._part = temporary_path(self._target, path.suffix)
        self._raw = self._part.with_suffix(".wav") if self._format.ffmpeg else self._part
        self._disk: _Disk | None = None
        self._sound: Any = None
        self._sample_rate = sample_rate
        self._threads = threads or usual_threads()

    def __enter__(self) -> Self:
        try:
            self._disk = _Disk(self._raw)
            self._sound = self._open(self._disk)
        except BaseException as error:
            self._discard()
            if isinstance(error, OSError):
                raise output_error(error, self.path) from error
            raise
        return self

    def _open(self, disk: _Disk) -> Any:
        form = FORMATS[".wav"] if self._format.ffmpeg else self._format
        if form.container == "MP3" and form.level is not None and lame() is not None:
            return Mp3Writer(disk, self._sample_rate, 10 * form.level, self._threads)
        encoding = f"PCM_{self._bits}" if form.pcm else form.encoding
        mode = {"bitrate_mode": "VARIABLE"} if form.container == "MP3" else {}
        level = {} if form.level is None else {"compression_level": form.level}
        sound = soundfile.SoundFile(
            disk, "w", self._sample_rate, 2, encoding, None, form.container, **level, **mode
        )
        if form.container == "WAV":
            # the INFO list, which stands before the samples; libsndfile refuses empty texts
            for name in ("title", "comment"):
                if text := getattr(self._tags, name):
                    setattr(sound, name, text)
        return sound

    def write(self, block: Audio) -> None:
        """Append ``block`` (n, 2), full scale 1.0; what exceeds it is clipped in WAV and FLAC."""
        if isinstance(self._sound, Mp3Writer):
            self._guard(self._sound.write, block)
            return
        data = whole_numbers(block, self._bits) if self._sound.subtype.startswith("PCM") else block
        piece = len(data) if self._sound.format == "WAV" else PIECE
        for start in range(0, len(data), max(piece, 1)):
            self._guard(self._sound.write, data[start : start + piece])

    def _guard(self, act: Any, *arguments: Any) -> None:
        """Do what makes libsndfile write; raise what the disk said of it."""
        try:
            act(*arguments)
        except (soundfile.SoundFileError, AssertionError) as error:
            # soundfile asserts that as many frames were written as were given
            if self._disk is None or self._disk.error is None:
                raise InternalError(f"libsndfile cannot write {self.path}: {error}") from error
        if self._disk is not None and self._disk.error is not None:
            raise output_error(self._disk.error, self.path) from self._disk.error

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        try:
            if kind is None:
                self._finish()
        except OSError as broken:
            raise output_error(broken, self.path) from broken
        finally:
            self._discard()

    def _finish(self) -> None:
        self._guard(self._sound.close)
        if self._disk is not None:
            self._disk.close()
        if self._format.ffmpeg:
            _encode(self._raw, self._part, self._format, self._tags)
        if self._format.container == "OGG":
            steady_serial(self._part)
        write_tags(self._part, self._tags)
        self._part.replace(self._target)

    def _discard(self) -> None:
        """Remove whatever still has a passing name."""
        if isinstance(self._sound, Mp3Writer):
            self._sound.discard()
        else:
            with suppress(Exception):  # an encoder that cannot flush to a full disk
                self._sound.close()
        if self._disk is not None:
            self._disk.close()
        for leftover in {self._raw, self._part}:
            leftover.unlink(missing_ok=True)


def whole_numbers(block: Audio, bits: int) -> npt.NDArray[np.int16] | npt.NDArray[np.int32]:
    """``block`` as whole numbers of 16 or 24 bits (the latter in the upper bits of 32)."""
    if bits == 16:
        return round16(block)
    full = 2 ** (bits - 1)
    steps = block * np.float32(full)
    np.rint(steps, out=steps)
    np.clip(steps, -full, full - 1, out=steps)
    return steps.astype(np.int32) << 8


def _encode(source: Path, target: Path, form: Format, tags: Tags) -> None:
    """Let ffmpeg encode a WAV file, chapters and all."""
    with source.open("rb") as file:  # by its name soundfile opens none that is no text
        length = soundfile.info(file).duration
    command = ["ffmpeg", "-v", "error", "-y", "-i", str(source), "-f", "ffmetadata", "-i", "-"]
    command += ["-map", "0:a", "-map_metadata:g", "-1", "-map_chapters", "1"]
    command += ["-c:a", form.encoding, "-b:a", "192k", "-f", form.container]
    # nothing of the clock and of ffmpeg's version
    command += ["-fflags", "+bitexact", "-flags:a", "+bitexact", str(target)]
    chapters = ffmpeg_chapters(tags.marks, length).encode()
    run = subprocess.run(command, input=chapters, capture_output=True, check=False)
    if run.returncode:
        cure = "See whether there is room on the disk, and whether ffmpeg works."
        raise OutputError(f"ffmpeg could not write {target.name}.", cure)
