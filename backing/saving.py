"""Files are there whole or not at all.

What is written grows under a passing name in the folder it is meant for, and takes its own name
when it is complete; whatever interrupts the work leaves a file of that name as it was.
"""

from __future__ import annotations

import errno
import os
from pathlib import Path

from backing.errors import OutputError


def check_writable(path: Path) -> None:
    """Find out before the work starts whether ``path`` can be written; raises OutputError."""
    folder = path.parent
    if not folder.exists():
        raise OutputError(f"There is no folder {folder}.", "Make it first, or name another.")
    if not folder.is_dir():
        raise OutputError(f"{folder} is not a folder.", "Name a file in a folder.")
    if path.is_dir():
        raise OutputError(f"{path} is a folder.", "Name a file in it.")
    if path.exists() and not os.access(path, os.W_OK):
        raise OutputError(f"{path} is write-protected.", "Name another file.")
    trial = passing_name(path)
    try:
        trial.touch(exist_ok=False)
    except OSError as error:
        raise explained(error, path) from error
    trial.unlink()


def passing_name(path: Path) -> Path:
    """Where ``path`` grows until it is whole: hidden, beside it, one for each process."""
    return path.with_name(f".{path.stem}.{os.getpid()}.part{path.suffix}")


def write_whole(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` beside it first, then rename; raises OutputError."""
    check_writable(path)
    growing = passing_name(path)
    try:
        growing.write_bytes(data)
        growing.replace(path)
    except OSError as error:
        raise explained(error, path) from error
    finally:
        growing.unlink(missing_ok=True)


def explained(error: OSError, path: Path) -> OutputError:
    """The user's words for what the system says of writing ``path``."""
    folder = path.parent
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return OutputError(
            f"There is no room left for {path}.", "Free some space, or write somewhere else."
        )
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return OutputError(f"{folder} may not be written to.", "Name a folder of your own.")
    if error.errno == errno.EFBIG:
        return OutputError(
            f"{path} grows larger than this system allows.", "Ask for fewer choruses or for .flac."
        )
    said = error.strerror or str(error)
    return OutputError(f"{path} cannot be written ({said}).", "Name another place.")
