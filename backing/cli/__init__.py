"""The ``backing`` command: the only package that prints, reads argv or exits.

Results go to files or stdout, talk to stderr. Exit status: 0 done, 2 the user's mistake, 1 ours,
130 stopped by Ctrl-C. Each command is a module that is imported only when it is asked for, so
that ``--help`` answers at once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from importlib import import_module

from backing.cli.parser import make_parser
from backing.cli.status import DONE, OURS, STOPPED, USERS, in_words, tell
from backing.errors import BackingError, UserError

COMMANDS = {
    "check": "backing.cli.check:check",
    "track": "backing.cli.track:track",
    "page": "backing.cli.page:page",
    "sheet": "backing.cli.sheet:sheet",
    "sounds": "backing.cli.sounds:sounds",
    "cache": "backing.cli.cache:cache",
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit status."""
    words = list(sys.argv[1:] if argv is None else argv)
    arguments = make_parser().parse_args(words)
    module, _, name = COMMANDS[arguments.command].partition(":")
    try:
        status: int = getattr(import_module(module), name)(arguments)
        sys.stdout.flush()
    except UserError as error:
        tell(in_words(error))
        return USERS
    except BackingError as error:
        tell(f"backing: {error} This is a fault of ours; please report it.")
        return OURS
    except KeyboardInterrupt:
        tell("\nbacking: stopped; finished files stay, nothing is half written.")
        return STOPPED
    except BrokenPipeError:
        # the reader of our output went away (head, less): not an error of anybody's
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    return status
