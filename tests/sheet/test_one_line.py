"""One line for one name: the sheet, the track, the page and the file have the same notes."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path
from xml.etree import ElementTree

import pytest

import backing
from backing.cli import main
from backing.cli.tunes import each_key
from backing.lines.phrase import read_phrase
from backing.lines.player import Line
from backing.neck.fingerboard import make_fingerboard
from backing.page.score import make_score
from backing.routine.passes import Purpose
from backing.sheet.line_block import line_file, staff_line
from backing.sheet.request import SheetRequest, chosen_position
from backing.sheet.sheet_part import make_sheet_part

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.tune"))
PHRASES = ("etude", "etude 7 level 3 position 5", "etude 12 phrases level 2", "call 3 level 4")

Notes = list[tuple[object, int]]


def printed(form: backing.Form, line: Line, bars: str | None = None) -> Notes:
    """Onset in beats and MIDI pitch of every note on the sheet, tied ones once."""
    position = str(line.position[0]) if line.position else None
    request = SheetRequest(line="etude", etude=line, position=position, bars=bars)
    staff = staff_line(form, request, chosen_position(form, request))
    found, start = [], 0
    for bar, values in zip(staff.bars, staff.values, strict=True):
        quarters = bar.meter.beat_quarters
        found += [
            (start + value.onset / quarters, value.tones[0].pitch)
            for value in values
            if value.tones and not value.tied[0]
        ]
        start += bar.length
    return found


def track(form: backing.Form, line: Line, purpose: Purpose, **asked: object) -> list[Notes]:
    """The notes of each pass for one purpose in a track."""
    routine = backing.make_routine(form, backing.Request(**asked))  # type: ignore[arg-type]
    band = backing.Band(line=line, players="line", seed=3)
    return [
        [(note.onset, note.pitch) for part in done.parts for note in part.notes]
        for done in backing.arrange(routine, band).passes
        if done.routine_pass.purpose is purpose
    ]


@pytest.mark.parametrize("phrase", PHRASES)
@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_what_is_printed_is_what_is_heard_in_the_solos(tune: Path, phrase: str) -> None:
    form, line = backing.read_file(tune), read_phrase(phrase).line
    assert track(form, line, Purpose.SOLO)[0] == printed(form, line)


@pytest.mark.parametrize("phrase", PHRASES)
def test_a_loop_and_the_page_have_the_same_notes(phrase: str) -> None:
    form, line = backing.read_file(TUNES[0]), read_phrase(phrase).line
    times = track(form, line, Purpose.TIME, bars="B", times=3)
    assert times[0] == printed(form, line, "B")
    if "rhythm" not in read_phrase(phrase).said and line.number:
        assert times[1] == times[0]
    score = make_score(form, backing.Band(seed=9), line)
    etude = next(part for part in score.lines if part.name == "etude")
    starts = [bar.start for bar in score.plan.bars]
    shown = [
        (start + note.onset, note.pitch)
        for start, bar in zip(starts, etude.takes[0], strict=True)
        for note in bar
    ]
    assert sorted(shown) == printed(form, line)


@pytest.mark.parametrize("phrase", ["etude 1", "etude 7 level 3 position 5"])
def test_in_each_key_in_turn_the_line_is_the_one_that_is_printed_in_it(phrase: str) -> None:
    """But for the last time in a key, whose last notes lead into the next."""
    form, line = backing.read_file(TUNES[0]), read_phrase(phrase).line
    times = track(form, line, Purpose.TIME, bars="1-4", key="C F Bb", times=2)
    assert len(times) == 6
    for key, notes in zip(("C", "F", "Bb"), times[::2], strict=True):
        (moved,) = each_key(form, key)
        assert notes == printed(moved, line, "1-4")


def test_without_a_number_each_time_is_the_next_etude() -> None:
    form = backing.read_file(TUNES[0])
    times = track(form, Line(position=5), Purpose.TIME, bars="B", times=3)
    for number, notes in enumerate(times, 1):
        assert notes == printed(form, Line(position=5, number=number), "B")


def test_a_name_asks_for_the_line_again() -> None:
    line = read_phrase("etude 7 off-beats level 2 position 5 down from the 3rd top 4 strings").line
    assert line.name() == (
        "etude 7, position 5, level 2, top 4 strings, from the 3rd, off-beats, down"
    )
    assert read_phrase(line.name()).line == line


def test_the_file_says_its_name_its_command_its_tempo_and_its_swing() -> None:
    form = backing.read_file(TUNES[0])
    request = SheetRequest(
        line="etude", position="5", etude=Line(level=2), recipe="backing sheet x"
    )
    root = ElementTree.fromstring(line_file(form, request).partition('dtd">')[2])
    assert root.findtext("work/work-title") == f"{form.title}: Etude 1, position 5, level 2"
    assert root.findtext(".//miscellaneous-field") == "backing sheet x"
    assert root.find(f".//sound[@tempo='{float(form.tempo):g}']") is not None
    swing = root.find(".//sound/swing")
    assert swing is not None
    ratio = int(swing.findtext("first") or 0) / int(swing.findtext("second") or 1)
    assert 1 < ratio < 3


def test_the_bass_prints_what_it_plays() -> None:
    form = backing.read_file(TUNES[0])
    band = backing.Band(players="bass", seed=5)
    routine = backing.make_routine(form, backing.Request())
    done = next(
        p for p in backing.arrange(routine, band).passes if p.routine_pass.purpose is Purpose.SOLO
    )
    played = [n.pitch for part in done.parts for n in part.notes if n.tempos is None]
    part = make_sheet_part("bass")
    request = SheetRequest(line="bass", seed=5, part=part, board=make_fingerboard("bass"))
    staff = staff_line(form, request, chosen_position(form, request))
    values = [value for bar in staff.values for value in bar]
    assert [v.tones[0].pitch for v in values if v.tones and not v.tied[0]] == played
    places = [v.tones[0].place for v in values if v.tones]
    strings = request.board.strings[::-1]
    assert all(p and strings[p.string - 1] + p.fret == v.tones[0].pitch
               for p, v in zip(places, [v for v in values if v.tones], strict=True))  # fmt: skip


def test_the_bass_line_is_for_a_sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "bass.musicxml"
    assert main(["sheet", str(TUNES[0]), "-o", str(sheet), "--line", "bass", "--seed", "3"]) == 0
    assert "TAB" in sheet.read_text()
    assert main(["track", str(TUNES[0]), "-o", str(tmp_path / "a.mid"), "--line", "bass"]) == 2
    assert "The bass plays in every track" in capsys.readouterr().err


@pytest.mark.parametrize("guide", ["3rd", "7th"])
@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_guide_tones_are_printed_in_the_octave_in_which_they_are_heard(
    tune: Path, guide: str
) -> None:
    form = backing.read_file(tune)
    request = SheetRequest(line="guide", guide=guide, position="5")
    line = staff_line(form, request, chosen_position(form, request))
    written = [value.tones[0].pitch for bar in line.values for value in bar if value.tones]
    band = backing.Band(guide_line=guide, players="guide")
    first = next(
        done
        for done in backing.arrange(backing.make_routine(form, backing.Request()), band).passes
        if done.routine_pass.purpose is Purpose.SOLO
    )
    played = [note.pitch for part in first.parts for note in part.notes]
    assert [pitch for pitch, _ in groupby(played)] == [pitch for pitch, _ in groupby(written)]
