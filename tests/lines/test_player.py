"""The line as a soloist of the band: it trades with the player, and ends its turn in time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest

from backing.chart.form import Form
from backing.chart.text.tune_file import read, read_file
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.part import Note
from backing.combo.performance import Performance, PlayedPass
from backing.lines.player import Line
from backing.routine import Pass, Purpose
from backing.routine.request import Request
from backing.routine.routine import Routine, make_routine
from backing.routine.trading import Trade

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.tune"))
BAND = frozenset({"bass", "comp", "drums", "line"})


def traded(form: Form, line: Line, **asked: object) -> tuple[Routine, Performance]:
    first = asked.pop("partner_first", False)
    trade = Trade(4, "line", partner_first=bool(first))
    request = Request(trade=trade, **asked)  # type: ignore[arg-type]
    routine = make_routine(form, request)
    return routine, arrange(routine, Band(players=BAND, line=line))


def notes_of(each: PlayedPass, part: str = "line") -> tuple[Note, ...]:
    return next((p.notes for p in each.parts if p.name == part), ())


def turns(asked: Pass) -> Iterator[tuple[Fraction, Fraction]]:
    """Start and end, in beats of the pass, of the bars that are the melody's in a row."""
    beat, start = Fraction(0), None
    for bar in asked.bars:
        mine = "line" not in bar.directions.lay_out and bool(bar.changes)
        if mine and start is None:
            start = beat
        if not mine and start is not None:
            yield start, beat
            start = None
        beat += bar.length
    if start is not None:
        yield start, beat


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
@pytest.mark.parametrize("first", [False, True])
def test_every_phrase_keeps_to_its_bars_and_closes_on_a_chord_tone(path: Path, first: bool) -> None:
    form = read_file(path)
    line = Line(rhythm="phrases", level=4, position=5)
    routine, performance = traded(form, line, choruses=4, partner_first=first)
    phrases = []
    for asked, each in zip(routine.passes, performance.passes, strict=True):
        mine = list(turns(asked))
        notes = notes_of(each)
        if asked.purpose is not Purpose.SOLO:
            assert not notes
            continue
        assert all(any(a <= n.onset and n.end <= b for a, b in mine) for n in notes)
        for start, end in mine:
            phrase = [n for n in notes if start <= n.onset < end]
            assert phrase
            assert phrase[0].onset - start <= 2  # on 3 at the latest
            assert end - phrase[-1].end >= 1
            closing = phrase[-1]
            assert closing.chord is not None
            assert closing.pitch % 12 in closing.chord.pitch_classes
            phrases.append(tuple((n.onset - start, n.pitch) for n in phrase))
    assert len(set(phrases)) == len(phrases)


@pytest.mark.parametrize("rhythm", ["eighths", "quarters", "halves", "phrases", "call"])
def test_nothing_of_the_melody_sounds_in_the_bars_of_the_player(rhythm: str) -> None:
    """In seconds, with swing and the lateness of a soloist; a pushed chord is no excuse."""
    form = read(
        "title: T\nkey: C\nmeter: 4/4\ntempo: 90\nsection A\n"
        "| Dm7 | G7 | Cmaj7 | A7 |\n| Dm7 | G7 | Em7 | A7 |\n| Dm7 | G7 | Cmaj7 | % |\n"
        "push 5: 1\npush 9: 1 by a quarter\n"
    )
    for early in (False, True):
        line = Line(rhythm=rhythm, level=4, anticipate=early, position=5)
        routine, performance = traded(form, line, bars="1-12", times=4, count_in=0)
        seconds = performance.clock.seconds
        mine = [
            (seconds(each.start + start), seconds(each.start + end))
            for asked, each in zip(routine.passes, performance.passes, strict=True)
            for start, end in turns(asked)
        ]
        assert len(mine) == 6
        notes = list(performance.notes("line"))
        assert notes
        for note in notes:
            assert any(start <= note.onset and note.end <= end for start, end in mine), note
        for start, end in mine:
            *_, closing = (note.note for note in notes if start <= note.onset < end)
            assert closing.role not in ("approach", "enclosure", "passing")


def test_turns_start_on_different_tones_and_beats() -> None:
    """In a blues, whose first turn in a chorus is the melody's in every second one."""
    form = read_file(next(path for path in TUNES if "blues" in path.stem))
    for first in (False, True):
        line = Line(rhythm="phrases", position=5)
        routine, performance = traded(form, line, choruses=22, partner_first=first)
        openings = []
        for asked, each in zip(routine.passes, performance.passes, strict=True):
            notes, mine = notes_of(each), list(turns(asked))
            if notes and mine:
                openings.append((notes[0].onset - mine[0][0], notes[0].pitch, notes[0].role))
        assert len(openings) == 20
        assert {onset for onset, _, _ in openings} == {0, Fraction(1, 2), 1}
        assert len({pitch for _, pitch, _ in openings}) > 5
        roles = Counter(role for _, _, role in openings)
        assert len(roles) > 2
        assert max(roles.values()) < 15


@pytest.mark.parametrize("rhythm", ["eighths", "phrases"])
def test_every_turn_starts_on_the_tone_that_is_asked_for(rhythm: str) -> None:
    routine, performance = traded(
        read_file(TUNES[0]), Line(rhythm=rhythm, start=3, position=5), bars="1-16", times=4
    )
    heard = 0
    for asked, each in zip(routine.passes, performance.passes, strict=True):
        for start, _ in turns(asked):
            opening = next(note for note in notes_of(each) if note.onset >= start)
            assert opening.role in ("3", "b3")
            heard += 1
    assert heard == 8


def test_the_band_plays_on_behind_both() -> None:
    routine, performance = traded(
        read_file(TUNES[0]), Line(rhythm="phrases", position=5), choruses=3
    )
    at = [asked.purpose for asked in routine.passes].index(Purpose.SOLO)
    solo = performance.passes[at]
    for part in ("bass", "drums"):
        heard = {int(note.onset // 16) for note in notes_of(solo, part)}
        assert heard >= set(range(len(routine.passes[at].bars) // 4))
    alone = arrange(
        make_routine(read_file(TUNES[0]), Request(choruses=3)), Band(players=BAND - {"line"})
    )
    for part in ("bass", "comp", "drums"):
        assert notes_of(solo, part) == notes_of(alone.passes[at], part)


def test_a_grown_loop_is_traded_too() -> None:
    form = read_file(TUNES[0])
    for first in (False, True):
        line = Line(rhythm="phrases", position=5)
        routine, grown = traded(form, line, bars="1-8", grow=True, times=8, partner_first=first)
        both = zip(routine.passes, grown.passes, strict=True)
        heard = {len(asked.bars) for asked, each in both if notes_of(each)}
        assert heard == {1, 2, 4, 8}


def test_no_chord_in_the_turn_of_the_melody_is_a_rest() -> None:
    form = read(
        "title: T\nkey: C\nmeter: 4/4\ntempo: 90\nsection A\n| Dm7 | G7 | Cmaj7 | % |\n"
        "| N.C. | % | % | % |\n"
    )
    _, performance = traded(form, Line(rhythm="phrases", position=5), bars="1-8", times=2)
    assert not any(notes_of(each) for each in performance.passes)
