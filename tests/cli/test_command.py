"""The command itself: what --help says, exit statuses, pipes, terminals, Ctrl-C."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import jsonschema
import pytest

from backing import __version__
from backing.cli.options import COMMANDS
from tests.cli.conftest import SMALL, TUNE, Run, run_apart

ROOT = Path(__file__).parents[2]
COMMAND = (sys.executable, "-m", "backing")
NAMED = re.compile(r"--[a-z][a-z-]+")

BAR = {
    "type": "object",
    "required": ["bar", "section", "key", "meter", "feel", "beats", "chords"],
    "properties": {
        "beats": {"type": "number", "exclusiveMinimum": 0},
        "chords": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["chord", "beat", "early_beats"],
                "properties": {
                    "chord": {"type": ["string", "null"]},
                    "beat": {"type": "number", "minimum": 1},
                },
            },
        },
    },
}
TUNES = {
    "type": "array",
    "items": {
        "type": "object",
        "required": ["file", "title", "key", "meter", "tempo_bpm", "feel", "head", "solos", "out"],
        "properties": {
            "tempo_bpm": {"type": "number", "minimum": 1},
            **{order: {"type": "array", "items": BAR} for order in ("head", "solos", "out")},
        },
    },
}
"""What ``check --json`` promises (JSON Schema draft 2020-12)."""


@pytest.fixture
def readme() -> str:
    return (ROOT / "README.md").read_text("utf-8")


@pytest.mark.parametrize("command", [name for name in COMMANDS if name != "help"])
def test_readme_knows_every_option(readme: str, command: str) -> None:
    options = {option.spelled for option in COMMANDS[command].options} - {"--output"}  # -o
    assert options <= set(NAMED.findall(readme))


def test_every_option_of_readme_is_one(readme: str) -> None:
    known = {option.spelled for command in COMMANDS.values() for option in command.options}
    assert set(NAMED.findall(readme.partition("## I want to")[2])) - {"--help"} <= known


def test_version(run: Run) -> None:
    assert run("--version").out == f"backing {__version__}\n"


def test_help_and_mistakes_import_nothing_heavy() -> None:
    heavy = {"numpy", "mido", "pretty_midi", "soundfile", "fluidsynth", "mutagen", "tqdm", "joblib"}
    code = (
        "import atexit, sys\n"
        "show = lambda: print(*{m.split('.')[0] for m in sys.modules}, file=sys.stderr)\n"
        "atexit.register(show)"
    )
    for words in (
        ("--help",),
        ("track", "--help"),
        ("check", "none.tune"),
        ("track", "--nothing"),
        ("help", "lines"),
    ):
        run = run_apart(*words, code=code)
        assert not heavy & set(run.stderr.split()), words


def test_it_runs_as_a_module(here: Path) -> None:
    run = subprocess.run(
        [*COMMAND, "check", "four.tune"], capture_output=True, text=True, check=False
    )
    assert run.returncode == 0
    assert "Four Steps" in run.stdout
    assert run.stderr == ""


def test_a_reader_that_goes_away_is_nobodys_mistake(here: Path) -> None:
    (here / "long.tune").write_text(TUNE + "| Dm7 | G7 | Cmaj7 | % |\n" * 100)
    command = subprocess.Popen(
        [*COMMAND, "check", *["long.tune"] * 40], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert command.stdout is not None
    assert command.stderr is not None
    command.stdout.read(10)
    command.stdout.close()
    told = command.stderr.read()
    assert command.wait() == 0
    assert told == b""
    command.stderr.close()


def test_json_keeps_its_promise(here: Path, run: Run) -> None:
    tunes = sorted(map(str, (ROOT / "tunes").glob("*.tune")))
    said = run("check", "--json", *tunes)
    assert said.status == 0
    data = json.loads(said.out)
    jsonschema.validate(data, TUNES)
    assert [tune["file"] for tune in data] == tunes


def test_json_of_good_tunes_beside_a_bad_one(here: Path, run: Run) -> None:
    (here / "bad.tune").write_text(TUNE.replace("G7", "Gblah"))
    said = run("check", "--json", "bad.tune", "four.tune")
    assert said.status == 2
    assert [tune["title"] for tune in json.loads(said.out)] == ["Four Steps"]
    assert "bad.tune:6:" in said.err


def test_feels_and_tidy(here: Path, run: Run) -> None:
    assert re.search(r"^swing +\S", run("check", "--feels").out, re.MULTILINE)
    tidy = run("check", "--tidy", "four.tune").out
    (here / "tidy.tune").write_text(tidy)
    assert run("check", "--tidy", "tidy.tune").out == tidy


def test_sounds_says_which_and_why(run: Run) -> None:
    said = run("sounds", "--soundfont", SMALL)
    assert said.status == 0
    assert "-> TimGM6mb" in said.out
    assert "license: GPL-2" in said.out


def test_quiet_is_quiet_and_a_pipe_hears_no_progress(here: Path, run: Run) -> None:
    words = ("track", "four.tune", "-o", "four.wav", "--soundfont", SMALL, "--choruses", "1")
    assert run(*words, "--quiet").err == ""
    told = run(*words, "--no-cache").err
    assert "%" not in told
    assert "\r" not in told
    assert told.splitlines()[0] == "Four Steps -> four.wav"


def test_too_little_memory_is_told(here: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **_named: object) -> None:
        raise MemoryError

    monkeypatch.setattr("backing.mixdown.mix.render", full)
    said = run("track", "four.tune", "-o", "four.wav", "--no-cache")
    assert said.complains("not enough memory", "ask for less")
    both = run("track", "four.tune", "four.tune", "-o", "folder/", "--no-cache")
    assert both.status == 2
    monkeypatch.setattr("backing.cli.check.check", full)
    assert run("check", "four.tune").complains("not enough memory")
    assert not list(here.rglob("*.wav"))


def test_a_fault_of_ours_is_told_from_a_mistake(
    run: Run, here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from backing.errors import InternalError

    def broken(*_: object) -> None:
        raise InternalError("The band fell off the stage.")

    monkeypatch.setattr("backing.cli.job._arranged", broken)
    said = run("track", "four.tune", "-o", "four.wav")
    assert said.status == 1
    assert "fault of ours" in said.err


OWNING_THE_TERMINAL = """
import fcntl, signal, sys, termios
signal.signal(signal.SIGINT, signal.default_int_handler)
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
from backing.cli import main
sys.exit(main())
"""


def on_a_terminal(words: tuple[str, ...], stop: str = "") -> tuple[int, str]:
    """Run the command on a terminal of 100 columns; type Ctrl-C once ``stop`` is on the screen."""
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))

    command = subprocess.Popen(
        [sys.executable, "-c", OWNING_THE_TERMINAL, *words],
        stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    os.close(slave)
    screen, typed, patience = "", False, time.monotonic() + 120
    while time.monotonic() < patience:
        if select.select([master], [], [], 0.05)[0]:
            try:
                screen += os.read(master, 65536).decode()
            except OSError:  # the terminal is closed when the command ends
                break
        if stop and not typed and re.search(stop, screen):
            os.write(master, b"\x03")
            typed = True
    os.close(master)
    return command.wait(timeout=60), screen


def test_a_terminal_sees_the_time_left(here: Path) -> None:
    status, screen = on_a_terminal(
        ("track", "four.tune", "-o", "four.wav", "--soundfont", SMALL, "--no-cache")
    )
    assert status == 0
    assert re.search(r"four\.wav .* \d+ %  [\d:]+ left", screen)


def test_ctrl_c_in_the_middle_leaves_the_old_file(here: Path) -> None:
    (here / "four.wav").write_bytes(b"the old one")
    long = ("--bars", "1-4", "--times", "400", "--soundfont", SMALL, "--no-cache")
    status, screen = on_a_terminal(("track", "four.tune", "-o", "four.wav", *long), r" [1-9]\d* %")
    assert status == 130
    assert "stopped" in screen
    assert "Traceback" not in screen
    assert (here / "four.wav").read_bytes() == b"the old one"
    assert {path.name for path in here.iterdir()} == {"four.tune", "four.wav"}


def test_ctrl_c_in_a_batch_leaves_what_is_finished(here: Path) -> None:
    for number in range(6):
        (here / f"{number}.tune").write_text(TUNE.replace("180", str(180 + number)))
    tunes = tuple(f"{number}.tune" for number in range(6))
    long = ("--bars", "1-4", "--times", "30", "--soundfont", SMALL, "--no-cache")
    status, screen = on_a_terminal(("track", *tunes, "-o", ".", *long), "[1-5] of 6 tracks")
    assert status == 130
    assert "Traceback" not in screen
    names = {path.name for path in here.iterdir()} - {"four.tune", *tunes}
    assert names
    assert names < {f"{number}.wav" for number in range(6)}
