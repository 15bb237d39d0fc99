"""The command as its users meet it: words in, files, words and an exit status out."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from backing.cli import main
from backing.mixdown.soundfont import _built_in

SMALL = str(_built_in()[0])
"""The SoundFont that comes with pretty_midi: on every machine, and the quickest."""
TUNE = """\
title: Four Steps
key: C
tempo: 180

section A
| Dm7 | G7 | Cmaj7 | % |
"""


@dataclass(frozen=True)
class Said:
    """What a run of the command gave."""

    status: int
    out: str
    err: str

    def complains(self, *words: str) -> bool:
        """Whether it ended as the user's mistake, said in one line that holds these words."""
        told = self.err.strip()
        clear = told.startswith("backing: ") and "\n" not in told and "Traceback" not in told
        return self.status == 2 and clear and all(word in told for word in words)


Run = Callable[..., Said]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with one small tune."""
    folder = tmp_path / "here"
    folder.mkdir()
    (folder / "four.tune").write_text(TUNE, "utf-8")
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command in this process."""

    def run_here(*words: str) -> Said:
        try:
            status = main(words)
        except SystemExit as leaving:  # argparse leaves by itself
            status = int(leaving.code or 0)
        said = capsys.readouterr()
        return Said(status, said.out, said.err)

    return run_here


def run_apart(*words: str, code: str = "") -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own, ``code`` before it."""
    start = f"{code}\nimport sys\nfrom backing.cli import main\nsys.exit(main())"
    return subprocess.run(
        [sys.executable, "-c", start, *words],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
