"""Feels of the user's own: sought beside the tune, taken along, and checked with it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from backing.chart.form import Form
from backing.cli.batch import attempt
from backing.cli.job import Job
from backing.cli.tunes import read_tune
from backing.combo.band import Band
from backing.routine.request import Request
from tests.cli.conftest import SMALL, TUNE, Run

EVEN = 'name = "mine"\nsentence = "Even."\nlike = "even"\n'
BROKEN = 'name = "mine"\nsentence = "Broken."\nlike = "even"\nnonsense = 1\n'


@pytest.fixture
def songs(here: Path) -> Path:
    """A folder of tunes in the working folder; the feel file of that name here is a broken one."""
    folder = here / "songs"
    folder.mkdir()
    (folder / "mine.toml").write_text(EVEN)
    (here / "mine.toml").write_text(BROKEN)
    (folder / "whole.tune").write_text(TUNE.replace("key: C", "key: C\nfeel: mine.toml"))
    (folder / "part.tune").write_text(TUNE.replace("section A", "section A  feel: mine.toml"))
    (folder / "even.tune").write_text(TUNE.replace("key: C", "key: C\nfeel: even"))
    return folder


def midi(run: Run, tune: str, *words: str) -> bytes:
    """The notes of a tune."""
    said = run("track", tune, "-o", "x.mid", "--choruses", "1", *words)
    assert said.status == 0, said.err
    return Path("x.mid").read_bytes()


@pytest.mark.parametrize("tune", ["songs/whole.tune", "songs/part.tune"])
def test_a_feel_file_is_sought_beside_the_tune(songs: Path, run: Run, tune: str) -> None:
    assert midi(run, tune) == midi(run, "songs/even.tune")
    said = run("check", tune)
    assert said.status == 0
    assert "mine.toml" in said.out
    assert "songs/mine.toml" not in said.out
    assert "feel: mine.toml" in " ".join(run("check", "--tidy", tune).out.split())
    sheet = run("sheet", tune, "-o", "x.musicxml", "--line", "etude")
    assert sheet.status == 0, sheet.err
    page = run("page", tune, "-o", "x.html", "--soundfont", SMALL)
    assert page.status == 0, page.err
    assert '"feel":"songs/mine.toml"' not in Path("x.html").read_text("utf-8")


def test_the_option_names_a_file_of_the_working_folder(songs: Path, run: Run) -> None:
    said = run("track", "songs/even.tune", "-o", "x.mid", "--feel", "mine.toml")
    assert said.err.startswith("mine.toml:4:1: nonsense is not known.\n  nonsense = 1\n")
    even = midi(run, "songs/even.tune")
    assert midi(run, "four.tune", "--feel", "songs/mine.toml") == even


@pytest.mark.parametrize("table", ["", "[comp]\n", "[drums]\n"])
def test_a_feel_file_is_like_another_beside_it(songs: Path, run: Run, table: str) -> None:
    head = 'name = "mine"\nsentence = "."\n' + ('like = "even"\n' if table else "")
    (songs / "mine.toml").write_text(f'{head}{table}like = "bossa"\n')
    bossa = midi(run, "songs/whole.tune")
    (songs / "mine.toml").write_text(f'{head}{table}like = "../base.toml"\n')
    base = 'name = "base"\nsentence = "."\nlike = "bossa"\n'
    (songs.parent / "base.toml").write_text(base)
    assert midi(run, "songs/whole.tune") == bossa


def test_a_mistake_is_told_in_the_file_that_has_it(songs: Path, run: Run) -> None:
    (songs / "mine.toml").write_text('name = "mine"\nsentence = "."\nlike = "base.toml"\n')
    (songs / "base.toml").write_text(EVEN + "[bass]\nroots = 7\n")
    said = run("check", "songs/whole.tune")
    assert said.err.startswith("songs/whole.tune:3:7: songs/base.toml:5: bass.roots is 7.\n")


@pytest.mark.parametrize(
    ("mine", "other", "words"),
    [
        ('like = "mine.toml"\n', "", 'songs/mine.toml:3: like is "mine.toml", which leads back'),
        ('like = "b.toml"\n', 'like = "mine.toml"\n', 'songs/b.toml:3: like is "mine.toml", which'),
        (
            'like = "b.toml"\n',
            None,
            "songs/mine.toml:3: like cannot be read: There is no file songs/b.toml.",
        ),
        (
            'like = "bosa"\n',
            None,
            'songs/mine.toml:3: like is "bosa". feel: mine.toml ^^^^^^^^^ Did you mean "bossa"?',
        ),
        (
            'like = "even"\n[drums]\nlike = "bosa"\n',
            None,
            'songs/mine.toml:5: drums.like is "bosa". feel: mine',
        ),
        (
            'like = "even"\n[comp]\nlike = "b.toml"\n',
            'like = "mine.toml"\n',
            'songs/b.toml:3: like is "mine.toml", which leads back',
        ),
    ],
)
def test_a_feel_that_is_like_nothing(
    songs: Path, run: Run, mine: str, other: str | None, words: str
) -> None:
    (songs / "mine.toml").write_text(f'name = "a"\nsentence = "."\n{mine}')
    if other is not None:
        (songs / "b.toml").write_text(f'name = "b"\nsentence = "."\n{other}')
    said = run("check", "songs/whole.tune")
    assert said.status == 2
    assert said.err.startswith("songs/whole.tune:3:7: ")
    assert words in " ".join(said.err.split())


def test_mistakes_of_the_tune_and_of_its_feels_are_told_together(songs: Path, run: Run) -> None:
    (songs / "whole.tune").write_text(
        "key: H\nfeel: mine.toml\ntempo: 0\nsection A  feel: swnig\n| Q |\n"
        "section B  feel: none.toml\n| C |\n"
    )
    (songs / "mine.toml").write_text(EVEN + '[bass]\nroots = 7\n[comp]\n[drums]\nkit = "tin"\n')
    told = run("check", "songs/whole.tune").err.splitlines()
    places = [line for line in told if line.startswith("songs/whole.tune:")]
    assert [place.split(" ")[0] for place in places] == [
        f"songs/whole.tune:{place}:"
        for place in ("1:6", "2:7", "2:7", "2:7", "3:8", "4:18", "5:3", "6:18")
    ]
    assert "songs/mine.toml:5: bass.roots is 7." in places[1]
    assert "songs/mine.toml:6: comp.cells are missing." in places[2]
    assert 'songs/mine.toml:8: drums.kit is "tin".' in places[3]
    assert 'There is no feel called "swnig".' in places[5]
    assert "There is no file songs/none.toml." in places[7]


def test_a_feel_file_with_marks_of_other_systems(songs: Path, run: Run) -> None:
    """A byte order mark, CR LF, and a suffix in capitals, as Windows has them."""
    plain = midi(run, "songs/whole.tune")
    text = EVEN.replace("\n", "\r\n").encode("utf-8-sig")
    (songs / "MINE.TOML").write_bytes(text)
    tune = (songs / "whole.tune").read_text().replace("mine.toml", "MINE.TOML")
    (songs / "whole.tune").write_text(tune)
    assert midi(run, "songs/whole.tune") == plain


def test_lists_in_lists_are_no_traceback(songs: Path, run: Run) -> None:
    (songs / "mine.toml").write_text("a = " + "[\n" * 5000 + "]\n" * 5000)
    said = run("check", "songs/whole.tune")
    assert said.status == 2
    assert "songs/mine.toml has lists and tables nested" in said.err


def job_of(form: Form, **band: str) -> Job:
    """A track of notes."""
    return Job(form, Request(choruses=1), Band(**band), Path("x.mid"))  # type: ignore[arg-type]


def test_feel_files_go_along_to_where_they_are_not(
    songs: Path, run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """All that another machine gets is the packed job: its own folders hold none of the files."""
    (songs / "base.toml").write_text(EVEN)
    (songs / "mine.toml").write_text('name = "m"\nsentence = "."\nlike = "base.toml"\n')
    even = midi(run, "songs/even.tune")
    jobs = [
        job_of(read_tune(Path("songs/whole.tune"))).packed(),
        job_of(read_tune(Path("songs/part.tune"))).packed(),
        job_of(read_tune(Path("four.tune")), feel="songs/mine.toml").packed(),
    ]
    shutil.rmtree(songs)
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    for job in jobs:
        outcome = attempt(job, None)
        assert outcome.status == 0, outcome.words
        assert outcome.contents == (("x.mid", even),)


def test_an_edited_base_makes_another_track(songs: Path, run: Run, cache_home: Path) -> None:
    (songs / "base.toml").write_text(EVEN)
    (songs / "mine.toml").write_text('name = "m"\nsentence = "."\nlike = "base.toml"\n')
    words = ("track", "songs/whole.tune", "-o", "x.wav", "--soundfont", SMALL)
    loop = ("--bars", "1-4", "--times", "1")
    run(*words, *loop)
    assert "cache" in run(*words, *loop).err
    (songs / "base.toml").write_text(EVEN.replace("even", "bossa"))
    assert "cache" not in run(*words, *loop).err


def test_bare_changes_in_a_feel_whose_path_reads_like_a_tune(here: Path, run: Run) -> None:
    folder = here / "feels #1  and: more"
    folder.mkdir()
    (folder / "mine.toml").write_text(EVEN)
    words = ("track", "--changes", "Dm7 | G7 | Cmaj7 | %", "-o", "x.mid", "--feel")
    assert run(*words, "even").status == 0
    even = (here / "x.mid").read_bytes()
    said = run(*words, "feels #1  and: more/mine.toml")
    assert said.status == 0, said.err
    assert (here / "x.mid").read_bytes() == even
