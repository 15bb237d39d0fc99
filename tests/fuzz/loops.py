"""The tests of the compiled loops with other examples, on a library built with sanitizers."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import backing

SOURCE = Path(backing.__file__).parent / "mixdown" / "loops.c"
SANITIZED = ("-std=c11", "-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all",
             "-ffp-contract=off", "-shared", "-fPIC")  # fmt: skip
CHILD = """
import ctypes, sys
plain, calls = ctypes.CDLL, [0]
class Library(plain):
    def __init__(self, name, *given, **named):
        ours = str(name or "").endswith("libloops.so")
        super().__init__(sys.argv[1] if ours else name, *given, **named)
ctypes.CDLL = Library
from backing.mixdown import loops
def counting(call):
    def counted(*given):
        calls[0] += 1
        return call(*given)
    return counted
for name in loops._SIGNATURES:
    setattr(loops._loops, name, counting(getattr(loops._loops, name)))
import pytest
status = pytest.main(["-q", "-x", "-p", "no:cacheprovider", *sys.argv[2:]])
print(f"calls: {calls[0]}")
sys.exit(status)
"""


def fuzz(seconds: float, seed: int) -> int:
    """Run the tests again and again for so long; returns 1 where a sanitizer or a test failed."""
    stop = time.monotonic() + seconds
    calls = runs = 0
    with tempfile.TemporaryDirectory() as folder:
        library = Path(folder) / "libloops.so"
        subprocess.run(["gcc", *SANITIZED, str(SOURCE), "-o", str(library), "-lm"], check=True)
        preloaded = subprocess.run(
            ["gcc", "-print-file-name=libasan.so"], capture_output=True, text=True, check=True
        ).stdout.strip()
        environment = {
            **os.environ, "LD_PRELOAD": preloaded, "ASAN_OPTIONS": "detect_leaks=0",
            "HYPOTHESIS_STORAGE_DIRECTORY": folder,
        }  # fmt: skip
        while not runs or time.monotonic() < stop:
            tests = ("tests/mixdown/test_loops.py", f"--hypothesis-seed={seed + runs}")
            run = subprocess.run(
                [sys.executable, "-c", CHILD, str(library), *tests],
                env=environment, capture_output=True, text=True, check=False,
                cwd=SOURCE.parents[2],
            )  # fmt: skip
            runs += 1
            calls += int((re.findall(r"calls: (\d+)", run.stdout) or ["0"])[-1])
            if run.returncode:
                print(run.stdout[-3000:], run.stderr[-3000:], sep="\n", flush=True)
                print(f"loops: {runs} runs, {calls:,} calls, the last FAILED", flush=True)
                return 1
    print(f"loops: {runs} runs of their tests, {calls:,} calls, 0 failed", flush=True)
    return 0
