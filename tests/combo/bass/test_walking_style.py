"""The [bass] tables of the feels, and what happens to a wrong one."""

from __future__ import annotations

import pytest

from backing.combo.bass.style import read_bass_style
from backing.combo.feel_file import Feel, feel_names, load_feel, parse_feel
from backing.errors import FeelError

START = 'name = "mine"\nsentence = "."\nmeters = ["4/4"]\n[time]\nswing = 2\n[bass]\n'


def feel_with(table: str) -> Feel:
    return parse_feel(START + table, "mine.toml")


@pytest.mark.parametrize("name", feel_names())
def test_every_feel_has_a_bass(name: str) -> None:
    style = read_bass_style(load_feel(name))
    assert {2, 3} <= {cell.beats for cell in style.cells}


def test_a_feel_that_says_nothing_walks() -> None:
    style = read_bass_style(feel_with(""))
    assert [cell.text for cell in style.cells] == ["1- 2-", "1- 2- 3-"]


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("roots = 2", "mine.toml:7: bass.roots is 2. Write a number from 0 to 1."),
        ("rots = 1", 'mine.toml:7: bass.rots is not known. Did you mean "roots"?'),
        ('vocabulary = "tuba"', "Write line or root-fifth."),
        ('cells = [{beats = 2, play = "9"}]', "is outside the 2 beats"),
        ('cells = [{beats = 2, play = "1- 2:90-120bpm"}]', "tempos on a single stroke"),
    ],
)
def test_a_wrong_value_is_named_with_its_place(table: str, words: str) -> None:
    with pytest.raises(FeelError) as error:
        read_bass_style(feel_with(table))
    assert words in f"{error.value.cause} {error.value.cure}"
