"""Shapes under the hand: the rules of the hand for every quality, and shapes known to players."""

from __future__ import annotations

from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.harmony import parse_chord
from backing.chart.quality import QUALITIES
from backing.errors import PracticeError
from backing.neck.arpeggio import arpeggio
from backing.neck.fingerboard import StringFret, hand, make_fingerboard
from backing.neck.shapes import Shape, positions, shape
from tests.strategies import ROOTS

GUITAR = make_fingerboard()
SYMBOLS = sorted(quality.symbol for quality in QUALITIES.values())
SEVENTHS = ("maj7", "7", "m7", "m7b5", "6", "m6", "m(maj7)", "maj7#5", "7#5", "7b5")


def chord_shape(symbol: str, position: int) -> Shape:
    return shape(parse_chord(symbol), GUITAR, position)


def grid(taken: Shape) -> dict[int, list[int]]:
    """String -> frets."""
    strings: dict[int, list[int]] = {}
    for tone in taken.tones:
        strings.setdefault(tone.place.string, []).append(tone.place.fret)
    return strings


@given(st.sampled_from(ROOTS), st.sampled_from(SYMBOLS), st.integers(1, 19))
@settings(max_examples=300)
def test_the_rules_of_the_hand(root: str, symbol: str, position: int) -> None:
    taken = chord_shape(root + symbol, position)
    here = hand(GUITAR, position)
    # the chord, all of it, and nothing else
    classes = {tone.pitch % 12 for tone in taken.tones}
    tones = arpeggio(taken.chord.quality).tones
    assert classes == {(taken.chord.root.pitch_class + d.pitch_class) % 12 for d in tones}
    # no pitch doubled, from the lowest up
    assert list(taken.pitches) == sorted(set(taken.pitches))
    # every tone between the lowest and the highest under the hand at rest
    low, high = here.extent
    inside = {pitch for pitch in here.reach if low <= pitch <= high and pitch % 12 in classes}
    assert inside <= {*taken.pitches, *taken.missing}
    # never both stretches on one string; at most one at a fret below the fifth
    for frets in grid(taken).values():
        assert not {position - 1, position + 4} <= {fret for fret in frets if fret}
    assert sum(tone.stretched and tone.place.fret < 5 for tone in taken.tones) <= 1
    # one finger to a fret, so the same fingers every time
    for tone in taken.tones:
        assert GUITAR.pitch(tone.place) == tone.pitch
        assert position - 1 <= tone.place.fret <= position + 4
        home = tone.place.fret - position + 1
        assert tone.finger == (0 if tone.place.fret == 0 else min(max(home, 1), 4))


@pytest.mark.parametrize("symbol", SEVENTHS)
@pytest.mark.parametrize("root", ["C", "Eb", "F#", "A"])
def test_the_positions_of_a_seventh_chord(root: str, symbol: str) -> None:
    shapes = positions(parse_chord(root + symbol), GUITAR)
    assert len(shapes) == 5
    for taken in shapes:
        assert not taken.missing
        # one roll at most; a b5 a fourth below the next tone may ask for another
        assert taken.rolls <= 1 + (symbol in ("7b5", "7#5"))
        assert any(t.role == 1 and not t.stretched for t in taken.tones)
        low = [t for t in taken.stretches if hand(GUITAR, taken.position).low(t.place)]
        assert len(low) <= 1
        if "#5" in symbol:  # two major thirds in a row leave a finger no other way
            continue
        for a, b in pairwise(taken.tones):  # no finger jumps from fret to fret
            same = a.finger and a.finger == b.finger and abs(a.place.string - b.place.string) <= 1
            assert not same or a.place.fret == b.place.fret
    for one, other in pairwise(shapes):
        shared = {t.place for t in one.tones} & {t.place for t in other.tones}
        assert len(shared) >= (1 if "#5" in symbol else 2)
    covered = {fret for s in shapes for fret in range(s.position, s.position + 4)}
    assert len({fret % 12 for fret in covered}) >= 11


def test_fewest_stretches() -> None:
    """No grip of the same tones by these rules has fewer: by trying all places of all tones."""
    for symbol, position in (("Cmaj7", 5), ("G7", 5), ("Ebmaj7", 2), ("F7", 7), ("Abm7", 6)):
        taken = chord_shape(symbol, position)
        reach = hand(GUITAR, position).reach
        forced = sum(hand(GUITAR, position).stretched(reach[pitch][0]) for pitch in taken.pitches)
        assert len(taken.stretches) == forced


def test_two_five_one_in_c_in_fifth_position() -> None:
    """Common practice, no source: Dm7 lies in frets 5 to 8, G7 and Cmaj7 stretch once, for B."""
    assert not chord_shape("Dm7", 5).stretches
    assert chord_shape("Dm7", 5).frets == (5, 8)
    for symbol in ("G7", "Cmaj7"):
        (stretch,) = chord_shape(symbol, 5).stretches
        assert stretch.pitch == 59
        assert stretch.place in (StringFret(3, 4), StringFret(4, 9))


@pytest.mark.parametrize(
    ("symbol", "position", "strings"),
    [
        # root on string 6, as arpeggio books draw them (from memory)
        ("Cmaj7", 7, {6: [7, 8], 5: [7, 10], 4: [9, 10], 3: [9], 2: [8], 1: [7, 8]}),
        ("Am7", 5, {6: [5, 8], 5: [7], 4: [5, 7], 3: [5], 2: [5, 8], 1: [5, 8]}),
        ("A7", 4, {6: [5], 5: [4, 7], 4: [5, 7], 3: [6], 2: [5, 8], 1: [5]}),
        ("Am7b5", 5, {6: [5, 8], 5: [6], 4: [5, 7], 3: [5, 8], 2: [8], 1: [5, 8]}),
        # root on string 5
        ("Cmaj7", 2, {6: [3], 5: [2, 3], 4: [2, 5], 3: [4, 5], 2: [5], 1: [3]}),
        ("Cm7", 3, {6: [3, 6], 5: [3, 6], 4: [5], 3: [3, 5], 2: [4], 1: [3, 6]}),
        ("Cdim7", 2, {6: [2, 5], 5: [3, 6], 4: [4], 3: [2, 5], 2: [4], 1: [2, 5]}),
    ],
)
def test_shapes_players_know(symbol: str, position: int, strings: dict[int, list[int]]) -> None:
    assert grid(chord_shape(symbol, position)) == strings


def test_c_major_lies_in_the_five_places_of_the_trade() -> None:
    """The five forms tile the neck by their root strings (common practice, no source)."""
    roots = [
        {t.place.string for t in taken.tones if t.role == 1}
        for taken in positions(parse_chord("Cmaj7"), GUITAR)
    ]
    assert [r for r in roots if {5, 2} <= r or {5, 3} <= r] == roots[:2]
    assert {6, 3, 1} <= roots[2]
    assert {6, 4, 1} <= roots[3]
    assert {4, 2} <= roots[4]


@pytest.mark.parametrize(("symbol", "step"), [("dim7", 3), ("7b9", 3), ("aug", 4), ("dim", 3)])
def test_chords_that_repeat_along_the_neck(symbol: str, step: int) -> None:
    shapes = positions(parse_chord("F" + symbol), GUITAR)
    places = [taken.position for taken in shapes]
    assert {b - a for a, b in pairwise(places)} == {step}
    assert len(places) == 12 // step
    for one, other in combinations([s for s in shapes if s.position > 1], 2):
        moved = other.position - one.position
        places = [StringFret(t.place.string, t.place.fret + moved) for t in one.tones]
        assert places == [t.place for t in other.tones]


def test_the_arpeggios_of_altered_and_flat_nine_chords() -> None:
    tones = {
        symbol: [str(d) for d in arpeggio(parse_chord(symbol).quality).tones]
        for symbol in ("C13", "C7b9", "C7alt", "C6/9", "Csus4", "C9sus", "C", "Cdim", "C7#11")
    }
    assert tones["C13"] == ["1", "3", "5", "b7"]
    assert tones["C7b9"] == ["3", "5", "b7", "b9"]
    assert tones["C7alt"] == ["3", "b13", "b7", "#9"]
    assert tones["C6/9"] == ["1", "3", "5", "6"]
    assert tones["Csus4"] == ["1", "4", "5"]
    assert tones["C9sus"] == ["1", "4", "5", "b7"]
    assert tones["C"] == ["1", "3", "5"]
    assert tones["Cdim"] == ["1", "b3", "b5", "bb7"]
    assert tones["C7#11"] == ["1", "3", "5", "b7"]
    upper = arpeggio(parse_chord("C13").quality).upper
    assert [str(degree) for degree in upper] == ["3", "b7", "9", "13"]


def test_from_the_third_to_the_ninth() -> None:
    tones = {
        symbol: [str(d) for d in arpeggio(parse_chord(symbol).quality, "3-9").tones]
        for symbol in ("Cmaj7", "Dm7", "G7", "G7b9", "G7alt", "C")
    }
    assert tones["Cmaj7"] == ["3", "5", "7", "9"]
    assert tones["Dm7"] == ["b3", "5", "b7", "9"]
    assert tones["G7"] == ["3", "5", "b7", "9"]
    assert tones["G7b9"] == ["3", "5", "b7", "b9"]
    assert tones["G7alt"][0] == "3"
    assert "#9" in tones["G7alt"]
    assert tones["C"] == ["3", "5", "9"]


def test_further_tones_are_lighter() -> None:
    taken = chord_shape("C13", 7)
    assert {str(tone.degree) for tone in taken.lighter} == {"9", "13"}
    assert {str(tone.degree) for tone in chord_shape("G7b9", 5).lighter} == {"1"}


def test_a_slash_chord_that_is_heard_as_suspended() -> None:
    assert {tone.pitch % 12 for tone in chord_shape("F/G", 5).tones} == {7, 0, 2, 5}


def test_out_of_reach_is_said_with_the_tone() -> None:
    lone = make_fingerboard("E4")
    with pytest.raises(PracticeError, match=r"of Cmaj7, is out of reach in position 5"):
        shape(parse_chord("Cmaj7"), lone, 5)
    with pytest.raises(PracticeError, match="No position reaches every tone of Cmaj7"):
        positions(parse_chord("Cmaj7"), lone)


@pytest.mark.parametrize("tuning", ["bass", "ukulele", "seven-string", "drop-d", "all-fourths"])
def test_other_instruments_have_every_tone_somewhere(tuning: str) -> None:
    board = make_fingerboard(tuning)
    for symbol in ("Cmaj7", "F#7", "Ebm7", "Abm7b5", "Bdim7"):
        shapes = positions(parse_chord(symbol), board)
        assert len(shapes) >= 3
        assert all(taken.whole for taken in shapes)


@pytest.mark.parametrize("symbol", SEVENTHS)
@pytest.mark.parametrize("root", ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"])
def test_every_root_has_its_five_forms(root: str, symbol: str) -> None:
    """The trade's five forms, by the strings of their roots (common practice, no source); over
    open strings in the first position, too."""
    chord = parse_chord(root + symbol)
    shapes = positions(chord, GUITAR)
    assert len(shapes) == 5
    assert len({taken.position for taken in shapes}) == 5


def test_open_strings_are_used_in_the_first_position() -> None:
    for symbol in ("Em7", "Am7", "Gmaj7", "Cmaj7", "D7", "E7", "Bm7", "Dm7"):
        lowest = positions(parse_chord(symbol), GUITAR)[0]
        assert lowest.position == 1, symbol
        assert any(tone.finger == 0 for tone in lowest.tones)
