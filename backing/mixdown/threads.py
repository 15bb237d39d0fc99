"""Do work on several threads, a little ahead, and take the results in order.

Threads are enough: the compiled loops, FluidSynth and the encoders let go of Python's lock. What is
made of an item depends on nothing but the item, so one thread makes the same.

Whatever stops the work, no thread goes on with what is closed behind it.
"""

from __future__ import annotations

import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, contextmanager
from itertools import islice
from typing import Final, ParamSpec, TypeVar

from backing.memory import THREADS_BYTES, room

AHEAD: Final = 3
"""Results that each thread may be ahead."""

STOPS: Final = tuple(
    getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGINT") if hasattr(signal, name)
)

P = ParamSpec("P")
T = TypeVar("T")
Item = TypeVar("Item")


def usual_threads() -> int:
    """One for each processor, at most four; one alone where memory is short."""
    return min(4, os.cpu_count() or 1) if room() >= THREADS_BYTES else 1


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Hold back Ctrl-C, a plain kill and hang-up until this is left.

    A KeyboardInterrupt while a thread starts would leave one that nobody knows of, and one while it
    is waited for would take away what it works with.
    """
    if threading.current_thread() is not threading.main_thread():
        yield  # Python calls handlers in the main thread alone
        return
    held: list[int] = []
    handlers = {stop: signal.getsignal(stop) for stop in STOPS}
    try:
        for stop, handler in reversed(handlers.items()):
            if callable(handler):
                signal.signal(stop, lambda number, _: held.append(number))
        yield
    finally:
        for stop, handler in handlers.items():
            if callable(handler):
                signal.signal(stop, handler)
        if held:
            signal.raise_signal(held[0])


class Threads:
    """So many threads, waited for when this is closed; what has not begun by then never does."""

    def __init__(self, count: int) -> None:
        self._pool = ThreadPoolExecutor(count)

    def submit(self, work: Callable[P, T], *given: P.args, **named: P.kwargs) -> Future[T]:
        """Have some work done."""
        with _undisturbed():
            return self._pool.submit(work, *given, **named)

    def close(self) -> None:
        """Drop what has not begun, and wait for the rest."""
        with _undisturbed():
            self._pool.shutdown(cancel_futures=True)


def in_order(work: Callable[[Item], T], items: Iterable[Item], threads: int) -> Iterator[T]:
    """What ``work`` makes of each item, in order; raises what it raises."""
    if threads <= 1:
        yield from map(work, items)
        return
    left = iter(items)
    with closing(Threads(threads)) as pool:
        waiting = deque(pool.submit(work, item) for item in islice(left, threads * AHEAD))
        while waiting:
            result = waiting.popleft().result()
            waiting.extend(pool.submit(work, item) for item in islice(left, 1))
            yield result
