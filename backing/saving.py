"""Files are there whole or not at all.

What is written grows under a passing name in the folder it is meant for, and takes its own name
when it is complete; whatever interrupts the work leaves a file of that name as it was.
"""

from __future__ import annotations

import errno
import os
import unicodedata
from pathlib import Path

from backing.errors import OutputError

LONGEST_NAME = 255
"""Of a file, in bytes (NAME_MAX of Linux; macOS and Windows have as many characters)."""


def is_folder(path: Path) -> bool:
    """Whether ``path`` is a folder; a name the system cannot even look up is none."""
    try:
        return path.is_dir()
    except OSError:
        return False


def check_writable(path: Path) -> None:
    """Find out before the work starts whether ``path`` can be written; raises OutputError."""
    folder = path.parent
    try:
        _check_place(path)
        if path.is_dir():
            raise OutputError(f"{path} is a folder.", f"Name a file in it: {path / 'track.wav'}.")
        if not folder.exists():
            raise OutputError(f"The folder {folder} does not exist.", "Make it, or name another.")
        if not folder.is_dir():
            raise OutputError(f"{folder} is a file, not a folder.", "Name a folder.")
        if path.exists() and not os.access(path, os.W_OK):
            raise OutputError(f"{path} is write-protected.", "Name another file.")
        trial = passing_name(path)
        try:
            trial.touch()
        finally:  # stopped just here it must not stay, nor may one that a dead process left
            trial.unlink(missing_ok=True)
    except OSError as error:
        raise explained(error, path) from error


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
            f"{path} is a link that leads back to itself.", "Take the link away, or name another."
        ) from error


def passing_name(path: Path) -> Path:
    """Where ``path`` grows until it is whole: hidden, beside it, one for each process."""
    return path.with_name(fitted(f".{path.stem}", f".{os.getpid()}.part{path.suffix}"))


def fitted(stem: str, ending: str, room: int = 0) -> str:
    """``stem + ending`` as the name of a file, and ``room`` bytes for what may be put to it.

    Where that is longer than a name can be, the end of ``stem`` gives way to a few letters that
    tell it from others that begin alike.
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


def write_whole(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` beside it first, then rename; raises OutputError."""
    check_writable(path)
    # through links, so that a link keeps pointing at the file
    target = path.resolve()
    growing = passing_name(target)
    try:
        growing.write_bytes(data)
        growing.replace(target)
    except OSError as error:
        raise explained(error, path) from error
    finally:
        growing.unlink(missing_ok=True)


def explained(error: OSError, path: Path) -> OutputError:
    """The user's words for what the system says of writing ``path``."""
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return OutputError(
            f"There is no room left for {path}.", "Free some space, or write somewhere else."
        )
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return OutputError(
            f"The folder {path.parent} may not be written to.", "Name a folder of your own."
        )
    if error.errno == errno.ENOENT and not path.parent.exists():
        return OutputError(f"The folder {path.parent} does not exist.", "Make it, or name another.")
    if error.errno == errno.EFBIG:
        return OutputError(
            f"{path} grows larger than this system allows.", "Ask for fewer choruses or for .flac."
        )
    if error.errno == errno.ENAMETOOLONG:
        return OutputError(f"The name {path.name} is too long.", "Give it a shorter name.")
    said = error.strerror or str(error)
    return OutputError(f"{path} cannot be written ({said}).", "Name another place.")
