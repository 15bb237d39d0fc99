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
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from itertools import takewhile
from types import FrameType
from typing import NoReturn

from backing.cli.parser import Words, parse
from backing.cli.status import (
    DONE,
    OURS,
    STOPPED,
    USERS,
    ReaderGone,
    in_words,
    open_streams,
    ours,
    tell,
)
from backing.errors import BackingError, UserError
from backing.memory import collect_seldom, enough_memory

RUNS = {
    "play": "page:play",
    "track": "track:track",
    "sheet": "sheet:sheet",
    "page": "page:page",
    "lesson": "lesson:lesson",
    "take": "take:take",
    "check": "check:check",
    "sounds": "sounds:sounds",
    "cache": "cache:cache",
    "help": "help:help_",
}
"""Command -> the module it lives in, and its function there."""
HELPS = ("-h", "--help")

ENDS = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))
"""What a plain kill and a terminal that is closed send, on systems that have them."""


def run() -> NoReturn:
    """The command as a process of its own, which ends with it."""
    collect_seldom()
    # numpy's threads for large matrices, of which there are none, keep other work waiting
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if not sys.warnoptions:  # they are for those who write programs
        warnings.simplefilter("ignore")
    status = main()
    for end in (signal.SIGINT, *ENDS):  # the work is done, and its status is told
        signal.signal(end, signal.SIG_IGN)
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
        asked = _understood(words)
        module, _, name = RUNS[asked.command.name].partition(":")
        with enough_memory(), _stopped_by(*ENDS):
            status: int = getattr(import_module(f"backing.cli.{module}"), name)(asked)
    except UserError as error:
        tell(in_words(error))
        return USERS
    except BackingError as error:
        tell(ours(error))
        return OURS
    except KeyboardInterrupt:
        return _stopped()
    except ReaderGone:
        return DONE
    except Exception as error:
        # where it strikes while a class is made, Python 3.11 tells of an error in doing that
        if isinstance(error.__cause__, KeyboardInterrupt):
            return _stopped()
        tell(ours(error))
        return OURS
    return status


def _stopped() -> int:
    tell("\nbacking: stopped; finished files stay, nothing is half written.")
    return STOPPED


def _understood(words: Sequence[str]) -> Words:
    """What the words say; asking for help is a command too. Raises UserError."""
    if words[:1] == ["--version"]:
        words = ["help", "--version"]
    elif not words or words[0] in HELPS:
        words = ["help"]
    elif any(word in HELPS for word in takewhile("--".__ne__, words)):
        words = ["help", words[0]]
    return parse(words)


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
