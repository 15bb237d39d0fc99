"""Finished files are kept: a track whose inputs are the same is not made again.

The cache is a folder of entries, one for each key; an entry is a folder with the files of a track
(the mix and its stems) and a list of their SHA-256 sums. An entry is filled under a passing name
and then renamed, and taken away the same way, so that two processes never see half of one. A file
that no longer has its sum is not used, and its entry goes. When the entries outgrow the limit,
those that were used the longest ago go first.

Nothing that is wrong with the cache stops a track: it is made anew.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import BinaryIO

from backing import __version__
from backing.errors import OutputError
from backing.reading import SUMS_BYTES
from backing.saving import output_error, temporary_path, write_file

DEFAULT_LIMIT = 2_000_000_000
"""In bytes; about fifty hours as .mp3, three as .wav."""
SUMS = "sums.json"
ABOUT = "about.txt"
TRACK = "track"
"""What the files of an entry are called, before what tells stems from the mix."""
LIMIT = "limit"
PASSING = "passing-"
STRAY_SECONDS = 24 * 3600
"""Older than this, what is half done belongs to nobody any more."""
PIECE = 1 << 20
LIBRARIES = ("numpy", "fluidsynth", "soundfile", "mutagen")
"""The modules on which the bytes of a file depend."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A track in the cache: where it lies, its size in bytes, when it was last used (epoch s)."""

    folder: Path
    size: int
    used: float


@dataclass(frozen=True, slots=True)
class Cache:
    """The finished files in ``folder``, of ``limit`` bytes at most."""

    folder: Path
    limit: int = DEFAULT_LIMIT

    def fetch(self, key: str, target: Path) -> tuple[Path, ...] | None:
        """Put the files kept under ``key`` at ``target`` and, its stems, beside it.

        Returns the files, the mix first, or None if they are not there whole. Raises OutputError
        if ``target`` cannot be written.
        """
        entry = self.folder / key
        sums = _sums(entry, target.suffix)
        if not sums:
            _remove(entry)  # there is none, or a harmed one
            return None
        tails = {name: name.removeprefix(TRACK) for name in sums}
        paths = {name: target.with_name(target.stem + tail) for name, tail in tails.items()}
        with ExitStack() as leftovers:
            growing: dict[Path, Path] = {}
            for name, path in paths.items():
                part = growing[path] = temporary_path(path.resolve())
                leftovers.callback(part.unlink, missing_ok=True)
                if _copied(entry / name, part, path) != sums[name]:
                    _remove(entry)
                    return None
            for path, part in growing.items():
                try:
                    part.replace(path.resolve())
                except OSError as error:
                    raise output_error(error, path) from error
        with suppress(OSError):
            os.utime(entry / SUMS)
        return tuple(paths.values())

    def about(self, key: str) -> str:
        """What was kept in words with the files of ``key``."""
        return _text(self.folder / key / ABOUT)

    def keep(self, key: str, paths: Sequence[Path], about: str = "") -> None:
        """Keep the finished files of a track, the mix first, and some words about them.

        If that cannot be done, nothing happens.
        """
        with suppress(OSError, OutputError):
            size = sum(path.stat().st_size for path in paths)
            if size > self.limit:
                return
            self.folder.mkdir(parents=True, exist_ok=True)
            self._make_room(self.limit - size)
            self._tidy(STRAY_SECONDS)
            with tempfile.TemporaryDirectory(prefix=PASSING, dir=self.folder) as passing:
                entry = Path(passing) / "entry"
                entry.mkdir()
                stem = paths[0].stem
                sums = {}
                for path in paths:
                    name = TRACK + path.name.removeprefix(stem)
                    sums[name] = _copied(path, entry / name, entry)
                if not all(sums.values()):
                    return
                (entry / ABOUT).write_text(about, "utf-8")
                (entry / SUMS).write_text(json.dumps(sums), "utf-8")
                # fails where another process was faster, which is as good
                entry.rename(self.folder / key)

    def entries(self) -> tuple[Entry, ...]:
        """What is kept, the longest unused first."""
        return tuple(sorted(self._entries(), key=lambda entry: entry.used))

    def clear(self) -> None:
        """Take everything away."""
        for entry in self.entries():
            _remove(entry.folder)
        self._tidy(0)

    def limited(self, limit: int) -> Cache:
        """The cache with another limit, which stays; raises OutputError."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise output_error(error, self.folder) from error
        write_file(self.folder / LIMIT, str(limit).encode())
        smaller = Cache(self.folder, limit)
        smaller._make_room(limit)
        return smaller

    def _entries(self) -> Iterator[Entry]:
        try:
            folders = [path for path in self.folder.iterdir() if (path / SUMS).is_file()]
        except OSError:
            return
        for folder in folders:
            with suppress(OSError):
                size = sum(path.stat().st_size for path in folder.iterdir())
                yield Entry(folder, size, (folder / SUMS).stat().st_mtime)

    def _tidy(self, seconds: float) -> None:
        """Take away what stopped processes left half done so long ago."""
        for stray in self.folder.glob(f"{PASSING}*"):
            with suppress(OSError):
                if time.time() - stray.stat().st_mtime >= seconds:
                    shutil.rmtree(stray, ignore_errors=True)

    def _make_room(self, limit: int) -> None:
        """Take entries away, the longest unused first, until no more than ``limit`` bytes stay."""
        entries = self.entries()
        size = sum(entry.size for entry in entries)
        for entry in entries:
            if size <= limit:
                return
            _remove(entry.folder)
            size -= entry.size


def _text(path: Path) -> str:
    """A short text in the cache; nothing where there is none."""
    with suppress(OSError, UnicodeError):
        if path.is_file() and path.stat().st_size <= SUMS_BYTES:
            return path.read_text("utf-8")
    return ""


def _sums(entry: Path, suffix: str) -> dict[str, str]:
    """Name and sum of each file of an entry, the mix first; nothing where they make no sense."""
    try:
        sums = json.loads(_text(entry / SUMS) or "{}")
    except (ValueError, RecursionError):
        return {}
    name = re.compile(rf"{TRACK}(?:[-.][\w-]+)?{re.escape(suffix)}")
    if not isinstance(sums, dict) or next(iter(sums), "") != TRACK + suffix:
        return {}
    right = all(name.fullmatch(each) and isinstance(sums[each], str) for each in sums)
    return sums if right else {}


def _copied(source: Path, target: Path, shown: Path) -> str:
    """Copy a file and return its SHA-256, or nothing if it cannot be read.

    Raises OutputError, which names ``shown``, if it cannot be written.
    """
    digest = hashlib.sha256()
    reading = _opened(source)
    if reading is None:
        return ""
    with reading:
        try:
            with target.open("wb") as writing:
                while piece := _piece(reading):
                    digest.update(piece)
                    writing.write(piece)
        except OSError as error:
            raise output_error(error, shown) from error
    return "" if piece is None else digest.hexdigest()


def _opened(path: Path) -> BinaryIO | None:
    """A file to read from; None for what is no file, which may wait for ever."""
    try:
        return path.open("rb") if path.is_file() else None
    except OSError:
        return None


def _piece(reading: BinaryIO) -> bytes | None:
    """What comes next of a file, nothing at its end; None where it cannot be read."""
    try:
        return reading.read(PIECE)
    except OSError:
        return None


def _remove(entry: Path) -> None:
    """Take an entry away: out of sight at once, then file by file."""
    if not entry.is_symlink() and not entry.exists():
        return
    with suppress(OSError), tempfile.TemporaryDirectory(prefix=PASSING, dir=entry.parent) as gone:
        entry.rename(Path(gone) / "entry")


def user_cache() -> Cache:
    """The cache of this user, with the limit that was set for it."""
    folder = caches() / "backing" / "tracks"
    try:
        limit = int(_text(folder / LIMIT))
    except ValueError:
        limit = DEFAULT_LIMIT
    return Cache(folder, limit)


def caches() -> Path:
    """Where this system keeps caches (XDG Base Directory Specification 0.8; on macOS and Windows
    common practice)."""
    given = os.environ.get("XDG_CACHE_HOME", "")
    if Path(given).is_absolute():  # the specification ignores any other
        return Path(given)
    if sys.platform == "darwin":
        return _home() / "Library" / "Caches"
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or _home() / "AppData" / "Local")
    return _home() / ".cache"


def _home() -> Path:
    """The user's home; for one who has none a place where nothing can be kept."""
    try:
        return Path.home()
    except RuntimeError:
        return Path(os.devnull)


def key_of(parts: Iterable[str | bytes]) -> str:
    """The key of a track made from these inputs by this very program."""
    digest = hashlib.sha256(program().encode())
    for part in parts:
        data = part.encode() if isinstance(part, str) else part
        digest.update(b"%d:" % len(data))
        digest.update(data)
    return digest.hexdigest()


@cache
def program() -> str:
    """What tells this program from any other state of it: versions, sizes and times of files."""
    package = Path(__file__).parents[1]
    files = sorted(path for path in package.rglob("*") if path.is_file() and path.suffix != ".pyc")
    # to find them is enough: importing them takes longer than all the rest of a hit
    found = (find_spec(name) for name in LIBRARIES)
    files += [Path(spec.origin) for spec in found if spec is not None and spec.origin]
    states = [(str(path), (state := path.stat()).st_size, state.st_mtime_ns) for path in files]
    return repr((__version__, states))
