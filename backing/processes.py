"""Forked processes that are asked for things: workers, found through their pipes.

They find everything in place and take 10 ms to begin. Nobody stays behind: a worker ends when the
other end of its pipe is closed, by whoever dismisses it or by the system, when the process that
forked it is gone.
"""

from __future__ import annotations

import multiprocessing
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection, Pipe
from typing import Any, TypeVar

from backing.aside import ENDED, sendable, settle, signals_put_off
from backing.errors import MachineError


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
        with warnings.catch_warnings(), signals_put_off():
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
            raise MachineError(*ENDED) from None

    def heard(self) -> Any:
        """What it tells next; raises what went wrong there."""
        try:
            said, error = self.pipe.recv()
        except (EOFError, OSError):
            raise MachineError(*ENDED) from None
        if error is not None:
            raise error
        return said

    def dismiss(self) -> None:
        """Let it end when it is done with what it has begun."""
        _pipes.discard(self.pipe)
        self._end.close()
        self.pipe.close()

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


def _work(work: Callable[..., None], pipe: Connection, *arguments: Any) -> None:
    """Do ``work`` in a forked process, and tell the other end what goes wrong."""
    settle()
    for mine in _pipes:
        mine.close()
    _pipes.clear()
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):  # nobody listens any more
        try:
            work(pipe, *arguments)
        except (EOFError, BrokenPipeError, ConnectionResetError):
            raise
        except Exception as error:
            pipe.send((None, sendable(error)))
            # what was asked meanwhile is taken, or the pipe would break before this is heard
            while True:
                pipe.recv()
