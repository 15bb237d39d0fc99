"""Many tracks at once: on all processors of this machine, or on a cluster.

Both are executors of the standard ``concurrent.futures``: a pool of processes here, Dask's there.
Each track is made whole in a hidden folder beside its place and put there when it is finished;
whatever stops the work, the hidden folder goes and finished tracks stay. A track that cannot be
made does not stop the others.
"""

from __future__ import annotations

import multiprocessing
import os
import shutil
import signal
import sys
import tempfile
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from importlib import import_module
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Protocol, Self

from backing.cli.job import MIDI_SUFFIXES, Made
from backing.cli.status import DONE, OURS, USERS, in_words, ours
from backing.errors import MissingProgram, UserError
from backing.memory import collect_seldom
from backing.saving import check_writable, hidden_folder, output_error, temporary_path, write_file

BEGUN = "begun"
"""In the hidden folder: a process has been started."""
PATIENCE_SECONDS = 10
"""How long a cluster may take to answer."""


class Job(Protocol):
    """What can be made by itself, in any process: a file, which others may stand beside."""

    @property
    def target(self) -> Path: ...
    def at(self, target: Path) -> Self: ...
    def shared(self, threads: int) -> Self: ...
    def packed(self) -> Self: ...
    def check_inputs(self, target: Path) -> None: ...
    def make(self) -> Made: ...


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a track: an exit ``status``, and what there is to say.

    ``contents``: the files by name, where they come from another machine. ``places``: where the
    files are in the end.
    """

    status: int
    words: str
    paths: tuple[Path, ...] = ()
    contents: tuple[tuple[str, bytes], ...] = ()
    places: tuple[Path, ...] = ()


def outcomes(jobs: Sequence[Job], cluster: str | None = None) -> Iterator[Outcome]:
    """Make all tracks; yields what became of each as it is finished.

    ``cluster``: the address of a Dask scheduler. Raises UserError for a cluster that is not there,
    FeelError for a feel file that cannot be sent along.
    """
    possible = []
    for job in jobs:
        try:
            check_writable(job.target)
            job.check_inputs(job.target)
        except UserError as error:
            yield _refused(job, error)
        else:
            possible.append(job.packed())
    if possible and cluster is not None:
        yield from _from_cluster(possible, cluster)
    elif possible:
        yield from _from_this_machine(possible)


def _refused(job: Job, error: UserError) -> Outcome:
    """What is said of a track that cannot be made by a mistake of the user's."""
    which = "" if error.placed or job.target.name in str(error) else f"{job.target.name}: "
    return Outcome(USERS, in_words(error).replace("backing: ", f"backing: {which}", 1))


def _from_this_machine(jobs: Sequence[Job]) -> Iterator[Outcome]:
    with hidden_folder(jobs[0].target.parent) as folder:
        staging = Path(folder)
        processors = _processors()
        # MIDI is written faster than a process starts
        quick = all(job.target.suffix.lower() in MIDI_SUFFIXES for job in jobs)
        processes = 0 if quick else min(len(jobs), processors)
        with _processes(processes, staging) as executor:
            if executor is None:
                yield from (_result(None, job, staging) for job in jobs)
            else:
                jobs = [job.shared(max(1, processors // processes)) for job in jobs]
                yield from _finished(executor, jobs, staging)


def _from_cluster(jobs: Sequence[Job], address: str) -> Iterator[Outcome]:
    # Dask gives each of its threads a track
    jobs = [job.shared(1) for job in jobs]
    with _client(address) as client:
        executor = client.get_executor(pure=False)
        try:
            yield from _finished(executor, jobs, None)
        finally:
            executor.shutdown(wait=False)  # what is not finished is cancelled


def _finished(executor: Executor, jobs: Sequence[Job], staging: Path | None) -> Iterator[Outcome]:
    """What became of each track, in its place; an executor keeps nothing that was taken."""
    with _blocked(signal.SIGINT):  # the processes start here, and this one will end them
        waiting = {_begun(executor, job, staging): job for job in jobs}
    while waiting:
        done, _ = wait(waiting, return_when=FIRST_COMPLETED)
        while done:
            future = done.pop()
            outcome = _result(future, waiting.pop(future), staging)
            del future
            yield outcome


def _begun(executor: Executor, job: Job, staging: Path | None) -> Future[Outcome]:
    """A track being made; one that cannot be begun, where processes die or do not start, failed."""
    try:
        return executor.submit(attempt, job, staging)
    except Exception as error:
        failed: Future[Outcome] = Future()
        failed.set_exception(error)
        return failed


def _result(future: Future[Outcome] | None, job: Job, staging: Path | None) -> Outcome:
    """What became of a track; without a ``future`` it is made here and now."""
    try:
        return _placed(_outcome(future, job, staging), job)
    except UserError as error:
        return _refused(job, error)
    except Exception as error:
        where = "the cluster could not make it" if staging is None else "its process was ended"
        advice = "It may have run out of memory: ask for less at once."
        if staging is None:
            advice = "Look at the workers' own words."
        name = type(error).__name__
        return Outcome(USERS, f"backing: {job.target.name}: {where} ({name}). {advice}")


def _outcome(future: Future[Outcome] | None, job: Job, staging: Path | None) -> Outcome:
    if future is not None:
        try:
            return future.result()
        except (BrokenExecutor, OSError):
            if staging is None or (staging / BEGUN).exists():
                raise
    # no process can be started
    return attempt(job, staging)


def _placed(outcome: Outcome, job: Job) -> Outcome:
    """Put finished files in their places, through links."""
    folder = job.target.parent
    names = [path.name for path in outcome.paths] + [name for name, _ in outcome.contents]
    if not all(_is_of(name, job) for name in names):
        raise ValueError(f"files of other names: {names}")
    for path in outcome.paths:
        _move(path, folder / path.name)
    for name, data in outcome.contents:
        write_file(folder / name, data)
    return replace(outcome, contents=(), places=tuple(folder / name for name in names))


def _move(made: Path, place: Path) -> None:
    """Put a finished file in its place, through links. Raises OutputError."""
    check_writable(place)
    target = place.resolve()
    try:
        if made.stat().st_dev != target.parent.stat().st_dev:  # a link leads to another disk
            part = temporary_path(target)
            try:
                shutil.copyfile(made, part)
                part.replace(target)
            finally:
                part.unlink(missing_ok=True)
        else:
            made.replace(target)
    except OSError as error:
        raise output_error(error, place) from error


def _is_of(name: str, job: Job) -> bool:
    """Whether a file of this name can be a track's, or a stem of it."""
    mine = Path(job.target.name)
    ours = name.startswith((f"{mine.stem}.", f"{mine.stem}-")) and name.endswith(mine.suffix)
    return ours and not {"/", "\\", ":", "\0"} & set(name.removeprefix(mine.stem))


# ---- in the worker ---------------------------------------------------------------------------


def attempt(job: Job, staging: Path | None) -> Outcome:
    """Make a track in the folder ``staging``; whatever goes wrong is told in words.

    Without a folder that both sides see, the files come along as bytes.
    """
    if staging is not None:
        return _attempt(job, staging)
    with tempfile.TemporaryDirectory(prefix="backing-") as folder:
        outcome = _attempt(job, Path(folder))
        contents = tuple((path.name, path.read_bytes()) for path in outcome.paths)
        return replace(outcome, paths=(), contents=contents)


def _attempt(job: Job, staging: Path) -> Outcome:
    shown = "" if job.target.parent == Path() else f"{job.target.parent}{os.sep}"
    status = DONE
    paths: tuple[Path, ...] = ()
    folder = tempfile.mkdtemp(dir=staging)  # jobs for several folders may have one name
    try:
        made = job.at(Path(folder, job.target.name)).make()
        words, paths = made.summary, made.paths
    except UserError as error:
        status, words = USERS, _refused(job, error).words
    except Exception as error:  # one track of many: the others go on
        status, words = OURS, ours(error).replace("backing: ", f"backing: {job.target.name}: ", 1)
    return Outcome(status, words.replace(f"{folder}{os.sep}", shown), paths)


def _begin(parent: Connection, staging: Path) -> None:
    """Begin a worker: deaf to Ctrl-C, and gone when its parent is, however that ended."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    collect_seldom()
    try:
        (staging / BEGUN).touch()
    except FileNotFoundError:  # stopped before this worker began, and swept
        os._exit(1)
    threading.Thread(target=_end_with, args=(parent, staging), daemon=True).start()


def _end_with(parent: Connection, staging: Path) -> None:
    with suppress(EOFError, OSError):
        parent.recv()  # nothing is ever sent: it ends when the other end is closed
    shutil.rmtree(staging, ignore_errors=True)
    os._exit(1)


# ---- executors -------------------------------------------------------------------------------


@contextmanager
def _processes(count: int, staging: Path) -> Iterator[Executor | None]:
    """A pool of processes, which end at once when this is left by an exception.

    None for no processes, and where they cannot wait for each other: without /dev/shm, say.
    """
    pool = None
    reader, writer = multiprocessing.Pipe(duplex=False)
    with suppress(OSError, ImportError, NotImplementedError, ValueError):
        _start_tracker()
        context = multiprocessing.get_context("spawn")
        given = (reader, staging)
        pool = ProcessPoolExecutor(count, context, initializer=_begin, initargs=given)
    if pool is None:
        yield None
        return
    try:
        yield pool
        pool.shutdown()
    finally:
        writer.close()
        pool.shutdown(cancel_futures=True)
        reader.close()


def _start_tracker() -> None:
    """Start multiprocessing's resource tracker, which closing a terminal ends but Ctrl-C does not.

    It inherits the mask of signals, and complains of what it lost where it has to be started again.
    """
    if not hasattr(signal, "pthread_sigmask"):  # Windows has neither
        return
    from multiprocessing import resource_tracker

    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGHUP})
    try:
        resource_tracker.ensure_running()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _processors() -> int:
    """The processors that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def _blocked(number: signal.Signals) -> Iterator[None]:
    """Block a signal, which processes inherit that are started now (POSIX.1, sigprocmask)."""
    if sys.platform == "win32":
        yield  # each process ignores it by itself
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {number})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _client(address: str) -> Any:
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise MissingProgram(
            "A cluster is reached through Dask, which is not installed.",
            "Install it: pip install 'backing[cluster]'.",
        ) from None
    try:
        return distributed.Client(address, timeout=PATIENCE_SECONDS, set_as_default=False)
    except Exception as error:  # of Dask, of TLS without certificates, of the network
        cure = "Start one with dask scheduler, and name the address it prints."
        if address.startswith("tls:"):
            cure = "Name its certificates in Dask's configuration, under distributed.comm.tls."
        raise UserError(f"No Dask scheduler answers at {address}.", cure) from error
