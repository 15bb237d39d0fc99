"""A lesson as a teacher has it made: folders, names, tags, zips, and what goes wrong in it."""

from __future__ import annotations

import hashlib
import json
import os
import re
import signal
import subprocess
import sys
import time
import tomllib
import zipfile
from pathlib import Path

import distributed
import mutagen
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from backing.cli.assignment import VOCABULARY
from backing.cli.lesson import LONGEST_FOLDER, _folder_name
from backing.cli.options import SHEET, TRACK
from backing.lines.phrase import filled_up
from backing.take.track_tags import recipe_of
from tests.cli.conftest import SMALL, TUNE, Run

FONT = f'soundfont = "{SMALL}"\n'
SET = f'title = "Friday"\ntunes = ["four.tune", "more.tune"]\nchoruses_ = 1\n{FONT}'
"""A set list; its one odd key is taken out where it is used."""
WEEK = f"""\
title = "Monday"
tunes = ["four.tune"]
{FONT}
[[task]]
bars = "1-4"
times = 1
tempo = "100 180"
say = "Listen."

[[student]]
name = "Ada"
part = "Eb"

[[student]]
name = "Ben/Ω"
neck = "left-handed"
line = "level 2 position 5"

[[student.task]]
line = "etude off-beats"
times = 1
midi = true
"""


@pytest.fixture
def two(here: Path) -> Path:
    (here / "more.tune").write_text(TUNE.replace("Four Steps", "More"), "utf-8")
    (here / "set.toml").write_text(SET.replace("choruses_ = 1\n", ""), "utf-8")
    (here / "week.toml").write_text(WEEK, "utf-8")
    return here


def files(folder: Path) -> dict[str, str]:
    """Name and SHA-256 of every file below a folder."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


ADA = [
    "0-first-page.pdf", "1a-Four-Steps-bars-1-4-100-bpm.mp3", "1b-Four-Steps-bars-1-4-180-bpm.mp3",
    "manifest.json", "page.html", "sheets.pdf",
]  # fmt: skip
ETUDE = "2-Four-Steps-an-etude-in-off-beats-180-bpm"


def test_a_line_in_keys_in_turn_is_printed_in_each(two: Path, run: Run) -> None:
    task = 'bars = "1-4"\nkey = "C F Bb"\nline = "etude"\ntimes = 1\n'
    keys = f'tunes = ["four.tune"]\n{FONT}[[task]]\n{task}[[student]]\nname = "Ann"\n'
    (two / "keys.toml").write_text(f'title = "Keys"\n{keys}', "utf-8")
    said = run("lesson", "keys.toml")
    assert said.status == 0, said.err
    (printed,) = (two / "keys").rglob("sheets.pdf")
    text = "".join(page.extract_text() for page in PdfReader(printed).pages)
    heads = re.findall(r"Etude 1, position \d+, level 1, (\S+ \S+)", text)
    assert heads == ["C major", "F major", "B♭ major"]


def test_a_week_for_two_students(two: Path, run: Run, cache_home: Path) -> None:
    listed = run("lesson", "week.toml", "--dry-run")
    assert listed.status == 0
    assert not (two / "week").exists()
    said = run("lesson", "week.toml")
    assert said.status == 0, said.err
    ada, ben = two / "week" / "Ada", two / "week" / "Ben-Ω"
    assert sorted(path.name for path in ada.iterdir()) == ADA
    mine = sorted(path.name for path in ben.iterdir())
    assert mine == sorted([*ADA, f"{ETUDE}.mp3", f"{ETUDE}.mid"])
    assert all(f"{name} " in listed.out for name in (*ADA, *mine) if name != "manifest.json")
    tags = mutagen.File(ben / f"{ETUDE}.mp3").tags
    assert str(tags["TIT2"]).startswith("2 Four Steps, an etude in off-beats, 180 bpm, C major")
    assert (str(tags["TALB"]), str(tags["TRCK"])) == ("Monday", "3/3")
    assert "Dm7" in str(tags.getall("USLT")[0])
    assert tags.getall("APIC")
    listed_files = json.loads((ben / "manifest.json").read_text("utf-8"))["files"]
    sums = files(ben)
    assert {each["name"]: each["sha256"] for each in listed_files} == {
        name: digest for name, digest in sums.items() if name != "manifest.json"
    }
    for each in listed_files:
        if each["name"].endswith(".mp3"):  # a frame of MP3 lasts .026 s
            length = mutagen.File(ben / each["name"]).info.length
            assert each["seconds"] == pytest.approx(length, abs=0.08)
    page = (ben / "page.html").read_text("utf-8")
    assert page.count('class="tune"') == 2
    # the same again is the same, and what isn't asked any more goes; other files stay
    before = files(two / "week")
    (ada / "notes.txt").write_text("mine")
    (two / "week.toml").write_text(WEEK.replace('"100 180"', '"100"'))
    assert run("lesson", "week.toml").status == 0
    after = files(two / "week")
    assert after.pop("Ada/notes.txt")
    gone = {name for name in before if "1b-" in name or "1a-" in name}
    assert before.keys() - after.keys() == gone
    (two / "week.toml").write_text(WEEK)
    (ada / "notes.txt").unlink()
    assert run("lesson", "week.toml").status == 0
    assert files(two / "week") == before


def test_the_recipe_in_the_tags_is_a_command_that_makes_the_same_sound(two: Path, run: Run) -> None:
    (two / "set.toml").write_text(f'tunes = ["four.tune"]\nformat = "wav"\n{FONT}')
    assert run("lesson", "set.toml", "--quiet").status == 0
    (track,) = (two / "set").glob("1-*.wav")
    recipe = recipe_of(track)
    assert run(*recipe[:2], "-o", "again.wav", *recipe[2:]).status == 0
    one, other = (mutagen.File(path) for path in (track, two / "again.wav"))
    assert one.info.length == other.info.length
    assert "--occasion gig" in " ".join(recipe)


def test_a_set_list_is_an_album_with_gaps(two: Path, run: Run) -> None:
    text = (two / "set.toml").read_text()
    assert run("lesson", "set.toml", "--quiet").status == 0
    (two / "set.toml").write_text(f"gap = 3\n{text}")
    assert run("lesson", "set.toml", "-o", "gaps", "--quiet").status == 0
    names = ["0-first-page.pdf", "1-Four-Steps-180-bpm.mp3", "2-More-180-bpm.mp3",
             "manifest.json", "sheets.pdf"]  # fmt: skip
    for place in ("set", "gaps"):
        assert sorted(path.name for path in (two / place).iterdir()) == names
    short, long = (mutagen.File(two / place / names[1]) for place in ("set", "gaps"))
    assert long.info.length - short.info.length == pytest.approx(3, abs=0.06)
    assert [str(short.tags[tag]) for tag in ("TALB", "TRCK")] == ["Friday", "1/2"]


def test_a_cluster_makes_the_same(two: Path, run: Run) -> None:
    """Dask's own LocalCluster: a scheduler and a worker process on this machine."""
    assert run("lesson", "set.toml", "-o", "here", "--no-cache", "--quiet").status == 0
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=None, protocol="tcp"
    ) as cluster:
        words = ("--cluster", cluster.scheduler_address)
        said = run("lesson", "set.toml", "-o", "there", "--no-cache", *words)
    assert said.status == 0, said.err
    assert files(two / "there") == files(two / "here")


def test_without_the_cache_nothing_comes_from_it_and_nothing_is_kept(
    two: Path, run: Run, cache_home: Path
) -> None:
    assert run("lesson", "set.toml", "-o", "anew", "--no-cache", "--quiet").status == 0
    assert not files(cache_home)
    assert run("lesson", "set.toml", "-o", "kept", "--quiet").status == 0
    assert files(cache_home)
    said = run("lesson", "set.toml", "-o", "anew", "--no-cache")
    assert said.status == 0
    assert "cache" not in said.err
    assert files(two / "anew") == files(two / "kept")


def test_a_zip_has_the_same_bytes_each_time(two: Path, run: Run) -> None:
    for name in ("one.zip", "two.zip"):
        assert run("lesson", "set.toml", "-o", name, "--no-cache", "--quiet").status == 0
    assert (two / "one.zip").read_bytes() == (two / "two.zip").read_bytes()
    with zipfile.ZipFile(two / "one.zip") as archive:
        assert archive.testzip() is None
        assert "1-Four-Steps-180-bpm.mp3" in archive.namelist()
    assert not list(two.glob(".backing-*"))


def test_one_broken_tune_does_not_stop_the_rest(two: Path, run: Run) -> None:
    (two / "more.tune").write_text(TUNE.replace("G7", "Gblah"))
    said = run("lesson", "set.toml")
    assert said.status == 2
    assert "more.tune:6:" in said.err
    assert (two / "set" / "1-Four-Steps-180-bpm.mp3").exists()
    assert run("check", "set.toml").status == 2


def test_all_mistakes_of_words_are_told_where_they_stand(two: Path, run: Run) -> None:
    wrong = WEEK.replace('"Eb"', '"Xb"').replace("times = 1\n", 'times = 0\nclimb = "60x"\n', 1)
    (two / "week.toml").write_text(wrong.replace("off-beats", "offbeets"))
    said = run("check", "week.toml")
    assert said.status == 2
    lines = wrong.splitlines()
    for key, word in (
        ("times = 0", "0"),
        ("climb", "60x"),
        ("part", "Xb"),
        ("line = ", "offbeets"),
    ):
        at = [n for n, line in enumerate(lines, 1) if line.startswith(key)][-1]
        assert any(
            line.startswith(f"week.toml:{at}:") and word in line for line in said.err.splitlines()
        ), (key, said.err)
    assert "--" not in said.err


TASKS = """
line = "guide and etude"
bars = "1-4"
---
line = "etude positions 3 5"
times = 1
---
line = "bass"
track = false
---
arpeggios = "G"
---
changes = "Dm7 | G7 | Cmaj7 | %"
key = "C F"
times = 1
---
trade = "2 with line"
bars = "1-4"
times = 2
---
only = "bass, drums"
---
key = "F"
tempo = "50% 60%"
---
shapes = "5"
---
click = true
drill = "rest bar"
bars = "1-2"
---
feel = "bossa"
swing = 1
---
line = "call on 1&"
bars = "1-4"
"""


@pytest.mark.parametrize("task", TASKS.split("---"))
@pytest.mark.parametrize(
    "habits",
    [
        "",
        'part = "bass"',
        'part = "alto"\nline = "level 2"',
        'neck = "left-handed"\nwithout = "comp"\nclick = true',
    ],
)
def test_what_a_student_is_used_to_goes_with_every_task(
    here: Path, run: Run, habits: str, task: str
) -> None:
    text = f'tunes = ["four.tune"]\n{habits}\n[[student]]\nname = "A"\n[[task]]\n{task}'
    (here / "week.toml").write_text(text, "utf-8")
    said = run("lesson", "week.toml", "--dry-run")
    assert said.status == 0, said.err
    assert ".mp3" in said.out or "track = false" in task or "arpeggios" in task


def test_separate_tracks_are_known_by_their_names(here: Path, run: Run) -> None:
    """What backing take looks for in the name of a track that is one of several."""
    task = 'bars = "1-2"\nclimb = "80-160:40"\nseparate = true\ntimes = 1'
    (here / "week.toml").write_text(f'tunes = ["four.tune"]\n[[task]]\n{task}\n', "utf-8")
    said = run("lesson", "week.toml", "--dry-run")
    for number, tempo in enumerate((80, 120, 160)):
        assert f"1{'abc'[number]}-Four-Steps-bars-1-2-0{number + 1}-{tempo}-bpm.mp3" in said.out


@pytest.mark.parametrize(
    ("task", "place"),
    [
        ('neck = "drop-d"', "5:8: neck is for a line or shapes"),
        ("track = false\ntempo = 80", "6:9: tempo is for a track"),
        ("stems = true\nseparate = true", "6:12: separate makes a file for each"),
        ('climb = "60%"\ntempo = 90', "6:9: A climb names its own tempos."),
        ("line = 'guide level 3'", "5:8: The level of a line is for an etude"),
        ("shapes = 'x'", "5:10"),
        ("arpeggios = 'H'", "5:13"),
        ("changes = 'Dm7 | Q'", "5:11"),
        ('tune = "gone.tune"', "There is no file gone.tune"),
        ("bars = '3-4'\nending = 'tag'", "6:10: A loop has no ending."),
        ("feel = 'gone.toml'", "5:8"),
        ("soundfont = 'gone.sf2'", "5:13: gone.sf2 does not exist"),
    ],
)
def test_a_mistake_in_a_task_has_its_place(here: Path, run: Run, task: str, place: str) -> None:
    text = f'tunes = ["four.tune"]\n[[student]]\nname = "A"\n[[student.task]]\n{task}\n'
    (here / "week.toml").write_text(text, "utf-8")
    said = run("lesson", "week.toml", "-o", "out")
    assert said.status == 2
    assert place in said.err
    assert "Traceback" not in said.err


def test_a_lesson_with_mistakes_makes_nothing(two: Path, run: Run) -> None:
    (two / "week.toml").write_text(WEEK.replace('"1-4"', '"Q"'))
    assert run("lesson", "week.toml").status == 2
    assert not (two / "week").exists()


def test_there_is_nothing_one_can_say_and_the_other_cannot() -> None:
    """Every option of a track and a sheet but those about the command, and no other word."""
    said = {option.name for option in (*TRACK.options, *SHEET.options)}
    ours = {"output", "quiet", "cluster", "no-cache"}
    assert VOCABULARY.of_tasks | VOCABULARY.of_students == said - ours
    assert VOCABULARY.of_students <= said


def test_the_example_of_the_repository_is_read(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(Path(__file__).parents[2])
    assert len(tomllib.loads(Path("tunes/week.toml").read_text("utf-8"))["student"]) == 3
    said = run("check", "tunes/week.toml")
    assert said.status == 0, said.err
    assert "Mara" in said.out


def test_places_that_cannot_be(two: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run("lesson", "set.toml", "-o", "four.tune").complains("four.tune is a file")
    assert run("lesson", "set.toml", "-o", "no/where").complains("no folder no")
    assert run("lesson").complains("Name one lesson file")
    assert run("lesson", "a.toml", "b.toml").complains("Name one lesson file")
    assert run("lesson", "gone.toml").complains("There is no file gone.toml")
    few = os.statvfs_result((512, 512, 9, 9, 9, 9, 9, 9, 0, 255))
    monkeypatch.setattr("os.statvfs", lambda _: few)
    assert run("lesson", "set.toml").complains("too little space")
    assert not (two / "set").exists()


NAMES = st.text(min_size=1, max_size=200)


@given(st.lists(NAMES, min_size=1, max_size=6))
def test_any_names_become_folders_of_their_own(names: list[str]) -> None:
    taken: set[str] = set()
    made = [_folder_name(name, taken) for name in names]
    assert len({name.casefold() for name in made}) == len(made)
    for name in made:
        assert name
        assert len(os.fsencode(name)) <= 255
        assert len(name) <= LONGEST_FOLDER + 12
        assert not set(name) & set('/\\:*?"<>|\0\n')
        assert name not in (".", "..")
        assert not name.endswith((" ", "."))


@pytest.mark.parametrize(
    ("names", "folders"),
    [
        (["Ann", "ann", "Ann"], ["Ann", "ann 2", "Ann 3"]),
        (["a/b", '"x"', "../up", "日本 🎷", "..."], ["a-b", "x", "up", "日本 🎷", "student"]),
    ],
)
def test_odd_names(names: list[str], folders: list[str]) -> None:
    taken: set[str] = set()
    assert [_folder_name(name, taken) for name in names] == folders


@pytest.mark.parametrize(
    ("phrase", "usual", "whole"),
    [
        ("etude", "level 2 position 5", "etude level 2 position 5"),
        ("etude 7 level 3", "etude 2 level 1 3-9", "etude 7 level 3 3-9"),
        ("guide both and etude", "level 2", "guide both and etude level 2"),
        ("guide from the 7th", "level 2", "guide from the 7th"),
        ("bass", "level 2", "bass"),
    ],
)
def test_a_line_is_filled_up_with_what_is_usual(phrase: str, usual: str, whole: str) -> None:
    assert filled_up(phrase, usual) == whole


def test_logs_are_read_beside_the_lesson(two: Path, run: Run) -> None:
    take = {"when": "2026-12-08T18:00", "tempo": 96, "left": 0, "title": "Four Steps",
            "sentences": [], "tones": 1, "longest_run": 1,
            "changes": {"step": 1, "held": 0, "leap": 0},
            "time": {"spread_ms": 20}, "phrases": {}}  # fmt: skip
    for name in ("ada-1.jsonl", "other.jsonl"):
        (two / name).write_text(json.dumps(take) + "\n")
    said = run("lesson", "week.toml", "--log", "ada-1.jsonl", "other.jsonl")
    assert said.status == 0, said.err
    assert "Ada (ada-1.jsonl)\n  Four Steps: 1 take on 1 day, 96 bpm, steady at 96" in said.out
    assert 'tempo = "96 101 106"' in said.out
    assert "\nother.jsonl has no student's name: Ada, Ben/Ω\n" in said.out
    assert run("lesson", "week.toml", "--log", "four.tune").complains("practice log")
    assert run("lesson", "week.toml", "--log", "ada-1.jsonl", "--no-cache").complains("--no-cache")


def test_what_ends_a_lesson_leaves_whole_files_only(two: Path) -> None:
    (two / "set.toml").write_text(
        f'tunes = ["four.tune"]\n{FONT}[[task]]\ntimes = 1\n[[task]]\ntimes = 900\nlong = true\n'
    )
    start = "import signal, sys\nsignal.signal(signal.SIGINT, signal.default_int_handler)\n"
    start += "from backing.cli import main\nsys.exit(main())"
    with subprocess.Popen(
        [sys.executable, "-c", start, "lesson", "set.toml", "-o", "out", "--no-cache"],
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    ) as process:
        deadline = time.monotonic() + 120
        while process.poll() is None and not list((two / "out").glob("1-*.mp3")):
            assert time.monotonic() < deadline
            time.sleep(0.02)
        process.send_signal(signal.SIGINT)
        _, told = process.communicate()
    assert process.returncode == 130
    assert b"stopped" in told
    left = sorted(path.name for path in (two / "out").iterdir())
    assert not [name for name in left if name.startswith((".", "2-"))]
    assert mutagen.File(next((two / "out").glob("1-*.mp3"))).info.length > 4
