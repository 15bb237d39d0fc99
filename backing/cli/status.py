"""Exit statuses, and how the command speaks: results on stdout, talk on stderr."""

from __future__ import annotations

import sys

from backing.errors import TuneError, UserError

DONE, OURS, USERS, STOPPED = 0, 1, 2, 130


def tell(text: str) -> None:
    """Say something to the user, on stderr."""
    print(text, file=sys.stderr, flush=True)


def in_words(error: UserError) -> str:
    """A mistake as the user reads it: a tune's with file, line and caret, any other in a line."""
    return str(error) if isinstance(error, TuneError) else f"backing: {error}"
