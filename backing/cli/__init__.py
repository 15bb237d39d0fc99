"""The ``backing`` command: the only package that prints, reads argv or exits.

Results go to files or stdout, talk to stderr. Exit status: 0 done, 2 the user's mistake, 1 ours,
130 stopped (by Ctrl-C, a plain kill, the end of its terminal). Each command is a module that is
imported only when it is asked for, so that ``--help`` answers at once.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from itertools import pairwise
from types import FrameType
from typing import NoReturn

from backing.cli.parser import parse
from backing.cli.status import DONE, OURS, STOPPED, USERS, in_words, open_streams, tell
from backing.errors import TOO_LITTLE_MEMORY, BackingError, MachineError, UserError

COMMANDS = {
    "check": "backing.cli.check:check",
    "track": "backing.cli.track:track",
    "page": "backing.cli.page:page",
    "sheet": "backing.cli.sheet:sheet",
    "sounds": "backing.cli.sounds:sounds",
    "cache": "backing.cli.cache:cache",
}

ENDS = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))
"""What a plain kill and a terminal that is closed send, on systems that have them."""


def run() -> NoReturn:
    """The command as a process of its own, which ends with it."""
    # what it makes is alive to the end: nobody need look for garbage in it, again and again
    gc.set_threshold(50_000, 20, 50)
    # and numpy's threads for large matrices, of which there are none, keep other work waiting
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    status = main()
    gc.freeze()
    # where Ctrl-C struck in a text being executed, of which dataclasses are made, `python -m` would
    # die of it in place of telling the status; executing another makes it forget
    exec("")
    sys.exit(status)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit status."""
    words = list(sys.argv[1:] if argv is None else argv)
    open_streams()
    try:
        arguments = parse(words)
        module, _, name = COMMANDS[arguments.command].partition(":")
        _refuse_empty(words)
        with _stopped_by(*ENDS):
            status: int = getattr(import_module(module), name)(arguments)
            sys.stdout.flush()
    except UserError as error:
        tell(in_words(error))
        return USERS
    except BackingError as error:
        tell(f"backing: {error} This is a fault of ours; please report it.")
        return OURS
    except MemoryError:
        tell(in_words(MachineError(*TOO_LITTLE_MEMORY)))
        return USERS
    except KeyboardInterrupt:
        tell("\nbacking: stopped; finished files stay, nothing is half written.")
        return STOPPED
    except BrokenPipeError:
        # the reader of our output went away (head, less): not an error of anybody's
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    return status


def _refuse_empty(words: Sequence[str]) -> None:
    """Raise UserError for a word with nothing in it, as a script's empty variable leaves it."""
    for before, word in pairwise(("", *words)):
        option = before
        if word.startswith("--") and word.endswith("="):
            option = word.removesuffix("=")
        elif word.strip():
            continue
        if option.startswith("-"):
            raise UserError(f"Nothing is said after {option}.", "Write it, or leave it out.")
        raise UserError("One of the names is empty.", "Name a file, or leave it out.")


@contextmanager
def _stopped_by(*ends: signal.Signals) -> Iterator[None]:
    """Inside, these signals stop the work as Ctrl-C does, so that nothing half written stays.

    One that is ignored already (under nohup) stays ignored.
    """
    if threading.current_thread() is not threading.main_thread():
        yield  # nowhere else can it be set
        return
    mine = [end for end in ends if signal.getsignal(end) is signal.SIG_DFL]
    for end in mine:
        signal.signal(end, _stop)
    before = sys.unraisablehook
    sys.unraisablehook = partial(_dropped, before, (*mine, signal.SIGINT)[0])
    try:
        yield
    finally:
        sys.unraisablehook = before
        for end in mine:
            signal.signal(end, signal.SIG_DFL)


def _stop(_number: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _dropped(
    tell_of: Callable[[sys.UnraisableHookArgs], object],
    end: signal.Signals,
    what: sys.UnraisableHookArgs,
) -> None:
    """Send ``end`` once more if one struck while Python was clearing away: there it drops errors.

    Of any other error it is told as before.
    """
    if what.exc_type is KeyboardInterrupt and sys.platform != "win32":
        threading.Timer(0.01, signal.pthread_kill, [threading.get_ident(), end]).start()
    else:
        tell_of(what)
