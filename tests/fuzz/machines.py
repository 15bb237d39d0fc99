"""Machines that lack something: each kind of work is done, or refused in a sentence, and no more.

Some need root and Linux's namespaces; where those are missing the machine is told as left out.
"""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path

from backing import saving
from tests.fuzz.kills import KINDS
from tests.fuzz.readers import SMALL as TUNE

NOBODY = 65534
RUN = "from backing.cli import run; run()"
TIMEOUT_SECONDS = 300


@dataclass(frozen=True)
class Machine:
    """``shell`` comes before the command, in a mount namespace of its own where ``apart``.

    ``works``: the kinds that have to succeed, all others may be refused. ``user``: whose process.
    """

    name: str
    shell: str = ":"
    apart: bool = False
    works: Sequence[str] = ()
    user: int = 0
    homeless: bool = False


EASY = ("track", "mp3", "stems", "page", "sheet")
MACHINES = (
    Machine("a disk of 300 kB", "mount -t tmpfs -o size=300k none out", apart=True, works=()),
    Machine("a folder that is read-only", "mount -t tmpfs -o ro none out", apart=True),
    Machine("no /dev/shm", "mount --bind -o ro empty /dev/shm && mount -o remount,ro,bind /dev/shm",
            apart=True, works=tuple(KINDS)),
    Machine("64 open files", "ulimit -n 64", works=EASY),
    Machine("300 MB of address space", "ulimit -v 300000", works=("sheet",)),
    Machine("130 MB of address space", "ulimit -v 130000"),
    Machine("600 MB of address space", "ulimit -v 600000", works=EASY),
    Machine("30 s of processor time", "ulimit -t 30", works=("sheet",)),
    Machine("no home and no name", "chmod 777 out", works=tuple(KINDS), user=54321, homeless=True),
    Machine("another user's folder", "chmod 755 out", user=NOBODY, homeless=True),
)  # fmt: skip


def fuzz(seconds: float, seed: int) -> int:
    """Do kinds of work on machines, and together, in any order, all of them if there is time.

    Returns how many went wrong.
    """
    rows: list[tuple[Machine | int, str]] = [*product(MACHINES, KINDS), *product((2, 8), KINDS)]
    random.Random(seed).shuffle(rows)
    stop, wrong, done = time.monotonic() + seconds, 0, 0
    for machine, kind in rows:
        if time.monotonic() > stop:
            break
        done += 1
        with tempfile.TemporaryDirectory(prefix="backing-machine-") as name:
            if isinstance(machine, int):
                wrong += _told(f"{machine} at once: {kind}", _together(machine, kind, Path(name)))
            elif os.geteuid() != 0 and (machine.apart or machine.user):
                print(f"machines: {machine.name}: left out, it needs root", flush=True)
            else:
                wrong += _told(f"{machine.name}: {kind}", _tried(machine, kind, Path(name)))
    print(f"machines: {done} of {len(rows)}, {wrong} went wrong", flush=True)
    return wrong


def _told(what: str, said: tuple[str, str]) -> int:
    became, fault = said
    print(f"machines: {what}: {became}{' WRONG: ' if fault else ''}{fault}", flush=True)
    return int(bool(fault))


def _place(folder: Path) -> dict[str, str]:
    """A folder with tunes and an old file, and the environment of a process there."""
    folder.chmod(0o755)
    for tune in "abc":
        (folder / f"{tune}.tune").write_bytes(TUNE)
    for name in ("out", "empty", "cache"):
        (folder / name).mkdir()
    (folder / "cache").chmod(0o777)
    return {
        **os.environ, "XDG_CACHE_HOME": str(folder / "cache"),
        "PYTHONPATH": str(Path(saving.__file__).parents[1]), "PYTHONDONTWRITEBYTECODE": "1",
    }  # fmt: skip


def _tried(machine: Machine, kind: str, folder: Path) -> tuple[str, str]:
    environment = _place(folder)
    if machine.homeless:
        environment = {k: v for k, v in environment.items() if k not in ("HOME", "XDG_CACHE_HOME")}
    left = "&& ls -A out >left || { status=$?; ls -A out >left; exit $status; }"
    drop = f"setpriv --reuid={machine.user} --clear-groups " if machine.user else ""
    script = f'{machine.shell} && {drop}"$@" {left}'
    apart = ["unshare", "-m"] if machine.apart else []
    done = subprocess.run(
        [*apart, "bash", "-c", script, "bash", sys.executable, "-c", RUN, *KINDS[kind]],
        cwd=folder, env=environment, capture_output=True, text=True, errors="replace",
        check=False, timeout=TIMEOUT_SECONDS,
    )  # fmt: skip
    files = (folder / "left").read_text().split() if (folder / "left").exists() else []
    return f"status {done.returncode}, {_last(done.stderr)}", _fault(machine, kind, done, files)


def _fault(
    machine: Machine, kind: str, done: subprocess.CompletedProcess[str], files: Sequence[str]
) -> str:
    if "Traceback" in done.stderr or done.returncode not in (0, 2):
        return done.stderr[-1500:]
    if done.returncode and kind in machine.works:
        return "it has to work there"
    hidden = [name for name in files if name.startswith(".")]
    if hidden or (done.returncode and kind != "batch" and files):
        return f"left: {files}"
    return ""


def _last(text: str) -> str:
    return (text.strip().splitlines() or ["nothing said"])[-1].strip()[:110]


def _together(count: int, kind: str, folder: Path) -> tuple[str, str]:
    """So many of the same at once, on one output and one cache."""
    environment = _place(folder)
    words = [sys.executable, "-c", RUN, *KINDS[kind]]
    started = [
        subprocess.Popen(words, cwd=folder, env=environment, stderr=subprocess.PIPE)
        for _ in range(count)
    ]
    told = [process.communicate(timeout=TIMEOUT_SECONDS)[1].decode() for process in started]
    statuses = [process.returncode for process in started]
    files = {path.name: path.read_bytes() for path in (folder / "out").iterdir()}
    shutil.rmtree(folder / "cache")
    (folder / "out" / "again").mkdir()
    subprocess.run(words, cwd=folder, env=environment, check=True, capture_output=True)
    whole = {path.name: path.read_bytes() for path in (folder / "out").iterdir() if path.is_file()}
    became = f"statuses {sorted(set(statuses))}, {len(files)} files"
    if any(statuses) or files != whole:
        return became, f"{sorted(files)} of {sorted(whole)}: {max(told, key=len)[-800:]}"
    return became, ""
