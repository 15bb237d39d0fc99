"""What README shows: its commands do what they say, and its tunes are shipped ones."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from backing.cli import main
from backing.cli.parser import parse

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
FEELS = (ROOT / "backing" / "combo" / "feels" / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"^```console\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
COMMANDS = [line for block in BLOCKS for line in block.splitlines()]
EXAMPLES = [line for line in COMMANDS if line.startswith("backing ")]
LONGEST = 311
"""Lines it had before help screens took the reference over."""


def test_readme_has_its_two_commands_and_examples() -> None:
    setups = [line for line in COMMANDS if line.startswith("apt-get")]
    assert len(setups) == 2
    assert len(EXAMPLES) >= 10
    assert EXAMPLES[0].startswith("backing play ")
    assert README.count("\n") < LONGEST * 2 / 3


def test_ci_runs_the_test_command_of_readme() -> None:
    setup = next(line for line in COMMANDS if "pytest" in line)
    assert setup in (ROOT / ".ci" / "run").read_text("utf-8")


def test_the_tunes_in_readme_are_shipped_ones() -> None:
    shown = re.findall(r"^```text\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    shipped = [path.read_text("utf-8") for path in (ROOT / "tunes").glob("*.tune")]
    assert shown
    for text in shown:
        assert any(text in tune for tune in shipped)


def test_the_feel_in_the_page_on_feels_plays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = re.search(r"^```toml\n(.*?)^```", FEELS, re.MULTILINE | re.DOTALL)
    assert text is not None
    monkeypatch.chdir(tmp_path)
    Path("mine.toml").write_text(text[1], "utf-8")
    tune = str(ROOT / "tunes" / "corner-booth.tune")
    assert main(["track", tune, "-o", "mine.mid", "--feel", "mine.toml"]) == 0
    assert Path("mine.mid").stat().st_size > 1000


def test_the_library_is_used_as_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    code = re.search(r"^```python\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert code is not None
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {}
    exec(code[1], names)
    midi = names["midi"]
    assert isinstance(midi, bytes)
    assert midi.startswith(b"MThd")


def test_links_lead_somewhere() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target


@pytest.mark.parametrize("example", EXAMPLES)
def test_the_examples_run(example: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(ROOT / "tunes", tmp_path / "tunes")
    monkeypatch.chdir(tmp_path)
    words = shlex.split(example, comments=True)[1:]
    if words[0] == "play":
        assert parse(words)  # tests/page/test_command.py plays
        return
    assert main(words) == 0
    if "-o" in words:
        target = Path(words[words.index("-o") + 1])
        files = f"{target.stem}*{target.suffix}" if target.suffix else "*.mp3"
        made = list((target.parent if target.suffix else target).glob(files))
        assert made
        assert all(file.stat().st_size > 1000 for file in made)
