"""Every mistake is one clear sentence and exit status 2; nothing half written, nothing lost."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.conftest import SMALL, TUNE, Run, run_apart

QUICK = ("--soundfont", SMALL, "--choruses", "1", "--no-cache")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (TUNE.replace("G7", "Gblah"), ":6:"),
        (TUNE.replace("| Dm7", "|: Dm7"), ":6:1: "),
        (TUNE.replace("| Dm7 | G7 | Cmaj7 | % |", ""), ":5:"),
        (TUNE.replace("180", "0"), ":3:8: "),
        (TUNE.replace("180", "5000"), ":3:8: "),
        (TUNE.replace("| G7 |", "| G7 C7 F7 |"), ":6:"),
        (TUNE.replace("tempo: 180", "tempo: 180\nmeter: 3/4").replace("G7", "G7 C7"), ":7:"),
        (TUNE + "| Dm7 | G7 | Cmaj7 | % |\n" * 500, "too long"),
        (TUNE.replace("tempo: 180", "tempo: 180\nfeel: swnig"), ":4:7: There is no feel"),
        (TUNE.replace("section A", "section A  feel: bosa"), ":5:18: There is no feel"),
    ],
    ids=[
        "unknown chord", "unclosed repeat", "empty section", "tempo 0", "tempo 5000",
        "chords that do not fit", "meter and bar disagree", "two thousand bars",
        "unknown feel", "unknown feel of a section",
    ],
)  # fmt: skip
@pytest.mark.parametrize("command", ["check", "track"])
def test_a_mistake_in_a_tune_is_shown_in_its_place(
    here: Path, run: Run, command: str, text: str, words: str
) -> None:
    (here / "four.tune").write_text(text, "utf-8")
    said = run(command, "four.tune")
    assert said.status == 2
    if words == "too long":
        assert "four.tune:" in said.err
        assert "bars" in said.err
    else:
        assert f"four.tune{words}" in said.err
        place, line, caret, cure = said.err.splitlines()[:4]
        column = int(place.split(":")[2])
        assert caret.index("^") == column - 1 + 2
        assert line.strip()
        assert cure.strip().endswith(".")
    assert [path.name for path in here.iterdir()] == ["four.tune"]


def test_of_many_mistakes_the_first_are_shown(here: Path, run: Run) -> None:
    (here / "four.tune").write_text("key: C\n" + "| X |\n" * 1500, "utf-8")
    told = run("check", "four.tune").err.splitlines()
    assert sum(": " in line and "^" not in line for line in told) == 20 + 1
    assert told[-1] == "four.tune: 982 more. Correct these first; is it a tune file?"


@pytest.mark.usefixtures("here")
def test_an_output_without_the_signs_gets_letters_or_question_marks() -> None:
    Path("four.tune").write_text(TUNE.replace("Four Steps", "Quatre éléments ♯"), "utf-8")
    code = "import sys; sys.stdout.reconfigure(encoding='ascii')"
    said = run_apart("check", "four.tune", code=code)
    assert said.returncode == 0
    assert said.stdout.startswith("Quatre ?l?ments #\n")


# a descriptor that is only read refuses every write, as a full disk does
REFUSING = "import os; os.dup2(os.open(os.devnull, os.O_RDONLY), {})"


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize("words", [("check", "four.tune"), ("check", "--feels"), ("cache",)])
def test_an_output_that_is_full_is_told(words: tuple[str, ...]) -> None:
    said = run_apart(*words, code=REFUSING.format(1))
    assert said.returncode == 2
    assert said.stderr.startswith("backing: The output cannot be written (")
    assert len(said.stderr.splitlines()) == 1


@pytest.mark.parametrize(
    "code",
    [REFUSING.format(2), "import sys; sys.stderr = None", "import sys; sys.stdout = None"],
    ids=["stderr is full", "stderr is closed", "stdout is closed"],
)
def test_a_track_is_made_even_where_nobody_listens(here: Path, code: str) -> None:
    """Python has None for a stream that was closed when it started."""
    said = run_apart("track", "four.tune", "-o", "four.mid", code=code)
    assert said.returncode == 0
    assert (here / "four.mid").read_bytes().startswith(b"MThd")
    assert run_apart("check", "nowhere.tune", code=code).returncode == 2


def growing(folder: Path) -> bool:
    """Whether there is something in a file below a folder, whatever comes and goes there."""
    with contextlib.suppress(OSError):
        return any(path.is_file() and path.stat().st_size for path in folder.rglob("*"))
    return False


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize("tunes", [("four.tune",), ("four.tune", "more.tune")])
def test_what_ends_the_work_leaves_nothing_half_written(
    here: Path, tunes: tuple[str, ...], end: signal.Signals
) -> None:
    """Ctrl-C, a plain kill, and a terminal that is closed, once a file has begun to grow."""
    (here / "more.tune").write_text(TUNE)
    out = here / "out"
    out.mkdir()
    start = "\n".join((
        "import signal, sys",
        # tests run in the background of a shell, or by nohup, pass on deafness to these
        "signal.signal(signal.SIGINT, signal.default_int_handler)",
        "signal.signal(signal.SIGTERM, signal.SIG_DFL)",
        "signal.signal(signal.SIGHUP, signal.SIG_DFL)",
        "from backing.cli import main",
        "sys.exit(main())",
    ))  # fmt: skip
    words = ("track", *tunes, "-o", "out", "--soundfont", SMALL, "--no-cache", "--choruses", "90")
    with subprocess.Popen(
        [sys.executable, "-c", start, *words],
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    ) as process:
        while process.poll() is None and not growing(out):
            time.sleep(0.01)
        process.send_signal(end)
        _, said = process.communicate()
    assert process.returncode == 130
    assert b"stopped" in said
    assert not list(out.iterdir())


@pytest.mark.skipif(sys.platform == "win32", reason="a terminal sends nothing there")
def test_what_nohup_started_goes_on_when_the_terminal_is_closed(here: Path) -> None:
    """POSIX, nohup: SIGHUP is ignored from the start, and stays so."""
    start = "import os, signal, sys; from backing.cli import main, track\n" + "\n".join((
        "signal.signal(signal.SIGHUP, signal.SIG_IGN)",
        "track.track = lambda _: os.kill(os.getpid(), signal.SIGHUP) or 0",
        "sys.exit(main(['track']))",
    ))  # fmt: skip
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    done = subprocess.run([sys.executable, "-c", start], check=False, env=environment)
    assert done.returncode == 0


DROPPED = """
import os, signal, sys, time
import backing.cli
from backing.cli import main, track

class Odd:
    def __del__(self):  # what is raised here Python drops
        os.kill(os.getpid(), getattr(signal, sys.argv[1]))
        time.sleep(0.1)

def work(arguments):
    Odd()
    time.sleep(20)
    os._exit(7)  # nothing was heard

signal.signal(signal.SIGINT, signal.default_int_handler)
signal.signal(signal.SIGTERM, signal.SIG_DFL)
signal.signal(signal.SIGHUP, signal.SIG_DFL)
track.track = work
sys.exit(main(["track"]))
"""

STRUCK = """
import backing.cli

def main():
    try:
        exec("raise KeyboardInterrupt")  # as dataclasses are made
    except KeyboardInterrupt:
        return backing.cli.STOPPED

if __name__ == "__main__":
    backing.cli.main = main
    backing.cli.run()
"""


def test_ctrl_c_while_a_class_is_made_stops_the_work(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Python 3.11 tells of it as an error of the class."""

    class Field:
        def __set_name__(self, owner: type, name: str) -> None:
            raise KeyboardInterrupt

    monkeypatch.setattr("backing.cli.cache.cache", lambda _: type("Made", (), {"field": Field()}))
    said = run("cache")
    assert (said.status, said.out) == (130, "")
    assert "stopped" in said.err


@pytest.mark.skipif(sys.platform == "win32", reason="nothing can be sent once more there")
@pytest.mark.parametrize("end", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_what_ends_the_work_is_heard_also_where_errors_are_dropped(end: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", DROPPED, end],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == 130
    assert done.stderr.split() == (
        b"backing: stopped; finished files stay, nothing is half written.".split()
    )


def test_the_status_of_a_module_is_told_wherever_ctrl_c_struck(here: Path) -> None:
    (here / "struck.py").write_text(STRUCK)
    path = f"{here}{os.pathsep}{Path(__file__).parents[2]}"
    done = subprocess.run(
        [sys.executable, "-m", "struck"], check=False, env={**os.environ, "PYTHONPATH": path}
    )
    assert done.returncode == 130


def test_ctrl_c_while_the_words_are_read(monkeypatch: pytest.MonkeyPatch, run: Run) -> None:
    def struck(_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("backing.cli.parse", struck)
    said = run("track", "four.tune")
    assert said.status == 130
    assert "stopped" in said.err


@pytest.mark.parametrize("data", [b"\xff\xfe\x00\x01", b"title: \x00", os.urandom(200) + b"\xff"])
def test_what_is_no_text(here: Path, run: Run, data: bytes) -> None:
    (here / "four.tune").write_bytes(data)
    assert run("check", "four.tune").complains("four.tune", "text")
    assert run("track", "four.tune").complains("four.tune", "text")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--bars", "9-12"], ["1", "4"]),
        (["--bars", "X"], ["X"]),
        (["--tempo", "0"], ["20", "400"]),
        (["--tempo", "5000"], ["20", "400"]),
        (["--tempo", "fast"], ['"fast" isn\'t a tempo']),
        (["--climb", "160-80:8"], ["slower tempo first"]),
        (["--climb", "80-160:0.001"], ["200"]),
        (["--climb", "90-99 up-and-bak"], ["up-and-back", "slow-and-goal"]),
        (["--tempo", "90", "--climb", "80-100:10"], ["names its own tempos"]),
        (["--bars", "1-4", "--choruses", "3"], ["A loop has no choruses."]),
        (["--key", "fourths", "--ending", "held"], ["A loop has no ending"]),
        (["--drill", "same"], ["is for a loop", "Choose its bars"]),
        (["--drill", "sam"], ['"sam" isn\'t a word for a drill', "lay out 8", "same"]),
        (["--drill", "breath"], ['"breath" is now "rest bar"']),
        (["--drill", "lead-in 2 lead-in 3"], ['"2" and "3"', "a drill"]),
        (["--tempo", "90", "--separate"], ["--climb or several keys"]),
        (["--key", "Bb", "--separate"], ["--climb or several keys"]),
        (["--line", "level one"], ['"one"', "1, 2, 3, 4"]),
        (["--line", "guide eighths"], ["not for guide tones"]),
        (["--line", "guide position 5"], ["no position on the neck"]),
        (["--trade", "4", "--neck", "drop-d"], ["--neck", "Add --line etude"]),
        (["--only", "line"], ["Nobody has a line to play"]),
        (["--comp", "piano", "--only", "bass"], ["--comp"]),
        (["--trade", "drums first"], ["isn't a trade", "4 drums first"]),
        (["--trade", "4 with comp"], ['"comp"', "drums, line"]),
        (["--trade", "2", "--bars", "1-4", "--without", "drums"], ["nobody to trade with"]),
        (["--trade", "4", "--choruses", "2"], ["3 choruses"]),
        (["--trade", "4", "--choruses", "3"], ["Trade needs more bars"]),
        (["--trade", "4 with line"], ["Trade needs more bars"]),
        (["--trade", "2", "--bars", "1-2", "--times", "1"], ["Trade needs more bars"]),
        (["--drill", "lay out 2", "--choruses", "2"], ["for solo choruses", "3"]),
        (["--drill", "lay out 1, grow"], ["lay out there"]),
        (["--drill", "grow", "--bars", "1"], ["cannot grow"]),
        (["--drill", "rest bar", "--bars", "1-4", "--times", "1"], ["rest bar"]),
        (["--line", "etude", "--without", "line"], ["The line is asked for and left out"]),
        (["--click", "all", "--without", "click"], ["The click is asked for and left out"]),
        (["--without", "guide"], ["The guide does not play"]),
        (["--without", ","], ["Nobody is named to be left out"]),
        (["--line", "from the 2nd"], ['"2nd"', "3rd"]),
        (["--line", "position ²"], ['"²" isn\'t a position']),
        (["--line", f"position {'9' * 5000}"], ["isn't a position"]),
        (["--line", "etude guide"], ['"etude" and "guide"']),
        (["--line", "etude and call"], ["two lines of one kind"]),
        (["--line", "etude both"], ["for guide tones"]),
        (["--line", "etude ladder"], ['"ladder" is now "subdivisions"']),
        (["--line", "etude", "--neck", "drop-e"], ['Did you mean "drop-d"']),
        (["--line", "etude", "--neck", "drop-d E2 A2"], ["one tuning"]),
        (["--line", "etude", "--neck", "many frets"], ["isn't a number of frets"]),
        (["--only", "bass", "--without", "comp"], ["The comp does not play"]),
        (["--line", "3-7"], ['"3-7"', "1-7, 3-9"]),
        (["--click", "more.tune"], ["--click was given more.tune"]),
        (["--choruses", "0"], ["1", "100"]),
        (["--times", "5000"], ["1000"]),
        (["--key", "H"], ["H"]),
        (["--key", "fifthses"], ["fifthses", "fourths"]),
        (["--ending", "hold"], ['"held"', "short", "tag", "slow"]),
        (["--without", "bas"], ['Did you mean "bass"', "drums"]),
        (["--only", "trumpet"], ["trumpet", "comp"]),
        (["--only", "bass", "--without", "bass"], ["Nobody is left"]),
        (["--without", "bass,comp,drums"], ["Nobody is left"]),
        (["--line", "guide thirds"], ["not for guide tones"]),
        (["--click", "2and4"], ["2 and 4", "sparse"]),
        (["--comp", "banjo"], ["piano", "guitar"]),
        (["--feel", "swnig"], ['Did you mean "swing"']),
        (["--swing", "9"], ["1 (even) to 4"]),
        (["--format", "wave"], ['Did you mean "wav"', "24-bit"]),
        (["-o", "x.xyz"], [".xyz", ".flac"]),
        (["-o", "nowhere/x.wav"], ["nowhere", "does not exist"]),
        (["-o", "."], []),
        (["-o", "x.mp3", "--format", "24-bit"], [".wav or .flac"]),
        (["-o", "nowhere/"], ["There is no folder nowhere/."]),
        (["-o", "x.mid", "--stems"], ["--stems"]),
        (["-o", "x.mid", "--soundfont", "none.sf2"], ["--soundfont"]),
        (["-o", "x.mp3", "--format", "flac"], ["--format"]),
        (["--soundfont", "none.sf2"], ["none.sf2", "does not exist"]),
        (["--soundfont", "four.tune"], ["not a SoundFont"]),
    ],
)
def test_words_that_cannot_be(here: Path, run: Run, words: list[str], told: list[str]) -> None:
    if words == ["-o", "."]:
        (here / "four.wav").mkdir()
        told = ["four.wav", "is a folder"]
    said = run("track", "four.tune", *words)
    assert said.complains(*told), said.err
    assert {path.name for path in here.iterdir()} <= {"four.tune", "four.wav"}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["track"], "Name tune files"),
        (["track", "four.tune", "--changes", "Dm7"], "one or the other"),
        (
            ["track", "--click", "four.tune"],
            "Write the tune first: backing track four.tune --click.",
        ),
        (["play", "four.tune", "--port", "99999"], "must be 0-65535. Leave"),
        (["play", "four.tune", "--port", "any"], '"any" isn\'t a whole number.'),
        (["play"], "No tune is named. Write backing play TUNE."),
        (["play", "four.tune", "more.tune"], "One tune is played at a time."),
        (["track", "nowhere.tune"], "nowhere.tune"),
        (["track", "four.tune", "--choruses", "many"], '"many" isn\'t a number of choruses.'),
        (["track", "four.tune", "--trade"], "--trade needs a value. See backing track"),
        (["track", "four.tune", "--key", "C", "F"], 'go in quotes: --key "C F".'),
        (
            ["track", "four.tune", "--lines", "-x"],
            "backing track has no option --lines. Did you mean",
        ),
        (["track", "four.tune", "--chorusses", "2"], "Did you mean --choruses?"),
        (["track", "four.tune", "--stems=all"], "--stems takes no value."),
        (["help", "drils"], 'Did you mean "drills"?'),
        (["trakc", "four.tune"], '"trakc". Did you mean "track"?'),
        (["check"], "--feels"),
        (["cache", "--limit", "much"], '"much" isn\'t a size'),
    ],
)
def test_commands_that_cannot_be(here: Path, run: Run, words: list[str], told: str) -> None:
    said = run(*words)
    assert said.status == 2
    assert told in said.err
    assert said.err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["track", ""], "One of the names is empty."),
        (["check", "four.tune", " "], "One of the names is empty."),
        (["track", "four.tune", "-o", ""], "-o needs a value."),
        (["track", "four.tune", "--key", ""], "--key needs a value."),
        (["track", "four.tune", "--bars="], "--bars needs a value."),
        (["track", "four.tune", "--swing", "9e99999999"], '"9e99999999" isn\'t a swing ratio.'),
        (["check", "here"], "here is a folder. Name a tune in it, or all: here/*.tune."),
        (["play", "here"], "here is a folder."),
        (["track", "four.tune", "--bars", "1", "--bars", "2"], "--bars is given twice."),
        (
            [
                "track",
                "four.tune",
                "-o",
                "x.mid",
                "--times",
                "1000",
                "--tempo",
                "40",
                "--bars",
                "1-4",
            ],
            "hours. Ask for",
        ),
        (["check", "--feels", "four.tune"], "--feels lists the feels, and needs no tune."),
        (["check", "--tidy", "--json", "four.tune"], "shown in one way"),
        (["sheet", "--arpeggios", "C/../D"], "does not belong to the note name C"),
    ],
)
def test_what_would_be_passed_over_in_silence(
    here: Path, run: Run, words: list[str], told: str
) -> None:
    (here / "here").mkdir()
    said = run(*words)
    assert said.complains(told), said.err
    assert not said.out


@pytest.mark.parametrize("words", [("--line", "guide"), ("--line", "etude")])
def test_a_line_where_there_is_no_chord(here: Path, run: Run, words: tuple[str, ...]) -> None:
    said = run("track", "--changes", "N.C. | N.C.", "-o", "x.mid", *words)
    assert said.complains("There is no chord in these bars"), said.err
    assert not (here / "x.mid").exists()


def test_a_soundfont_that_is_cut_short(here: Path, run: Run) -> None:
    data = Path(SMALL).read_bytes()
    (here / "short.sf2").write_bytes(data[: len(data) // 2])
    said = run("track", "four.tune", "--soundfont", "short.sf2")
    assert said.complains("short.sf2", "cut short")


def test_a_bad_feel_file_names_itself(here: Path, run: Run) -> None:
    (here / "mine.toml").write_text("name = 3\n")
    said = run("track", "four.tune", "--feel", "mine.toml")
    assert said.status == 2
    assert "mine.toml" in said.err
    (here / "four.tune").write_text(TUNE.replace("key: C", "key: C\nfeel: mine.toml"))
    assert "mine.toml" in run("check", "four.tune").err


@pytest.mark.parametrize(
    ("command", "name"), [("track", "four.wav"), ("page", "four.html"), ("sheet", "four.pdf")]
)
def test_two_tunes_for_one_place(here: Path, run: Run, command: str, name: str) -> None:
    (here / "more").mkdir()
    (here / "more" / "four.tune").write_text(TUNE)
    said = run(command, "four.tune", "more/four.tune", "-o", ".")
    assert said.complains("Two tunes", name)
    if command == "track":  # sheets and pages of several tunes are one document
        said = run(command, "four.tune", "more/four.tune", "-o", name)
        assert said.complains(f"{name} isn't a folder, and 2 tunes are named.")
    assert {path.name for path in here.iterdir()} == {"four.tune", "more"}


def test_a_track_of_hours_is_refused_with_its_length(here: Path, run: Run) -> None:
    said = run("track", "four.tune", "--bars", "1-4", "--times", "900", "--climb", "20-60:10")
    assert said.complains("hours", "MB", "--long")


def test_a_file_too_large_for_the_system_leaves_the_old_one(here: Path) -> None:
    """A limit of 100 kB on every file, set by the system itself (POSIX.1, RLIMIT_FSIZE)."""
    (here / "four.wav").write_bytes(b"the old one")
    code = "import resource\nresource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))"
    run = run_apart("track", "four.tune", "-o", "four.wav", *QUICK, code=code)
    assert run.returncode == 2
    assert "four.wav is larger" in run.stderr
    assert run.stderr.count("\n") == 1
    assert (here / "four.wav").read_bytes() == b"the old one"
    assert {path.name for path in here.iterdir()} == {"four.tune", "four.wav"}


def test_without_fluidsynth_it_says_how_to_get_it(here: Path) -> None:
    """pyfluidsynth looks for the library through ctypes.util.find_library, and finds none."""
    code = "import ctypes.util\nctypes.util.find_library = lambda name: None"
    run = run_apart("track", "four.tune", "-o", "four.wav", *QUICK, code=code)
    assert run.returncode == 2
    for line in (
        "apt",
        "dnf install fluidsynth",
        "brew install fluid-synth",
        "choco install fluidsynth",
    ):
        assert line in run.stderr
    assert "Traceback" not in run.stderr
    assert [path.name for path in here.iterdir()] == ["four.tune"]
    midi = run_apart("track", "four.tune", "-o", "four.mid", code=code)
    assert midi.returncode == 0


def test_tunes_of_long_names_that_begin_alike_become_files_of_their_own(
    here: Path, run: Run
) -> None:
    (here / "out").mkdir()
    tunes = [f"{'é' * 124}{letter}.tune" for letter in "ab"]
    for tune in tunes:
        (here / tune).write_text(TUNE)
    words = ("--climb", "100-120:20", "--times", "1", "--bars", "1-4", "--separate")
    said = run("track", *tunes, "-o", "out", *words, "--format", "mid")
    assert said.status == 0, said.err
    made = sorted(path.name for path in (here / "out").iterdir())
    assert len(made) == 4
    for name in made:
        assert name.startswith("é" * 100)
        assert name.endswith(("-01-100-bpm.mid", "-02-120-bpm.mid"))
        assert f"-> out{os.sep}{name}\n" in said.err
    (here / "sound").mkdir()
    said = run("track", tunes[0], "-o", "sound", *QUICK, "--stems")
    assert said.status == 0, said.err
    assert len(list((here / "sound").glob("*-comp.wav"))) == 1
    for command in ("page", "sheet"):
        said = run(command, tunes[0], "-o", "out")
        assert said.status == 0, said.err


ODD = ("b\udcffd", "a\nb", "\x1b[31m", "two  spaces #1", "\u202e")
"""Names that a file may have: no UTF-8, a line end, terminal controls, a turned direction."""


@pytest.mark.parametrize("name", ODD)
def test_a_tune_whose_file_has_any_name_is_played(here: Path, run: Run, name: str) -> None:
    text = TUNE.replace("title: Four Steps\n", "")
    try:
        (here / f"{name}.tune").write_text(text)
    except OSError as error:
        pytest.skip(f"this file system has no such names: {error}")
    for words in (
        ("check", f"{name}.tune"),
        ("check", "--json", f"{name}.tune"),
        ("track", f"{name}.tune", "-o", "x.mid"),
        ("track", f"{name}.tune", "-o", "x.flac", *QUICK),
        ("track", f"{name}.tune", *QUICK),
        ("sheet", f"{name}.tune", "-o", "x.musicxml"),
        ("sheet", f"{name}.tune", "-o", "x.svg"),
        ("page", f"{name}.tune", "-o", "x.html", "--soundfont", SMALL),
    ):
        said = run(*words)
        assert said.status == 0, said.err
    assert (here / f"{name}-choruses-1.wav").exists()
    assert run("check", "x.musicxml").status == 0


@pytest.mark.parametrize(
    "words",
    [
        ("sheet", "in.musicxml", "-o", "in.musicxml"),
        ("sheet", "in.musicxml", "-o", "twin.musicxml"),
        ("track", "in.musicxml", "-o", "link.mid"),
        ("page", "in.musicxml", "-o", "link.html"),
        ("track", "in.musicxml", "four.tune", "-o", "out", "--choruses", "1"),
        ("track", "four.tune", "-o", "feel.mid", "--feel", "mine.toml"),
        ("track", "four.tune", "-o", "font.wav", "--soundfont", "font.sf2"),
    ],
)
def test_what_is_read_is_never_replaced(here: Path, run: Run, words: tuple[str, ...]) -> None:
    assert run("sheet", "four.tune", "-o", "in.musicxml").status == 0
    (here / "twin.musicxml").hardlink_to(here / "in.musicxml")
    (here / "mine.toml").write_text('name = "mine"\nsentence = "."\nlike = "swing"\n')
    (here / "font.sf2").write_bytes(Path(SMALL).read_bytes())
    (here / "out").mkdir()
    for link, to in {
        "link.mid": "in.musicxml", "link.html": "in.musicxml", "out/in.wav": "../in.musicxml",
        "feel.mid": "mine.toml", "font.wav": "font.sf2",
    }.items():  # fmt: skip
        (here / link).symlink_to(to)
    before = {path.name: path.read_bytes() for path in here.iterdir() if path.is_file()}
    told = run(*words).err
    assert "is what is read" in told
    assert {name: (here / name).read_bytes() for name in before} == before


@pytest.mark.parametrize("suffix", ["wav", "mp3", "flac", "ogg", "opus", "m4a", "mid"])
def test_the_name_that_is_given_says_what_is_written(here: Path, run: Run, suffix: str) -> None:
    """Also where it is a link to a file of another name."""
    (here / f"x.{suffix}").symlink_to("data.bin")
    words = QUICK if suffix != "mid" else QUICK[2:]
    assert run("track", "four.tune", "-o", f"x.{suffix}", *words).status == 0
    assert run("track", "four.tune", "-o", f"y.{suffix}", *words).status == 0
    assert (here / f"x.{suffix}").is_symlink()
    assert (here / "data.bin").read_bytes() == (here / f"y.{suffix}").read_bytes()


def test_a_batch_leaves_devices_alone_and_goes_on(here: Path, run: Run) -> None:
    (here / "more.tune").write_text(TUNE)
    (here / "out").mkdir()
    (here / "out" / "four.wav").symlink_to(os.devnull)
    (here / "else").mkdir()
    (here / "out" / "more.wav").symlink_to("../else/there.wav")
    said = run("track", "four.tune", "more.tune", "-o", "out", *QUICK)
    assert said.status == 2
    assert "four.wav is a device or a pipe" in said.err
    assert Path(os.devnull).is_char_device()
    assert (here / "else" / "there.wav").read_bytes().startswith(b"RIFF")
    assert sorted(path.name for path in (here / "out").iterdir()) == ["four.wav", "more.wav"]


def test_what_steers_a_terminal_is_not_shown(here: Path, run: Run) -> None:
    (here / "\x1b[31mred\x07.tune").write_text(TUNE.replace("G7", "Q"))
    for words in (("check", "\x1b[31mred\x07.tune"), ("check", "\x1b]0;no\x07")):
        told = run(*words).err
        assert "\x1b" not in told
        assert "\x07" not in told


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere names are text")
def test_a_name_that_is_no_text_is_written_in_every_format(here: Path, run: Run) -> None:
    for suffix in ("m4a", "wav", "mid"):
        name = f"\udcff\udcfe.{suffix}"
        said = run("track", "four.tune", "-o", name, *(QUICK if suffix != "mid" else QUICK[2:]))
        assert said.status == 0, said.err
        assert (here / name).stat().st_size
