"""The two guide-tone lines as they are drawn: those that are heard, and those of the page."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from backing.chart.form import Form
from backing.chart.text.tune_file import read, read_file
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.part import Note
from backing.combo.ribbon import (
    Ribbon,
    RibbonTone,
    make_ribbon,
    opening_ribbon,
    ribbon_of_plan,
    ribbon_text,
)
from backing.page.score import make_score
from backing.routine.request import Request
from backing.routine.routine import make_routine
from backing.sheet.ribbon import RibbonPiece, section_ribbons
from tests.strategies import forms

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.tune"))


def heard(form: Form) -> Sequence[Note]:
    """What plays both guide-tone lines, once through the changes of the solos."""
    routine = make_routine(form, Request(times=1, count_in=0))
    band = Band(players=frozenset({"guide"}), guide_line="both")
    performance = arrange(routine, band)
    return [note for done in performance.passes for part in done.parts for note in part.notes]


def sounding_at(line: Sequence[RibbonTone], beat: Fraction) -> set[int]:
    return {tone.pitch for tone in line if tone.start <= beat < tone.end}


def check_heard(form: Form) -> None:
    ribbon = make_ribbon(form.played("solos"))
    notes = heard(form)
    assert notes
    for note in notes:
        middle = note.onset + note.length / 2
        drawn = sounding_at(ribbon.from_3rd, middle) | sounding_at(ribbon.from_7th, middle)
        assert note.pitch in drawn, note
    struck = {note.pitch for note in notes}
    assert struck == {tone.pitch for line in ribbon.lines for tone in line}


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_the_lines_drawn_are_the_lines_heard(tune: Path) -> None:
    check_heard(read_file(tune))


WITH_PICKUP = """
title: T
key: Eb
section A
pickup: | {pickup} / |
| Ebmaj7 | Cm7 F7 | Fm7 | Bb7 |
| Gm7 | C7b9 | Fm7 | Bb7 |
"""


@pytest.mark.parametrize("choruses", [1, 3])
@pytest.mark.parametrize("pickup", ["Bb7", "Ebmaj7", "N.C."])
@pytest.mark.parametrize("line", ["3rd", "7th"])
def test_every_chorus_has_the_line_in_print_whatever_the_pickup(
    line: str, pickup: str, choruses: int
) -> None:
    """The lines start with bar 1 in the first chorus, too, which alone comes after a pickup."""
    form = read(WITH_PICKUP.format(pickup=pickup))
    bars = form.played("head")
    assert bars[0].pickup
    ribbon = make_ribbon(form.played("solos"))
    printed = ribbon.from_3rd if line == "3rd" else ribbon.from_7th
    routine = make_routine(form, Request(choruses=choruses, count_in=0, ending="short"))
    band = Band(players=frozenset({"guide"}), guide_line=line)
    for done in arrange(routine, band).passes:
        first = bars[0].length if done.routine_pass.bars[0].pickup else 0
        notes = [note for part in done.parts for note in part.notes]
        assert notes[0].onset == first
        half = first + sum(bar.length for bar in bars[1:5])  # the end has chords of its own
        for note in notes:
            if note.onset >= half:
                break
            assert sounding_at(printed, note.onset - first) == {note.pitch}
    head = make_ribbon(bars)
    drawn = head.from_3rd if line == "3rd" else head.from_7th
    assert [tone.pitch for tone in drawn] == [tone.pitch for tone in printed]
    assert drawn[0].bar == 1


def pieces_of(form: Form) -> list[RibbonPiece]:
    return [piece for bars in section_ribbons(form) for pieces in bars for piece in pieces]


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_page_and_sheet_draw_the_same_lines(tune: Path) -> None:
    form = read_file(tune)
    ribbon = make_ribbon(form.played("solos"))
    assert ribbon_of_plan(make_score(form, Band()).plan) == ribbon
    played = {(bar.role, bar.number): at for at, bar in enumerate(form.played("solos"))}
    head = {(bar.role, bar.number) for bar in form.played("head")}
    on_paper = {(piece.dashed, piece.pitch) for piece in pieces_of(form)}
    if set(played) <= head:  # no repeat is folded away, no bar is only the head's
        for dashed, line in zip((False, True), ribbon.lines, strict=True):
            assert {pitch for mine, pitch in on_paper if mine == dashed} >= {
                tone.pitch for tone in line
            }


def test_a_line_starts_on_the_third_and_the_other_on_the_seventh() -> None:
    """Dm7 G7 Cmaj7: 3 to 7 to 3, and 7 to 3 to 7 (common practice, no source)."""
    ribbon = make_ribbon(read("key: C\nsection A\n| Dm7 | G7 | Cmaj7 | % |").played("solos"))
    assert [str(tone.degree) for tone in ribbon.from_3rd] == ["b3", "b7", "3"]
    assert [str(tone.degree) for tone in ribbon.from_7th] == ["b7", "3", "7"]
    assert [(tone.bar, tone.start, tone.end) for tone in ribbon.from_3rd] == [
        (0, 0, 4), (1, 4, 8), (2, 8, 16),
    ]  # fmt: skip


def test_a_pushed_chord_is_drawn_where_it_is_written() -> None:
    form = read("key: C\nsection A\n| Dm7 | G7 | Cmaj7 | % |\npush 2: 1")
    assert [tone.start for tone in make_ribbon(form.played("solos")).from_3rd] == [0, 4, 8]


def test_under_a_repeat_stand_the_lines_of_the_first_time() -> None:
    form = read("key: C\nsection A\n|: Dm7 | G7 :| Cmaj7 | % |")
    ((first, second, third, fourth),) = section_ribbons(form)
    assert [piece.degree for piece in first] == ["♭3", "♭7"]
    assert [piece.degree for piece in second] == ["♭7", "3"]
    assert [piece.degree for piece in third] == ["3", "7"]
    assert [piece.degree for piece in fourth] == ["", ""]  # it goes on


def test_where_no_chord_is_no_line_is() -> None:
    ribbon = make_ribbon(read("key: C\nsection A\n| Dm7 | N.C. | G7 | C6 |").played("solos"))
    assert [(tone.start, tone.end) for tone in ribbon.from_3rd] == [(0, 4), (8, 12), (12, 16)]
    empty = make_ribbon(read("key: C\nsection A\n| N.C. | N.C. |").played("solos"))
    assert empty == Ribbon((), ())
    assert ribbon_text(empty) == ""


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_the_mark_is_the_beginning_of_the_lines(tune: Path) -> None:
    form = read_file(tune)
    end = sum(bar.length for bar in form.played("solos")[:8])
    whole = make_ribbon(form.played("solos"))
    for part, line in zip(opening_ribbon(form).lines, whole.lines, strict=True):
        assert [tone.pitch for tone in part] == [t.pitch for t in line if t.start < end]
        assert part[-1].end == end


def test_the_drawing_in_text_moves_with_the_lines() -> None:
    ribbon = make_ribbon(read("key: C\nsection A\n| Dm7 | G7 | Cmaj7 | % |").played("solos"))
    assert ribbon_text(ribbon, rows=4, columns=16) == "\n".join([
        "╌╌╌╌╮",
        "    ╰╌╌╌╌╌╌╌╌╌╌╌",
        "────────╮",
        "        ╰───────",
    ])  # fmt: skip


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(forms())
def test_every_bar_of_any_tune_is_drawn_whole(form: Form) -> None:
    bars = form.played("solos")
    ribbon = make_ribbon(bars)
    length = sum(bar.length for bar in bars)
    for line in ribbon.lines:
        assert all(0 <= tone.start < tone.end <= length for tone in line)
        assert all(one.end <= two.start for one, two in pairwise(line))
    for row in ribbon_text(ribbon).splitlines():
        assert len(row) <= 64
    for piece in pieces_of(form):
        assert 0 <= piece.start < piece.end <= 1
