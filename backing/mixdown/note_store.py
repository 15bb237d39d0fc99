"""Rendered notes are kept on disk: the next track of a SoundFont finds its bank half filled.

A folder holds the notes of one SoundFont at one sample rate, made by one state of this program; a
file in it the tones of one key of one preset: a line with the check sum of all that follows, a line
of JSON that says what is there, then the samples. Files are written beside and renamed; one that is
harmed, or made otherwise, is as good as none. Nothing that is wrong with the store stops a track.
"""

from __future__ import annotations

import json
import os
import shutil
import zlib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from backing.errors import OutputError
from backing.mixdown.cache import caches, key_of
from backing.mixdown.release import Colour, Release
from backing.mixdown.soundfont import SoundFont
from backing.mixdown.synth import Audio
from backing.mixdown.tone import Group, Law, Rendered, Tone
from backing.saving import write_file

MOST_BYTES: Final = 600_000_000
"""Kept of all SoundFonts together; those not used for the longest time go first, then of the one in
use what was written the longest ago."""


@dataclass(frozen=True, slots=True)
class NoteStore:
    """The notes of one SoundFont at one sample rate, in ``folder``."""

    folder: Path

    @property
    def empty(self) -> bool:
        """Whether nothing is kept of them."""
        return not _size(self.folder)

    def load(self, group: Group) -> Rendered | None:
        """The tones of a key of a preset, or None if they are not there whole."""
        try:
            check, _, data = self._path(group).read_bytes().partition(b"\n")
            if zlib.crc32(data) != int(check, 16):
                return None
            head, _, sound = data.partition(b"\n")
            there = json.loads(head)
            return _laws(group, there["laws"]), _samples(group, there["samples"], sound)
        except (OSError, ValueError, LookupError, TypeError):
            return None

    def save(self, group: Group, rendered: Rendered) -> None:
        """Keep the tones of a key of a preset; if it cannot be done, nothing happens."""
        laws, samples = rendered
        there = {
            "laws": [_law_words(tone, law) for tone, law in laws.items()],
            "samples": [[t.velocity, len(held), done] for t, (held, done) in samples.items()],
        }
        sounds = (held.tobytes() for held, _ in samples.values())
        data = b"".join((json.dumps(there).encode(), b"\n", *sounds))
        with suppress(OSError, OutputError):
            self.folder.mkdir(parents=True, exist_ok=True)
            write_file(self._path(group), b"%08x\n" % zlib.crc32(data) + data)

    def used(self) -> None:
        """Note that it is used, and make room."""
        with suppress(OSError):
            os.utime(self.folder)
            stores = sorted(_stores(self.folder.parent), key=lambda store: store.stat().st_mtime)
            size = sum(map(_size, stores))
            for store in stores:
                # another state of the program never comes back
                past = store.name.split("-")[0] == self.folder.name.split("-")[0]
                if store != self.folder and (past or size > MOST_BYTES):
                    size -= _size(store)
                    shutil.rmtree(store, ignore_errors=True)
            for path in sorted(self.folder.iterdir(), key=lambda path: path.stat().st_mtime):
                if size <= MOST_BYTES:
                    return
                size -= path.stat().st_size
                path.unlink()

    def _path(self, group: Group) -> Path:
        return self.folder / "{}-{}-{}.notes".format(*group)


def user_store(soundfont: SoundFont, sample_rate: int) -> NoteStore:
    """The store of this user for a SoundFont."""
    state = soundfont.path.stat()
    font = repr((str(soundfont.path.resolve()), state.st_size, state.st_mtime_ns, sample_rate))
    name = f"{zlib.crc32(font.encode()):08x}-{key_of([font])[:24]}"
    return NoteStore(_notes() / name)


def kept_notes() -> tuple[int, int]:
    """How many SoundFonts have notes kept, and how many bytes of them."""
    stores = _stores(_notes())
    return len(stores), sum(map(_size, stores))


def clear_notes() -> None:
    """Take all kept notes away."""
    shutil.rmtree(_notes(), ignore_errors=True)


def _notes() -> Path:
    return caches() / "backing" / "notes"


def _stores(folder: Path) -> list[Path]:
    try:
        return [path for path in folder.iterdir() if path.is_dir()]
    except OSError:
        return []


def _size(store: Path) -> int:
    try:
        return sum(path.stat().st_size for path in store.iterdir())
    except OSError:
        return 0


def _law_words(tone: Tone, law: Law) -> list[Any]:
    colour = law.colour
    words = colour and [list(colour.holds), list(colour.knots), colour.taps.tolist()]
    return [tone.velocity, law.source.velocity, law.gain, list(law.release.slopes), words]


def _laws(group: Group, words: list[Any]) -> dict[Tone, Law]:
    laws: dict[Tone, Law] = {}
    for velocity, source, gain, slopes, colour in words:
        tone_colour = None
        if colour:
            holds, knots, taps = colour
            tone_colour = Colour(tuple(holds), tuple(knots), np.array(taps))
        laws[Tone(*group, velocity)] = Law(
            Tone(*group, source), gain, Release(tuple(slopes)), tone_colour
        )
    return laws


def _samples(group: Group, words: list[Any], data: bytes) -> dict[Tone, tuple[Audio, bool]]:
    samples: dict[Tone, tuple[Audio, bool]] = {}
    at = 0
    for velocity, frames, complete in words:
        held = np.frombuffer(data, np.float32, 2 * frames, at).reshape(frames, 2)
        samples[Tone(*group, velocity)] = held, complete
        at += held.nbytes
    return samples
