"""Every command README shows does what it says, and CI runs the command README gives."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from backing.chart.text.tune_file import read
from backing.cli import main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"^```console\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
COMMANDS = [line for block in BLOCKS for line in block.splitlines()]
EXAMPLES = [line for line in COMMANDS if line.startswith("backing ")]


def test_readme_has_its_two_commands_and_examples() -> None:
    setups = [line for line in COMMANDS if line.startswith("apt-get")]
    assert len(setups) == 2
    assert len(EXAMPLES) >= 10


def test_ci_runs_the_test_command_of_readme() -> None:
    setup = next(line for line in COMMANDS if "pytest" in line)
    assert setup in (ROOT / ".ci" / "run").read_text("utf-8")


def test_the_tune_in_readme_reads() -> None:
    text = re.search(r"^```text\n(title:.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert text is not None
    form = read(text[1], "README.md")
    assert len(form.played("solos")) == 32


def test_the_feel_in_readme_plays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = re.search(r"^```toml\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert text is not None
    monkeypatch.chdir(tmp_path)
    Path("mine.toml").write_text(text[1], "utf-8")
    tune = str(ROOT / "tunes" / "corner-booth.tune")
    assert main(["track", tune, "-o", "mine.mid", "--feel", "mine.toml"]) == 0
    assert Path("mine.mid").stat().st_size > 1000


@pytest.mark.parametrize("example", EXAMPLES)
def test_the_examples_run(example: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(ROOT / "tunes", tmp_path / "tunes")
    monkeypatch.chdir(tmp_path)
    words = shlex.split(example)[1:]
    assert main(words) == 0
    if "-o" in words:
        target = Path(words[words.index("-o") + 1])
        files = f"{target.stem}*{target.suffix}" if target.suffix else "*.wav"
        made = list((target.parent if target.suffix else target).glob(files))
        assert made
        assert all(file.stat().st_size > 1000 for file in made)
