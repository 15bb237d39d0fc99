"""Exit statuses, and how the command speaks: results on stdout, talk on stderr."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from pathlib import Path

from backing.chart.text.source import readable
from backing.errors import BackingError, OutputError, TuneError, UserError

MOST_SHOWN = 20
"""Mistakes of one file: more of them say that it is no tune."""

DONE, OURS, USERS, STOPPED = 0, 1, 2, 130


def worst(*statuses: int) -> int:
    """A fault of ours, else a mistake of the user's, else done."""
    return next((status for status in (OURS, USERS) if status in statuses), DONE)


class ReaderGone(Exception):  # noqa: N818 - it is nobody's error
    """The reader of our output went away (head, less)."""


def open_streams() -> None:
    """Give a program that was started with stdout or stderr closed somewhere to say things to."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            nowhere = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - to the end
            setattr(sys, name, nowhere)


def show(text: str) -> None:
    """Print a result on stdout, with ? for signs it does not have; raises OutputError."""
    encoding = sys.stdout.encoding or "utf-8"
    text = readable(text)
    try:
        print(text.encode(encoding, "replace").decode(encoding), flush=True)
    except OSError as error:
        # else what is left in the buffer fails once more when Python ends
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if isinstance(error, BrokenPipeError):
            raise ReaderGone from None
        raise OutputError(
            f"The output cannot be written ({error.strerror}).", "Send it somewhere else."
        ) from error


def tell(text: str) -> None:
    """Say something to the user, on stderr; what nobody takes is no reason to fail."""
    encoding = sys.stderr.encoding or "utf-8"
    plain = readable(text).encode(encoding, "backslashreplace").decode(encoding)
    try:
        print(plain, file=sys.stderr, flush=True)
    except OSError:
        # else what is left in the buffer fails once more when Python ends (status 120)
        with suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stderr.fileno())


def ours(error: Exception) -> str:
    """A fault of ours as the user reads it: what it is, and where, for the report."""
    said, at = str(error) or "no words", error.__traceback__
    while at is not None and at.tb_next is not None:
        at = at.tb_next
    if not isinstance(error, BackingError) and at is not None:
        place = f"{Path(at.tb_frame.f_code.co_filename).name}:{at.tb_lineno}"
        said = f"{type(error).__name__} in {place}: {said.rstrip('.')}."
    return f"backing: {said} This is a fault of ours; please report it."


def in_words(error: UserError) -> str:
    """A mistake as the user reads it: in a file with its place and a caret, any other in a line."""
    if not isinstance(error, TuneError):
        return str(error) if error.placed else f"backing: {error}"
    shown, left = error.problems[:MOST_SHOWN], len(error.problems[MOST_SHOWN:])
    words = [str(problem) for problem in shown]
    if left:
        words.append(f"{shown[0].file}: {left:,} more. Correct these first; is it a tune file?")
    return "\n".join(words)
