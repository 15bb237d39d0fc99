"""The page and the sheets of a student, against the tracks they go with."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from backing.take.track_tags import recipe_of
from tests.cli.conftest import SMALL, TUNE, Run

FONT = f'soundfont = "{SMALL}"\n'
TASKS = """
[[task]]
bars = "1-2"
tempo = "60%"
without = "comp"

[[task]]
only = "click"
click = "2 and 4"
times = 1

[[task]]
line = "guide both"
only = "guide"
times = 1

[[task]]
line = "etude off-beats"
only = "line,bass"
swing = 3
times = 1
neck = "drop-d"

[[task]]
trade = "2 with line"
times = 1

[[task]]
bars = "intro"
tempo = "50%"
key = "F"
times = 1
"""
INTRO = TUNE.replace("section A", "head: intro A\n\nsection intro\n| G7 | G7 |\n\nsection A", 1)


def data_of(page: Path) -> list[dict[str, Any]]:
    """All that each task of a page says, what it shares with an earlier one included."""
    pattern = r'class="tune" data-name="[^"]*"(?: data-of="(\d+)")?>(.*?)</script>'
    tunes: list[dict[str, Any]] = []
    for of, text in re.findall(pattern, page.read_text("utf-8")):
        tunes.append((tunes[int(of)] if of else {}) | json.loads(text))
    return tunes


def lesson(run: Run, here: Path, student: str, tasks: str, *words: str) -> Path:
    """The folder of a student's lesson that is made."""
    text = f'title = "T"\ntunes = ["four.tune"]\n{FONT}[[student]]\nname = "Ann"\n{student}\n'
    (here / "week.toml").write_text(f"{text}{tasks.replace('[[task]]', '[[student.task]]')}")
    said = run("lesson", "week.toml", "--quiet", *words)
    assert said.status == 0, said.err
    return here / "week" / "Ann"


def test_a_page_opens_each_task_with_the_players_of_its_track(here: Path, run: Run) -> None:
    (here / "four.tune").write_text(INTRO)
    made = lesson(run, here, 'part = "alto"\nformat = "mid"', TASKS)
    tasks = data_of(made / "page.html")
    heard = [each["heard"] for each in tasks]
    assert heard == [
        ["bass", "drums"], ["click 2 and 4"], ["third", "seventh"], ["bass", "etude"],
        ["bass", "comp", "drums", "etude"], ["bass", "comp", "drums"],
    ]  # fmt: skip
    assert {each["part"] for each in tasks} == {"Eb"}
    assert {bar["swing"] for bar in tasks[0]["bars"]} == {"ride"}
    assert {bar["swing"] for bar in tasks[3]["bars"]} == {3}
    lowest = [each["neck"]["strings"][-1] for each in tasks]
    assert lowest == [40, 40, 40, 38, 40, 40]
    assert [tasks[at]["line"]["opens"] for at in (3, 4)] == ["off-beats", "phrases"]
    assert tasks[5]["session"] == {"tempo": "50%", "key": "F"}
    assert {each["recipe"] for each in tasks} == {"backing lesson week.toml"}


@pytest.mark.parametrize(
    "student", ['click = "all"', 'only = "click"', 'line = "guide"\nonly = "guide"',
                'part = "bass"\nclick = "4"'],
)  # fmt: skip
def test_whatever_a_student_always_has_there_is_a_page(here: Path, run: Run, student: str) -> None:
    made = lesson(run, here, f'{student}\nformat = "mid"', '[[task]]\nbars = "1-2"\ntimes = 1\n')
    assert data_of(made / "page.html")


def test_the_line_of_a_student_fills_up_that_of_a_task(here: Path, run: Run) -> None:
    """On the track, the sheet and the page."""
    task = '[[task]]\nline = "etude off-beats"\ntimes = 1\n'
    made = lesson(run, here, 'line = "level 2 position 8"\nformat = "mp3"', task)
    asked = "etude off-beats level 2 position 8"
    (track,) = made.glob("1-*.mp3")
    assert asked in " ".join(recipe_of(track))
    text = "".join(page.extract_text() for page in PdfReader(made / "sheets.pdf").pages)
    assert "Etude 1, position 8, level 2" in text
    assert "Shapes in position 8" in text
    (page,) = data_of(made / "page.html")
    assert page["line"]["opens"] == "off-beats"
    assert page["line"]["besides"] == "etude level 2 position 8"


def test_arpeggios_on_another_root_are_another_sheet(here: Path, run: Run) -> None:
    for root in ("F", "Ab"):
        made = lesson(run, here, "", f'[[task]]\narpeggios = "{root}"\n')
        pages = PdfReader(made / "sheets.pdf").pages
        text = "".join(page.extract_text() for page in pages)
        assert f"arpeggios on {root.replace('b', '♭')}" in text


def test_the_bass_of_a_sheet_follows_its_feel(here: Path, run: Run) -> None:
    """The walking line that is printed is that of the feel as it is today."""
    (here / "four.tune").write_text(TUNE.replace("key:", "feel: own.toml\nkey:", 1))
    task = '[[task]]\nline = "bass"\ntrack = false\n'
    sheets = []
    for cell in ("1- 2- 3- 4-", "1- 3-"):
        bass = f'[bass]\ncells = [{{play = "{cell}"}}]\n'
        (here / "own.toml").write_text(f'name = "own"\nsentence = "Own."\nlike = "swing"\n{bass}')
        sheets.append((lesson(run, here, "", task) / "sheets.pdf").read_bytes())
    assert sheets[0] != sheets[1]


def test_a_title_hides_nothing_that_a_task_is(here: Path, run: Run) -> None:
    text = f"""title = "T"\ntunes = ["four.tune"]\n{FONT}
[[task]]
title = "Four Steps, slowly"
tempo = "56%"
without = "comp"
[[task]]
title = "The turnaround"
bars = "3-4"
track = false
line = "bass"
[[student]]
name = "Ann"
"""
    (here / "week.toml").write_text(text)
    said = run("check", "week.toml")
    assert said.status == 0, said.err
    assert [line.split("  ")[-1].strip() for line in said.out.splitlines()[1:3]] == [
        "Four Steps, slowly, without comp, 101 bpm, C major, 5 minutes",
        "The turnaround, Four Steps, walking bass, bars 3-4, 5 minutes",
    ]
