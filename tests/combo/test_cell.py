"""Rhythmic cells in a player's words."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backing.combo.cell import Cell, read_strokes
from backing.combo.feel_file import parse_feel

HALF = Fraction(1, 2)


@pytest.mark.parametrize(
    ("word", "onset", "swung"),
    [
        ("1", "0", True), ("2&", "3/2", True), ("3e", "9/4", False), ("3a", "11/4", False),
        ("1.2", "1/3", False), ("4.3", "11/3", False),
    ],
)  # fmt: skip
def test_places(word: str, onset: str, swung: bool) -> None:
    (stroke,) = read_strokes(word, 4)
    assert stroke.onset == Fraction(onset)
    assert stroke.swung is swung


def test_marks() -> None:
    held, short, accented, ghosted, plain = read_strokes("1- 2&. 3> (3&) 4", 4)
    assert (held.length, short.length, plain.length) == (Fraction(3, 2), Fraction(1, 4), HALF)
    assert [s.accent for s in (held, accented, ghosted, plain)] == [0, 1, -1, 0]


def test_a_roof_accent_is_short_and_accented() -> None:
    (stroke,) = read_strokes("2&^", 4)
    assert (stroke.length, stroke.accent) == (Fraction(1, 4), 1)


def test_the_last_stroke_is_held_to_the_end_of_the_cell() -> None:
    assert read_strokes("1 6&-", 8)[1].length == Fraction(5, 2)


def test_chances_and_tempos() -> None:
    maybe, bound, both = read_strokes("1:60% 2&:110-220bpm (3):5%:40-90bpm", 4)
    assert (maybe.chance, maybe.tempos) == (0.6, None)
    assert (bound.chance, bound.tempos) == (1, (110, 220))
    assert (both.chance, both.tempos, both.accent) == (0.05, (40, 90), -1)


def test_an_empty_cell_is_silence() -> None:
    assert read_strokes("", 4) == ()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1 5", '"5" is outside the 4 beats of its cell'),
        ("0", '"0" is outside the 4 beats'),
        ("1 2+", r'"2\+" isn\'t a stroke. Write a beat such as 1, 2&, 3.2 or 4a'),
        ("(1", r'"\(1" isn\'t a stroke'),
        ("1)", r'"1\)" isn\'t a stroke'),
        ("1?x", r'"1\?x" isn\'t a stroke'),
        ("3 2", '"2" is out of order'),
        ("2 2", '"2" is out of order'),
        ("2&'", r"is an older way to write a stroke\. Write 2&\.\.$"),
        ("2&?60", r"older way .* Write 2&:60%\."),
        ("(2&)?60@110-220", r"older way .* Write \(2&\):60%:110-220bpm\."),
    ],
)
def test_mistakes_name_the_word(text: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        read_strokes(text, 4)


words = st.builds(
    "{}{}".format, st.integers(1, 8), st.sampled_from(["", "&", "e", "a", ".2", ".3"])
)


@given(st.lists(words, unique=True, max_size=10))
def test_strokes_held_until_the_next_leave_no_gap(found: list[str]) -> None:
    ordered = sorted(found, key=lambda word: read_strokes(word, 8)[0].onset)
    strokes = read_strokes(" ".join(f"{word}-" for word in ordered), 8)
    ends = [*(s.onset for s in strokes[1:]), Fraction(8)]
    assert [s.onset + s.length for s in strokes] == ends[: len(strokes)]


def test_cells_of_a_feel_bound_where_they_belong() -> None:
    source = (
        'name = "x"\nsentence = "x."\nmeters = ["4/4"]\n'
        '[[bass.cells]]\nplay = "1 3"\nweight = 2\ntempos = [100, 200]\nenergy = [0.5, 1]\n'
    )
    (cell,) = parse_feel(source, "x.toml").root.table("bass").cells("cells")
    assert isinstance(cell, Cell)
    assert (cell.beats, cell.weight, len(cell.strokes)) == (4, 2, 2)
    assert cell.suits(150, 0.5) == cell.suits(150, 1) == 2
    assert cell.suits(100, 1) == cell.suits(200, 1) == 1  # half as often at its bounds
    assert 0 < cell.suits(95, 1) < 1 < cell.suits(105, 1) < 2
    assert cell.suits(80, 1) == cell.suits(240, 1) == 0
    assert not cell.suits(150, 0.4)
