"""Do work on several threads, a little ahead, and take the results in order.

Threads are enough: the compiled loops, FluidSynth and the encoders let go of Python's lock. What is
made of an item depends on nothing but the item, so one thread makes the same.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from typing import Final, TypeVar

AHEAD: Final = 3
"""Results that each thread may be ahead."""

T = TypeVar("T")
Item = TypeVar("Item")


def usual_threads() -> int:
    """One for each processor, at most four."""
    return min(4, os.cpu_count() or 1)


def in_order(work: Callable[[Item], T], items: Iterable[Item], threads: int) -> Iterator[T]:
    """What ``work`` makes of each item, in order; raises what it raises."""
    if threads <= 1:
        yield from map(work, items)
        return
    left = iter(items)
    with ThreadPoolExecutor(threads) as pool:
        waiting: deque[Future[T]] = deque()
        try:
            waiting.extend(pool.submit(work, item) for item in islice(left, threads * AHEAD))
            while waiting:
                result = waiting.popleft().result()
                waiting.extend(pool.submit(work, item) for item in islice(left, 1))
                yield result
        finally:
            for future in waiting:
                future.cancel()
