"""Processes ended at random moments: no half file, nothing lost, nobody left."""

from __future__ import annotations

import contextlib
import faulthandler
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from backing import saving
from backing.cli import check, main, page, sheet, track  # noqa: F401 - what is forked has them
from tests.cli.conftest import SMALL
from tests.fuzz.readers import SMALL as TUNE

SIGNALS = ("KILL", "TERM", "INT", "HUP")
START = """
import faulthandler, signal, sys
faulthandler.enable()
signal.signal(signal.SIGINT, signal.default_int_handler)
for number in (signal.SIGTERM, signal.SIGHUP):
    signal.signal(number, signal.SIG_DFL)
from backing.cli import run
print("begun", flush=True)
run()
"""
"""What nohup or the background of a shell made deaf hears again."""
LOOP = ("--bars", "1-4", "--tempo", "300", "--soundfont", SMALL)
KINDS = {
    "track": ("track", "a.tune", "-o", "out/a.wav", "--times", "16", *LOOP),
    "mp3": ("track", "a.tune", "-o", "out/a.mp3", "--times", "16", *LOOP),
    "stems": ("track", "a.tune", "-o", "out/a.flac", "--times", "8", "--stems", *LOOP),
    "batch": ("track", "a.tune", "b.tune", "c.tune", "-o", "out", "--times", "8", *LOOP),
    "page": ("page", "a.tune", "-o", "out/a.html", "--soundfont", SMALL),
    "sheet": ("sheet", "a.tune", "-o", "out/a.pdf", "--line", "etude"),
}
GRACE_SECONDS = 60


class Reference(NamedTuple):
    """Where work is done, the files that it makes undisturbed, and how long that takes (s)."""

    place: Path
    files: dict[str, bytes]
    seconds: float


@dataclass
class Matrix:
    """What became of the processes ended, by (signal, kind)."""

    ended: Counter[tuple[str, str]] = field(default_factory=Counter)
    became: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)


def fuzz(
    seconds: float, seed: int, kinds: Collection[str] = (*KINDS,), ends: Collection[str] = SIGNALS
) -> int:
    """End processes for so long and print the matrix; returns how many left what they must not."""
    rng = random.Random(f"kills {seed}")
    matrix = Matrix()
    with tempfile.TemporaryDirectory(prefix="backing-kills-") as name:
        place = Path(name)
        for tune in "abc":
            (place / f"{tune}.tune").write_bytes(TUNE)
        references = {kind: _reference(kind, place) for kind in kinds}
        stop = time.monotonic() + seconds
        while time.monotonic() < stop:
            for kind in kinds:
                for end in ends:
                    if time.monotonic() < stop:
                        _ended(kind, end, references[kind], rng, matrix)
    _print(matrix)
    return len(matrix.wrong)


def _print(matrix: Matrix) -> None:
    print(f"kills   {'  '.join(f'{end:>5}' for end in SIGNALS)}")
    for kind in KINDS:
        print(f"{kind:<8}{'  '.join(f'{matrix.ended[end, kind]:>5}' for end in SIGNALS)}")
    print(", ".join(f"{count} {word}" for word, count in matrix.became.most_common()))
    print(f"{len(matrix.wrong)} left what they must not", flush=True)
    for line in matrix.wrong:
        print(f"    {line}", flush=True)


def _reference(kind: str, place: Path) -> Reference:
    """What an undisturbed run makes."""
    _emptied(place)
    begun = time.monotonic()
    process = _started(kind, place, place / "none", forked=False)
    status, _, told = _waited(process, place)
    assert status == 0, told
    taken = time.monotonic() - begun
    shutil.rmtree(place / "none", ignore_errors=True)
    files = {path.name: path.read_bytes() for path in (place / "out").iterdir()}
    return Reference(place, files, taken)


def _emptied(place: Path) -> Path:
    out = place / "out"
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir()
    return out


def _started(kind: str, place: Path, cache: Path, *, forked: bool) -> int:
    """Start a kind of work in a session of its own; returns the number of its process.

    ``forked``: from this process, which has imported most of it, so that it begins at once.
    """
    environment = {
        **os.environ,
        "XDG_CACHE_HOME": str(cache),
        "PYTHONPATH": str(Path(saving.__file__).parents[1]),
    }
    process = os.fork()
    if process:
        return process
    status = 1
    try:
        status = _child(kind, place, environment, forked=forked)
    except KeyboardInterrupt:  # before it began
        status = 130
    finally:
        os._exit(status)


def _child(kind: str, place: Path, environment: dict[str, str], *, forked: bool) -> int:
    os.setsid()
    os.chdir(place)
    for number, name in ((1, "said"), (2, "told")):
        os.dup2(os.open(name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
    if not forked:
        os.execve(sys.executable, [sys.executable, "-c", START, *KINDS[kind]], environment)
    os.environ.update(environment)
    faulthandler.enable(os.dup(2))
    signal.signal(signal.SIGINT, signal.default_int_handler)
    for each in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(each, signal.SIG_DFL)
    os.write(1, b"begun")
    return main(KINDS[kind])


def _waited(process: int, place: Path) -> tuple[int, str, str]:
    """Exit status, and what a process said on stdout and stderr; one that goes on is killed."""
    deadline = time.monotonic() + GRACE_SECONDS
    while not (found := os.waitpid(process, os.WNOHANG))[0]:
        if time.monotonic() > deadline:
            os.kill(process, signal.SIGKILL)
            os.waitpid(process, 0)
            return -1000, "begun", "it went on"
        time.sleep(0.01)
    said, told = (_text(place / name) for name in ("said", "told"))
    return os.waitstatus_to_exitcode(found[1]), said, told


def _ended(kind: str, end: str, reference: Reference, rng: random.Random, matrix: Matrix) -> None:
    """Start a kind of work, end it at a random moment, and look at what is there."""
    place, whole, usual = reference
    out = _emptied(place)
    for name in ("said", "told"):
        (place / name).unlink(missing_ok=True)
    old = {name: b"the old one" for name in whole if rng.random() < 0.5}
    for name, data in old.items():
        (out / name).write_bytes(data)
    # a cache of its own half of the time: else what was made before the kill is found
    cache = place / "cache" if rng.random() < 0.3 else place / f"cache-{rng.random()}"
    forked = rng.random() < 0.7
    process = _started(kind, place, cache, forked=forked)
    group = end != "KILL" and rng.random() < 0.4
    time.sleep(rng.uniform(0, usual * (0.5 if forked else 1.0)))
    with contextlib.suppress(ProcessLookupError):
        number = getattr(signal, f"SIG{end}")
        (os.killpg if group else os.kill)(process, number)
    status, said, told = _waited(process, place)
    faults = [*_left(process), *_files(out, whole, old, killed=end == "KILL")]
    faults += _words(status, end, said, told, matrix)
    matrix.ended[end, kind] += 1
    matrix.wrong += [f"{end}{' of the group' if group else ''} {kind}: {fault}" for fault in faults]
    if cache.name != "cache":
        shutil.rmtree(cache, ignore_errors=True)


def _text(path: Path) -> str:
    """What was said; nothing where it ended before it could say anything."""
    return path.read_text("utf-8", "replace") if path.exists() else ""


def _left(session: int) -> list[str]:
    """The processes of a session that are still there after a while."""
    deadline = time.monotonic() + GRACE_SECONDS
    while (alive := _alive(session)) and time.monotonic() < deadline:
        time.sleep(0.05)
    return [f"left: {name}" for name in alive]


def _alive(session: int) -> list[str]:
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            state = (folder / "stat").read_text().rpartition(")")[2].split()
            if int(state[3]) == session and state[0] != "Z":
                found.append((folder / "cmdline").read_bytes().replace(b"\0", b" ").decode()[:90])
    return found


def _files(out: Path, whole: dict[str, bytes], old: dict[str, bytes], *, killed: bool) -> list[str]:
    if killed:  # what is half done stays until the next run in this folder
        saving.sweep.cache_clear()
        saving.sweep(out)
    faults = []
    for path in out.iterdir():
        if path.name not in whole:
            faults.append(f"there is a {path.name}")
        elif path.read_bytes() not in (whole[path.name], old.get(path.name)):
            faults.append(f"{path.name} is neither old nor whole")
    return [*faults, *(f"{name} is lost" for name in old if not (out / name).exists())]


def _words(status: int, end: str, said: str, told: str, matrix: Matrix) -> list[str]:
    number = getattr(signal, f"SIG{end}")
    before = "begun" not in said
    # a plain kill before the command listens to it ends it, with nothing begun
    allowed = {0, -number} if before or end == "KILL" else {0, 130}
    allowed |= {-number} if end in {"TERM", "HUP"} and not told else set()
    matrix.became[f"{'ended before it began' if before else f'with status {status}'}"] += 1
    if before:
        return []
    faults = [] if status in allowed else [f"status {status}: {told[:3000]}"]
    if "Traceback" in told or re.search(r"\b(Error|Exception)\b", told):
        faults.append(f"said: {told[-1500:]}")
    return faults
