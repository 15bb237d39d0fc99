"""Too little memory is one sentence, wherever it runs out."""

from __future__ import annotations

import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from backing.errors import TOO_LITTLE_MEMORY, MachineError
from backing.memory import check_room, enough_memory, room
from tests.cli.conftest import SMALL

TUNE = "key: C\n| Dm7 | G7 | Cmaj7 | % |\n"
SAID = f"backing: {' '.join(TOO_LITTLE_MEMORY)}\n"


@pytest.mark.skipif(sys.platform != "linux", reason="ulimit -v and /proc")
@pytest.mark.parametrize("kilobytes", [60_000, 130_000])
@pytest.mark.parametrize(
    "words",
    [
        f"track a.tune -o a.wav --no-cache --soundfont {SMALL}",
        f"track a.tune b.tune -o . --no-cache --soundfont {SMALL}",
        f"page a.tune -o a.html --soundfont {SMALL}",
        "sheet a.tune -o a.pdf",
        "take a.tune a.wav",
    ],
    ids=lambda words: " ".join(words.split()[:3]),
)
def test_where_memory_is_limited_no_library_falls(
    tmp_path: Path, words: str, kilobytes: int
) -> None:
    for name in "ab":
        (tmp_path / f"{name}.tune").write_text(TUNE)
    command = shlex.join([sys.executable, "-m", "backing", *shlex.split(words)])
    done = subprocess.run(
        ["sh", "-c", f"ulimit -v {kilobytes} && {command}"],
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (2, SAID)
    assert {path.name for path in tmp_path.iterdir()} == {"a.tune", "b.tune"}


@pytest.mark.parametrize(
    "error",
    [
        MemoryError(),
        RuntimeError("can't start new thread"),
        OSError(12, "Cannot allocate memory"),
        # glibc 2.36, elf/dl-load.c
        ImportError("numpy.so: failed to map segment from shared object"),
    ],
    ids=str,
)
def test_what_comes_of_too_little_memory_is_told_as_that(error: Exception) -> None:
    with pytest.raises(MachineError), enough_memory():
        raise error


@pytest.mark.parametrize("error", [ImportError("no module"), OSError(2, "x"), RuntimeError("x")])
def test_other_errors_stay_what_they_are(error: Exception) -> None:
    with pytest.raises(type(error)), enough_memory():
        raise error


def test_without_a_limit_there_is_room() -> None:
    check_room(10**9)
    assert room() > 10**9
