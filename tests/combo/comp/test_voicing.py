"""Voicings against the textbooks, a table of limits, a neck and music21's chords."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from music21 import harmony as m21

from backing.chart.harmony import Chord, parse_chord
from backing.chart.pitch import Key
from backing.combo.comp.tensions import Colors, colors
from backing.combo.comp.voicing import HANDS, Voicing, drop, voice_moves, voicings
from tests.strategies import chords

TWELVE = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
COMPS = tuple(HANDS)


def colors_in(symbol: str, target: str = "", before: str = "", key: str = "C major") -> Colors:
    """The colors of a chord between two others."""
    around = [parse_chord(text) if text else None for text in (target, before)]
    return colors(parse_chord(symbol), around[0], around[1], Key.parse(key))


def shapes(symbol: str, target: str, key: str, comp: str = "piano") -> set[tuple[int, ...]]:
    """All voicings a player may take for a chord, in semitones above the root of octave 0."""
    root = parse_chord(symbol).root.pitch_class
    full, free = voicings(colors_in(symbol, target, key=key), comp)
    lifted = {tuple(p - root for p in v.pitches) for v in (*full.voicings, *free.voicings)}
    return {tuple(step - 12 * (shape[0] // 12) for step in shape) for shape in lifted}


# Rootless A and B forms above the root: piano.org/theory/rootless-voicings (seen: A forms of m7,
# maj7 and the dominant with 13 for 5, the B forms with the seventh at the bottom).
FORMS = {
    "m7": ((3, 7, 10, 14), (10, 14, 15, 19)),
    "7": ((4, 9, 10, 14), (10, 14, 16, 21)),
    "maj7": ((4, 7, 11, 14), (11, 14, 16, 19)),
}


@pytest.mark.parametrize("semitones", range(12))
def test_a_two_five_one_has_its_a_and_b_forms_in_every_key(semitones: int) -> None:
    two, five, one = (TWELVE[(semitones + step) % 12] for step in (2, 7, 0))
    key = f"{one} major"
    for symbol, target in (
        (f"{two}m7", f"{five}7"),
        (f"{five}7", f"{one}maj7"),
        (f"{one}maj7", ""),
    ):
        suffix = symbol.removeprefix(str(parse_chord(symbol).root))
        assert set(FORMS[suffix]) <= shapes(symbol, target, key), symbol


@pytest.mark.parametrize("semitones", range(-2, 6))
def test_a_and_b_forms_alternate_within_two_semitones(semitones: int) -> None:
    """Dm9 F A C E, G13 F A B E, Cmaj9 E G B D, and in the keys around."""
    names = [TWELVE[(semitones + step) % 12] for step in (2, 7, 0)]
    symbols = (f"{names[0]}m7", f"{names[1]}7", f"{names[2]}maj7")
    way = [tuple(p + semitones for p in c) for c in (
        (53, 57, 60, 64), (53, 57, 59, 64), (52, 55, 59, 62)
    )]  # fmt: skip
    for symbol, target, pitches in zip(symbols, (*symbols[1:], ""), way, strict=True):
        full, _ = voicings(colors_in(symbol, target, key=f"{names[2]} major"), "piano")
        assert pitches in {v.pitches for v in full.voicings}
    assert max(voice_moves(way[0], way[1])) <= 2
    assert max(voice_moves(way[1], way[2])) <= 2


# learnjazzstandards.com/blog/drop-2-voicings: the inversions of Cmaj7, bottom to top
def test_drop_two_is_the_formula() -> None:
    close = {"C E G B": (60, 64, 67, 71), "E G B C": (64, 67, 71, 72),
             "G B C E": (67, 71, 72, 76), "B C E G": (71, 72, 76, 79)}  # fmt: skip
    names = {0: "C", 4: "E", 7: "G", 11: "B"}
    dropped = {" ".join(names[p % 12] for p in drop(pitches, 2)) for pitches in close.values()}
    assert dropped == {"G C E B", "B E G C", "C G B E", "E B C G"}
    assert drop((60, 64, 67, 71), 2) == (55, 60, 64, 71)
    assert drop((60, 64, 67, 71), 3) == (52, 60, 67, 71)


# sweetwater.com/insync/low-interval-limit, converted to middle C = 60; its tritone (35) is an
# octave slip there and takes the fourth's value.
TABLE_S = {1: 52, 2: 51, 3: 48, 4: 47, 5: 45, 6: 45, 7: 37, 8: 41, 9: 41, 10: 41, 11: 41}


def all_voicings(chord: Chord, target: Chord, key: str, comp: str) -> tuple[Voicing, ...]:
    """Everything a player may take for a chord."""
    full, free = voicings(colors(chord, target, None, Key.parse(key)), comp)
    return (*full.voicings, *free.voicings)


any_key = st.sampled_from(["C major", "F minor", "Bb major", "E dorian"])


@settings(max_examples=150)
@given(chords(), chords(), any_key, st.sampled_from(COMPS))
def test_every_chord_has_clear_voicings(chord: Chord, to: Chord, key: str, comp: str) -> None:
    found = all_voicings(chord, to, key, comp)
    hands, root = HANDS[comp], chord.sounding.root.pitch_class
    assert found
    for voicing in found:
        pitches = voicing.pitches
        assert hands.low <= pitches[0] < pitches[-1] <= hands.high
        assert list(pitches) == sorted(set(pitches))
        if voicing.grip == "stack":
            continue
        for low, high in combinations(pitches, 2):
            assert low >= TABLE_S.get(high - low, 0)
            assert high - low != 13 or low % 12 == root
    assert any(v.grip != "stack" for v in found) or len(chord.pitch_classes) > 4


@settings(max_examples=150)
@given(chords(), chords(), any_key, st.sampled_from(COMPS))
def test_no_voice_fights_the_soloist(chord: Chord, to: Chord, key: str, comp: str) -> None:
    sounding = chord.sounding
    allowed = set(sounding.pitch_classes) | set(sounding.core_pitch_classes)
    for voicing in all_voicings(chord, to, key, comp):
        for pitch in {p % 12 for p in voicing.pitches} - allowed:
            below = (pitch - 1) % 12
            flat_nine = sounding.is_dominant and below == sounding.root.pitch_class
            assert flat_nine or below not in sounding.core_pitch_classes


@settings(max_examples=100)
@given(chords(), any_key)
def test_three_and_seven_are_there_or_the_chord_has_none(chord: Chord, key: str) -> None:
    full, _ = voicings(colors(chord, None, None, Key.parse(key)), "piano")
    guide = set(chord.sounding.guide_pitch_classes)
    assert any(guide <= {p % 12 for p in v.pitches} for v in full.voicings)


# what may stand beside the chord tones that music21 gives a symbol (common practice, no source)
BESIDE = {
    "Dm7": {2, 5}, "G7": {2, 9}, "Cmaj7": {2, 9}, "C6": {2}, "Am6": {2, 5}, "Bm7b5": set(),
    "Bdim7": set(), "G9": {9}, "Cmaj9": {9}, "Dm9": {5}, "G7b9": {9}, "Cmmaj7": {2},
}  # fmt: skip


@pytest.mark.parametrize("symbol", BESIDE)
@pytest.mark.parametrize("comp", COMPS)
def test_voices_belong_to_the_chord_as_music21_reads_it(symbol: str, comp: str) -> None:
    names = {"Bm7b5": "Bø7", "Bdim7": "Bo7", "Cmmaj7": "CmM7", "Cmaj9": "CM9"}
    tones = {p.pitchClass for p in m21.ChordSymbol(names.get(symbol, symbol)).pitches}
    chord = parse_chord(symbol)
    root = chord.root.pitch_class
    target = parse_chord("Cmaj7")
    for voicing in all_voicings(chord, target, "C major", comp):
        beside = {(p - root) % 12 for p in voicing.pitches if p % 12 not in tones}
        assert beside <= BESIDE[symbol], voicing


# Where a dominant goes decides its colors: textbook rules of the trade (no source).
@pytest.mark.parametrize(
    ("place", "added"),
    [
        (("G7", "Cmaj7", "Dm7", "C major"), ((2,), (), (9,))),
        (("G7", "Cm7", "", "C minor"), ((1,), (), ())),
        (("A7", "Dm7", "", "C major"), ((1,), (), ())),  # VI7 of a minor target
        (("G7", "C6", "Dm7b5", "C major"), ((1,), (), ())),  # after a half-diminished
        (("D7", "Dm7", "", "C major"), ((2,), (6,), (9,))),  # II7
        (("Db7", "Cmaj7", "", "C major"), ((2,), (6,), (9,))),  # bII7
        (("Bb7", "Cmaj7", "Fm7", "C major"), ((2,), (6,), (9,))),  # bVII7
        (("F7", "C7", "C7", "C major"), ((2,), (6,), (9,))),  # blues IV7
        (("C7", "C7", "", "C major"), ((2,), (6,), (9,))),  # blues I7
        (("E7", "Fmaj7", "", "C major"), ((1,), (), ())),  # III7, unresolved
        (("G13", "Cm7", "", "C minor"), ((2,), (), (9,))),  # a 13 is stacked on a 9
        (("G7#9", "Cm7", "", "C minor"), ((3,), (), ())),
        (("G7alt", "Cm7", "", "C minor"), ((1, 3), (6,), ())),
        (("G7sus", "Cmaj7", "", "C major"), ((2,), (), (9,))),
        (("Dm7", "G7", "", "C major"), ((2,), (5,), ())),
        (("Em7", "A7", "", "C major"), ((), (5,), ())),  # iii: no natural ninth
        (("Dm7b5", "G7", "", "C minor"), ((), (), ())),
        (("Cmaj7", "Am7", "", "C major"), ((2,), (), (9,))),
        (("Bdim7", "Cm7", "", "C minor"), ((), (), ())),
    ],
)
def test_colors_follow_the_symbol_and_the_target(
    place: tuple[str, str, str, str], added: tuple[tuple[int, ...], ...]
) -> None:
    """Symbol, target, chord before and key give ninths, elevenths and thirteenths."""
    found = colors_in(*place)
    ours = (found.ninths, found.elevenths, found.thirteenths)
    assert [set(tones) for tones in ours] == [set(tones) for tones in added]


@pytest.mark.parametrize(
    ("symbol", "key", "sixth"), [("C", "C major", 9), ("Cm", "C minor", 9), ("F", "C major", 9)]
)
def test_a_bare_tonic_takes_six_and_nine(symbol: str, key: str, sixth: int) -> None:
    found = colors_in(symbol, "", "", key)
    assert found.sevenths == (sixth,)
    assert found.ninths == (2,)


def test_no_color_rubs_against_a_foreign_bass() -> None:
    assert 9 not in colors_in("C/Bb").sevenths + colors_in("C/Bb").thirteenths
    assert 2 not in colors_in("C/Db").ninths


def test_a_bare_dominant_triad_is_left_alone() -> None:
    found = colors_in("E", "Am", "", "A minor")
    assert (found.sevenths, found.ninths, found.thirteenths) == ((), (), ())


def test_an_altered_dominant_is_a_choice_of_four_or_five_notes() -> None:
    full, _ = voicings(colors_in("G7alt", "Cm", key="C minor"), "piano")
    assert {len(v.pitches) for v in full.voicings} == {4, 5}
    assert len({v.pitches for v in full.voicings}) >= 6
    assert all(v.heard >= 2 for v in full.voicings)


# standard tuning E A D G B E; a hand spans four or five frets (common practice, no source)
@settings(max_examples=100)
@given(chords(), any_key)
def test_guitar_voicings_lie_under_a_hand(chord: Chord, key: str) -> None:
    open_strings = (40, 45, 50, 55, 59, 64)
    for voicing in all_voicings(chord, chord, key, "guitar"):
        if voicing.grip == "stack":
            continue
        held = [
            [pitch - open_strings[s] for pitch, s in zip(voicing.pitches, strings, strict=True)]
            for strings in combinations(range(6), len(voicing.pitches))
        ]
        assert any(min(f) >= 0 and max(f) <= 14 and max(f) - min(f) <= 4 for f in held), voicing


def test_voices_go_in_order_or_to_the_nearest() -> None:
    assert voice_moves((53, 57, 60, 64), (53, 57, 59, 64)) == [0, 0, 1, 0]
    assert voice_moves((53, 57, 60, 64), (53, 59, 64)) == [0, 1, 0]
