"""Each word of a lesson file is told or made: none is dropped, and nothing fails later."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import mido
import music21
import mutagen
import pytest
from pypdf import PdfReader

from backing.cli.assignment import VOCABULARY, Assignment, Print, Reader
from backing.cli.handouts import Page, PageTask
from backing.lesson.lesson_file import read_file
from backing.sheet.line_block import line_file
from backing.sheet.sheet_part import FRETTED, INSTRUMENTS, PARTS
from backing.sheet.sheets import arpeggio_sheet
from tests.cli.conftest import SMALL, TUNE, Run

ROOT = Path(__file__).parents[2]
FONT = f'soundfont = "{SMALL}"\n'
ADA = '[[student]]\nname = "Ada"\n'
TASK = "[[student.task]]\n"


@pytest.fixture
def two(here: Path) -> Path:
    """A folder with two tunes, of which the second is in minor."""
    minor = TUNE.replace("Four Steps", "More").replace("key: C", "key: Am")
    (here / "more.tune").write_text(minor.replace("Cmaj7", "Am7"), "utf-8")
    return here


def written(folder: Path, text: str) -> str:
    (folder / "week.toml").write_text(text, "utf-8")
    return "week.toml"


def assigned(folder: Path, text: str) -> tuple[Assignment, ...]:
    """What the students of a lesson without mistakes get."""
    lesson = read_file(folder / written(folder, text), VOCABULARY)
    found = Reader(lesson).assignments()
    lesson.source.finish()
    return found


def problems(err: str) -> list[str]:
    """The first line of each mistake that is told."""
    return [line for line in err.splitlines() if re.match(r"week\.toml:\d+:\d+: ", line)]


USUAL = f'tunes = ["four.tune"]\n{FONT}'
WITH_A_TASK = "[[task]]\ntimes = 1\n"
SHARED = f'tunes = ["four.tune"]\n{FONT}{ADA}'


@pytest.mark.parametrize("tasks", ["", WITH_A_TASK, ADA, WITH_A_TASK + ADA])
@pytest.mark.parametrize(
    ("key", "told"),
    [
        ('feel = "gone.toml"', "week.toml:1:8: There is no file gone.toml"),
        ('soundfont = "gone.sf2"', "week.toml:1:13: gone.sf2 does not exist."),
        ('soundfont = "four.tune"', "week.toml:1:13: four.tune is not a SoundFont"),
        ('key = "Bm"', "week.toml:1:7: The tune is in C major; it cannot be played in B minor."),
        ('key = "H"', "week.toml:1:7: "),
        ('format = "mp3 24-bit"', "week.toml:1:10: .mp3 has no 24 bits."),
        ('format = "24-bit"', "week.toml:1:10: .mp3 has no 24 bits."),
    ],
)
def test_a_mistaken_habit_is_told_where_it_stands(
    two: Path, run: Run, key: str, told: str, tasks: str
) -> None:
    """In a set list and a week, with tasks and without: once, at the key, before any work."""
    name = written(two, f'{key}\ntunes = ["four.tune"]\n{tasks}')
    for words in (("check", name), ("lesson", name, "--dry-run"), ("lesson", name, "-o", "out")):
        said = run(*words)
        assert said.status == 2
        (line,) = problems(said.err)
        assert told in line
        assert f"\n  {key}\n" in said.err
        assert "^" in said.err
        assert said.out == ""
    assert not (two / "out").exists()


def test_a_habit_that_the_usual_tasks_cannot_have_is_told(two: Path, run: Run) -> None:
    name = written(two, f'tunes = ["four.tune"]\n{ADA}key = "fourths"\n')
    said = run("check", name)
    assert said.status == 2
    (line,) = problems(said.err)
    assert line.startswith("week.toml:4:7: key doesn't go with all of the usual tasks: A loop has")


def test_who_has_no_drums_has_no_trading(two: Path, run: Run) -> None:
    drums = f'tunes = ["four.tune"]\nwithout = "drums"\n{ADA}'
    said = run("lesson", written(two, drums), "--dry-run")
    assert said.status == 0, said.err
    assert "trading" not in said.out
    assert "guide" in said.out


def test_a_tune_that_has_too_little_for_a_usual_task_goes_without(two: Path, run: Run) -> None:
    """Where there is no chord there are no guide tones, and the rest is made."""
    (two / "two.tune").write_text("title: Two\nkey: C\n\nsection A\n| N.C. | N.C. |\n", "utf-8")
    said = run("lesson", written(two, f'tunes = ["two.tune"]\n{ADA}'), "--dry-run")
    assert said.status == 0, said.err
    assert "guide" not in said.out
    assert "trading" in said.out


@pytest.mark.parametrize(
    ("format_", "ending", "bits"),
    [
        ("16-bit", "mp3", 0),
        ("24-bit flac", "flac", 24),
        ("flac,24-bit", "flac", 24),
        ("wav", "wav", 16),
    ],
)
def test_a_format_is_read_as_a_track_reads_it(
    two: Path, run: Run, format_: str, ending: str, bits: int
) -> None:
    text = f'tunes = ["four.tune"]\n{FONT}format = "{format_}"\n[[task]]\ntimes = 1\n'
    said = run("lesson", written(two, text), "--quiet")
    assert said.status == 0, said.err
    (track,) = (two / "week").glob(f"1-*.{ending}")
    assert getattr(mutagen.File(track).info, "bits_per_sample", 0) == bits


def test_a_shared_task_is_of_each_students_own_tunes(two: Path, run: Run) -> None:
    top = f'tunes = ["four.tune"]\n{FONT}format = "flac"\n[[task]]\ntimes = 1\n'
    ben = '[[student]]\nname = "Ben"\ntunes = ["more.tune"]\nmidi = true\n'
    said = run("lesson", written(two, top + ADA + ben), "--dry-run")
    assert said.status == 0, said.err
    mine, theirs = said.out.split("week/Ben")
    assert "1-Four-Steps-180-bpm.flac" in mine
    assert ".mid" not in mine
    assert "1-More-180-bpm.flac" in theirs
    assert "1-More-180-bpm.mid" in theirs


def test_tunes_of_the_students_alone_are_enough(two: Path, run: Run) -> None:
    text = f'[[task]]\ntimes = 1\n{ADA}tunes = ["four.tune"]\n'
    assert run("check", written(two, text)).status == 0
    said = run("check", written(two, f"[[task]]\ntimes = 1\n{ADA}[[student]]\nname = 'Ben'\n"))
    assert problems(said.err) == ["week.toml:1:3: The task has no tune."]


@pytest.mark.parametrize("where", ["", ADA])
def test_midi_holds_for_tasks_that_nobody_wrote(two: Path, run: Run, where: str) -> None:
    said = run("lesson", written(two, f'tunes = ["four.tune"]\nmidi = true\n{where}'), "--dry-run")
    assert said.status == 0, said.err
    tracks = re.findall(r"(\S+)\.mp3 ", said.out)
    assert tracks
    assert re.findall(r"(\S+)\.mid ", said.out) == tracks


@pytest.mark.parametrize(
    ("task", "told"),
    [
        ("midi = true\ntrack = false", "7:8: This task has no track to be MIDI."),
        ('arpeggios = "G"\nmidi = true', "8:8: This task has no track to be MIDI."),
        ('arpeggios = "G"\ntrack = true', "8:9: Arpeggios are for paper, and have no track."),
        ('arpeggios = "G"\nclimb = "60%"', "8:9: climb is for a track, and this task has none."),
        ('arpeggios = "G"\ntrade = 4', "8:9: trade is for a track, and this task has none."),
        ('arpeggios = "G"\ntune = "four.tune"', "7:13: The task has a tune and arpeggios."),
        ('changes = "Dm7 | G7"\ntune = "four.tune"', "7:11: The task has a tune and changes."),
        ('changes = "Dm7"\narpeggios = "G"', "8:13: The task has changes and arpeggios."),
        ("choruses = 100\nloop = 1", '8:1: "loop" isn\'t known here.'),
        ('bars = "1-4"\ntimes = 1000\ntempo = 20', "9:9: This track lasts 13.3 hours"),
        ('format = "mp3 24-bit"', "7:10: .mp3 has no 24 bits."),
        ('key = "H"\ntrack = false', "7:7: "),
        ('say = "a\\u0000b"', '7:7: say has a control character: "a\\u0000b".'),
        ('title = "a\\u0007b"', '7:9: title has a control character: "a\\u0007b".'),
        ('line = "etude position 30"', "7:8: "),
        ('bars = "3"\nshapes = "5 pairs"', "8:10: There is no ii-V and no V-I in these bars."),
        ('line = "etude subdivisions"\ntrack = false', "7:8: "),
        ('bars = "1"\nline = "call"', "8:8: A call and its answer need at least two bars"),
        ('bars = "1"\nline = "guide and call"', "8:8: A call and its answer need at least two"),
        ('without = "drums"\ntrade = 2\nchoruses = 4', "8:9: Without the drums there is nobody to"),
        ('line = "guide and etude"\ntrack = false', "7:8: A sheet has one line."),
        ('changes = "Dm7 | G7"\nline = "etude"\ntrack = false\nbars = "5"', "10:8: "),
    ],
)
def test_a_task_that_says_too_much_is_told_before_any_work(
    two: Path, run: Run, task: str, told: str
) -> None:
    name = written(two, f'title = "T"\ntunes = ["four.tune"]\nsay = "Hi."\n{ADA}{TASK}{task}\n')
    for words in (("check", name), ("lesson", name, "--dry-run"), ("lesson", name)):
        said = run(*words)
        assert said.status == 2
        assert any(f":{told}" in line for line in problems(said.err)), said.err
        assert "^" in said.err
        assert "Traceback" not in said.err
    assert not (two / "week").exists()


@pytest.mark.parametrize(
    ("task", "told"),
    [
        ('neck = "drop-d"\nbars = "Q"\ndrill = "lead-in 2"', [4, 5]),
        ('drill = "rest bar"\nchanges = "Dm7 | G7"', [4]),
        ('climb = "60%"\narpeggios = "G"', [4]),
        ("times = 0\ntempo = 10", [4, 5]),
    ],
)
def test_each_mistake_of_several_is_told_once_at_its_own_word(
    two: Path, run: Run, task: str, told: list[int]
) -> None:
    said = run("check", written(two, f'{ADA}tunes = ["four.tune"]\n{TASK}{task}\n'))
    lines = [int(line.split(":")[1]) - 1 for line in problems(said.err)]
    assert [line for line in lines if line != 6] == told, said.err


def test_a_title_is_one_line(two: Path) -> None:
    (found,) = assigned(two, f'tunes = ["four.tune"]\n{ADA}{TASK}title = "a\\n b"\n')
    assert found.exercises[0].what == "a b"


def test_a_line_over_bare_changes_is_printed(two: Path, run: Run) -> None:
    task = 'changes = "Dm7 | G7 | Cmaj7 | %"\nline = "etude"\ntrack = false\n'
    text = f"[[task]]\n{task}{ADA}{FONT}"
    assert run("lesson", written(two, text), "--quiet").status == 0
    (pdf,) = (two / "week").rglob("sheets.pdf")
    assert "Etude 1" in PdfReader(pdf).pages[0].extract_text()
    assert (two / "week" / "Ada" / "page.html").exists()


@pytest.mark.parametrize(
    ("habit", "task", "charts"),
    [
        ("", "", 1),
        ("", "no-chart = true", 0),
        ('part = "alto"\nno-chart = true', "", 0),
        ('part = "alto"\nno-chart = true', "no-chart = false", 1),
    ],
)
def test_a_chart_is_printed_where_the_task_or_the_student_wants_one(
    two: Path, habit: str, task: str, charts: int
) -> None:
    (found,) = assigned(two, f'tunes = ["four.tune"]\n{ADA}{habit}\n{TASK}{task}\n')
    assert len(found.prints) == charts


def test_a_tune_that_no_task_names_is_printed(two: Path) -> None:
    text = f'tunes = ["four.tune", "more.tune"]\n{ADA}{TASK}times = 1\n'
    (found,) = assigned(two, text)
    assert [each.forms[0].title for each in found.prints] == ["Four Steps", "More"]
    assert len(found.exercises) == 1


def test_arpeggios_say_what_makes_them_and_lie_on_the_neck_of_the_student(two: Path) -> None:
    (found,) = assigned(two, f'{ADA}part = "bass"\n{TASK}arpeggios = "G"\n')
    (sheet,) = found.prints
    assert sheet.request.recipe == "backing sheet --arpeggios G --neck bass"
    assert len(sheet.request.board.strings) == 4
    assert arpeggio_sheet(music_root(sheet), sheet.request).recipe == sheet.request.recipe
    assert found.exercises[0].what == "All arpeggios on G"


def music_root(sheet: Print) -> Any:
    from backing.chart.pitch import PitchName

    return PitchName.parse(sheet.words.said["arpeggios"])


# ---- the words that reach the page -------------------------------------------------------------


@pytest.mark.parametrize(
    ("habits", "task", "words"),
    [
        ("", 'bars = "1-2"\nline = "etude"\ntrack = false', {"bars": "1-2", "line": "etude"}),
        ("", 'line = "bass"\ntrack = false', {}),
        ("", 'line = "guide position 5"\ntrack = false', {"line": "guide from the 3rd"}),
        ("", 'neck = "drop-d"\nline = "etude"\ntimes = 1', {"neck": "drop-d"}),
        ("", 'neck = "drop-d"\nshapes = "5"\ntimes = 1', {"neck": "drop-d"}),
        ("", 'neck = "drop-d"\nshapes = "5"\ntrack = false', {"neck": "drop-d"}),
        ('swing = 1.6\nonly = "bass, drums"', "times = 1", {"swing": "1.6", "only": "bass, drums"}),
        ('swing = 1.6\nwithout = "comp"', "track = false", {"swing": "1.6", "without": "comp"}),
        ('without = "comp"', 'only = "bass"\ntimes = 1', {"only": "bass"}),
        ('part = "bass"', "times = 1", {"without": "bass"}),
        ('part = "bass"', 'line = "etude"\ntimes = 1', {"neck": "bass"}),
        (
            'part = "bass"',
            'line = "etude"\nneck = "24 frets"\ntimes = 1',
            {"neck": "bass 24 frets"},
        ),
    ],
)
def test_the_page_opens_with_the_words_of_the_task(
    two: Path, habits: str, task: str, words: dict[str, str]
) -> None:
    (found,) = assigned(two, f'tunes = ["four.tune"]\n{ADA}{habits}\n{TASK}{task}\n')
    (exercise,) = found.exercises
    assert exercise.words
    of_page = {"bars", "line", "neck", "swing", "only", "without"}
    mine = {name: word for name, word in exercise.words.said.items() if name in of_page}
    assert mine.items() >= words.items()
    assert words or not mine


def letter_sizes(pdf: PdfReader) -> list[float]:
    found: list[float] = []
    pdf.pages[0].extract_text(visitor_text=lambda *each: found.append(each[4]))
    return found


def test_large_print_is_of_the_first_page_too(two: Path, run: Run) -> None:
    """Read off the PDF: the largest letters are a quarter larger."""
    sizes = []
    for large in ("", "large = true\n"):
        text = f'tunes = ["four.tune"]\nformat = "mid"\n{large}[[task]]\ntimes = 1\n{ADA}'
        assert run("lesson", written(two, text), "--quiet").status == 0
        pdf = PdfReader(two / "week" / "Ada" / "0-first-page.pdf")
        sizes.append(max(letter_sizes(pdf)))
    assert sizes[1] == pytest.approx(1.25 * sizes[0])


def test_what_the_print_of_the_first_page_needs_arrives(two: Path) -> None:
    text = f'tunes = ["four.tune"]\nlarge = true\npaper = "Letter"\npart = "Eb"\n{ADA}'
    (found,) = assigned(two, text)
    assert {"large": "", "paper": "Letter", "part": "Eb"}.items() <= found.habits.items()


# ---- what is printed is what is heard, and what the page shows ----------------------------------


def heard(file: Path) -> list[int]:
    """The pitches of the line of a MIDI file, by mido."""
    (line,) = (track for track in mido.MidiFile(file).tracks if track.name == "line")
    return [each.note for each in line if each.type == "note_on" and each.velocity]


def printed(sheet: Print) -> list[int]:
    """The sounding pitches of a line in print, as music21 reads its MusicXML."""
    found: list[int] = []
    for form in sheet.forms:
        score = music21.converter.parseData(line_file(form, sheet.request)).toSoundingPitch()
        notes = (note for note in score.parts[0].flatten().notes if note.isNote)
        found += [n.pitch.midi for n in notes if n.tie is None or n.tie.type == "start"]
    return found


def shown(data: dict[str, Any], numbers: range | None = None) -> list[int]:
    """The pitches of the line with which the data of a page opens, in some bars of its chorus:
    string and fret of each note (backing/page/line_data.py)."""
    line, strings = data["line"], data["neck"]["strings"]
    (opens,) = (each for each in line["lines"] if each["words"] == line["opens"])
    bars = [opens["takes"][0][number] for number in numbers or range(data["chorus"])]
    notes = [bar[at : at + 5] for bar in bars for at in range(0, len(bar), 5)]
    return [strings[int(note[2]) - 1] + int(note[3], 36) for note in notes]


PLAYERS = {name: f'part = "{name}"' for name in (*PARTS, *INSTRUMENTS)} | {
    "nobody": "",
    "left-handed bass": 'part = "bass"\nneck = "left-handed"',
    "five strings": 'part = "bass"\nneck = "five-string-bass"',
    "ukulele": 'neck = "ukulele"',
}


@pytest.mark.parametrize("task", ['line = "etude"', 'line = "etude"\nshapes = "3"'])
def test_an_etude_in_print_is_the_one_that_is_heard(here: Path, task: str) -> None:
    """For every instrument that a lesson can name; away from a neck but for octaves, which are
    chosen for the staff."""
    text = f'tunes = ["four.tune"]\nformat = "mid"\n[[task]]\n{task}\ntimes = 1\n'
    text += "".join(f'[[student]]\nname = "{name}"\n{said}\n' for name, said in PLAYERS.items())
    for each in assigned(here, text):
        (exercise,) = each.exercises
        (job,) = exercise.jobs
        job.at(here / "track.mid").make()
        assert exercise.sheet
        track, sheet = heard(here / "track.mid"), printed(exercise.sheet)
        part = each.habits.get("part", "guitar")
        if part not in FRETTED:
            track, sheet = [n % 12 for n in track], [n % 12 for n in sheet]
        assert len(track) > 20
        assert track == sheet, each.student.name


def test_in_keys_in_turn_the_line_stays_in_its_position_on_paper(here: Path) -> None:
    task = 'line = "etude"\nkey = "C Ab E"\nbars = "1-4"\ntimes = 1\n'
    (found,) = assigned(here, f'tunes = ["four.tune"]\n{ADA}part = "guitar"\n{TASK}{task}')
    (exercise,) = found.exercises
    exercise.jobs[0].at(here / "track.mid").make()
    assert exercise.sheet
    track, sheet = heard(here / "track.mid"), printed(exercise.sheet)
    a_key = len(sheet) // 3  # at its end the track leads on to the next key
    bars = [range(at * a_key, at * a_key + a_key // 2) for at in range(3)]
    for bar in bars:
        assert [track[n] for n in bar] == [sheet[n] for n in bar]


def test_the_page_of_a_student_shows_the_line_that_is_printed(here: Path, run: Run) -> None:
    names = ("guitar", "bass", "alto", "left-handed bass", "ukulele")
    text = f'tunes = ["four.tune"]\n{FONT}format = "mid"\n[[task]]\nline = "etude"\nshapes = "3"\n'
    text += "".join(f'[[student]]\nname = "{name}"\n{PLAYERS[name]}\n' for name in names)
    found = {each.student.name: each for each in assigned(here, text)}
    said = run("lesson", "week.toml", "--quiet")
    assert said.status == 0, said.err
    for name in names:
        page = (here / "week" / name / "page.html").read_text("utf-8")
        data = json.loads(re.findall(r'class="tune"[^>]*>(.*?)</script>', page, re.DOTALL)[0])
        sheet = found[name].exercises[0].sheet
        assert sheet
        board = sheet.request.board
        assert data["neck"]["strings"] == [*reversed(board.strings)]
        assert data["neck"]["left_handed"] == board.left_handed
        (track,) = (here / "week" / name).glob("1-*.mid")
        mine = shown(data)
        assert heard(track)[: len(mine)] == mine
        assert [n % 12 for n in printed(sheet)] == [n % 12 for n in mine]


@pytest.mark.parametrize("rhythm", ["", " off-beats", " 2 level 2"])
def test_over_a_loop_the_page_shows_the_line_of_the_track(here: Path, rhythm: str) -> None:
    """And in the other bars that of the chorus, as if the loop were not asked for."""
    tune = (ROOT / "tunes" / "corner-booth.tune").read_text("utf-8")
    (here / "booth.tune").write_text(tune, "utf-8")
    pages = []
    for bars in ("B", "1-32"):
        task = f'line = "etude{rhythm}"\nbars = "{bars}"\ntimes = 1\ncount-in = 0\n'
        text = f'tunes = ["booth.tune"]\n{FONT}format = "mid"\n{ADA}part = "guitar"\n{TASK}{task}'
        (found,) = assigned(here, text)
        (exercise,) = found.exercises
        assert exercise.form
        assert exercise.words
        page = Page(
            target=here / "page.html", title="T",
            tasks=(PageTask(exercise.form, exercise.words, "T", "1"),), soundfont=SMALL,
        )  # fmt: skip
        exercise.jobs[0].at(here / "track.mid").make()
        assert exercise.sheet
        assert heard(here / "track.mid") == printed(exercise.sheet)
        data = re.findall(r'class="tune"[^>]*>(.*?)</script>', page.data().decode(), re.DOTALL)
        pages.append(json.loads(data[0]))
        if bars == "B":
            track = heard(here / "track.mid")
            if "off-beats" in rhythm:  # the last one is that of the first bar, over its chord
                track = track[-1:] + track[:-1]
            assert shown(pages[0], range(16, 24)) == track
    loop, whole = (shown(each, range(16)) for each in pages)
    assert loop == whole
