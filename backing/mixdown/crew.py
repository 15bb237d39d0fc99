"""Windows of sound, and other things, made on all processors.

The compiled loops let go of Python's lock for milliseconds at a time: threads make windows with
them. Numpy lets go of it for each of its thousands of short sums, and threads that hand it to and
fro spend as long waiting as adding: where nothing is compiled, and for what is made mostly in
Python, processes do the work, forked where that is safe; they find all notes in place and take
10 ms to begin. What is made of an item depends on nothing but the item: the samples are the same on
one processor.

Nobody stays behind: a worker ends when the other end of its pipe is closed, by whoever dismisses it
or by the system, when the process that forked it is gone.
"""

from __future__ import annotations

import ctypes
import gc
import mmap
import multiprocessing
import pickle
import signal
import sys
import threading
import traceback
import warnings
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager, contextmanager, suppress
from itertools import chain
from multiprocessing.connection import Connection, Pipe, wait
from typing import Any, Final, Generic, TypeVar

import numpy as np

from backing.errors import InternalError, MachineError
from backing.mixdown.loops import compiled
from backing.mixdown.loudness import Audio

FORKS: Final = sys.platform == "linux"
"""Whether this system forks. macOS's own libraries do not survive it, Windows cannot."""
SLOTS: Final = 6
"""Windows a worker may be ahead."""

_ENDED = (
    "The system has ended a process that made the sound; it may have run out of memory.",
    "Close other programs, or ask for less at once.",
)

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
    _keep_memory()
    workers = min(workers, len(items))
    if workers <= 1:
        yield from _alone(begin, items, shape)
    elif compiled is None and _may_fork():
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
    elif _may_fork():
        yield from _mapped_by_processes(desk, items, workers)
    else:

        def share(number: int) -> list[T]:
            with desk() as make:
                return [make(item) for item in items[number::workers]]

        with ThreadPoolExecutor(workers) as pool:
            for made_here in pool.map(share, range(workers)):
                yield from made_here


def _may_fork() -> bool:
    """Whether processes can be forked here and now.

    Beside other threads of Python they cannot: a lock that one of them holds stays closed in the
    fork for ever. And a daemonic process (a worker of Dask) may have no children.
    """
    return FORKS and threading.active_count() == 1 and not multiprocessing.current_process().daemon


def _mapped_by_processes(desk: Desk[Item, T], items: Sequence[Item], workers: int) -> Iterator[T]:
    shares = [items[number::workers] for number in range(workers)]
    with _crew(workers, lambda number: _Worker(_tell_all, desk, shares[number])) as crew:
        listening = {worker.pipe: worker for worker in crew}
        while listening:
            for ready in wait(list(listening)):
                assert isinstance(ready, Connection)
                said = listening[ready].heard()
                if said is None:
                    del listening[ready]
                else:
                    yield said[0]
        left = shares[len(crew) :]
    if left:
        with desk() as make:
            yield from map(make, chain.from_iterable(left))


def _tell_all(pipe: Connection, desk: Desk[Any, Any], items: Iterable[Any]) -> None:
    """Tell what is made of each item; then that it is the end."""
    with desk() as make:
        for item in items:
            pipe.send(((make(item),), None))
    pipe.send((None, None))


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

    with _crew(workers, maker) as crew:
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


class _Worker:
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

    def leave(self) -> None:
        """Wait until it has ended."""
        if self.started:
            self._process.join()


class _Maker(_Worker, Generic[Item, T]):
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
        try:
            self.pipe.send((item, self._asked % SLOTS))
        except OSError:
            raise MachineError(*_ENDED) from None
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


_pipes: set[Connection] = set()
"""Our ends of the pipes to all workers there are. A fork closes its copies of them, or no other
worker would hear that we are gone."""

W = TypeVar("W", bound=_Worker)


@contextmanager
def _crew(count: int, worker: Callable[[int], W]) -> Iterator[list[W]]:
    """So many workers, or as many as the system has room for; all of them are gone afterwards."""
    crew: list[W] = []
    try:
        with suppress(OSError):
            for number in range(count):
                crew.append(worker(number))  # first: whatever happens now, it will be dismissed
                crew[number].start()
        yield [each for each in crew if each.started]
    finally:
        for each in crew:
            each.dismiss()
        for each in crew:
            each.leave()


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
    _keep_memory()


@contextmanager
def _signals_put_off() -> Iterator[None]:
    """Put those that end the work off; a process forked meanwhile cannot be struck half-made."""
    stops = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
    before = signal.pthread_sigmask(signal.SIG_BLOCK, stops)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _keep_memory() -> None:
    """Have the C library keep what is given back to it, from now on.

    glibc returns large pieces to the system at once and fetches them again, page by page, for the
    next window: that takes as long as the sums in them.
    """
    trim_threshold, mmap_threshold = -1, -3  # M_TRIM_THRESHOLD, M_MMAP_THRESHOLD in malloc.h
    with suppress(AttributeError, OSError):  # another C library
        library = ctypes.CDLL(None)
        library.mallopt(trim_threshold, 1 << 30)
        library.mallopt(mmap_threshold, 32 << 20)
