"""Nothing is printed over anything else, or off the paper: every kind of sheet, 40 tunes."""

from __future__ import annotations

import os
import random
from dataclasses import replace

import pytest

from backing.chart.form import Form
from backing.chart.pitch import PitchName
from backing.chart.text.tune_file import read
from backing.lines.phrase import read_line
from backing.neck.fingerboard import make_fingerboard
from backing.sheet.page_setup import make_page_setup
from backing.sheet.request import SheetRequest
from backing.sheet.sheet_part import make_sheet_part
from backing.sheet.sheets import arpeggio_sheet, tune_sheet
from tests.sheet.boxes import TOUCH, faults, leftmost, number_gaps

TUNES, FEW = 40, 2
LONG = ("maj7#11", "13#11", "m7b5", "7alt", "7", "m7", "maj7", "6/9", "7b9b13", "m(maj7)", "dim7",
        "m6", "7sus", "", "m11/Db")  # fmt: skip
ROOTS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
KEYS = ("C", "Eb minor", "A", "Db", "F# minor", "G dorian")
TITLES = ("Tune", "A Title That Is Much Too Long for One Line of Any Sheet of Paper in the House")
RECIPE = "backing sheet a-folder/a-tune.tune --line etude --shapes auto --neck left-handed "
LARGE = make_page_setup(large=True)
LETTER = make_page_setup("letter", signs=True)
BASS = make_fingerboard("bass")
KINDS = {
    "all": SheetRequest(position="auto", line="etude", etude=read_line("etude level 2")),
    "large": SheetRequest(position="auto", line="etude", etude=read_line("etude level 3"),
                          page=LARGE),
    "high": SheetRequest(chart=False, shapes=False, position="9", line="etude",
                         etude=read_line("etude level 4")),
    "triplets, Eb": SheetRequest(line="etude", etude=read_line("etude triplets"),
                                 part=make_sheet_part("Eb"), page=LETTER),
    "quarters, Bb": SheetRequest(chart=False, line="etude", etude=read_line("etude quarters"),
                                 part=make_sheet_part("Bb")),
    "guide": SheetRequest(chart=False, shapes=False, line="guide", position="5"),
    "guide, Bb": SheetRequest(chart=False, line="guide", part=make_sheet_part("Bb"), page=LETTER),
    "bass": SheetRequest(line="bass", part=make_sheet_part("bass"), position="3", board=BASS),
}  # fmt: skip


def generated(number: int) -> Form:
    """A tune with most of what a chart can have: long chords, many to a bar, signs, cues."""
    dice = random.Random(number)

    def bar(chords: int) -> str:
        return " ".join(root + dice.choice(LONG) for root in dice.sample(ROOTS, chords))

    def row() -> str:
        bars = [bar(dice.choice((1, 1, 2, 2, 4))) for _ in range(4)]
        if dice.random() < 0.5:
            bars[dice.randrange(1, 4)] = "%"
        return "| " + " | ".join(bars) + " |"

    solos = f"solos: | {bar(2)} | | | {bar(4)} |"
    cues = ["hits 8: 1 2& 4&", "pedal 1-4: D", "break 8: 1", "push 5: 1", "lay out 1-4: comp bass",
            "stop-time 1-2: 1 3", "hold 8: 3", "hold 5: 1"]  # fmt: skip
    lines = [
        f"title: {dice.choice(TITLES)} {number}",
        f"by: {dice.choice(('', 'Somebody', 'A band of seven, words by their singer, CC0'))}",
        f"key: {dice.choice(KEYS)}", f"tempo: {dice.choice((60, 132, 240))}",
        "head: A B A coda", "solos: A B A",
        "section A", *((f"pickup: | {bar(1)} / |",) if number % 2 else ()),
        row(), *((solos,) if number % 3 else ()), row(),
        *dice.sample(cues, number % 5),
        f"section B  feel: {dice.choice(('two', 'bossa'))}",
        f"|: {bar(1)} | {bar(2)} | [1] {bar(2)} | {bar(1)} :| [2] {bar(2)} | {bar(1)} | %% |",
        "section coda", f"| {bar(2)} | N.C. |",
    ]  # fmt: skip
    return read("\n".join(line for line in lines if line != "by: "))


def check(number: int, kind: str) -> None:
    words = ("--bars 3-6", "")[number % 2]
    recipe = RECIPE + words * (number % 7)
    request = KINDS[kind]
    pdf = tune_sheet(generated(number), replace(request, recipe=recipe)).pages("pdf")[0]
    assert not list(faults(pdf))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("number", range(FEW))
def test_nothing_is_printed_over_anything_else(number: int, kind: str) -> None:
    check(number, kind)


@pytest.mark.slow
@pytest.mark.parametrize("number", range(FEW, TUNES))
def test_nothing_is_printed_over_anything_else_in_many_tunes(number: int) -> None:
    """Two kinds of each tune, in turn: all 8 of all 40 take seven minutes (EVERY_KIND=1)."""
    turns = list(KINDS) if os.environ.get("EVERY_KIND") else list(KINDS)[number % 4 :: 4]
    for kind in turns:
        check(number, kind)


@pytest.mark.parametrize("root", ["C", "F#"])
@pytest.mark.parametrize("large", [False, True])
def test_arpeggios_have_room(root: str, large: bool) -> None:
    request = SheetRequest(page=make_page_setup(large=large))
    assert not list(faults(arpeggio_sheet(PitchName.parse(root), request).pages("pdf")[0]))


MARGIN = 13 / 25.4 * 72
"""Of page.typ, in points."""
NUMBER_GAP = 1.0
"""Points between a bar number and the frame after it: what the eye tells apart in a stave."""


@pytest.mark.parametrize("part", ["guitar", "bass", "Bb"])
def test_a_bar_number_keeps_clear_of_the_frame_of_its_section(part: str) -> None:
    form = read(
        "title: T\nkey: Eb\nhead: A A2 B12 A2\nsection A\n"
        + "| Ebmaj7 | Cm7 | Fm7 | Bb7 |\n" * 2
        + "section A2 = A\nsection B12 = A"
    )
    request = SheetRequest(chart=False, shapes=False, line="guide", part=make_sheet_part(part))
    pdf = tune_sheet(form, request).pages("pdf")[0]
    gaps = list(number_gaps(pdf))
    assert len(gaps) == 3
    assert min(gaps) > NUMBER_GAP
    assert leftmost(pdf) >= MARGIN - TOUCH  # what lies left of the margin is cut off
    assert not list(faults(pdf))
