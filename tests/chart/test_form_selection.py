"""Bars chosen by number and by place."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from backing.chart.form import Form
from backing.chart.text.tune_file import read
from backing.errors import SelectionError
from tests.strategies import forms

FORM = read("""
title: Test
key: C
head: intro A A B A
section intro
| G7 | C7 | % | B7 |
section A
|: C | Dm7 | Em7 | F :|
solos: | Am7 |
section A2 = A
section B  feel: two
| G7 | C | G7 | Bb7 |
section coda
| C6 | Db6 |
pedal 2: C
""")


@pytest.mark.parametrize(
    ("text", "labels"),
    [
        ("13-16", "13 14 15 16"),
        ("13–14", "13 14"),
        ("13", "13"),
        (" 8 - 9 ", "8 9"),
        ("A", "1 2 3 4 5 6 7 8"),
        ("A:5-8", "5 6 7 8"),
        ("B", "17 18 19 20"),
        ("b:2", "18"),
        ("B : 2 - 3", "18 19"),
        ("intro", "intro:1 intro:2 intro:3 intro:4"),
        ("intro:1-2", "intro:1 intro:2"),
        ("coda", "coda:1 coda:2"),
        ("CODA:2", "coda:2"),
        ("27-2", "27 28 1 2"),
        ("27-30", "27 28 1 2"),
        ("28–1", "28 1"),
        ("5-4", " ".join(map(str, (*range(5, 29), *range(1, 5))))),
        ("A B", "9 10 11 12 13 14 15 16 17 18 19 20"),
        ("B A", "17 18 19 20 21 22 23 24 25 26 27 28"),
        ("B A:1-2", "17 18 19 20 21 22"),
        ("A:7-8, A:1-2", "7 8 9 10"),
        ("A:7-8 B A:1", "15 16 17 18 19 20 21"),
        ("B B:1", "17 18 19 20 17"),
        ("27-28 1-2", "27 28 1 2"),
        ("intro:3-4 1-2", "intro:3 intro:4 1 2"),
        ("coda A:1", "coda:1 coda:2 1"),
    ],
)
def test_bars_are_found(text: str, labels: str) -> None:
    assert " ".join(bar.label for bar in FORM.select(text)) == labels


def test_the_solos_come_first() -> None:
    assert str(FORM.select("1")[0].changes[0].chord) == "Am7"
    assert str(FORM.select("A:1")[0].changes[0].chord) == "Am7"


def test_a_pickup_can_be_selected_from_the_head() -> None:
    form = read("key: C\npickup: | G7 |\n| C | F |")
    assert [bar.number for bar in form.select("0-2")] == [0, 1, 2]
    assert [bar.number for bar in form.select("A")] == [1, 2]


def test_labels_count_over_all_sections_of_a_role() -> None:
    form = read("key: C\nsection intro\n| C |\nsection intro2\n| F | G7 |\nsection A\n| C |")
    head = form.played("head")
    assert [bar.label for bar in head[:3]] == ["intro:1", "intro:2", "intro:3"]
    assert form.select("intro") == head[:1]  # the section of that name
    assert form.select("intro:3") == head[2:3]  # the label


@pytest.mark.parametrize(
    ("text", "cause", "cure"),
    [
        ("33-36", "There are no bars 33-36: the chorus has bars 1-28.", "Choose from 1-28"),
        ("99", "no bar 99", "A, B, intro, coda"),
        ("C", 'There is no section "C".', "A, B, intro"),
        ("A2", 'There is no section "A2".', "Choose"),
        ("B:3-5", "There are no bars 3-5 in B: it has bars 1-4.", "B:1-4"),
        ("intro:0", "in intro", "intro:1-4"),
        ("B:4-3", "run backwards", "smaller number first"),
        ("", "does not name bars", "13-16"),
        ("13-", "does not name bars", "B:5-8"),
        ("A-B", "does not name bars", "A B"),
        ("A B:9", "There is no bar 9 in B", "B:1-4"),
        ("A Z", 'There is no section "Z".', "A, B, intro"),
        ("20-50", "more than a chorus of 28 bars", "20-19"),
        ("28-0", "There are no bars 28-0", "1-28"),
        ("intro:4-2", "run backwards", "smaller number first"),
        ("1234567", "does not name bars", "13-16"),
    ],
)
def test_bars_that_are_not_there(text: str, cause: str, cure: str) -> None:
    with pytest.raises(SelectionError) as caught:
        FORM.select(text)
    assert cause in caught.value.cause
    assert cure in caught.value.cure


@settings(max_examples=50)
@given(forms(), st.data())
def test_every_bar_of_the_solos_is_found_by_its_number(form: Form, data: st.DataObject) -> None:
    chorus = [bar for bar in form.played("solos") if bar.role == "chorus"]
    first = data.draw(st.integers(1, len(chorus)))
    last = data.draw(st.integers(first, len(chorus)))
    assert list(form.select(f"{first}-{last}")) == chorus[first - 1 : last]


@settings(max_examples=50)
@given(forms(), st.data())
def test_numbers_go_on_over_the_top(form: Form, data: st.DataObject) -> None:
    chorus = [bar for bar in form.played("solos") if bar.role == "chorus"]
    first = data.draw(st.integers(1, len(chorus)))
    count = data.draw(st.integers(1, len(chorus)))
    last = first + count - 1
    longest = max(bar.number for order in ("solos", "head", "out") for bar in form.played(order))
    assume(longest == len(chorus))  # else the numbers may go on there
    expected = (chorus + chorus)[first - 1 : last]
    assert list(form.select(f"{first}-{last}")) == expected
    if last > len(chorus):
        assert list(form.select(f"{first}-{last - len(chorus)}")) == expected


def test_the_pickup_does_not_sound_over_the_top() -> None:
    form = read("key: C\npickup: | G7 |\n| C | F | G7 |")
    assert [bar.number for bar in form.select("3-1")] == [3, 1]
    assert [bar.number for bar in form.select("0-1 3")] == [0, 1, 3]
