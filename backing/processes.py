"""Forked processes: work done on another processor, by a copy of this process.

They find everything in place and take 10 ms to begin. Nobody stays behind: a worker ends when the
other end of its pipe is closed, by whoever dismisses it or by the system, when the process that
forked it is gone.
"""

from __future__ import annotations

import ctypes
import gc
import multiprocessing
import pickle
import signal
import sys
import threading
import traceback
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection, Pipe
from typing import Any, Final, TypeVar

from backing.errors import InternalError, MachineError

FORKS: Final = sys.platform == "linux"
"""Whether this system forks. macOS's own libraries do not survive it, Windows cannot."""

_ENDED = (
    "The system has ended a process that was at work; it may have run out of memory.",
    "Close other programs, or ask for less at once.",
)

T = TypeVar("T")


def may_fork() -> bool:
    """Whether processes can be forked here and now.

    Beside other threads of Python they cannot: a lock that one of them holds stays closed in the
    fork for ever. And a daemonic process (a worker of Dask) may have no children.
    """
    return FORKS and threading.active_count() == 1 and not multiprocessing.current_process().daemon


class Worker:
    """A process to be forked, which does ``work(its end of the pipe, *arguments)``."""

    def __init__(self, work: Callable[..., None], *arguments: Any) -> None:
        """Raises OSError where there is no room for a pipe."""
        self.pipe, self._end = Pipe()
        self._process = multiprocessing.get_context("fork").Process(
            target=_work, args=(work, self._end, *arguments), daemon=True
        )

    def start(self) -> None:
        """Fork it; raises OSError where there is no room for it."""
        _pipes.add(self.pipe)
        with warnings.catch_warnings(), _signals_put_off():
            # Python warns of any thread there is; those of BLAS know of forks
            warnings.simplefilter("ignore", DeprecationWarning)
            self._process.start()
        # that a worker was killed is heard only if nobody else has its end
        self._end.close()

    @property
    def started(self) -> bool:
        """Whether it has been forked."""
        return self._process.pid is not None

    def send(self, word: Any) -> None:
        """Say something to it; raises MachineError if it is gone."""
        try:
            self.pipe.send(word)
        except OSError:
            raise MachineError(*_ENDED) from None

    def heard(self) -> Any:
        """What it tells next; raises what went wrong there."""
        try:
            said, error = self.pipe.recv()
        except (EOFError, OSError):
            raise MachineError(*_ENDED) from None
        if error is not None:
            raise error
        return said

    def dismiss(self) -> None:
        """Let it end when it is done with what it has begun."""
        _pipes.discard(self.pipe)
        self._end.close()
        self.pipe.close()

    def stop(self) -> None:
        """End it, whatever it is at."""
        self._process.kill()

    def leave(self) -> None:
        """Wait until it has ended."""
        if self.started:
            self._process.join()


_pipes: set[Connection] = set()
"""Our ends of the pipes to all workers there are. A fork closes its copies of them, or no other
worker would hear that we are gone."""

W = TypeVar("W", bound=Worker)


@contextmanager
def hired(count: int, worker: Callable[[int], W]) -> Iterator[list[W]]:
    """So many workers, or as many as the system has room for; all of them are gone afterwards."""
    workers: list[W] = []
    try:
        with suppress(OSError):
            for number in range(count):
                workers.append(worker(number))  # first: whatever happens, it will be dismissed
                workers[number].start()
        yield [each for each in workers if each.started]
    finally:
        for each in workers:
            each.dismiss()
        for each in workers:
            each.leave()


@contextmanager
def meanwhile(work: Callable[[], T]) -> Iterator[Callable[[], T]]:
    """Have something made by another process; what is given says what, or raises what went wrong.

    Where nothing can be forked it is made when it is asked for. If nobody asks, it is given up.
    ``work`` changes nothing in this process; what it makes can be pickled. Raises MachineError
    for a process that was killed.
    """
    if not may_fork():
        yield work
        return
    with hired(1, lambda _: Worker(_tell, work)) as workers:
        try:
            yield workers[0].heard if workers else work
        finally:
            for worker in workers:
                worker.stop()


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


def _tell(pipe: Connection, work: Callable[[], Any]) -> None:
    pipe.send((work(), None))


def _work(work: Callable[..., None], pipe: Connection, *arguments: Any) -> None:
    """Do ``work`` in a forked process, and tell the other end what goes wrong."""
    _settle()
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):  # nobody listens any more
        try:
            work(pipe, *arguments)
        except (EOFError, BrokenPipeError, ConnectionResetError):
            raise
        except Exception as error:
            pipe.send((None, _sendable(error)))
            # what was asked meanwhile is taken, or the pipe would break before this is heard
            while True:
                pipe.recv()


def _sendable(error: Exception) -> Exception:
    """An error with its traceback as a note, in words if it is none that can be pickled."""
    error.add_note(f"In a worker:\n{traceback.format_exc()}")
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return InternalError(f"{type(error).__name__}: {error}")
    return error


def _settle() -> None:
    """Make a forked process a worker."""
    # Ctrl-C is for the process that writes the file, which then closes the pipe
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for number in (signal.SIGTERM, signal.SIGHUP):
        if callable(signal.getsignal(number)):
            signal.signal(number, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGTERM, signal.SIGHUP})
    # what the other process has begun is not to be ended here
    gc.freeze()
    for pipe in _pipes:
        pipe.close()
    _pipes.clear()
    keep_memory()


@contextmanager
def _signals_put_off() -> Iterator[None]:
    """Put those that end the work off; a process forked meanwhile cannot be struck half-made."""
    stops = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
    before = signal.pthread_sigmask(signal.SIG_BLOCK, stops)
    try:
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
