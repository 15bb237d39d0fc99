"""The files of a lesson: which are listed, kept, replaced and cleared, and what is said of them."""

from __future__ import annotations

import hashlib
import json
import os
import re
import signal
import subprocess
import sys
import time
import zipfile
from pathlib import Path
from typing import Any

import mutagen
import pytest
from pypdf import PdfReader

from backing.saving import HIDDEN
from backing.take.track_tags import recipe_of
from tests.cli.conftest import SMALL, TUNE, Run

FONT = f'soundfont = "{SMALL}"\n'
NOTES = 'tunes = ["one.tune", "two.tune"]\nformat = "mid"\n'
"""A set list of notes alone, which takes a moment."""
LOOP = 'tunes = ["one.tune"]\n{}\n' + FONT + '[[task]]\nbars = "1-2"\ntimes = 1\n'
STUDENTS = f"""\
tunes = ["one.tune"]
{FONT}
[[task]]
line = "etude"
track = false

[[student]]
name = "Jo"

[[student]]
name = "Jo Ann"
"""
BROKEN = TUNE.replace("G7", "Gblah")


@pytest.fixture
def two(here: Path) -> Path:
    for name in ("one", "two"):
        (here / f"{name}.tune").write_text(TUNE.replace("Four Steps", name.title()), "utf-8")
    return here


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def manifest(folder: Path) -> dict[str, Any]:
    """The manifest of a folder, of which every file it lists is as it says."""
    data: dict[str, Any] = json.loads((folder / "manifest.json").read_text("utf-8"))
    for each in data["files"]:
        content = (folder / each["name"]).read_bytes()
        assert each["bytes"] == len(content)
        assert each["sha256"] == hashlib.sha256(content).hexdigest()
    return data


def listed(folder: Path) -> list[str]:
    """The names in the manifest of a folder, and the manifest's own."""
    return sorted(["manifest.json", *(each["name"] for each in manifest(folder)["files"])])


# ---- stems -------------------------------------------------------------------------------------


def test_stems_are_listed_and_go_with_their_track(two: Path, run: Run) -> None:
    lesson = two / "week.toml"
    lesson.write_text(LOOP.format("stems = true"))
    assert run("lesson", "week.toml", "--quiet").status == 0
    stems = [name for name in names(two / "week") if re.search(r"-(bass|comp|drums)\.mp3$", name)]
    assert len(stems) == 3
    assert listed(two / "week") == names(two / "week")
    lesson.write_text(LOOP.format(""))
    assert run("lesson", "week.toml", "--quiet").status == 0
    assert not set(stems) & set(names(two / "week"))
    assert listed(two / "week") == names(two / "week")


def test_the_size_that_is_told_is_that_of_all_files(two: Path, run: Run) -> None:
    """PCM of 24 bits and 44,100 Hz in two channels has 264,600 bytes a second (RIFF WAVE)."""
    text = LOOP.format('stems = true\nformat = "wav 24-bit"').replace("times = 1", "times = 12")
    (two / "week.toml").write_text(text)
    told = re.search(r"about (\d+) MB", run("lesson", "week.toml", "--dry-run").out)
    assert told
    assert run("lesson", "week.toml", "--quiet").status == 0
    size = sum(path.stat().st_size for path in (two / "week").iterdir()) / 1e6
    assert float(told[1]) == pytest.approx(size, rel=0.02)


# ---- what is kept, and what is cleared ---------------------------------------------------------


def test_what_was_made_before_stays_listed_while_it_cannot_be_made(two: Path, run: Run) -> None:
    lesson = two / "set.toml"
    lesson.write_text(NOTES)
    assert run("lesson", "set.toml", "--quiet").status == 0
    track = two / "set" / "2-Two-180-bpm.mid"
    before = track.read_bytes()
    track.unlink()
    track.mkdir()  # nothing can be put in its place
    said = run("lesson", "set.toml")
    track.rmdir()
    track.write_bytes(before)
    assert said.status == 2
    assert track.name in listed(two / "set")
    lesson.write_text(NOTES.replace(', "two.tune"', ""))
    assert run("lesson", "set.toml").status == 0
    assert not track.exists()
    assert listed(two / "set") == names(two / "set")


def test_a_broken_tune_moves_no_number_and_takes_nothing_away(two: Path, run: Run) -> None:
    (two / "set.toml").write_text(NOTES)
    assert run("lesson", "set.toml", "--quiet").status == 0
    before = names(two / "set")
    (two / "one.tune").write_text(BROKEN)
    said = run("lesson", "set.toml")
    assert said.status == 2
    assert "set: what was made before (1) stays until all of it can be made." in said.err
    assert names(two / "set") == before
    assert listed(two / "set") == before
    text = PdfReader(two / "set" / "0-first-page.pdf").pages[0].extract_text()
    assert "2-Two-180-bpm.mid" in text
    (two / "one.tune").write_text(TUNE.replace("Four Steps", "Uno"))
    assert run("lesson", "set.toml").status == 0
    assert "1-One-180-bpm.mid" not in names(two / "set")
    assert "1-Uno-180-bpm.mid" in names(two / "set")


def test_tasks_are_numbered_as_they_are_written(two: Path, run: Run) -> None:
    tasks = "".join(f'[[task]]\ntune = "{n}.tune"\ntimes = 1\n' for n in ("one", "two") * 6)
    (two / "week.toml").write_text(f'format = "mid"\n{tasks}')
    (two / "one.tune").write_text(BROKEN)
    said = run("lesson", "week.toml", "--dry-run")
    numbers = re.findall(r"^  (\d+)-Two", said.out, re.MULTILINE)
    assert numbers == ["02", "04", "06", "08", "10", "12"]


def test_what_was_changed_since_is_never_taken_away(two: Path, run: Run) -> None:
    (two / "set.toml").write_text(NOTES)
    assert run("lesson", "set.toml", "--quiet").status == 0
    mine = two / "set" / "2-Two-180-bpm.mid"
    mine.write_bytes(b"mine")
    (two / "set" / "1-mine.mid").write_bytes(b"mine")
    (two / "set.toml").write_text(NOTES.replace("two.tune", "four.tune"))
    assert run("lesson", "set.toml", "--quiet").status == 0
    assert mine.read_bytes() == b"mine"
    assert (two / "set" / "1-mine.mid").exists()
    assert mine.name not in listed(two / "set")


def test_a_set_list_that_becomes_a_week_leaves_its_folder(two: Path, run: Run) -> None:
    lesson = two / "set.toml"
    lesson.write_text(NOTES)
    assert run("lesson", "set.toml", "--quiet").status == 0
    (two / "set" / "notes.txt").write_text("mine")
    week = f'{NOTES}{FONT}[[student]]\nname = "Ada"\n[[student.task]]\ntimes = 1\n'
    lesson.write_text(week.replace('format = "mid"\n', ""))
    (two / "one.tune").write_text(BROKEN)
    assert run("lesson", "set.toml", "--quiet").status == 2
    assert "sheets.pdf" in names(two / "set")
    (two / "one.tune").write_text(TUNE)
    assert run("lesson", "set.toml", "--quiet").status == 0
    assert names(two / "set") == ["Ada", "notes.txt"]


def test_a_week_leaves_the_set_list_beside_it_alone(two: Path, run: Run) -> None:
    (two / "set.toml").write_text(NOTES)
    assert run("lesson", "set.toml", "-o", "both", "--quiet").status == 0
    (two / "week.toml").write_text(STUDENTS)
    before = names(two / "both")
    assert run("lesson", "week.toml", "-o", "both", "--quiet").status == 0
    assert names(two / "both") == sorted(["Jo", "Jo Ann", *before])


START = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
from backing.cli import main
sys.exit(main())
"""


def stopped(folder: Path, number: int, made: str, *words: str) -> tuple[int, str]:
    """Send a signal to the command when there is a file like ``made``; its status, what it says."""
    with subprocess.Popen(
        [sys.executable, "-c", START, "lesson", *words],
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    ) as process:
        deadline = time.monotonic() + 120
        while process.poll() is None and not any(
            f'"{made}"' in path.read_text("utf-8") for path in folder.glob("**/manifest.json")
        ):
            assert time.monotonic() < deadline
            time.sleep(0.02)
        process.send_signal(number)
        _, told = process.communicate()
    return process.returncode, told


LAST = "[[task]]\ntimes = 900\nlong = true\n"
LONG = f'tunes = ["one.tune"]\n{FONT}[[task]]\ntimes = 1\n{LAST}'


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_what_is_there_is_listed_however_a_lesson_ends(two: Path, run: Run, number: int) -> None:
    (two / "week.toml").write_text(LONG)
    track = "1-One-180-bpm.mp3"
    stopped(two / "week", number, f'name": "{track}', "week.toml", "--no-cache")
    assert track in listed(two / "week")
    (long,) = (name for name in manifest(two / "week")["missing"] if name.startswith("2-"))
    assert long.endswith(".mp3")
    (two / "week.toml").write_text(LONG.replace(LAST, 'title = "Other"\n'))
    said = run("lesson", "week.toml", "--quiet")
    assert (said.status, said.err) == (0, "")
    assert track not in names(two / "week")
    assert [name for name in names(two / "week") if name.startswith("1-Other")]
    assert "missing" not in manifest(two / "week")


# ---- what is not ours --------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["sheets.pdf", "manifest.json", "1-One-180-bpm.mid"])
def test_a_file_that_no_lesson_made_is_not_replaced(two: Path, run: Run, name: str) -> None:
    (two / "set.toml").write_text(NOTES)
    before = '{"format": "mine", "files": []}'
    (two / name).write_text(before)
    there = names(two)
    said = run("lesson", "set.toml", "-o", ".")
    assert said.complains(f"{name} is there already, and no lesson made it.", "-o")
    assert (two / name).read_text() == before
    assert names(two) == there
    (two / name).unlink()
    for _ in range(2):
        assert run("lesson", "set.toml", "-o", ".", "--quiet").status == 0


# ---- what is said of the files -----------------------------------------------------------------


def another_font(folder: Path) -> Path:
    """The same SoundFont under another name (INAM, SoundFont specification 2.04, section 5.2)."""
    data = Path(SMALL).read_bytes()
    assert data.count(b"TimGM6mb", 0, 200) == 1
    made = folder / "another.sf2"
    made.write_bytes(data.replace(b"TimGM6mb", b"Corner42", 1))
    return made


def test_each_file_states_its_own_sound(two: Path, run: Run) -> None:
    own = f'[[task]]\ntimes = 1\nsoundfont = "{another_font(two)}"\n'
    (two / "set.toml").write_text(f'tunes = ["one.tune"]\n{FONT}[[task]]\ntimes = 1\n{own}')
    assert run("lesson", "set.toml", "--quiet").status == 0
    data = manifest(two / "set")
    assert "soundfont" not in data
    sounds = {each["name"][0]: (each.get("soundfont"), each.get("soundfont_license"))
              for each in data["files"]}  # fmt: skip
    small, other = ("TimGM6mb", "GPL-2"), ("Corner42", "not stated")
    assert sounds == {"0": (None, None), "1": small, "2": other, "s": (None, None)}


def test_a_page_alone_has_the_sound_of_its_student(two: Path, run: Run) -> None:
    font = another_font(two)
    student = f'[[student]]\nname = "Ada"\nsoundfont = "{font}"\n[[student.task]]\ntrack = false\n'
    (two / "week.toml").write_text(f'tunes = ["one.tune"]\n{student}')
    assert run("lesson", "week.toml", "--quiet").status == 0
    data = manifest(two / "week" / "Ada")
    assert (data["soundfont"], data["soundfont_license"]) == ("Corner42", "not stated")
    assert [each["name"] for each in data["files"] if "soundfont" in each] == ["page.html"]


def test_notes_beside_a_track_last_no_longer(two: Path, run: Run) -> None:
    tasks = '[[task]]\ntune = "one.tune"\n[[task]]\ntune = "two.tune"\n'
    text = f"midi = true\n{FONT}{tasks}"
    (two / "set.toml").write_text(text)
    listing = run("lesson", "set.toml", "--dry-run").out
    assert run("lesson", "set.toml", "--quiet").status == 0
    tracks = sorted((two / "set").glob("*.mp3"))
    assert len(tracks) == len([*(two / "set").glob("*.mid")]) == 2
    seconds = round(sum(mutagen.File(track).info.length for track in tracks))
    length = f"{seconds // 60}:{seconds % 60:02}"
    assert f"{length} min of music" in listing
    page = PdfReader(two / "set" / "0-first-page.pdf").pages[0].extract_text()
    assert f"2 tunes, {length} in all" in page
    assert "1-One-180-bpm.mid" in page
    made_by = {each["name"]: each["made_by"] for each in manifest(two / "set")["files"]}
    assert made_by["1-One-180-bpm.mid"] == "backing lesson set.toml"  # no track makes both


def test_a_loop_keeps_its_gap_and_says_what_makes_it(two: Path, run: Run) -> None:
    task = '[[task]]\nbars = "1-2"\ntimes = 2\ncount-in = 0\n'
    (two / "set.toml").write_text(f'tunes = ["one.tune"]\nformat = "wav"\ngap = 2.5\n{FONT}{task}')
    assert run("lesson", "set.toml", "--quiet").status == 0
    (track,) = (two / "set").glob("1-*.wav")
    (item,) = (each for each in manifest(two / "set")["files"] if each["name"] == track.name)
    # 16 beats at 180 bpm, 2.5 s for the last chord to ring, and the gap
    length = 16 / 3 + 2.5 + 2.5
    assert mutagen.File(track).info.length == pytest.approx(length, abs=0.001)
    assert item["seconds"] == pytest.approx(length, abs=0.05)
    assert item["made_by"].endswith(" # and 2.5 seconds of silence")
    # a shell leaves out the comment, too (POSIX.1-2017, Shell Command Language, 2.3)
    recipe = recipe_of(track)
    assert recipe[-2:] == ("--format", "wav")
    assert run(*recipe[:2], "-o", "again.wav", *recipe[2:]).status == 0
    assert mutagen.File("again.wav").info.length == pytest.approx(16 / 3, abs=0.001)


def test_tempos_are_written_as_the_command_line_has_them(two: Path, run: Run) -> None:
    task = '[[task]]\ntempo = 92.5\n[[task]]\nbars = "1-2"\nclimb = "62.5-70:7.5"\n'
    (two / "set.toml").write_text(f'tunes = ["one.tune"]\nformat = "mid"\n{task}')
    assert run("lesson", "set.toml", "--quiet").status == 0
    mid = [path.name for path in sorted((two / "set").glob("*.mid"))]
    assert mid == ["1-One-92.5-bpm.mid", "2-One-bars-1-2-62.5-70-bpm.mid"]
    page = PdfReader(two / "set" / "0-first-page.pdf").pages[0].extract_text()
    assert "92.5 bpm" in page
    assert "62.5-70 bpm" in page


def test_notes_alone_need_no_sampler(two: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "fluidsynth", None)
    (two / "set.toml").write_text(NOTES)
    said = run("lesson", "set.toml", "--quiet")
    assert (said.status, said.err) == (0, "")
    (two / "week.toml").write_text(LOOP.format(""))
    assert run("lesson", "week.toml").complains("FluidSynth")
    assert not (two / "week").exists()


# ---- a zip -------------------------------------------------------------------------------------


def test_of_a_zip_nobody_sees_the_hidden_folder(two: Path, run: Run) -> None:
    week = f'{NOTES}[[student]]\nname = "Ada"\n[[student.task]]\ntimes = 1\n'
    (two / "week.toml").write_text(week + "[[student.task]]\ntimes = 1\n" * 12)
    said = run("lesson", "week.toml", "-o", "week.zip")
    assert said.status == 0, said.err
    assert HIDDEN not in said.err
    assert str(two) not in said.err
    lines = said.err.splitlines()
    assert f"One -> {Path('Ada', '01-One-180-bpm.mid')}" in lines
    assert str(Path("Ada", "sheets.pdf")) in lines
    assert "Ada has 17 files; a dozen are easier to find one's way in." in lines


def test_a_file_too_large_for_a_plain_zip_goes_into_one(
    two: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the limit of a plain zip, 2 GiB in Python, is that of a small file."""
    monkeypatch.setattr(zipfile, "ZIP64_LIMIT", 5_000)
    (two / "set.toml").write_text(NOTES)
    said = run("lesson", "set.toml", "-o", "set.zip", "--quiet")
    assert (said.status, said.err) == (0, "")
    with zipfile.ZipFile(two / "set.zip") as archive:
        assert archive.testzip() is None
        assert max(each.file_size for each in archive.infolist()) > 5_000


def test_a_zip_takes_the_space_of_its_files_twice(
    two: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    (two / "week.toml").write_text(LOOP.format('format = "wav"'))
    told = re.findall(r"(\d+\.\d) MB", run("lesson", "week.toml", "--dry-run").out)
    enough = round(1.5e6 * sum(map(float, told)))
    free = os.statvfs_result((1, 1, enough, enough, enough, 9, 9, 9, 0, 255))
    monkeypatch.setattr("os.statvfs", lambda _: free)
    assert run("lesson", "week.toml", "-o", "week.zip").complains("too little space in .:")
    assert run("lesson", "week.toml", "--quiet").status == 0


def test_whoever_stops_a_zip_is_told_that_there_is_none(two: Path) -> None:
    (two / "week.toml").write_text(LONG)
    words = ("week.toml", "-o", "week.zip", "--no-cache")
    status, told = stopped(two, signal.SIGINT, 'name": "1-One-180-bpm.mp3', *words)
    assert status == 130
    assert told.splitlines()[-1] == "backing: stopped before week.zip was written."
    assert "stay" not in told
    assert names(two) == ["four.tune", "one.tune", "two.tune", "week.toml"]


# ---- practice logs -----------------------------------------------------------------------------

TAKE = {"when": "2026-12-08T18:00", "tempo": 96, "left": 0, "title": "One",
        "sentences": [], "tones": 1, "longest_run": 1,
        "changes": {"step": 1, "held": 0, "leap": 0},
        "time": {"spread_ms": 20}, "phrases": {}}  # fmt: skip


@pytest.mark.parametrize(
    ("log", "whose"),
    [
        ("jo.jsonl", "Jo"), ("jo-2.jsonl", "Jo"), ("Jo_ann.jsonl", "Jo Ann"),
        ("jo ann 3.jsonl", "Jo Ann"), ("john.jsonl", ""), ("joann.jsonl", ""), ("!.jsonl", ""),
    ],
)  # fmt: skip
def test_whose_log_it_is(two: Path, run: Run, log: str, whose: str) -> None:
    (two / "week.toml").write_text(STUDENTS)
    (two / log).write_text(json.dumps(TAKE))
    said = run("lesson", "week.toml", "--log", log)
    assert said.status == 0, said.err
    nobody = f"{log} has no student's name: Jo, Jo Ann"
    assert said.out.splitlines()[0] == (f"{whose} ({log})" if whose else nobody)


@pytest.mark.parametrize("word", ["--dry-run", "--quiet", "--output out", "--no-cache"])
def test_what_a_log_has_no_use_for_is_refused(two: Path, run: Run, word: str) -> None:
    (two / "week.toml").write_text(STUDENTS)
    (two / "jo.jsonl").write_text(json.dumps(TAKE))
    said = run("lesson", "week.toml", "--log", "jo.jsonl", *word.split())
    option = word.split(maxsplit=1)[0]
    assert said.complains(f"so {option} would change nothing.", f"Leave {option} out.")


@pytest.mark.parametrize("title", [["One"], None, 1, {}])
def test_a_title_that_is_no_text_is_no_take(two: Path, run: Run, title: object) -> None:
    (two / "week.toml").write_text(STUDENTS)
    (two / "jo.jsonl").write_text(json.dumps({**TAKE, "title": title}))
    said = run("lesson", "week.toml", "--log", "jo.jsonl")
    assert said.complains("jo.jsonl:1 isn't a take of a practice log.")
