"""Memory: too little of it becomes one sentence, before a library in C falls over it."""

from __future__ import annotations

import errno
import gc
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from math import inf
from pathlib import Path

from backing.errors import TOO_LITTLE_MEMORY, MachineError

SOUND_BYTES = 350_000_000
"""Of address space to make sound: with less FluidSynth (2.3.1) crashes (measured, Linux)."""
THREADS_BYTES = 1_000_000_000
"""For several threads, of which each has a stack and a heap of its own (glibc: 8 and 64 MB)."""
SHEET_BYTES = 150_000_000
"""To typeset a sheet: with less Typst (0.15) ends the process (measured, Linux)."""
HEARING_BYTES = 500_000_000
"""To hear a take: with 200 MB it never ended, 600 are enough (onnxruntime 1.32, Linux)."""
_SAID = re.compile(r"failed to map|cannot map|allocate memory|can't start new")
"""What the dynamic linker of glibc says of too little memory, and Python of no room for a stack."""


def collect_seldom() -> None:
    """Look for garbage seldom: what a command or a worker makes is alive until it is done."""
    gc.set_threshold(50_000, 20, 50)


def check_room(needed: int) -> None:
    """Raise MachineError where this process may not take so many bytes more (``ulimit -v``)."""
    if room() < needed:
        raise MachineError(*TOO_LITTLE_MEMORY)


def room() -> float:
    """The bytes of address space that this process may still take; infinite without a limit."""
    with suppress(ImportError, OSError):  # of Windows, of systems without /proc
        import resource  # noqa: PLC0415

        most, _ = resource.getrlimit(resource.RLIMIT_AS)
        if most != resource.RLIM_INFINITY:
            pages = int(Path("/proc/self/statm").read_text("ascii").split()[0])
            return most - pages * resource.getpagesize()
    return inf


@contextmanager
def enough_memory() -> Iterator[None]:
    """Inside, whatever comes of too little memory raises MachineError."""
    try:
        yield
    except (MemoryError, RuntimeError, ImportError, OSError) as error:
        if (
            isinstance(error, MemoryError)
            or _SAID.search(str(error))
            or getattr(error, "errno", None) == errno.ENOMEM
        ):
            raise MachineError(*TOO_LITTLE_MEMORY) from error
        raise
