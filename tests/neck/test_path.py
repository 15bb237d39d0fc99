"""The path of a tune in one place of the neck."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path as FilePath

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from backing.chart.bar import PlayedBar
from backing.chart.harmony import parse_chord
from backing.chart.text.tune_file import read_file
from backing.combo.plan import plan_of_bars
from backing.errors import PracticeError
from backing.neck.fingerboard import Fingerboard, StringFret, make_fingerboard
from backing.neck.path import MIDDLE, Path, best_position, path_of
from backing.neck.shapes import shape
from backing.neck.voice_leading import voice_leading
from tests.combo.build import bars
from tests.strategies import ROOTS, SUFFIXES

GUITAR = make_fingerboard()
TUNES = FilePath(__file__).parents[2] / "tunes"
suffixes = st.sampled_from([suffix for suffix in SUFFIXES if " " not in suffix])
symbols = st.builds(str.__add__, st.sampled_from(ROOTS), suffixes)


def path(played: Sequence[PlayedBar], board: Fingerboard, position: int) -> Path:
    return path_of(plan_of_bars(played), board, position)


def moves(one: str, other: str) -> list[tuple[str, str, int]]:
    found = voice_leading(parse_chord(one), parse_chord(other))
    return [(str(move.tone), str(move.to), move.semitones) for move in found]


def test_the_voices_of_a_two_five_one() -> None:
    """Sevenths fall to thirds, thirds stay as sevenths: every harmony book (from memory)."""
    assert moves("Dm7", "G7") == [
        ("1", "5", 0), ("b3", "b7", 0), ("5", "1", -2), ("b7", "3", -1),
    ]  # fmt: skip
    assert moves("G7", "Cmaj7") == [
        ("1", "5", 0), ("3", "7", 0), ("5", "1", -2), ("b7", "3", -1),
    ]  # fmt: skip
    assert moves("Dm7b5", "G7b9")[1:] == [("b3", "b7", 0), ("b5", "b9", 0), ("b7", "3", -1)]


def test_a_triad_and_a_seventh_chord_leave_no_tone_alone() -> None:
    assert {tone for tone, _, _ in moves("C", "G7")} == {"1", "3", "5"}
    assert {to for _, to, _ in moves("C", "G7")} == {"1", "3", "5", "b7"}
    assert {tone for tone, _, _ in moves("G7", "C")} == {"1", "3", "5", "b7"}


@given(symbols, symbols)
@settings(max_examples=100)
def test_moves_lead_to_tones_of_the_next_chord(one: str, other: str) -> None:
    before, after = parse_chord(one).sounding, parse_chord(other).sounding
    for move in voice_leading(before, after):
        start = before.root.pitch_class + move.tone.pitch_class
        end = after.root.pitch_class + move.to.pitch_class
        assert (start + move.semitones - end) % 12 == 0
        assert -6 < move.semitones <= 6
        assert move.stays == (move.semitones == 0)


def test_stretches_are_chosen_alike() -> None:
    taken = path(bars("Dm7 | G7 | Cmaj7 | E7"), GUITAR, 5)
    places = {
        tone.place for step in taken.steps for tone in step.shape.tones if tone.pitch == 59
    }  # fmt: skip
    assert len(places) == 1
    assert places <= {StringFret(3, 4), StringFret(4, 9)}


@given(st.lists(symbols, min_size=1, max_size=12), st.integers(1, 14))
@example(
    ["C7sus", "C#", "D#", "F#6", "G#", "G#7sus", "A#6"], 14
)  # three pitches in two places each
@settings(max_examples=60)
def test_a_pitch_lies_in_one_place_unless_the_hand_forbids(
    chords: list[str], position: int
) -> None:
    """Where two chords take a pitch in different places, one of them would break a rule: told to
    take it where the other does, with all else as it is, it keeps its own place."""
    taken = path(bars(" | ".join(chords)), GUITAR, position)
    assert not taken.troubles
    for step in taken.steps:
        assert step.shape.position == position
        assert not step.shape.missing
    places: dict[int, set[StringFret]] = {}
    for found in taken.shapes:
        for tone in found.tones:
            places.setdefault(tone.pitch, set()).add(tone.place)
    for pitch, found in places.items():
        assert len(found) <= 2
        assert any(held_to(place, pitch, taken) for place in found)


def held_to(place: StringFret, pitch: int, taken: Path) -> bool:
    """Whether every chord takes ``pitch`` at ``place`` that could."""
    for own in taken.shapes:
        at = {tone.pitch: tone.place for tone in own.tones}
        if pitch in at and at[pitch] != place:
            other = shape(own.chord, GUITAR, taken.position, preferred=at | {pitch: place})
            if place in {tone.place for tone in other.tones}:
                return False
    return True


def test_a_path_knows_its_chords_and_times() -> None:
    taken = path(bars("Dm7 G7 | Cmaj7 | N.C. | <A7b9"), GUITAR, 5)
    assert [str(step.chord) for step in taken.steps] == ["Dm7", "G7", "Cmaj7", "A7b9"]
    assert [step.span.start for step in taken.steps] == [0, 2, 4, Fraction(23, 2)]
    assert taken.steps[2].span.end == 8
    # the last chord leads to the first
    assert taken.steps[-1].moves == voice_leading(parse_chord("A7b9"), parse_chord("Dm7"))
    assert len(taken.shapes) == 4


def test_where_the_hand_cannot_stay_the_nearest_place_is_named() -> None:
    in_thirds = make_fingerboard("E2 C3 G#3 E4")
    taken = path(bars("Cmaj7 | Dm7 | G7"), in_thirds, 5)
    assert [trouble.bar for trouble in taken.troubles] == ["1", "3"]
    for trouble in taken.troubles:
        step = next(step for step in taken.steps if step.chord == trouble.chord)
        assert step.shape.whole
        assert step.shape.position == trouble.position != 5
    assert str(taken.troubles[0]) == (
        "Bar 1, Cmaj7: E (the 3), B (the 7), G (the 5) cannot be reached in position 5. "
        "Play it in position 4."
    )
    assert taken.steps[1].shape.position == 5
    sparse = path(bars("G7"), make_fingerboard("D2 C3 Bb3"), 5)
    assert "No position has all of it" in str(sparse.troubles[0])


def test_a_tuning_that_makes_a_chord_unreachable() -> None:
    with pytest.raises(PracticeError, match="Cmaj7 cannot be reached in any position"):
        path(bars("Cmaj7"), make_fingerboard("E4"), 5)


def test_no_chord_and_no_position_are_said() -> None:
    with pytest.raises(PracticeError, match="no chord in these bars"):
        path(bars("N.C. | N.C."), GUITAR, 5)
    with pytest.raises(PracticeError, match="no chord in these bars"):
        path((), GUITAR, 5)
    with pytest.raises(PracticeError, match="Position 20 is off the neck"):
        path(bars("Cmaj7"), GUITAR, 20)


def test_the_best_position_asks_least_and_says_why() -> None:
    tune = bars("Dm7 | G7 | Cmaj7 | A7b9")
    best = best_position(tune, GUITAR)
    others = [path(tune, GUITAR, position) for position in range(1, 13)]
    near = [p for p in others if abs(p.position - 5) <= abs(best.path.position - 5)]
    assert best.path.effort == min(p.effort for p in near)
    assert best.reason.startswith(f"Position {best.path.position}: ")
    assert "over 4 chords" in best.reason
    assert "Next best is position" in best.reason


@pytest.mark.parametrize("board", [GUITAR, make_fingerboard("bass")], ids=["guitar", "bass"])
def test_why_a_position_is_the_best_is_true(board: Fingerboard) -> None:
    """Where the next best has fewer stretches the sentence says what speaks against it."""
    fewer = 0
    for file in sorted(TUNES.glob("*.tune")):
        reason = best_position(read_file(file).played("solos"), board).reason
        hands = re.findall(r"osition (\d+): (no|\d+) stretch\w*([^.]*)\.", reason)
        (first, *mine), (other, *its) = hands
        asked = [
            (0 if count == "no" else int(count)) + sum(map(int, re.findall(r"(\d+) open", rest)))
            for count, rest in (mine, its)
        ]
        farther = abs(int(other) - MIDDLE) > abs(int(first) - MIDDLE)
        assert ("farther from the middle" in its[1]) == farther, reason
        if asked[1] < asked[0] and "out of reach" not in its[1]:
            fewer += 1
            assert ", but " in its[1], reason
        else:
            assert ", but " not in its[1], reason
    assert fewer


def test_the_best_position_of_a_flat_key_is_another_one() -> None:
    in_c = best_position(bars("Dm7 | G7 | Cmaj7"), GUITAR).path.position
    in_d_flat = best_position(bars("Ebm7 | Ab7 | Dbmaj7"), GUITAR).path.position
    assert in_d_flat == in_c + 1
