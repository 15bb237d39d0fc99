"""What a player asks for, in words or in types, and what makes no sense."""

from dataclasses import replace
from fractions import Fraction

import pytest

from backing.chart.pitch import Key, PitchName
from backing.errors import SelectionError, UserError
from backing.routine.climb import Climb
from backing.routine.keys import Keys
from backing.routine.request import Request
from backing.routine.tempo import Tempo
from backing.routine.trading import Trade


@pytest.mark.parametrize(
    ("words", "types"),
    [
        ({"tempo": "80%"}, {"tempo": Tempo(Fraction(80), percent=True)}),
        ({"tempo": "132.5"}, {"tempo": Fraction("132.5")}),
        ({"tempo": " 120 bpm"}, {"tempo": 120}),
        ({"climb": "80 - 160 : 8"},
         {"climb": Climb(Tempo.of(80), Tempo.of(160), Tempo(Fraction(8)))}),
        ({"climb": "two-up-one-down 60%"},
         {"climb": Climb(Tempo.of("60%"), order="two-up-one-down")}),
        ({"choruses": "5"}, {"choruses": 5}),
        ({"bars": "13", "times": "4"}, {"bars": 13, "times": 4}),
        ({"key": "Bb"}, {"key": PitchName.parse("Bb")}),
        ({"key": "G minor"}, {"key": Key.parse("Gm")}),
        ({"key": "C F Bb"}, {"key": ("C", "F", PitchName.parse("Bb"))}),
        ({"key": "C, G minor, F#m"},
         {"key": Keys((PitchName.parse("C"), Key.parse("Gm"), Key.parse("F#m")))}),
        ({"key": "Fourths"}, {"key": Keys(cycle="fourths")}),
        ({"key": "half-steps from Bb"}, {"key": Keys((PitchName.parse("Bb"),), "half-steps")}),
        ({"ending": " TAG "}, {"ending": "tag"}),
        ({"trade": "4"}, {"trade": 4}),
        ({"trade": "4 drums first"}, {"trade": Trade(4, partner_first=True)}),
        ({"trade": "2 with line"}, {"trade": Trade(2, "line")}),
        ({"trade": "4 with line, line first"}, {"trade": Trade(4, "line", partner_first=True)}),
        ({"trade": "line first 4"}, {"trade": Trade(4, "line", partner_first=True)}),
        ({"trade": "0", "lay_out": "0"}, {"trade": None, "lay_out": 0}),
        ({"bars": "A", "lead_in": "2", "rest_bars": "1"},
         {"bars": "A", "lead_in": 2, "rest_bars": 1}),
    ],
)  # fmt: skip
def test_words_and_types_ask_for_the_same(words: dict, types: dict) -> None:  # type: ignore[type-arg]
    asked = Request(**words)
    assert asked == Request(**types)
    assert replace(asked) == asked
    assert hash(asked) == hash(replace(asked))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"tempo": "quick"}, ['"quick" isn\'t a tempo.', "(132)", "(80%)"]),
        ({"tempo": 500}, ["The band cannot play at 500 bpm.", "from 20 to 400"]),
        ({"tempo": True}, ["isn't a tempo"]),
        ({"tempo": "1e9"}, ["isn't a tempo"]),
        ({"climb": "80-160:8 sideways"}, ['"sideways" isn\'t an order of a climb', "up-and-back"]),
        ({"climb": "80-160:8 up slow-and-goal"}, ["isn't a climb"]),
        ({"climb": "fast"}, ["isn't a climb", "80-160:8"]),
        ({"choruses": "many"}, ['"many" isn\'t a number of choruses.']),
        ({"choruses": 0}, ["0 choruses cannot be played.", "from 1 to 100"]),
        ({"choruses": 2.5}, ["isn't a number of choruses"]),
        ({"bars": "thirteen to sixteen!"}, ["does not name bars", "31-2"]),
        ({"key": "H"}, ['"H"']),
        ({"key": ""}, ["No key is named."]),
        ({"key": "fourth"}, ['"fourth" isn\'t a key', 'Did you mean "fourths"?']),
        ({"key": "semitones"}, ["Write half-steps."]),
        ({"key": "fourths upwards"}, ["doesn't name keys", "fourths from Bb"]),
        ({"ending": "fade"}, ['"fade" isn\'t an ending.', "held, short, tag, slow"]),
        ({"trade": "fours"}, ["isn't a number of bars in a trade"]),
        ({"trade": 99}, ["99 bars in a trade", "from 1 to 32"]),
        ({"trade": "4 with piano"}, ['"piano" isn\'t a partner to trade with', "drums, line"]),
        ({"trade": "4 with line, drums first"}, ["isn't a trade"]),
        ({"trade": "drums first"}, ["isn't a trade"]),
        ({"tempo": 120, "climb": "80-160:8"}, ["A climb names its own tempos."]),
        ({"bars": "1", "choruses": 3}, ["A loop has no choruses.", "Leave them out"]),
        ({"key": "fourths", "ending": "tag"}, ["A loop has no ending."]),
        ({"lead_in": 2}, ["A lead-in is for a loop."]),
        ({"rest_bars": 1}, ["A rest bar is for a loop."]),
        ({"same": True}, ["is for a loop."]),
        ({"grow": True, "lay_out": 2}, ["A loop that grows"]),
        ({"choruses": 2, "trade": 4}, ["Trading is for solo choruses", "Ask for 3 choruses"]),
        ({"choruses": 2, "lay_out": 4}, ["Laying out is for solo choruses"]),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_at_once(asked: dict, said: list[str]) -> None:  # type: ignore[type-arg]
    with pytest.raises(UserError) as caught:
        Request(**asked)
    for words in said:
        assert words in str(caught.value)
    assert caught.value.cure


def test_bars_are_checked_before_there_is_a_tune() -> None:
    with pytest.raises(SelectionError):
        Request(bars="13-")


def test_one_key_is_no_loop_and_several_are() -> None:
    assert not Request(key="Bb").loops
    assert not Request(key=["Bb"]).loops
    assert Request(key="Bb F").loops
    assert Request(key="fourths").loops
