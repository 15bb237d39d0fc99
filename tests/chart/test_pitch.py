"""Spelled pitches, intervals, degrees and keys."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from music21 import interval as music21_interval
from music21 import key as music21_key
from music21 import pitch as music21_pitch

from backing.chart.pitch import Degree, Interval, Key, PitchName, degrees
from backing.errors import ChordError

pitch_names = st.builds(PitchName, st.sampled_from("ABCDEFG"), st.integers(-2, 2))
intervals = st.builds(
    lambda steps, alter: Interval(steps, steps * 12 // 7 + alter),
    st.integers(-14, 14),
    st.integers(-1, 1),
)
MODES = ["major", "minor", "ionian", "dorian", "phrygian", "lydian", "mixolydian", "aeolian"]
MODES += ["locrian"]


def _music21_pitch(name: PitchName) -> music21_pitch.Pitch:
    return music21_pitch.Pitch(str(name).replace("b", "-"))


@given(pitch_names)
def test_names_survive_text(name: PitchName) -> None:
    assert PitchName.parse(str(name)) == name
    assert PitchName.parse(name.pretty) == name
    assert PitchName.of_fifths(name.fifths) == name


@given(pitch_names)
def test_pitch_class_against_music21(name: PitchName) -> None:
    assert name.pitch_class == _music21_pitch(name).pitchClass


@pytest.mark.parametrize(
    ("text", "letter", "alter"),
    [
        ("Bb", "B", -1),
        ("B♭", "B", -1),
        ("F#", "F", 1),
        ("F♯", "F", 1),
        ("Fx", "F", 2),
        ("F##", "F", 2),
        ("F𝄪", "F", 2),
        ("Ebb", "E", -2),
        ("E𝄫", "E", -2),
        ("B♮", "B", 0),
    ],
)
def test_accidentals_ascii_and_unicode(text: str, letter: str, alter: int) -> None:
    assert PitchName.parse(text) == PitchName(letter, alter)


def test_pretty() -> None:
    pretty = [PitchName.parse(text).pretty for text in ("Bb", "F#", "Ebb", "Fx", "C")]
    assert pretty == ["B♭", "F♯", "E𝄫", "F𝄪", "C"]


@given(pitch_names, intervals)
def test_transposing_moves_the_pitch_class_and_comes_back(name: PitchName, by: Interval) -> None:
    moved = name.transposed(by)
    assert (moved.pitch_class - name.pitch_class - by.semitones) % 12 == 0
    assert moved.transposed(-by) == name
    assert moved == name.transposed(by + Interval(7, 12))


@given(pitch_names, pitch_names)
def test_interval_to_leads_there_upward(low: PitchName, high: PitchName) -> None:
    up = low.interval_to(high)
    assert low.transposed(up) == high
    assert up.semitones >= 0


MUSIC21_NAMES = {"P1": (0, 0), "m2": (1, 1), "M2": (1, 2), "A2": (1, 3), "m3": (2, 3)}
MUSIC21_NAMES |= {"M3": (2, 4), "d4": (3, 4), "P4": (3, 5), "A4": (3, 6), "d5": (4, 6)}
MUSIC21_NAMES |= {"P5": (4, 7), "A5": (4, 8), "m6": (5, 8), "M6": (5, 9), "d7": (6, 9)}
MUSIC21_NAMES |= {"m7": (6, 10), "M7": (6, 11), "P8": (7, 12), "m9": (8, 13), "-P4": (-3, -5)}


@pytest.mark.parametrize("name", MUSIC21_NAMES)
@pytest.mark.parametrize("start", ["C", "Eb", "F#", "Ab", "B", "Db"])
def test_transposition_is_spelled_as_music21_spells_it(name: str, start: str) -> None:
    ours = PitchName.parse(start).transposed(Interval(*MUSIC21_NAMES[name]))
    theirs = music21_interval.Interval(name).transposePitch(_music21_pitch(PitchName.parse(start)))
    assert str(ours) == theirs.name.replace("-", "b")


@given(st.integers(-24, 24))
def test_intervals_of_semitones(semitones: int) -> None:
    interval = Interval.of_semitones(semitones)
    assert interval.semitones == semitones
    assert -Interval.of_semitones(-semitones) == interval
    assert abs(interval.fifths) <= 6


@given(pitch_names)
def test_simplified_names_are_plain(name: PitchName) -> None:
    plain = name.simplified()
    assert plain.pitch_class == name.pitch_class
    assert abs(plain.alter) <= 1
    assert str(plain) not in {"Cb", "Fb", "E#", "B#"}
    assert plain.simplified() == plain


def test_a_key_keeps_the_names_it_needs() -> None:
    cb = PitchName.parse("Cb")
    assert str(cb.simplified()) == "B"
    assert cb.simplified(Key.parse("Gb")) == cb
    assert str(PitchName.parse("Abb").simplified()) == "G"
    assert str(PitchName.parse("Ebbb").simplified()) == "Db"


# the degrees of the alterations in semitones; b9 to 13 from textbook arithmetic
DEGREES = {"1": 0, "b2": 1, "b3": 3, "3": 4, "4": 5, "#4": 6, "b5": 6, "5": 7, "#5": 8, "6": 9}
DEGREES |= {"bb7": 9, "b7": 10, "7": 11, "b9": 13, "9": 14, "#9": 15, "11": 17, "#11": 18}
DEGREES |= {"b13": 20, "13": 21}


@pytest.mark.parametrize(("text", "semitones"), DEGREES.items())
def test_degrees(text: str, semitones: int) -> None:
    degree = Degree.parse(text)
    assert degree.semitones == degree.interval.semitones == semitones
    assert degree.pitch_class == semitones % 12
    assert str(degree) == text


def test_degrees_in_a_row() -> None:
    assert degrees("1 ♭3 5") == (Degree(1), Degree(3, -1), Degree(5))


@pytest.mark.parametrize("text", ["", "0", "14", "b", "9b", "maj7", "#b5"])
def test_what_is_no_degree_is_refused(text: str) -> None:
    with pytest.raises(ChordError) as caught:
        Degree.parse(text)
    assert (caught.value.start, caught.value.end) == (0, len(text))


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("tonic", ["C", "D", "Eb", "F", "F#", "G", "Bb", "B"])
def test_keys_against_music21(tonic: str, mode: str) -> None:
    theirs = music21_key.Key(tonic.replace("b", "-"), mode)
    if abs(theirs.sharps) > 7:
        with pytest.raises(ChordError, match="accidentals in its key signature"):
            Key(PitchName.parse(tonic), mode)
        return
    key = Key.parse(f"{tonic} {mode}")
    assert key.fifths == theirs.sharps
    for name in key.scale:
        accidental = theirs.accidentalByStep(name.letter)
        assert name.alter == (accidental.alter if accidental else 0)
    assert key.scale[0] == key.tonic
    assert "".join(name.letter for name in key.scale) in "CDEFGABCDEFGAB"


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("G minor", "G minor"),
        ("Gm", "G minor"),
        ("F", "F major"),
        ("Bb major", "Bb major"),
        ("D dorian", "D dorian"),
        ("B♭", "Bb major"),
        ("G-", "G minor"),
        ("G MINOR", "G minor"),
        ("EbM", "Eb major"),
        ("F# min", "F# minor"),
        ("C# major", "C# major"),
        (" C ", "C major"),
    ],
)
def test_keys_as_players_write_them(text: str, written: str) -> None:
    assert str(Key.parse(text)) == written


@pytest.mark.parametrize(
    ("text", "culprit", "cure"),
    [
        ("H minor", (0, 1), "Write B "),
        ("g minor", (0, 1), "Write G minor"),
        ("F foo", (2, 5), "F major"),
        ("", (0, 0), "letter A-G"),
        ("G# major", (0, 2), "Write Ab major"),
    ],
)
def test_keys_refused(text: str, culprit: tuple[int, int], cure: str) -> None:
    with pytest.raises(ChordError) as caught:
        Key.parse(text)
    assert (caught.value.start, caught.value.end) == culprit
    assert cure in caught.value.cure


@settings(max_examples=100)
@given(st.integers(-6, 6), st.sampled_from(MODES), st.integers(-12, 12))
def test_transposed_keys_are_playable(fifths: int, mode: str, semitones: int) -> None:
    tonic_of_c = {"major": 0, "ionian": 0, "lydian": -1, "mixolydian": 1, "dorian": 2}
    tonic_of_c |= {"minor": 3, "aeolian": 3, "phrygian": 4, "locrian": 5}
    key = Key(PitchName.of_fifths(fifths + tonic_of_c[mode]), mode)
    moved = key.transposed(Interval.of_semitones(semitones))
    assert abs(moved.fifths) <= 6
    assert moved.mode == mode
    assert (moved.tonic.pitch_class - key.tonic.pitch_class - semitones) % 12 == 0


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("tonic", ["C", "B", "Bb"])
def test_a_key_for_short_is_read_again(tonic: str, mode: str) -> None:
    key = Key.parse(f"{tonic} {mode}")
    assert Key.parse(key.short) == key
    words = {"major": "", "minor": "m"}
    assert key.short == f"{tonic}{words.get(mode, f' {mode}')}"


def test_a_written_key_keeps_its_spelling() -> None:
    key = Key.parse("C# major")
    assert key.transposed(Interval(0, 0)) == key
    assert key.fifths == 7


def test_names_with_more_than_a_note_are_refused() -> None:
    with pytest.raises(ChordError) as caught:
        PitchName.parse("Bbm7")
    assert (caught.value.start, caught.value.end) == (2, 4)
