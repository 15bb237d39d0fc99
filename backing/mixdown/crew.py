"""Windows of sound, and other things, made on all processors.

The compiled loops let go of Python's lock for milliseconds at a time: threads make windows with
them. Numpy lets go of it for each of its thousands of short sums, and threads that hand it to and
fro spend as long waiting as adding: where nothing is compiled, and for what is made mostly in
Python, processes do the work, forked where that is safe. What is made of an item depends on nothing
but the item: the samples are the same on one processor.
"""

from __future__ import annotations

import mmap
import pickle
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager
from multiprocessing.connection import Connection, wait
from typing import Any, Final, Generic, TypeVar

import numpy as np

from backing.aside import keep_memory, may_fork
from backing.mixdown.loops import compiled
from backing.mixdown.loudness import Audio
from backing.processes import Worker, hired

SLOTS: Final = 6
"""Windows a worker may be ahead."""

SHARED_BYTES: Final = 1 << 27
"""Of what a worker makes; what is more goes through its pipe, in twice the time."""
_ALIGNED: Final = 64
_NO_RESERVE: Final = 0x4000  # MAP_NORESERVE of Linux, which Python does not name

Item = TypeVar("Item")
T = TypeVar("T")

Make = Callable[[Item, Audio], T]
"""Writes the sound of an item over a float32 array, and says something of it."""
Begin = Callable[[], Make[Item, T]]
"""Sets up the desk of a worker: what it makes sound with, and need not share."""


def made(
    begin: Begin[Item, T], items: Sequence[Item], shape: tuple[int, ...], workers: int
) -> Iterator[tuple[Item, Audio, T]]:
    """Every item in order, with its sound (of ``shape``) and what was said of it.

    ``workers``: how many processes or threads make them; 1: none but this one. What a worker
    raises is raised here; what it says must be small, and can be pickled. Raises MachineError
    for a worker that was killed.
    """
    keep_memory()
    workers = min(workers, len(items))
    if workers <= 1:
        yield from _alone(begin, items, shape)
    elif compiled is None and may_fork():
        yield from _by_processes(begin, items, shape, workers)
    else:
        yield from _by_threads(begin, items, shape, workers)


Desk = Callable[[], AbstractContextManager[Callable[[Item], T]]]
"""The desk of a worker who makes things, and how it is left."""


def mapped(desk: Desk[Item, T], items: Sequence[Item], workers: int) -> Iterator[T]:
    """What is made of every item, in any order; all of it must be possible to pickle.

    ``workers`` and errors as in ``made``.
    """
    workers = min(workers, len(items))
    if workers <= 1:
        with desk() as make:
            yield from map(make, items)
    elif may_fork():
        yield from _mapped_by_processes(desk, items, workers)
    else:

        def share(number: int) -> list[T]:
            with desk() as make:
                return [make(item) for item in items[number::workers]]

        with ThreadPoolExecutor(workers) as pool:
            for made_here in pool.map(share, range(workers)):
                yield from made_here


def _mapped_by_processes(desk: Desk[Item, T], items: Sequence[Item], workers: int) -> Iterator[T]:
    left = deque(range(len(items)))
    with (
        desk() as make,  # forked with it, each has its own
        hired(workers, lambda _: _Teller(make, items)) as crew,
    ):
        # whoever is done takes the next, and has one more at hand meanwhile
        for mine in crew * 2:
            if left:
                mine.ask(left.popleft())
        busy = {mine.pipe: mine for mine in crew if mine.asked}
        while busy:
            for ready in wait(list(busy)):
                assert isinstance(ready, Connection)
                mine = busy[ready]
                what = mine.answer()
                if left:
                    mine.ask(left.popleft())
                elif not mine.asked:
                    del busy[ready]
                yield what
        yield from (make(items[number]) for number in left)


class _Teller(Worker, Generic[Item, T]):
    """A worker that makes things of those items it is asked for.

    The arrays in them lie in memory that both processes share; they are views of it.
    """

    def __init__(self, make: Callable[[Item], T], items: Sequence[Item]) -> None:
        """Raises OSError where there is no room for a pipe."""
        self._shared = _shared(SHARED_BYTES)
        self.asked = 0
        super().__init__(_tell, make, items, self._shared)

    def ask(self, number: int) -> None:
        """Have something made of the item of this number."""
        self.send(number)
        self.asked += 1

    def answer(self) -> T:
        """What is made of the item it was asked for first."""
        words, places = self.heard()
        self.asked -= 1
        what: T = pickle.loads(words, buffers=[self._shared[place] for place in places])
        return what


def _shared(size: int) -> memoryview:
    """Memory shared with what is forked, taken only as it is used; none where there is no room."""
    try:
        return memoryview(mmap.mmap(-1, size, mmap.MAP_SHARED | mmap.MAP_ANONYMOUS | _NO_RESERVE))
    except OSError:
        return memoryview(bytearray())  # writable: an array of nothing goes into it


def _tell(
    pipe: Connection, make: Callable[[Any], Any], items: Sequence[Any], shared: memoryview
) -> None:
    """Tell what is made of the items asked for, until the other end is closed."""
    end = 0
    while True:
        what, arrays = make(items[pipe.recv()]), list[pickle.PickleBuffer]()
        words = pickle.dumps(what, 5, buffer_callback=arrays.append)
        places: list[slice] = []
        for array in arrays:
            raw = array.raw()
            start = -(-end // _ALIGNED) * _ALIGNED
            end = start + raw.nbytes
            places.append(slice(start, end))
            if end <= len(shared):
                shared[start:end] = raw
        if end > len(shared):  # from now on the pipe takes it
            words, places = pickle.dumps(what, 5), []
        pipe.send(((words, places), None))


def _alone(
    begin: Begin[Item, T], items: Iterable[Item], shape: tuple[int, ...]
) -> Iterator[tuple[Item, Audio, T]]:
    make = begin()
    for item in items:
        sound = np.empty(shape, np.float32)
        yield item, sound, make(item, sound)


def _by_threads(
    begin: Begin[Item, T], items: Iterable[Item], shape: tuple[int, ...], workers: int
) -> Iterator[tuple[Item, Audio, T]]:
    waiting: deque[tuple[Item, Audio, Future[T]]] = deque()
    desks = threading.local()

    def make(item: Item, sound: Audio) -> T:
        if not hasattr(desks, "make"):
            desks.make = begin()
        said: T = desks.make(item, sound)
        return said

    with ThreadPoolExecutor(workers) as pool:
        try:
            for item in items:
                sound = np.empty(shape, np.float32)
                waiting.append((item, sound, pool.submit(make, item, sound)))
                if len(waiting) > workers * SLOTS:
                    done, sound, future = waiting.popleft()
                    yield done, sound, future.result()
            while waiting:
                done, sound, future = waiting.popleft()
                yield done, sound, future.result()
        finally:
            for *_, future in waiting:
                future.cancel()


def _by_processes(
    begin: Begin[Item, T], items: Iterable[Item], shape: tuple[int, ...], workers: int
) -> Iterator[tuple[Item, Audio, T]]:
    def maker(_: int) -> _Maker[Item, T]:
        return _Maker(begin, shape)

    with hired(workers, maker) as crew:
        if not crew:
            yield from _alone(begin, items, shape)
            return
        waiting: deque[tuple[Item, _Maker[Item, T]]] = deque()
        for number, item in enumerate(items):
            if len(waiting) == len(crew) * SLOTS:
                yield _taken(*waiting.popleft())
            mine = crew[number % len(crew)]
            mine.ask(item)
            waiting.append((item, mine))
        while waiting:
            yield _taken(*waiting.popleft())


def _taken(item: Item, maker: _Maker[Item, T]) -> tuple[Item, Audio, T]:
    sound, said = maker.answer()
    return item, sound, said


class _Maker(Worker, Generic[Item, T]):
    """A worker that makes what it is asked for, in order, in memory that both processes share."""

    def __init__(self, begin: Begin[Item, T], shape: tuple[int, ...]) -> None:
        """Raises OSError where there is no room for a pipe, or for that memory."""
        size = int(np.prod(shape)) * 4
        memory = mmap.mmap(-1, max(1, size * SLOTS))
        self._slots = np.frombuffer(memory, np.float32, size // 4 * SLOTS).reshape(SLOTS, *shape)
        self._asked = self._answered = 0
        super().__init__(_serve, begin, self._slots)

    def ask(self, item: Item) -> None:
        """Have an item made; no more than SLOTS at a time."""
        self.send((item, self._asked % SLOTS))
        self._asked += 1

    def answer(self) -> tuple[Audio, T]:
        """The sound of the first item not answered yet, and what there is to say of it."""
        said: T = self.heard()
        sound = self._slots[self._answered % SLOTS].copy()
        self._answered += 1
        return sound, said


def _serve(pipe: Connection, begin: Begin[Any, Any], slots: Audio) -> None:
    """Make what is asked for until the other end is closed."""
    make = begin()
    while True:
        item, slot = pipe.recv()
        pipe.send((make(item, slots[slot]), None))
