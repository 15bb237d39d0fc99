"""Marks in audio files: places with names, where players and editors of sound look for them.

.mp3 has chapters (id3.org, "ID3v2 Chapter Frame Addendum" 1.0); .flac, .ogg and .opus have the
chapter comments of wiki.xiph.org/Chapter_Extension, which players read (FLAC's own cue sheet has no
names); .m4a gets its chapters from ffmpeg, which is told of them in its own text (ffmpeg.org,
"ffmpeg-formats", Metadata); .wav has cue points with labels (IBM and Microsoft, "Multimedia
Programming Interface and Data Specifications 1.0", 1991, chapter 3), which editors of sound show.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

from mutagen import id3

MOST_CHAPTERS: Final = 255
"""A table of contents in ID3 counts its entries in one byte (addendum, section 3.2)."""


class Mark(NamedTuple):
    """A place in a track, in seconds from its start, and its name."""

    seconds: float
    name: str


# mutagen ships no types for its frames
_TITLE: Final[Any] = id3.TIT2
_CHAPTER: Final[Any] = id3.CHAP
_TABLE: Final[Any] = id3.CTOC


def add_chapters(frames: Any, marks: Sequence[Mark], length: float) -> None:
    """ID3 chapters, each up to the next one, the last up to ``length`` (seconds), and a table."""
    chapters = _chapters(marks[:MOST_CHAPTERS], length)
    names = [f"chp{number}" for number in range(len(chapters))]
    for name, (start, end, text) in zip(names, chapters, strict=True):
        title = _TITLE(encoding=id3.Encoding.UTF8, text=[text])
        frames.add(
            _CHAPTER(
                element_id=name,
                start_time=start,
                end_time=end,
                start_offset=0xFFFFFFFF,  # by time alone
                end_offset=0xFFFFFFFF,
                sub_frames=[title],
            )
        )
    if names:
        # top level, in order (addendum, section 3.2)
        frames.add(_TABLE(element_id="toc", flags=3, child_element_ids=names, sub_frames=[]))


def chapter_comments(marks: Sequence[Mark]) -> dict[str, str]:
    """Vorbis comments CHAPTER001=00:00:12.345 and CHAPTER001NAME=..., 999 at most."""
    comments = {}
    for number, mark in enumerate(marks[:999], 1):
        minutes, milliseconds = divmod(round(mark.seconds * 1000), 60_000)
        clock = f"{minutes // 60:02}:{minutes % 60:02}:{milliseconds / 1000:06.3f}"
        comments[f"CHAPTER{number:03}"] = clock
        comments[f"CHAPTER{number:03}NAME"] = mark.name
    return comments


def ffmpeg_chapters(marks: Sequence[Mark], length: float) -> str:
    """The text that tells ffmpeg of the chapters of a track of ``length`` seconds."""
    lines = [";FFMETADATA1"]
    for start, end, text in _chapters(marks, length):
        name = re.sub(r"([=;#\\\n])", r"\\\1", text)
        lines += ["[CHAPTER]", "TIMEBASE=1/1000", f"START={start}", f"END={end}", f"title={name}"]
    return "\n".join([*lines, ""])


def _chapters(marks: Sequence[Mark], length: float) -> list[tuple[int, int, str]]:
    """Start, end and name of each chapter, in milliseconds."""
    starts = [round(mark.seconds * 1000) for mark in marks]
    ends = [*starts[1:], max([round(length * 1000), *starts])]
    return [(start, end, mark.name) for start, end, mark in zip(starts, ends, marks, strict=False)]


def add_cue_points(path: Path, marks: Sequence[Mark], sample_rate: int) -> None:
    """Append cue points and their labels to the WAV file at ``path``; raises OSError."""
    if not marks:
        return
    cues, labels = [], []
    for number, mark in enumerate(marks, 1):
        frame = round(mark.seconds * sample_rate)
        cues.append(struct.pack("<II4sIII", number, frame, b"data", 0, 0, frame))
        text = mark.name.encode("utf-8") + b"\0"
        labels.append(_chunk(b"labl", struct.pack("<I", number) + text))
    chunks = _chunk(b"cue ", struct.pack("<I", len(cues)) + b"".join(cues))
    chunks += _chunk(b"LIST", b"adtl" + b"".join(labels))
    with path.open("r+b") as file:
        end = file.seek(0, 2)
        file.write(b"\0" * (end % 2) + chunks)
        size = file.tell() - 8
        file.seek(4)
        file.write(struct.pack("<I", size))


def _chunk(name: bytes, data: bytes) -> bytes:
    """A RIFF chunk, padded to an even length."""
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)
