"""Exit statuses, and how the command speaks: results on stdout, talk on stderr."""

from __future__ import annotations

import sys

from backing.errors import TuneError, UserError

MOST_SHOWN = 20
"""Mistakes of one file: more of them say that it is no tune."""

DONE, OURS, USERS, STOPPED = 0, 1, 2, 130


def tell(text: str) -> None:
    """Say something to the user, on stderr."""
    print(text, file=sys.stderr, flush=True)


def in_words(error: UserError) -> str:
    """A mistake as the user reads it: a tune's with file, line and caret, any other in a line."""
    if not isinstance(error, TuneError):
        return f"backing: {error}"
    shown, left = error.problems[:MOST_SHOWN], len(error.problems[MOST_SHOWN:])
    words = [str(problem) for problem in shown]
    if left:
        words.append(f"{shown[0].file}: {left:,} more. Mend these first, or name a tune file.")
    return "\n".join(words)
