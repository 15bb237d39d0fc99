"""Chords: what the band and the neck read from a symbol, and the symbols that are refused."""

from __future__ import annotations

import dataclasses
import pickle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.harmony import Chord, parse_chord
from backing.chart.pitch import Degree, Interval, Key, PitchName, degrees
from backing.chart.quality import QUALITIES, SCALES, Quality, quality_of
from backing.errors import ChordError, Span

ROOTS = ["C", "Db", "C#", "D", "Eb", "D#", "E", "F", "F#", "Gb", "G", "Ab", "G#", "A", "Bb", "B"]
SUFFIXES = "|6|6/9|maj7|Δ9|m|-7|m9|m11|ø|°7|dim|7|9|13|7b9|7(b9,#11)|alt|+7|7b5|b5|sus|9sus|(b9)"
SUFFIXES += "|m(maj7)|maj7#5|add9|5|7no5|mb6|♭5|m7b5|7+9|sus2"
BASSES = ["", "/E", "/G", "/Bb", "/F#"]
EXTRAS = "b5 #5 5 b9 9 #9 11 #11 b13 13 b6 6 bb7 b7 7 2 4 3 b3"

moves = st.builds(Interval.of_semitones, st.integers(-12, 12))
symbols = st.builds(
    lambda root, suffix, bass: f"{root}{suffix}{bass}",
    st.sampled_from(["C", "D", "E", "F", "G", "A", "B", "F#"]),
    st.sampled_from([suffix for suffix in SUFFIXES.split("|") if suffix[:1] not in tuple("b♭")])
    | st.sampled_from(["(b5)", "(♭5)"]),
    st.sampled_from(BASSES),
)
qualities = st.sampled_from(sorted(QUALITIES)).map(QUALITIES.__getitem__) | st.builds(
    lambda base, extra: quality_of((*QUALITIES[base].degrees, *extra)),
    st.sampled_from(sorted(QUALITIES)),
    st.lists(st.sampled_from(degrees(EXTRAS)), max_size=3),
)


def _text(tones: tuple[Degree, ...]) -> str:
    return " ".join(map(str, tones))


# --- what a quality offers ------------------------------------------------------------------

# symbol: core, guide tones, tensions (common practice, no source)
READINGS = {
    "C": ("1 3 5", "3 5", "9 13"),
    "C6": ("1 3 5 6", "3 6", "9"),
    "C6/9": ("1 3 5 6", "3 6", ""),
    "Cmaj7": ("1 3 5 7", "3 7", "9 13"),
    "Cmaj7#11": ("1 3 5 7", "3 7", "9 13"),
    "Cm": ("1 b3 5", "b3 5", "9 11 13"),
    "Cm6": ("1 b3 5 6", "b3 6", "9 11"),
    "Cm7": ("1 b3 5 b7", "b3 b7", "9 11"),
    "Cm11": ("1 b3 5 b7", "b3 b7", ""),
    "CmMaj7": ("1 b3 5 7", "b3 7", "9 11 13"),
    "C7": ("1 3 5 b7", "3 b7", "9 13"),
    "C9": ("1 3 5 b7", "3 b7", "13"),
    "C13": ("1 3 5 b7", "3 b7", ""),
    "C7b9": ("1 3 5 b7", "3 b7", ""),
    "C13b9": ("1 3 5 b7", "3 b7", "#9 #11"),
    "C7#11": ("1 3 5 b7", "3 b7", "9 13"),
    "C7b13": ("1 3 5 b7", "3 b7", "9"),
    "C7#5": ("1 3 #5 b7", "3 b7", "9 #11"),
    "C7b5": ("1 3 b5 b7", "3 b7", "9 b13"),
    "C7alt": ("1 3 #5 b7", "3 b7", ""),
    "Csus4": ("1 4 5", "4 5", "b7 9 13"),
    "C7sus4": ("1 4 5 b7", "4 b7", "9 13"),
    "C7b9sus": ("1 4 5 b7", "4 b7", "13"),
    "Cm7b5": ("1 b3 b5 b7", "b3 b7", "11 b13"),
    "Cdim7": ("1 b3 b5 bb7", "b3 bb7", "9 11 b13 7"),
    "Cdim": ("1 b3 b5 bb7", "b3 bb7", "bb7 9 11 b13 7"),
    "C+": ("1 3 #5", "3 #5", "9 #11"),
    "Cmaj7#5": ("1 3 #5 7", "3 7", "9 #11"),
    "C5": ("1 5", "1 5", "9"),
    "C7no5": ("1 3 b7", "3 b7", "9 13"),
    "C7no3": ("1 5 b7", "5 b7", "9 11 13"),
}


@pytest.mark.parametrize(("symbol", "expected"), READINGS.items())
def test_core_guide_and_tensions(symbol: str, expected: tuple[str, str, str]) -> None:
    quality = parse_chord(symbol).quality
    assert (_text(quality.core), _text(quality.guide), _text(quality.tensions)) == expected


# the chord scale a player names first (common practice, no source)
CHORD_SCALES = {
    "Cmaj7": "ionian",
    "Cmaj7#11": "lydian",
    "Cmaj7#5": "lydian-augmented",
    "C7": "mixolydian",
    "C7#11": "lydian-dominant",
    "C7b9": "phrygian-dominant",
    "C7b9b13": "phrygian-dominant",
    "C9b13": "mixolydian-b13",
    "C13b9": "half-whole",
    "C7#5": "whole-tone",
    "C7alt": "altered",
    "C7#5#9": "altered",
    "Cm7": "dorian",
    "Cm7b9": "phrygian",
    "Cmb6": "aeolian",
    "Cm6": "melodic-minor",
    "CmMaj7": "melodic-minor",
    "Cm7b5": "locrian",
    "Cm9b5": "locrian-natural-2",
    "Cdim7": "whole-half",
    "C9sus": "mixolydian",
}


@pytest.mark.parametrize(("symbol", "scale"), CHORD_SCALES.items())
def test_chord_scale(symbol: str, scale: str) -> None:
    expected = tuple(degree.pitch_class for degree in SCALES[scale])
    assert parse_chord(symbol).scale_pitch_classes == expected


@given(qualities)
def test_core_and_guide_tones_belong_to_the_chord(quality: Quality) -> None:
    sounded = {*quality.degrees}
    if quality.family == "diminished":
        sounded.add(Degree(7, -2))  # a diminished triad sounds its seventh
    assert set(quality.core) <= sounded
    assert set(quality.guide) <= set(quality.core)
    assert len(set(quality.guide)) == 2
    assert quality.core[0] == quality.degrees[0] == Degree(1)
    assert len(quality.core) <= 4


@given(qualities)
def test_degrees_ascend_and_sound_once(quality: Quality) -> None:
    semitones = [degree.semitones for degree in quality.degrees]
    assert semitones == sorted(semitones)
    assert len({s % 12 for s in semitones}) == len(semitones)


@given(qualities)
def test_tensions_rub_against_no_chord_tone(quality: Quality) -> None:
    chord = {degree.pitch_class for degree in quality.degrees}
    for tension in quality.tensions:
        below = (tension.pitch_class - 1) % 12
        taken = tension == Degree(9, -1) and quality.family == "dominant"
        assert below not in chord or taken, f"{quality.name}: {tension}"
        assert tension.pitch_class not in chord


@given(qualities)
def test_the_scale_holds_the_chord_and_its_tensions(quality: Quality) -> None:
    scale = [degree.pitch_class for degree in quality.scale]
    assert scale == sorted(set(scale))
    assert len(scale) >= 6
    assert len(scale) <= 8 or quality.name not in QUALITIES
    tones = (*quality.degrees, *quality.tensions)
    assert {degree.pitch_class for degree in tones} <= set(scale)


@given(qualities)
def test_our_symbol_says_the_quality(quality: Quality) -> None:
    symbol = quality.symbol
    assert parse_chord(f"C{symbol}").quality == quality
    assert parse_chord(f"Bb{symbol}").quality == quality


@given(qualities, st.randoms(use_true_random=False))
def test_qualities_are_one_whatever_the_order(quality: Quality, rng: object) -> None:
    tones = list(quality.degrees)
    rng.shuffle(tones)  # type: ignore[attr-defined]
    assert quality_of(tones) is quality
    assert pickle.loads(pickle.dumps(quality)) == quality


@given(qualities, qualities)
def test_names_tell_qualities_apart(one: Quality, other: Quality) -> None:
    assert (one.name == other.name) == (one.degrees == other.degrees)


# --- chords ---------------------------------------------------------------------------------


def test_names_of_tones() -> None:
    chord = parse_chord("Ebm7b5")
    assert [str(chord.spelled(degree)) for degree in chord.degrees] == ["Eb", "Gb", "Bbb", "Db"]
    c7alt = parse_chord("C7alt")
    assert [str(c7alt.name_of(pitch)) for pitch in (0, 1, 3, 4, 6, 8, 10)] == (
        ["1", "b9", "#9", "3", "b5", "#5", "b7"]
    )
    assert c7alt.name_of(2) is None
    assert str(parse_chord("G7").name_of(9)) == "9"
    assert str(parse_chord("G7").name_of(0)) == "4"


@given(st.sampled_from(ROOTS), qualities)
def test_every_tone_has_its_name(root: str, quality: Quality) -> None:
    chord = Chord(PitchName.parse(root), quality)
    for degree, pitch in zip(chord.degrees, chord.pitch_classes, strict=True):
        assert chord.name_of(pitch) == degree
        assert chord.spelled(degree).pitch_class == pitch
    assert chord.pitch_classes[0] == chord.core_pitch_classes[0] == chord.root.pitch_class
    for degree in (*quality.tensions, *quality.scale):
        assert chord.name_of(chord.spelled(degree).pitch_class) is not None


# a slash chord, and what it sounds (root, canonical suffix)
SOUNDING = {
    "F/G": ("G", "9sus4"),
    "Dm7/G": ("G", "9sus4"),
    "Dm/G": ("G", "9sus4"),
    "F6/G": ("G", "9sus4"),
    "Fmaj7/G": ("G", "13sus4"),
    "Fmaj9/G": ("G", "13sus4"),
    "Dm9/G": ("G", "13sus4"),
    "Bb/C": ("C", "9sus4"),
    "Gm7/C": ("C", "9sus4"),
    "Am7/D": ("D", "9sus4"),
    "Cm7b5/F": ("F", "7b9sus4"),
    "Ebm6/F": ("F", "7b9sus4"),
}


@pytest.mark.parametrize(("symbol", "expected"), SOUNDING.items())
def test_slash_chords_that_are_suspended(symbol: str, expected: tuple[str, str]) -> None:
    sounding = parse_chord(symbol).sounding
    assert (str(sounding.root), sounding.quality.symbol) == expected
    assert sounding.text == symbol
    assert sounding.family == "sus"


@pytest.mark.parametrize("symbol", ["C/E", "C/G", "C/Bb", "D/C", "Am7/G", "F6/D", "C7", "G7sus"])
def test_other_chords_sound_as_written(symbol: str) -> None:
    chord = parse_chord(symbol)
    assert chord.sounding is chord


def test_the_span_travels_outside_equality() -> None:
    chord = dataclasses.replace(parse_chord("F/G"), span=Span(3, 7, 3))
    assert chord == parse_chord("F/G")
    assert chord.sounding.span == chord.transposed(Interval(1, 2)).span == Span(3, 7, 3)
    assert parse_chord("F/G").sounding.span is None


@settings(max_examples=100)
@given(symbols, moves)
def test_transposing_shifts_every_reading(symbol: str, by: Interval) -> None:
    chord, moved = parse_chord(symbol), parse_chord(symbol).transposed(by)
    for name in ("pitch_classes", "core_pitch_classes", "guide_pitch_classes"):
        shifted = tuple((pitch + by.semitones) % 12 for pitch in getattr(chord, name))
        assert getattr(moved, name) == shifted
    assert (moved.bass_pitch_class - chord.bass_pitch_class - by.semitones) % 12 == 0
    assert moved.quality is chord.quality


@settings(max_examples=100)
@given(symbols, moves)
def test_transposed_text_reads_as_the_transposed_chord(symbol: str, by: Interval) -> None:
    moved = parse_chord(symbol).transposed(by)
    assert parse_chord(moved.text) == moved
    assert moved.transposed(-by).pitch_classes == parse_chord(symbol).pitch_classes


@pytest.mark.parametrize(
    ("symbol", "by", "key", "expected"),
    [
        ("C-7", Interval(1, 1), None, "Db-7"),
        ("Bbb5", Interval(1, 2), None, "C(b5)"),
        ("B♭△7", Interval(3, 5), None, "E♭△7"),
        ("F/G", Interval(-1, -2), None, "Eb/F"),
        ("Bbmaj7", Interval(1, 1), None, "Bmaj7"),
        ("Bbmaj7", Interval(1, 1), "Gb", "Cbmaj7"),
        ("C7(b9, #11)/E", Interval(4, 7), None, "G7(b9, #11)/B"),
    ],
)
def test_transposed_text(symbol: str, by: Interval, key: str | None, expected: str) -> None:
    moved = parse_chord(symbol).transposed(by, Key.parse(key) if key else None)
    assert moved.text == str(moved) == expected


# --- refusals -------------------------------------------------------------------------------

# text: the culprit's offsets, a word of the cause, a word of the cure
REFUSED = {
    "": ((0, 0), "missing", "root"),
    "  ": ((0, 2), "missing", "root"),
    "7": ((0, 1), '"7"', "A-G"),
    "Xm7": ((0, 1), '"X"', "A-G"),
    "%": ((0, 1), '"%"', "A-G"),
    "Hm7": ((0, 1), "German", "Write B "),
    "C/H": ((2, 3), "German", "Write B "),
    "cm7": ((0, 1), "lowercase letter", "Write Cm7"),
    "bb7": ((0, 1), "lowercase letter", "Write Bb7"),
    "C/e": ((2, 3), "lowercase letter", "Write E"),
    "Cfoo": ((1, 4), '"foo"', "Cm7"),
    "C7foo": ((2, 5), '"foo"', "Cm7"),
    "Cm77": ((3, 4), "second number", "parentheses"),
    "C77": ((2, 3), "second number", "parentheses"),
    "C/": ((1, 2), "No bass note", "C/E"),
    "C/Q": ((2, 3), '"Q"', "A-G"),
    "C/G7": ((3, 4), "cannot follow the bass", "/G"),
    "Dm7/G/C": ((5, 7), "cannot follow the bass", "/G"),
    "C7(b9": ((2, 3), "never closed", '")"'),
    "C7b9)": ((4, 5), "never opened", "Remove"),
    "C()": ((2, 3), "empty", "Remove"),
    "Cmaj7alt": ((5, 8), "cannot follow", "one quality"),
    "Cm7m7": ((3, 4), "cannot follow", "one quality"),
    "C°m": ((2, 3), "cannot follow", "one quality"),
    "C7-": ((2, 3), '"-"', "C7-9"),
    "C7b3": ((2, 4), "alteration", "#11"),
    "Cm5": ((2, 3), "nothing", "Leave it out"),
    "Csus5": ((4, 5), "nothing", "Leave it out"),
    "C7(omit)": ((3, 7), '"omit"', "Cm7"),
    "C7M7M": ((4, 5), "cannot follow", "one quality"),
    "C3": ((1, 2), '"3"', "Cm7"),
    "C7b9#": ((4, 5), '"#"', "Cm7"),
    " Cfoo": ((2, 5), '"foo"', "Cm7"),
}


@pytest.mark.parametrize(("text", "expected"), REFUSED.items())
def test_what_is_no_chord_is_refused(text: str, expected: tuple[tuple[int, int], str, str]) -> None:
    culprit, cause, cure = expected
    with pytest.raises(ChordError) as caught:
        parse_chord(text)
    assert (caught.value.start, caught.value.end) == culprit
    assert cause in caught.value.cause
    assert cure in caught.value.cure


@settings(max_examples=200)
@given(st.text(alphabet="CBbH#♭m-+7913564()/, sumajdigøΔ°lto", max_size=10))
def test_any_text_is_read_or_refused_with_a_place(text: str) -> None:
    error = _refusal(text)
    if error is None:
        chord = parse_chord(text)
        assert chord.degrees[0] == Degree(1)
        assert parse_chord(chord.text) == chord
    else:
        assert error.end is not None
        assert 0 <= error.start <= error.end <= len(text)
        assert error.cause.endswith(".")
        assert error.cure.endswith(".")


def _refusal(text: str) -> ChordError | None:
    try:
        parse_chord(text)
    except ChordError as error:
        return error
    return None
