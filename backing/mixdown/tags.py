"""What an audio file says of itself: title, key, tempo, and how it was made."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import mutagen
from mutagen import flac, id3, mp3, mp4, ogg, oggopus, oggvorbis, wave

from backing.mixdown.marks import Mark, add_chapters, add_cue_points, chapter_comments

OGG_SERIAL: Final = 1
"""libsndfile draws the serial number of an Ogg stream by the clock; ours is always this one."""

ARTIST: Final = "backing"
"""Who plays; without a name players list tracks under "unknown"."""
_PNG: Final = "image/png"
_UNTYPED: Final[tuple[Any, Any, Any]] = (id3.APIC, mp4.MP4Cover, flac.Picture)
_COMM: Final[Any] = id3.COMM
_USLT: Final[Any] = id3.USLT

ITUNES_KEY: Final = "----:com.apple.iTunes:initialkey"


@dataclass(frozen=True, slots=True)
class Tags:
    """What a player shows.

    ``composer``: of the tune. ``key`` as a musician says it ("G minor"), ``tempo`` in bpm,
    ``drill`` what it is for, ``comment`` free; ``marks`` are the places in it that a player may
    want to go to. ``cover`` makes the cover art, a PNG; it is not called for WAV, which players
    show without. ``lyrics``: the chords, line by line.
    """

    title: str = ""
    composer: str = ""
    key: str = ""
    tempo: float | None = None
    comment: str = ""
    drill: str = ""
    lyrics: str = ""
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


@dataclass(frozen=True, slots=True)
class Label:
    """What a track is called among others: its title, their ``album``, and its ``number`` of
    ``count``."""

    title: str
    album: str
    number: int
    count: int


def write_label(path: Path, label: Label) -> None:
    """Give a finished track another title and a place in an album; raises OSError.

    TALB and TRCK of ID3, ALBUM and TRACKNUMBER of Vorbis comments, the atoms of MP4.
    """
    kind, _ = _KINDS[path.suffix.lower()]
    with _plain_errors():
        file = kind(path)
        tags: Any = file.tags
        place = f"{label.number}/{label.count}"
        if isinstance(file.tags, id3.ID3):
            for frame, text in (
                (id3.TIT2, label.title),
                (id3.TALB, label.album),
                (id3.TRCK, place),
            ):
                tags.add(frame(encoding=id3.Encoding.UTF8, text=[text]))
        elif isinstance(file, mp4.MP4):
            tags["\xa9nam"], tags["\xa9alb"] = [label.title], [label.album]
            tags["trkn"] = [(label.number, label.count)]
        else:
            tags["TITLE"], tags["ALBUM"] = label.title, label.album
            tags["TRACKNUMBER"], tags["TRACKTOTAL"] = str(label.number), str(label.count)
        file.save()


@contextmanager
def _plain_errors() -> Iterator[None]:
    """Inside, an error of the system's that mutagen hides in its own is raised as it is."""
    try:
        yield
    except mutagen.MutagenError as error:
        hidden = error.__context__
        raise hidden if isinstance(hidden, OSError) else error from None


def write_tags(path: Path, tags: Tags) -> None:
    """Write ``tags`` into the finished audio file at ``path``; raises OSError."""
    kind, fill = _KINDS[path.suffix.lower()]
    with _plain_errors():
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
    """ID3 frames (id3.org, "ID3 tag version 2.4.0 - Native Frames", sections 4.2, 4.8 and 4.10).

    TIT3 is for "information directly related to the contents title".
    """
    known: dict[Any, str] = {
        id3.TIT2: tags.title, id3.TPE1: ARTIST, id3.TCOM: tags.composer, id3.TIT3: tags.drill,
        id3.TKEY: tags.short_key, id3.TBPM: tags.bpm,
    }  # fmt: skip
    for kind, text in known.items():
        if text:
            frames.add(kind(encoding=id3.Encoding.UTF8, text=[text]))
    usual: Any = {"encoding": id3.Encoding.UTF8, "lang": "eng", "desc": ""}
    if tags.comment:
        frames.add(_COMM(text=[tags.comment], **usual))
    if tags.lyrics:
        frames.add(_USLT(text=tags.lyrics, **usual))


def _fill_comments(fields: Any, tags: Tags) -> None:
    """Vorbis comments (xiph.org, minimal list of fields; KEY, BPM, COMMENT and LYRICS by common
    use)."""
    known = {
        "TITLE": tags.title, "ARTIST": ARTIST, "COMPOSER": tags.composer,
        "DESCRIPTION": tags.drill, "KEY": tags.key, "BPM": tags.bpm, "COMMENT": tags.comment,
        "LYRICS": tags.lyrics,
    }  # fmt: skip
    fields.update({name: text for name, text in known.items() if text})
    fields.update(chapter_comments(tags.marks))


def _fill_atoms(atoms: Any, tags: Tags) -> None:
    """Atoms of an MP4 file, by common use."""
    known = {
        "\xa9nam": tags.title, "\xa9ART": ARTIST, "\xa9wrt": tags.composer, "desc": tags.drill,
        "\xa9cmt": tags.comment, "\xa9lyr": tags.lyrics,
    }  # fmt: skip
    atoms.update({name: [text] for name, text in known.items() if text})
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
