"""A tune on paper: bar numbers, signs, what comes once more."""

from __future__ import annotations

from hypothesis import given, settings

from backing.chart.form import Form
from backing.chart.lead_sheet import lead_sheet
from backing.chart.text.tune_file import read
from tests.strategies import forms

REPEATS = """
key: F
head: intro A B A
section intro
| Gm7 | C7 |
section A
|: F6 | Gm7 C7 | [1] Am7 | D7 :| [2] F6 | % |
pedal 3: C
section B
| Bb7 | Eb7 | %% | Am7 |
solos: | | Ebm7 | | |
section coda
| F6 |
"""


def test_bars_are_numbered_as_the_chorus_is_played() -> None:
    intro, a, b, again, _coda = lead_sheet(read(REPEATS))
    assert [bar.numbers for bar in intro.bars] == [(1,), (2,)]
    assert [bar.numbers for bar in a.bars] == [(1, 5), (2, 6), (3,), (4,), (7,), (8,)]
    assert [bar.numbers for bar in b.bars] == [(9,), (10,), (11,), (12,), (13,)]
    assert again.bars[0].numbers == (14, 18)


def test_signs_stay_and_their_bars_know_what_sounds() -> None:
    _, a, b, _, coda = lead_sheet(read(REPEATS))
    assert [bar.sign for bar in b.bars] == ["", "", "%%", "%%2", ""]
    assert [str(bar.changes[0].chord) for bar in b.bars] == ["Bb7", "Eb7", "Bb7", "Eb7", "Am7"]
    assert (a.bars[0].opens, a.bars[2].ending, a.bars[3].closes) == (True, (1,), 2)
    assert (coda.role, coda.order) == ("coda", "out")


def test_only_bars_that_change_when_soloing_have_solos() -> None:
    _, _, b, _, _ = lead_sheet(read(REPEATS))
    solos = [[str(change.chord) for change in bar.solos or ()] for bar in b.bars]
    assert solos == [[], ["Ebm7"], [], [], []]


def test_a_cue_stands_at_the_time_it_is_for() -> None:
    _, a, *_ = lead_sheet(read(REPEATS.replace("pedal 3: C", "pedal 5: C")))
    assert a.bars[0].directions.pedal is None
    assert [str(told.pedal) for told in a.bars[0].later] == ["C"]


def test_a_pickup_stands_before_the_head_alone() -> None:
    form = read("key: F\nhead: A A\nsection A\npickup: | C7 |\n| F6 | Gm7 |")
    first, second = lead_sheet(form)
    assert first.bars[0].numbers == ()
    assert len(second.bars) == 2


@settings(max_examples=60)
@given(forms())
def test_every_bar_of_the_head_is_on_paper_once_for_each_time(form: Form) -> None:
    shown = [section for section in lead_sheet(form) if section.order == "head"]
    numbers = sorted(
        (section.role, n) for section in shown for bar in section.bars for n in bar.numbers
    )
    played = sorted((bar.role, bar.number) for bar in form.played("head") if not bar.pickup)
    assert numbers == played
