"""Who plays, in words or in types, and what makes no sense."""

from dataclasses import replace
from fractions import Fraction

import pytest

from backing.chart.bar import RHYTHM_SECTION
from backing.chart.text.tune_file import read
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.errors import UserError
from backing.lines.player import Line
from backing.routine.request import Request
from backing.routine.routine import make_routine

LINE = Line()


def test_the_rhythm_section_plays_if_nobody_is_named() -> None:
    band = Band()
    assert band.players == RHYTHM_SECTION == {"bass", "comp", "drums"}
    assert (band.guide_line, band.click, band.line) == (None, None, None)


@pytest.mark.parametrize(
    ("words", "types"),
    [
        ({"players": "bass, drums"}, {"players": frozenset({"bass", "drums"})}),
        ({"players": ("Bass", "comp")}, {"without": "drums"}),
        ({"without": "bass drums"}, {"players": {"comp"}}),
        ({"seed": "7"}, {"seed": 7}),
        ({"swing": "1.6"}, {"swing": 1.6}),
        ({"swing": "8/5"}, {"swing": Fraction(8, 5)}),
        ({"guide_line": "3RD"}, {"players": RHYTHM_SECTION | {"guide"}}),
        ({"click": "all"}, {"players": RHYTHM_SECTION | {"click"}}),
        ({"click": "2  and 4", "comp": "Guitar"}, {"click": "2 and 4", "comp": "guitar"}),
        ({"line": LINE}, {"players": RHYTHM_SECTION | {"line"}, "line": LINE}),
    ],
)  # fmt: skip
def test_words_and_types_name_the_same_band(words: dict, types: dict) -> None:  # type: ignore[type-arg]
    band = Band(**words)
    assert band == Band(**types)
    assert replace(band) == band


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"players": "trombone"}, ['Nobody in the band is called "trombone"', "bass, comp"]),
        ({"players": "drum"}, ['Did you mean "drums"?']),
        ({"players": "piano"}, ["Write comp."]),
        ({"without": "melody"}, ["Write line."]),
        ({"without": ""}, ["Nobody is named to be left out."]),
        ({"without": "guide"}, ["The guide does not play"]),
        ({"without": "guide", "guide_line": "both"}, ["The guide is asked for and left out"]),
        ({"without": "line", "line": LINE}, ["The line is asked for and left out at once."]),
        ({"without": "bass comp drums"}, ["Nobody is left to play."]),
        ({"players": ()}, ["Nobody is left to play."]),
        ({"players": "line"}, ["Nobody has a line to play."]),
        ({"line": "etude"}, ['"etude" isn\'t a line', "read_line"]),
        ({"seed": "lucky"}, ['"lucky" isn\'t a seed.']),
        ({"seed": 1.5}, ["isn't a seed"]),
        ({"swing": 5}, ['"5" isn\'t a swing ratio.', "from 1 (even) to 4"]),
        ({"swing": "hard"}, ["isn't a swing ratio"]),
        ({"swing": "1e999999999"}, ["isn't a swing ratio"]),
        ({"swing": float("nan")}, ["isn't a swing ratio"]),
        ({"comp": "harp"}, ['"harp" isn\'t a comping instrument', "vibes"]),
        ({"guide_line": "thirds"}, ['"thirds" isn\'t a guide-tone line', "3rd, 7th, both"]),
        ({"click": "5"}, ['"5" isn\'t a click', "2 and 4"]),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_at_once(asked: dict, said: list[str]) -> None:  # type: ignore[type-arg]
    with pytest.raises(UserError) as caught:
        Band(**asked)
    for words in said:
        assert words in str(caught.value)
    assert caught.value.cure


@pytest.mark.parametrize(
    ("request_", "band", "said"),
    [
        (Request(trade=4), Band("bass, comp"), "Without the drums there is nobody to trade with."),
        (Request(trade="4 with line"), Band(), "There is no line to trade with."),
        (Request(subdivisions=True), Band(), "Subdivisions are heard in a line"),
        (Request(bars="B"), Band(guide_line="3rd"), "There is no chord in these bars"),
    ],
)
def test_a_drill_needs_somebody_to_play_it(request_: Request, band: Band, said: str) -> None:
    form = read("key: F\nsection A\n" + "| F7 " * 8 + "|\nsection B\n| N.C. |")
    with pytest.raises(UserError, match=said):
        arrange(make_routine(form, request_), band)
    click = Band("bass", click="all")  # a click keeps the time of the drums' turns
    assert arrange(make_routine(form, Request(trade=4)), click).part_names
