"""Windows of sound, and other things, made on all processors.

Numpy lets go of Python's lock for each of its thousands of short sums, and threads that hand it to
and fro spend as long waiting as adding. So the work is done by processes: forked where that is
safe (Linux), because they find all notes in place and take 10 ms to begin; elsewhere by threads.
What is made of an item depends on nothing but the item: the samples are the same on one processor.
"""

from __future__ import annotations

import ctypes
import mmap
import signal
import sys
import threading
import warnings
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager, suppress
from multiprocessing import Pipe, connection, get_context
from multiprocessing.connection import Connection
from multiprocessing.context import ForkProcess
from typing import Any, Final, Generic, TypeVar

import numpy as np

from backing.errors import InternalError
from backing.mixdown.loudness import Audio

FORKS: Final = sys.platform == "linux"
"""Whether processes are forked. macOS's own libraries do not survive it, Windows cannot."""
SLOTS: Final = 6
"""Windows a worker may be ahead."""

_ENDED = "A process that makes the sound has ended; the system may have run out of memory."

Item = TypeVar("Item")
T = TypeVar("T")

Make = Callable[[Item, Audio], T]
"""Writes the sound of an item over a float32 array, and says something of it."""
Begin = Callable[[], Make[Item, T]]
"""Sets up the desk of a worker: what it makes sound with, and need not share."""


def made(
    begin: Begin[Item, T], items: Iterable[Item], shape: tuple[int, ...], workers: int
) -> Iterator[tuple[Item, Audio, T]]:
    """Every item in order, with its sound (of ``shape``) and what was said of it.

    ``workers``: how many processes or threads make them; 1: none but this one. What a worker
    raises is raised here; what it says must be small, and can be pickled.
    """
    if workers == 1:
        make = begin()
        for item in items:
            sound = np.empty(shape, np.float32)
            yield item, sound, make(item, sound)
    elif FORKS:
        _keep_memory()
        yield from _by_processes(begin, items, shape, workers)
    else:
        yield from _by_threads(begin, items, shape, workers)


Desk = Callable[[], AbstractContextManager[Callable[[Item], T]]]
"""The desk of a worker who makes things, and how it is left."""


def mapped(desk: Desk[Item, T], items: Sequence[Item], workers: int) -> Iterator[T]:
    """What is made of every item, in any order; all of it must be possible to pickle.

    ``workers`` as in ``made``.
    """
    workers = min(workers, len(items))
    if workers <= 1:
        with desk() as make:
            yield from map(make, items)
    elif FORKS:
        yield from _mapped_by_processes(desk, items, workers)
    else:

        def share(number: int) -> list[T]:
            with desk() as make:
                return [make(item) for item in items[number::workers]]

        with ThreadPoolExecutor(workers) as pool:
            for made_here in pool.map(share, range(workers)):
                yield from made_here


def _mapped_by_processes(desk: Desk[Item, T], items: Sequence[Item], workers: int) -> Iterator[T]:
    pipes: list[Connection] = []
    processes: list[ForkProcess] = []
    try:
        for number in range(workers):
            mine, its = Pipe(duplex=False)
            process = _forked(_tell_all, desk, items[number::workers], its, [mine, *pipes])
            its.close()
            pipes.append(mine)
            processes.append(process)
        listening = list(pipes)
        while listening:
            for ready in connection.wait(listening):
                assert isinstance(ready, Connection)
                said = _received(ready)
                if said is None:
                    listening.remove(ready)
                else:
                    yield said[0]
    finally:
        for pipe in pipes:
            pipe.close()
        for process in processes:
            process.join()


def _tell_all(
    desk: Desk[Any, Any],
    items: Iterable[Any],
    pipe: Connection,
    inherited: Iterable[Connection],
) -> None:
    """Tell what is made of each item, or of what went wrong; then that it is the end."""
    _settle(inherited)
    with suppress(BrokenPipeError, ConnectionResetError):
        try:
            with desk() as make:
                for item in items:
                    pipe.send(((make(item),), None))
        except (BrokenPipeError, ConnectionResetError):
            raise
        except Exception as error:
            pipe.send((None, error))
        pipe.send((None, None))


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
    crew: list[_Worker[Item, T]] = []
    try:
        for _ in range(workers):
            crew.append(_Worker(begin, shape, [each.pipe for each in crew]))
        waiting: deque[tuple[Item, _Worker[Item, T]]] = deque()
        for number, item in enumerate(items):
            if len(waiting) == workers * SLOTS:
                yield _taken(*waiting.popleft())
            worker = crew[number % workers]
            worker.ask(item)
            waiting.append((item, worker))
        while waiting:
            yield _taken(*waiting.popleft())
    finally:
        for worker in crew:
            worker.dismiss()


def _taken(item: Item, worker: _Worker[Item, T]) -> tuple[Item, Audio, T]:
    sound, said = worker.answer()
    return item, sound, said


class _Worker(Generic[Item, T]):
    """A forked process that makes what it is asked for, in order, in memory that both share."""

    def __init__(
        self, begin: Begin[Item, T], shape: tuple[int, ...], others: Iterable[Connection]
    ) -> None:
        size = int(np.prod(shape)) * 4
        self._memory = mmap.mmap(-1, max(1, size * SLOTS))
        self._slots = np.frombuffer(self._memory, np.float32, size // 4 * SLOTS).reshape(
            SLOTS, *shape
        )
        self._asked = self._answered = 0
        self.pipe, end = Pipe()
        self._process = _forked(_serve, begin, end, self._slots, [self.pipe, *others])
        end.close()

    def ask(self, item: Item) -> None:
        """Have an item made; no more than SLOTS at a time."""
        try:
            self.pipe.send((item, self._asked % SLOTS))
        except OSError:
            raise InternalError(_ENDED) from None
        self._asked += 1

    def answer(self) -> tuple[Audio, T]:
        """The sound of the first item not answered yet, and what there is to say of it."""
        said: T = _received(self.pipe)
        sound = self._slots[self._answered % SLOTS].copy()
        self._answered += 1
        return sound, said

    def dismiss(self) -> None:
        """Let the process end; it is gone afterwards."""
        self.pipe.close()
        self._process.join()


def _serve(
    begin: Begin[Any, Any], pipe: Connection, slots: Audio, inherited: Iterable[Connection]
) -> None:
    """Make what is asked for until the other end is closed."""
    _settle(inherited)
    make = begin()
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            item, slot = pipe.recv()
            try:
                pipe.send((make(item, slots[slot]), None))
            except (BrokenPipeError, ConnectionResetError):
                raise
            except Exception as error:
                pipe.send((None, error))


def _forked(work: Callable[..., None], *arguments: Any) -> ForkProcess:
    """A process that does ``work``, begun; it does not outlive this one."""
    process = get_context("fork").Process(target=work, args=arguments, daemon=True)
    with warnings.catch_warnings():
        # Python warns of threads; those of BLAS know of forks, and a worker takes no lock of ours
        warnings.simplefilter("ignore", DeprecationWarning)
        process.start()
    return process


def _received(pipe: Connection) -> Any:
    """What a worker tells; raises what went wrong there."""
    try:
        said, error = pipe.recv()
    except (EOFError, OSError):
        raise InternalError(_ENDED) from None
    if error is not None:
        raise error
    return said


def _settle(inherited: Iterable[Connection]) -> None:
    """Make a forked process a worker."""
    # Ctrl-C is for the process that writes the file, which then closes the pipe
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for other in inherited:
        other.close()
    _keep_memory()


def _keep_memory() -> None:
    """Have the C library keep what is given back to it.

    glibc returns large pieces to the system at once and fetches them again, page by page, for the
    next window: that takes as long as the sums in them.
    """
    trim_threshold, mmap_threshold = -1, -3  # M_TRIM_THRESHOLD, M_MMAP_THRESHOLD in malloc.h
    with suppress(AttributeError, OSError):  # another C library
        library = ctypes.CDLL(None)
        library.mallopt(trim_threshold, 1 << 30)
        library.mallopt(mmap_threshold, 32 << 20)
