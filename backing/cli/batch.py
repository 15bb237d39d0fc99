"""Many tracks at once: on all processors of this machine, or on a cluster.

Each track is made whole in a hidden folder beside its place and put there when it is finished;
whatever stops the work, the hidden folder goes and finished tracks stay. A track that cannot be
made does not stop the others.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import tempfile
import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from backing.cli.job import Job, make, packed
from backing.cli.status import DONE, OURS, USERS
from backing.errors import MissingProgram, UserError
from backing.saving import output_error, write_file

PATIENCE_SECONDS = 10
"""How long a cluster may take to answer."""
STAGING = ".backing-"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a track: an exit ``status``, and what there is to say.

    ``contents``: the files by name, where they come from another machine.
    """

    status: int
    words: str
    paths: tuple[Path, ...] = ()
    contents: tuple[tuple[str, bytes], ...] = ()


def outcomes(jobs: Sequence[Job], cluster: str | None = None) -> Iterator[Outcome]:
    """Make all tracks; yields what became of each as it is finished.

    ``cluster``: the address of a Dask scheduler. Raises UserError for a cluster that is not there,
    FeelError for a feel file that cannot be sent along.
    """
    jobs = [packed(job) for job in jobs]
    if cluster is not None:
        return _on_cluster(jobs, cluster)
    return _on_this_machine(jobs)


def _on_this_machine(jobs: Sequence[Job]) -> Iterator[Outcome]:
    import joblib

    folder = jobs[0].target.parent
    processors = joblib.cpu_count()
    processes = min(len(jobs), processors)
    if all(job.midi for job in jobs):
        processes = 1  # they are written faster than a process starts
    if processes > 1:
        jobs = [replace(job, threads=max(1, processors // processes)) for job in jobs]
    with _staging(folder) as staging, warnings.catch_warnings():
        # a worker whose memory has grown is replaced by a fresh one, which is as it should be
        warnings.filterwarnings("ignore", "A worker stopped while some jobs", UserWarning)
        work = joblib.Parallel(
            processes, return_as="generator_unordered", batch_size=1, pre_dispatch="2*n_jobs"
        )
        todo = (joblib.delayed(_attempt_in_process)(job, Path(staging)) for job in jobs)
        with _deaf_to_ctrl_c():  # the processes start here, and this one will end them
            results = work(todo)
        for outcome in results:
            yield _placed(outcome, folder)


def _staging(folder: Path) -> tempfile.TemporaryDirectory[str]:
    place = folder.resolve()  # the same wherever a process stands
    try:
        return tempfile.TemporaryDirectory(prefix=STAGING, dir=place, ignore_cleanup_errors=True)
    except OSError as error:
        raise output_error(error, folder / "track") from error


@contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Put Ctrl-C off for a moment; a process that is started in it never hears one."""
    if threading.current_thread() is not threading.main_thread():
        yield  # nowhere else can it be set
        return
    heard: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _: heard.append(number))
    try:
        with _blocked(signal.SIGINT):
            yield
    finally:
        signal.signal(signal.SIGINT, before)
    if heard:
        raise KeyboardInterrupt


@contextmanager
def _blocked(number: signal.Signals) -> Iterator[None]:
    """Block a signal, which processes inherit that are started now (POSIX.1, sigprocmask)."""
    if sys.platform == "win32":
        yield  # each process turns a deaf ear by itself
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {number})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _attempt_in_process(job: Job, staging: Path) -> Outcome:
    """``attempt``; in a process of its own deaf to Ctrl-C: the one that started it will end it."""
    if multiprocessing.current_process().name != "MainProcess":
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # one that stands in for another is not yet
    return attempt(job, staging)


def attempt(job: Job, staging: Path) -> Outcome:
    """Make a track in the folder ``staging``; whatever goes wrong is told in words."""
    shown = "" if job.target.parent == Path() else f"{job.target.parent}{os.sep}"
    status = DONE
    paths: tuple[Path, ...] = ()
    try:
        made = make(replace(job, target=staging / job.target.name))
        words, paths = made.summary, made.paths
    except UserError as error:
        which = "" if job.target.name in str(error) else f"{job.target.name}: "
        status, words = USERS, f"backing: {which}{error}"
    except Exception as error:  # one track of many: the others go on
        fault = f"{type(error).__name__}: {error}"
        words = f"backing: {job.target.name}: {fault} This is a fault of ours; please report it."
        status = OURS
    return Outcome(status, words.replace(f"{staging}{os.sep}", shown), paths)


def _placed(outcome: Outcome, folder: Path) -> Outcome:
    """Put finished files in their places, through links."""
    for path in outcome.paths:
        path.replace((folder / path.name).resolve())
    for name, data in outcome.contents:
        write_file(folder / name, data)
    return outcome


def _on_cluster(jobs: Sequence[Job], address: str) -> Iterator[Outcome]:
    dask = _dask()
    folder = jobs[0].target.parent
    with _client(dask, address) as client:
        futures = {client.submit(attempt_elsewhere, job, pure=False): job for job in jobs}
        try:
            for future in dask.as_completed(futures, loop=client.loop):
                yield _placed(_result(future, futures[future]), folder)
        finally:
            client.cancel(list(futures))


def _dask() -> Any:
    try:
        import distributed
    except ImportError:
        raise MissingProgram(
            "A cluster is reached through Dask, which is not installed.",
            "Install it: pip install 'backing[cluster]'.",
        ) from None
    return distributed


def _client(dask: Any, address: str) -> Any:
    try:
        return dask.Client(address, timeout=PATIENCE_SECONDS, set_as_default=False)
    except (OSError, ValueError) as error:
        raise UserError(
            f"No Dask scheduler answers at {address}.",
            "Start one with dask scheduler, and name the address it prints.",
        ) from error


def _result(future: Any, job: Job) -> Outcome:
    try:
        outcome: Outcome = future.result()
        return outcome
    except Exception as error:  # its worker went away, or has another version
        fault = f"The cluster could not make it ({type(error).__name__})."
        return Outcome(
            USERS, f"backing: {job.target.name}: {fault} Look at the workers' own words."
        )


def attempt_elsewhere(job: Job) -> Outcome:
    """``attempt`` on a machine that does not see our folders: the files come along as bytes."""
    with tempfile.TemporaryDirectory(prefix="backing-") as folder:
        # Dask gives each of its threads a track
        outcome = attempt(replace(job, threads=1), Path(folder))
        contents = tuple((path.name, path.read_bytes()) for path in outcome.paths)
        return replace(outcome, paths=(), contents=contents)
