"""Work done beside: by a forked process, which gives what it made, or by a thread.

Without `multiprocessing`, which takes as long to load as a tune to read.
"""

from __future__ import annotations

import ctypes
import gc
import os
import pickle
import signal
import sys
import threading
import traceback
import warnings
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from functools import partial
from typing import Any, BinaryIO, Final, NoReturn, TypeVar

from backing.errors import InternalError, MachineError

FORKS: Final = sys.platform == "linux"
"""Whether this system forks. macOS's own libraries do not survive it, Windows cannot."""

ENDED = (
    "The system has ended a process that was at work; it may have run out of memory.",
    "Close other programs, or ask for less at once.",
)

T = TypeVar("T")


def may_fork() -> bool:
    """Whether processes can be forked here and now.

    Beside other threads of Python they cannot: a lock that one of them holds stays closed in the
    fork for ever. And a daemonic process (a worker of Dask) may have no children.
    """
    return FORKS and threading.active_count() == 1 and not _daemonic()


def _daemonic() -> bool:
    process = sys.modules.get("multiprocessing.process")
    return process is not None and process.current_process().daemon


@contextmanager
def meanwhile(work: Callable[[], T]) -> Iterator[Callable[[], T]]:
    """Have something made by a forked process; what is given says what, or raises what went wrong.

    Where nothing can be forked it is made when it is asked for. If nobody asks, it is given up.
    ``work`` changes nothing in this process; what it makes can be pickled. Raises MachineError
    for a process that was killed.
    """
    with ExitStack() as stack:
        forked = None
        if may_fork():
            with suppress(OSError):  # no room for a process
                forked = stack.enter_context(_forked(work))
        yield work if forked is None else partial(_made, forked)


@contextmanager
def _forked(work: Callable[[], Any]) -> Iterator[BinaryIO]:
    """A pipe through which a forked process tells what it made; it is gone afterwards."""
    reading, writing = os.pipe()
    with (
        os.fdopen(reading, "rb") as answer,
        os.fdopen(writing, "wb") as told,
        ExitStack() as stack,
    ):
        with signals_put_off(), warnings.catch_warnings():
            # Python warns of any thread there is; those of BLAS know of forks
            warnings.simplefilter("ignore", DeprecationWarning)
            process = os.fork()
            if process == 0:
                answer.close()  # or nobody would hear that the other end is gone
                _tell(work, told)
            stack.callback(_end, process)  # before a signal can strike
        told.close()  # or its end would not be heard
        yield answer


def _end(process: int) -> None:
    """End a forked process, if it has not ended."""
    # where whoever started us ignores SIGCHLD, the system forgets it at once
    with suppress(ProcessLookupError, ChildProcessError):
        os.kill(process, signal.SIGKILL)
        os.waitpid(process, 0)


def _made(answer: BinaryIO) -> Any:
    """What came out of a forked process."""
    try:
        made, error = pickle.load(answer)
    except (EOFError, pickle.UnpicklingError):
        raise MachineError(*ENDED) from None
    if error is not None:
        raise error
    return made


def _tell(work: Callable[[], Any], told: BinaryIO) -> NoReturn:
    """Do the work of a forked process, and end it."""
    try:
        settle()
        try:
            words = pickle.dumps((work(), None), pickle.HIGHEST_PROTOCOL)
        except Exception as error:
            words = pickle.dumps((None, sendable(error)))
        told.write(words)
        told.flush()
    finally:
        # whatever happened: what the other process has begun is not ended here
        os._exit(0)


@contextmanager
def beside(work: Callable[[], object]) -> Iterator[None]:
    """Have something done beside by a thread, which has ended afterwards.

    What it raises nobody hears: it is for things that would be done later if they were not yet.
    """

    def quietly() -> None:
        with suppress(Exception):
            work()

    thread = threading.Thread(target=quietly)
    thread.start()
    try:
        yield
    finally:
        thread.join()


def sendable(error: Exception) -> Exception:
    """An error with its traceback as a note, in words if it is none that can be pickled."""
    error.add_note(f"In a worker:\n{traceback.format_exc()}")
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return InternalError(f"{type(error).__name__}: {error}")
    return error


def settle() -> None:
    """Make a forked process a worker."""
    # Ctrl-C is for the process that writes the file, which then closes the pipe
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for number in (signal.SIGTERM, signal.SIGHUP):
        if callable(signal.getsignal(number)):
            signal.signal(number, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGTERM, signal.SIGHUP})
    # what the other process has begun is not to be ended here
    gc.freeze()
    keep_memory()


@contextmanager
def signals_put_off() -> Iterator[None]:
    """Put those that end the work off; a process forked meanwhile cannot be struck half-made."""
    stops = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
    # one that has come already is raised by the call that blocks the others
    before = signal.pthread_sigmask(signal.SIG_BLOCK, ())
    try:
        signal.pthread_sigmask(signal.SIG_BLOCK, stops)
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def keep_memory() -> None:
    """Have the C library keep what is given back to it, from now on.

    glibc returns large pieces to the system at once and fetches them again, page by page, for the
    next window: that takes as long as the sums in them.
    """
    trim_threshold, mmap_threshold = -1, -3  # M_TRIM_THRESHOLD, M_MMAP_THRESHOLD in malloc.h
    with suppress(AttributeError, OSError):  # another C library
        library = ctypes.CDLL(None)
        library.mallopt(trim_threshold, 1 << 30)
        library.mallopt(mmap_threshold, 32 << 20)
