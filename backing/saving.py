"""Write files whole or not at all.

A file is written under a temporary name in its folder and renamed when it is complete; an
interruption leaves an older file as it was.
"""

from __future__ import annotations

import errno
import os
import platform
import re
import shutil
import stat
import unicodedata
import zlib
from collections.abc import Iterable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from backing.errors import OutputError

if TYPE_CHECKING:
    from tempfile import TemporaryDirectory

HIDDEN = ".backing-"
"""What the folders begin with in which many files are made."""
LONGEST_NAME = 255
"""The longest file name in bytes (NAME_MAX of Linux; characters on macOS and Windows)."""


def is_folder(path: Path) -> bool:
    """Whether ``path`` is a folder; a name the system cannot look up is not."""
    try:
        return path.is_dir()
    except OSError:
        return False


def is_there(path: Path) -> bool:
    """Whether there is a file or folder of this name; a name that cannot be looked up is none."""
    try:
        return path.exists()
    except OSError:
        return False


def check_writable(path: Path) -> None:
    """Check before the work starts that ``path`` can be written; raises OutputError."""
    folder = path.parent
    try:
        _check_place(path)
        if path.is_dir():
            raise OutputError(f"{path} is a folder.", f"Name a file in it: {path / 'track.wav'}.")
        if not folder.exists():
            raise OutputError(f"The folder {folder} does not exist.", "Make it, or name another.")
        if not folder.is_dir():
            raise OutputError(f"{folder} is a file, not a folder.", "Name a folder.")
        if path.exists() and not path.is_file():
            raise OutputError(f"{path} is a device or a pipe, not a file.", "Name a file.")
        if path.exists() and not os.access(path, os.W_OK):
            raise OutputError(f"{path} is write-protected.", "Name another file.")
        sweep(path.resolve().parent)
        trial = temporary_path(path)
        try:
            trial.touch()
        finally:  # also one that a dead process left
            trial.unlink(missing_ok=True)
    except OSError as error:
        raise output_error(error, path) from error


def _check_place(path: Path) -> None:
    """Raise OSError where the system cannot look ``path`` up, and OutputError for a link that leads
    back to itself: nothing can be renamed onto it.

    ``Path.exists`` and ``Path.is_dir`` raise neither from Python 3.14 on, ``Path.resolve`` says
    nothing of such links from 3.13 on.
    """
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return
    except OSError as error:
        if error.errno != errno.ELOOP:
            raise
        raise OutputError(
            f"{path} is a link that leads back to itself.", "Delete the link, or name another file."
        ) from error


def refuse_inputs(path: Path, inputs: Iterable[Path]) -> None:
    """Raise OutputError where writing ``path`` would replace a file that is read."""
    for each in inputs:
        with suppress(OSError, ValueError):  # one of them is not there, which is told elsewhere
            if path.samefile(each):
                raise OutputError(f"{path} is what is read: {each}.", "Name another file.")


def temporary_path(path: Path, suffix: str | None = None) -> Path:
    """The name under which ``path`` is written: hidden, in its folder, one for each process.

    ``suffix``: where it is another than that of ``path``, which may be what a link points at.
    """
    ending = f".{owner()}.part{path.suffix if suffix is None else suffix}"
    return path.with_name(shortened_name(f".{path.stem}", ending))


def hidden_folder(folder: Path) -> TemporaryDirectory[str]:
    """A hidden folder in another, where files are made that are put in their places when they are
    whole; it goes with the ``with`` block. Raises OutputError."""
    from tempfile import TemporaryDirectory  # noqa: PLC0415 - not for --help

    place = folder.resolve()  # the same wherever a process stands
    try:
        return TemporaryDirectory(
            prefix=f"{HIDDEN}{owner()}-", dir=place, ignore_cleanup_errors=True
        )
    except OSError as error:
        raise output_error(error, folder / "track") from error


def owner() -> str:
    """This process, among all that may share a folder: "MACHINE-NUMBER"."""
    return f"{_machine()}-{os.getpid()}"


@cache
def _machine() -> str:
    """One mark for all processes that can see each other's numbers."""
    told = [platform.node()]
    with suppress(OSError):
        told.append(Path("/etc/machine-id").read_text("utf-8", "replace"))
    with suppress(OSError):  # of a container
        told.append(str(Path("/proc/self/ns/pid").stat().st_ino))
    return f"{zlib.crc32(' '.join(told).encode('utf-8', 'replace')):08x}"


@cache
def sweep(folder: Path) -> None:
    """Take away what dead processes of this machine left half done in a folder, once."""
    part = re.compile(rf"(?:{re.escape(HIDDEN)}|\..*\.){_machine()}-(\d{{1,9}})(?:\.part.*|-\w+)")
    with suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            found = part.fullmatch(entry.name)
            if found and not _alive(int(found[1])):
                with suppress(OSError):
                    if stat.S_ISDIR(entry.stat(follow_symlinks=False).st_mode):
                        shutil.rmtree(entry.path)
                    else:
                        Path(entry.path).unlink()


def _alive(process: int) -> bool:
    """Whether there is a process of this number; on Windows nobody can tell."""
    if os.name == "nt":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:  # it is another user's
        return True
    return True


def file_words(text: str) -> str:
    """A text as words of a file name, joined by hyphens: letters and figures of any script, and #.

    >>> file_words("bars 31-2, climbing 60%-105%")
    'bars-31-2-climbing-60-105'
    """
    plain = unicodedata.normalize("NFC", text).translate(str.maketrans("♭♯", "b#", "'’"))
    kept = (
        c if c.isalnum() or c in ".#" or unicodedata.category(c)[0] == "M" else "-" for c in plain
    )
    words = re.sub(r"(?<!\d)\.|\.(?!\d)", "", "".join(kept))
    return re.sub("-+", "-", words).strip("-")


def shortened_name(stem: str, ending: str, room: int = 0) -> str:
    """``stem + ending``, shortened to a legal file name with ``room`` bytes to spare.

    In a name too long a hash replaces the end of ``stem``.
    """
    left = LONGEST_NAME - room - len(os.fsencode(ending))
    if len(os.fsencode(stem)) <= left:
        return stem + ending
    import hashlib  # noqa: PLC0415 - it sets up all of OpenSSL, for a name in a thousand

    mark = f"~{hashlib.sha256(os.fsencode(stem)).hexdigest()[:8]}"
    length = len(stem)
    while length > 1 and (
        len(os.fsencode(stem[:length])) + len(mark) > left or unicodedata.combining(stem[length])
    ):
        length -= 1
    return f"{stem[:length].rstrip()}{mark}{ending}"


def write_file(path: Path, data: bytes) -> None:
    """Write ``data`` to a temporary file, then rename it ``path``; raises OutputError."""
    check_writable(path)
    # a link keeps pointing at the file
    target = path.resolve()
    growing = temporary_path(target)
    try:
        growing.write_bytes(data)
        growing.replace(target)
    except OSError as error:
        raise output_error(error, path) from error
    finally:
        growing.unlink(missing_ok=True)


def output_error(error: OSError, path: Path) -> OutputError:
    """The OutputError for an OSError on writing ``path``."""
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return OutputError(
            f"There is no space left for {path}.", "Free some space, or write somewhere else."
        )
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return OutputError(
            f"You may not write to the folder {path.parent}.", "Name a folder of your own."
        )
    if error.errno == errno.ENOENT and not path.parent.exists():
        return OutputError(f"The folder {path.parent} does not exist.", "Make it, or name another.")
    if error.errno == errno.EFBIG:
        return OutputError(
            f"{path} is larger than this system allows.", "Ask for fewer choruses or for .flac."
        )
    if error.errno == errno.ENAMETOOLONG:
        return OutputError(f"The name {path.name} is too long.", "Give it a shorter name.")
    said = error.strerror or str(error)
    return OutputError(f"{path} cannot be written ({said}).", "Name another place.")
