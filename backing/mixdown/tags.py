"""What an audio file says of itself: title, key, tempo, and how it was made."""

from __future__ import annotations

import base64
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import mutagen
from mutagen import flac, id3, mp3, mp4, ogg, oggopus, oggvorbis, wave

from backing.mixdown.marks import Mark, add_chapters, add_cue_points, chapter_comments

OGG_SERIAL: Final = 1
"""libsndfile draws the serial number of an Ogg stream by the clock; ours is always this one."""

_PNG: Final = "image/png"
_UNTYPED: Final[tuple[Any, Any, Any]] = (id3.APIC, mp4.MP4Cover, flac.Picture)

ITUNES_KEY: Final = "----:com.apple.iTunes:initialkey"


@dataclass(frozen=True, slots=True)
class Tags:
    """What a player shows.

    ``key`` as a musician says it ("G minor"), ``tempo`` in bpm, ``drill`` what it is for,
    ``comment`` free; ``marks`` are the places in it that a player may want to go to. ``cover``
    makes the cover art, a PNG; it is not called for WAV, which players show without.
    """

    title: str = ""
    key: str = ""
    tempo: float | None = None
    comment: str = ""
    drill: str = ""
    marks: tuple[Mark, ...] = ()
    cover: Callable[[], bytes] | None = None

    @property
    def bpm(self) -> str:
        """The tempo as the whole number that tags hold, or nothing."""
        return f"{self.tempo:.0f}" if self.tempo else ""

    @property
    def short_key(self) -> str:
        """The key in at most three characters, as ID3 wants it: "Gm", "Bb"."""
        tonic, _, mode = self.key.partition(" ")
        tonic = tonic.replace("♭", "b").replace("♯", "#")
        return tonic + ("m" if mode.strip().lower().startswith("min") else "")


def write_tags(path: Path, tags: Tags) -> None:
    """Write ``tags`` into the finished audio file at ``path``; raises OSError."""
    kind, fill = _KINDS[path.suffix.lower()]
    try:
        file = kind(path)
        if file.tags is None:
            file.add_tags()
        fill(file.tags, tags)
        if tags.cover is not None and path.suffix.lower() != ".wav":
            _add_cover(file, path.suffix.lower(), tags.cover())
        if isinstance(file.tags, id3.ID3) and path.suffix.lower() == ".mp3":
            add_chapters(file.tags, tags.marks, file.info.length)
        file.save()
        if path.suffix.lower() == ".wav":
            add_cue_points(path, tags.marks, file.info.sample_rate)
    except mutagen.MutagenError as error:
        # mutagen hides the system's errors in its own
        hidden = error.__context__
        raise hidden if isinstance(hidden, OSError) else error from None


def _add_cover(file: Any, suffix: str, png: bytes) -> None:
    """Put cover art into a file that has the format of ``suffix``.

    APIC of ID3 (id3.org, "ID3 tag version 2.4.0 - Native Frames", section 4.14), covr of MP4,
    FLAC's picture block (RFC 9639, section 8.8), which Ogg files hold in base64 (xiph.org).
    """
    apic, mp4_cover, flac_picture = _UNTYPED
    if suffix == ".mp3":
        file.tags.add(apic(id3.Encoding.LATIN1, _PNG, id3.PictureType.COVER_FRONT, "Cover", png))
    elif suffix == ".m4a":
        file.tags["covr"] = [mp4_cover(png, mp4_cover.FORMAT_PNG)]
    else:
        picture = flac_picture()
        picture.type, picture.mime, picture.data = id3.PictureType.COVER_FRONT, _PNG, png
        if suffix == ".flac":
            file.add_picture(picture)
        else:
            file.tags["METADATA_BLOCK_PICTURE"] = base64.b64encode(picture.write()).decode()


def steady_serial(path: Path) -> None:
    """Give every page of an Ogg file the same serial number, in place."""
    read: Any = ogg.OggPage
    with path.open("r+b") as file:
        while True:
            try:
                page = read(file)
            except EOFError:
                return
            page.serial = OGG_SERIAL
            file.seek(page.offset)
            file.write(page.write())


def _fill_id3(frames: Any, tags: Tags) -> None:
    """ID3 frames (id3.org, "ID3 tag version 2.4.0 - Native Frames", sections 4.2 and 4.10).

    TIT3 is for "information directly related to the contents title".
    """
    known: dict[Any, str] = {
        id3.TIT2: tags.title, id3.TIT3: tags.drill, id3.TKEY: tags.short_key,
        id3.TBPM: tags.bpm, id3.COMM: tags.comment,
    }  # fmt: skip
    for kind, text in known.items():
        if text:
            comment = {"lang": "eng", "desc": ""} if kind is id3.COMM else {}
            frames.add(kind(encoding=id3.Encoding.UTF8, text=[text], **comment))


def _fill_comments(fields: Any, tags: Tags) -> None:
    """Vorbis comments (xiph.org, minimal list of fields; KEY, BPM and COMMENT by common use)."""
    known = {
        "TITLE": tags.title, "DESCRIPTION": tags.drill, "KEY": tags.key, "BPM": tags.bpm,
        "COMMENT": tags.comment,
    }  # fmt: skip
    fields.update({name: text for name, text in known.items() if text})
    fields.update(chapter_comments(tags.marks))


def _fill_atoms(atoms: Any, tags: Tags) -> None:
    """Atoms of an MP4 file, by common use."""
    if tags.title:
        atoms["\xa9nam"] = [tags.title]
    if tags.drill:
        atoms["desc"] = [tags.drill]
    if tags.comment:
        atoms["\xa9cmt"] = [tags.comment]
    if tags.bpm:
        atoms["tmpo"] = [int(tags.bpm)]
    if tags.key:
        atoms[ITUNES_KEY] = [tags.key.encode()]


_KINDS: Final[dict[str, tuple[Any, Callable[[Any, Tags], None]]]] = {
    ".wav": (wave.WAVE, _fill_id3),
    ".mp3": (mp3.MP3, _fill_id3),
    ".flac": (flac.FLAC, _fill_comments),
    ".ogg": (oggvorbis.OggVorbis, _fill_comments),
    ".opus": (oggopus.OggOpus, _fill_comments),
    ".m4a": (mp4.MP4, _fill_atoms),
}
