"""The fingerboard and the hand: tunings against music21, positions by the trade's rule."""

from __future__ import annotations

import music21
import pytest

from backing.errors import PracticeError
from backing.neck.fingerboard import TUNINGS, StringFret, hand, make_fingerboard


@pytest.mark.parametrize("name", TUNINGS)
def test_open_strings_are_what_music21_calls_so(name: str) -> None:
    board = make_fingerboard(name)
    assert list(board.strings) == [music21.pitch.Pitch(word).midi for word in TUNINGS[name].split()]


def test_standard_guitar() -> None:
    board = make_fingerboard()
    # MIDI numbers of the open strings: facts of the trade, from memory
    assert board.strings == (40, 45, 50, 55, 59, 64)
    assert board.pitch(StringFret(6, 0)) == 40
    assert board.pitch(StringFret(1, 22)) == 86
    assert board.highest_position == 19
    assert board.places(60) == (
        StringFret(6, 20), StringFret(5, 15), StringFret(4, 10), StringFret(3, 5), StringFret(2, 1),
    )  # fmt: skip


def test_flats_are_read_and_small_letters_forgiven() -> None:
    assert make_fingerboard("eb2 Ab2 Db3 Gb3 Bb3 Eb4").strings == (39, 44, 49, 54, 58, 63)


def test_a_re_entrant_tuning_keeps_its_order() -> None:
    board = make_fingerboard("ukulele")
    assert board.open_pitch(4) == 67 > board.open_pitch(3) == 60


def test_left_handed_grids_run_the_other_way() -> None:
    assert make_fingerboard().columns == (6, 5, 4, 3, 2, 1)
    assert make_fingerboard(left_handed=True).columns == (1, 2, 3, 4, 5, 6)


@pytest.mark.parametrize(
    ("tuning", "frets", "said"),
    [
        ("E2 A2 H3", 22, '"H3" isn\'t a string'),
        ("E2 A D3", 22, '"A" has no octave'),
        ("E2 A22", 22, "an octave that is not a number from 0 to 9"),
        ("", 22, "0 strings"),
        ("E2 " * 13, 22, "13 strings"),
        ("standard", 3, "3 frets"),
        ("standard", 99, "99 frets"),
        ("G9", 12, "above MIDI 127"),
        ("Cb0 A9", 22, "outside MIDI"),
    ],
)
def test_what_is_no_instrument_is_said(tuning: str, frets: int, said: str) -> None:
    with pytest.raises(PracticeError, match=said) as caught:
        make_fingerboard(tuning, frets)
    assert caught.value.cure


def test_fifth_position_covers_five_to_eight_and_stretches_to_four_and_nine() -> None:
    here = hand(make_fingerboard(), 5)
    frets = {place.fret for places in here.reach.values() for place in places}
    assert frets == {4, 5, 6, 7, 8, 9}
    fingers = {fret: here.finger(StringFret(3, fret)) for fret in sorted(frets)}
    assert fingers == {4: 1, 5: 1, 6: 2, 7: 3, 8: 4, 9: 4}
    assert [fret for fret in sorted(frets) if here.stretched(StringFret(3, fret))] == [4, 9]


def test_six_frets_hold_every_pitch_between_the_lowest_and_the_highest() -> None:
    for position in range(1, 20):
        reach = list(hand(make_fingerboard(), position).reach)
        assert reach == list(range(reach[0], reach[-1] + 1))


def test_first_position_has_the_open_strings_for_nothing() -> None:
    here = hand(make_fingerboard(), 1)
    assert here.reach[64] == (StringFret(1, 0),)  # string 2 fret 5 would be a stretch
    assert here.finger(StringFret(1, 0)) == 0
    assert not here.stretched(StringFret(1, 0))


def test_the_last_fret_ends_the_reach() -> None:
    frets = [p.fret for places in hand(make_fingerboard(), 19).reach.values() for p in places]
    assert max(frets) == 22


@pytest.mark.parametrize("position", [0, -3, 20])
def test_a_position_off_the_neck_is_said(position: int) -> None:
    with pytest.raises(PracticeError, match=f"Position {position} is off the neck") as caught:
        hand(make_fingerboard(), position)
    assert "1 to 19" in caught.value.cure
