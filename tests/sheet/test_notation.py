"""Lines cut into values a reader can count."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.pitch import PitchName
from backing.chart.text.tune_file import read
from backing.sheet.notation import VALUES, StaffNote, StaffPitch, Value, notated, octave_of


def bars(meter: str, key: str = "C", count: int = 4):
    return read(f"key: {key}\nmeter: {meter}\n|" + " C6 |" * count).played("head")


def sound(onset: Fraction | int, length: Fraction | int, *tones: str) -> StaffNote:
    names = [PitchName.parse(tone) for tone in tones or ("C",)]
    return StaffNote(
        Fraction(onset), Fraction(length), tuple(StaffPitch(60 + n.pitch_class, n) for n in names)
    )


def shown(values: list[Value]) -> list[str]:
    """Lengths in quarters, rests in parentheses, "~" for a tie to the next value."""
    return [f"({v.length})" if not v.tones else f"{v.length}{'~' if v.tied[1] else ''}"
            for v in values]  # fmt: skip


# the rules of notation as any handbook has them (common practice, no source)
@pytest.mark.parametrize(
    ("meter", "sounds", "values"),
    [
        ("4/4", [(0, 4)], ["4"]),
        ("4/4", [(0, 3)], ["3", "(1)"]),
        ("4/4", [(0, 1)], ["1", "(1)", "(2)"]),
        ("4/4", [(1, 2)], ["(1)", "2", "(1)"]),
        ("4/4", [(Fraction(1, 2), 1)], ["(1/2)", "1", "(1/2)", "(2)"]),
        ("4/4", [(Fraction(3, 2), 1)], ["(1)", "(1/2)", "1/2~", "1/2", "(1/2)", "(1)"]),
        ("4/4", [(0, Fraction(7, 2)), (Fraction(7, 2), Fraction(1, 2))], ["2~", "3/2", "1/2"]),
        ("4/4", [(Fraction(7, 2), Fraction(5, 2))], ["(2)", "(1)", "(1/2)", "1/2~"]),
        ("3/4", [(0, 3)], ["3"]),
        ("6/8", [(0, 2)], ["3"]),
        ("6/8", [(0, Fraction(1, 3)), (Fraction(1, 3), Fraction(2, 3))], ["1/2", "1", "(3/2)"]),
        ("12/8", [(0, 4)], ["6"]),
        ("5/4", [], ["(5)"]),
        (
            "4/4",
            [(0, Fraction(1, 3)), (Fraction(1, 3), Fraction(2, 3)), (1, 3)],
            ["1/3", "2/3", "3"],
        ),
    ],
)
def test_values_show_the_beat(
    meter: str, sounds: list[tuple[Fraction, Fraction]], values: list[str]
) -> None:
    found = notated([sound(*each) for each in sounds], bars(meter))
    assert shown(found[0]) == values


def test_eighths_are_beamed_by_half_bars_and_in_three_by_beats() -> None:
    eighths = [sound(Fraction(n, 2), Fraction(1, 2)) for n in range(8)]
    beams = [value.beam for value in notated(eighths, bars("4/4"))[0]]
    assert beams == ["begin", "continue", "continue", "end"] * 2
    beams = [value.beam for value in notated(eighths[:6], bars("3/4"))[0]]
    assert beams == ["begin", "end"] * 3


@pytest.mark.parametrize("meter", ["3/4", "4/4", "5/4"])
def test_triplets_are_beamed_and_bracketed_by_beats(meter: str) -> None:
    played = bars(meter)
    count = 3 * played[0].meter.beats
    values = notated([sound(Fraction(n, 3), Fraction(1, 3)) for n in range(count)], played)[0]
    assert [value.beam for value in values] == ["begin", "continue", "end"] * (count // 3)
    assert [value.tuplet for value in values] == ["start", "", "stop"] * (count // 3)
    assert all(VALUES[value.length] == ("eighth", 0) and value.triplet for value in values)


def test_a_quarter_of_a_triplet_has_no_beam() -> None:
    line = [sound(0, Fraction(1, 3)), sound(Fraction(1, 3), Fraction(2, 3))]
    assert [value.beam for value in notated(line, bars("4/4"))[0] if value.tones] == ["", ""]


def test_accidentals_last_for_a_bar_and_ties_carry_them_over() -> None:
    line = [sound(0, 1, "F#"), sound(1, 1, "F#"), sound(2, 1, "F"), sound(3, 2, "Bb")]
    line += [sound(5, 1, "Bb"), sound(6, 1, "B")]
    first, second, *_ = notated(line, bars("4/4", "F"))
    assert [v.accidentals for v in first] == [(1,), (None,), (0,), (None,)]
    assert [v.accidentals for v in second if v.tones] == [(None,), (None,), (0,)]


def test_octaves_follow_the_spelling() -> None:
    assert octave_of(60, PitchName.parse("C")) == 4
    assert octave_of(60, PitchName.parse("B#")) == 3
    assert octave_of(59, PitchName.parse("Cb")) == 4


@settings(max_examples=100)
@given(
    st.sampled_from(["4/4", "3/4", "5/4", "6/8", "12/8", "7/4"]),
    st.lists(st.tuples(st.integers(0, 3), st.integers(1, 9)), max_size=12),
)
def test_every_bar_is_filled_and_nothing_is_lost(meter: str, steps: list[tuple[int, int]]) -> None:
    played = bars(meter)
    eighth = Fraction(1, 2) / played[0].meter.beat_quarters
    line, now = [], Fraction(0)
    for rest, length in steps:
        line.append(sound(now + rest * eighth, length * eighth))
        now += (rest + length) * eighth
    length = played[0].meter.beats * played[0].meter.beat_quarters
    found = notated(line, played)
    for values in found:
        assert sum(value.length for value in values) == length
        assert all(v.length in VALUES or not v.tones for v in values)
    sounding = sum((v.length for values in found for v in values if v.tones), Fraction(0))
    end = 4 * played[0].meter.beats
    beats = sum(
        (min(s.onset + s.length, Fraction(end)) - s.onset for s in line if s.onset < end),
        Fraction(0),
    )
    assert sounding == beats * played[0].meter.beat_quarters
