"""Files from outside: one rule, and all limits, for whatever reads them.

A reader takes a bounded number of bytes, and whatever goes wrong in it, in a library or in a reader
of ours, becomes one sentence. The limits lie far beyond what is meant, so that other files are
refused at once: memory and time stay bounded.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from backing.errors import BackingError, UserError

TUNE_BYTES = 1_000_000
TUNE_LINES = 5_000
LINE_CHARACTERS = 1_000
DERIVED = 50
"""Sections derived one from another."""
FEEL_BYTES = 100_000
FEEL_DEPTH = 8
"""Tables and lists in one another; the feels of the package have four."""
FEELS_ALIKE = 16
"""Feel files of which each is like the next."""
LESSON_BYTES = 100_000
LESSON_DEPTH = 12
MANIFEST_BYTES = 10_000_000
TASKS = 500
"""Of all students of a lesson together."""
MUSICXML_BYTES = 20_000_000
MUSICXML_ELEMENTS = 500_000
MEASURES = 4_000
SOUNDFONT_TEXT_BYTES = 65_536
"""Of one text in the INFO list (SoundFont Technical Specification 2.04, section 5, has 256)."""
SOUNDFONT_CHUNKS = 1_000
PRESETS = 10_000
RECORDING_RATES = (2_000, 400_000)
"""The lowest and the highest sample rate of a recording in Hz."""
CHANNELS = 64
LOG_BYTES = 20_000_000
"""Of a practice log: a take has some 600."""
SUMS_BYTES = 100_000
"""Of the list of files in an entry of the cache, and of the words with it."""


@contextmanager
def guarded(cause: str, cure: str, kind: type[UserError] = UserError) -> Iterator[None]:
    """Inside, any exception that is not one of ours becomes a ``kind``, with its own name.

    ``cause`` is a sentence without its full stop. Too little memory is told elsewhere.
    """
    try:
        yield
    except (BackingError, MemoryError):
        raise
    except Exception as error:
        raise kind(f"{cause} ({type(error).__name__}).", cure) from error


def read_bytes(path: Path, most: int, what: str, kind: type[UserError] = UserError) -> bytes:
    """The content of a file of at most ``most`` bytes; raises ``kind``.

    ``what`` it should be: "a tune".
    """
    try:
        if path.is_dir():
            raise kind(f"{path} is a folder.", f"Name {what} in it.")
        with path.open("rb") as stream:
            data = stream.read(most + 1)
    except FileNotFoundError:
        raise kind(f"There is no file {path}.", "Check the name and the folder.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "its name isn't a file name"
        raise kind(f"{path} cannot be read: {reason}.", "Check its name and permissions.") from None
    if len(data) > most:
        raise kind(f"{path} is too long for {what}.", f"It may have {most:,} bytes at most.")
    return data


def depth(value: Any, most: int) -> int:
    """How deep lists and tables lie in one another, counted to just beyond ``most``."""
    layer, levels = [value], 0
    while layer and levels <= most:
        inside = [each for each in layer if isinstance(each, dict | list)]
        layer = [v for each in inside for v in (each.values() if isinstance(each, dict) else each)]
        levels += bool(inside)
        if not inside:
            break
    return levels
