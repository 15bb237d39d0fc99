"""Runs cases of a target one after the other, and tells what became of them."""

from __future__ import annotations

import hashlib
import random
import resource
import signal
import sys
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from backing.errors import UserError

SECONDS = 2
"""Of processor time that a case may take, on a machine that is busy as well."""
WAITING_SECONDS = 60
MEMORY_BYTES = 1_500_000_000
"""Address space beyond what is taken before the first case."""
CORPUS = Path(__file__).with_name("corpus")
FOUND = Path("fuzz-found").absolute()


@dataclass(frozen=True)
class Target:
    """What is fuzzed: ``make`` makes a case, ``run`` runs one and raises what is wrong.

    ``run`` returns a word for what became of it, or raises a UserError, as every reader may.
    """

    name: str
    make: Callable[[random.Random], bytes]
    run: Callable[[bytes], str]


@dataclass
class Counts:
    """How often what came of the cases of a target; ``failures`` by their last line."""

    became: Counter[str] = field(default_factory=Counter)
    failures: Counter[str] = field(default_factory=Counter)
    slowest: float = 0.0

    @property
    def cases(self) -> int:
        return self.became.total() + self.failures.total()

    def __str__(self) -> str:
        became = ", ".join(f"{count:,} {word}" for word, count in self.became.most_common(8))
        failed = f"{self.failures.total():,} FAILED" if self.failures else "0 failed"
        return f"{self.cases:>9,} cases, {failed}, slowest {self.slowest:.2f} s: {became}"


class Hang(BaseException):
    """A case that took too long; no reader may catch it."""


class Wrong(Exception):  # noqa: N818 - what is wrong with a case that raised nothing
    """A promise that is broken without an error."""


def judged(target: Target, data: bytes) -> str:
    """What became of a case; raises what no user may see."""
    try:
        with watched():
            return target.run(data)
    except UserError as error:
        check_sentence(error)
        hidden = error.__cause__
        inner = hidden is not None and not isinstance(hidden, UserError | OSError)
        return f"caught {type(hidden).__name__}" if inner else "refused"


def check_sentence(error: UserError) -> None:
    """Raise Wrong for what is no sentence."""
    text = str(error)
    if not error.cause.strip() or "Traceback" in text or " object at 0x" in text:
        raise Wrong(f"no sentence: {text[:300]!r}")


def fuzz(target: Target, rng: random.Random, seconds: float, most: int, counts: Counts) -> None:
    """Run cases for so long, and so many at most."""
    stop = time.monotonic() + seconds
    for _ in range(most):
        if time.monotonic() > stop:
            return
        data = target.make(rng)
        begun = time.process_time()
        try:
            counts.became[judged(target, data)] += 1
        except (Exception, Hang) as error:
            line = traceback.format_exception_only(error)[-1].strip()[:160]
            if counts.failures[line] < 3:
                _keep(target, data, error)
            counts.failures[line] += 1
        counts.slowest = max(counts.slowest, time.process_time() - begun)


def _keep(target: Target, data: bytes, error: BaseException) -> None:
    place = FOUND / target.name / hashlib.sha256(data).hexdigest()[:12]
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(data)
    text = "".join(traceback.format_exception(error))
    place.with_suffix(".txt").write_text(text, "utf-8", "replace")
    print(f"{target.name}: {place}\n{text[-1500:]}", file=sys.stderr, flush=True)


@contextmanager
def watched() -> Iterator[None]:
    """Raise Hang inside where too long is taken."""

    def ring(number: int, _frame: object) -> None:
        raise Hang(f"over {SECONDS} s" if number == signal.SIGPROF else "it waits")

    before = [signal.signal(number, ring) for number in (signal.SIGPROF, signal.SIGALRM)]
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    signal.setitimer(signal.ITIMER_REAL, WAITING_SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        for number, handler in zip((signal.SIGPROF, signal.SIGALRM), before, strict=True):
            signal.signal(number, handler)


def bound_memory() -> None:
    """Let no case take much more memory than is taken now."""
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    most = pages * resource.getpagesize() + MEMORY_BYTES
    resource.setrlimit(resource.RLIMIT_AS, (most, resource.getrlimit(resource.RLIMIT_AS)[1]))


def peak_megabytes() -> float:
    """The most memory that was taken."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
