"""The help screens fit a terminal, and their examples run."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from backing.cli import main
from backing.cli.help import TOPICS, overview, screen, topic
from backing.cli.options import COMMANDS
from backing.cli.parser import parse
from tests.cli.conftest import Run

ROOT = Path(__file__).parents[2]
HIGH, WIDE = 45, 80
SCREENS = {
    "backing": overview(),
    **{name: screen(command) for name, command in COMMANDS.items()},
    **{f"help {name}": topic(name) for name in TOPICS},
}
EXAMPLES = [
    line.split("   ")[0]
    for text in SCREENS.values()
    for line in re.findall(r"^  (backing (?!COMMAND).*)$", text, re.MULTILINE)
]


@pytest.mark.parametrize("name", SCREENS)
def test_a_screen_is_a_screen(name: str) -> None:
    lines = SCREENS[name].splitlines()
    assert len(lines) <= HIGH
    assert max(map(len, lines)) <= WIDE


@pytest.mark.parametrize("name", TOPICS)
def test_every_topic_has_an_example(name: str) -> None:
    assert re.search(r"^  backing \S+ ", topic(name), re.MULTILINE)


def test_every_word_of_a_topic_that_looks_like_an_option_is_one() -> None:
    known = {option.spelled for command in COMMANDS.values() for option in command.options}
    for name, text in SCREENS.items():
        assert set(re.findall(r"--[a-z][a-z-]*", text)) <= known | {"--help"}, name


@pytest.mark.parametrize("example", EXAMPLES)
def test_the_examples_run(
    example: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cache_home: Path
) -> None:
    shutil.copytree(ROOT / "tunes", tmp_path / "tunes")
    monkeypatch.chdir(tmp_path)
    words = shlex.split(example)[1:]
    if "ADDRESS" in words or words[0] in ("play", "take"):
        assert parse(words)
    else:
        assert main(words) == 0


@pytest.mark.parametrize("words", [(), ("help",), ("--help",), ("-h",)])
def test_the_whole_is_shown(run: Run, words: tuple[str, ...]) -> None:
    said = run(*words)
    assert (said.status, said.out) == (0, overview() + "\n")
    assert all(re.search(rf"^  {name} +\S", said.out, re.MULTILINE) for name in COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_is_shown_wherever_help_stands(run: Run, command: str) -> None:
    shown = screen(COMMANDS[command]) + "\n"
    for words in ((command, "--help"), (command, "x.tune", "-h"), ("help", command)):
        assert run(*words).out == shown


def test_the_command_of_no_name(run: Run) -> None:
    assert run("help", "trak").complains('"trak"', 'Did you mean "track"?')
    assert run("trak", "--help").complains('"trak"', 'Did you mean "track"?')


def test_no_topic_hides_behind_a_command() -> None:
    assert not TOPICS.keys() & COMMANDS.keys()
