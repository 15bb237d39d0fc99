"""Key centers against textbook analyses (common practice) and music21's Roman numerals."""

from __future__ import annotations

from itertools import pairwise

import music21
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.harmony import parse_chord
from backing.chart.pitch import Key
from backing.combo.plan import plan_of_bars
from backing.neck.parent_scales import key_centers, parent_scales
from tests.combo.build import bars
from tests.strategies import ROOTS, SUFFIXES


def analysis(text: str, key: str = "C major") -> list[tuple[str, str]]:
    return [
        (c.name, " ".join(f.numeral for f in c.functions))
        for c in key_centers(plan_of_bars(bars(text, key=key)).spans)
    ]


@pytest.mark.parametrize(
    ("text", "key", "expected"),
    [
        ("Dm7 | G7 | Cmaj7 | %", "C major", [("C major", "ii7 V7 Imaj7")]),
        ("Dm7b5 | G7b9 | Cm6 | %", "C minor", [("C minor", "iiø7 V7 i6")]),
        # turnarounds
        ("Cmaj7 Am7 | Dm7 G7", "C major", [("C major", "Imaj7 vi7 ii7 V7")]),
        ("Cmaj7 A7 | Dm7 G7", "C major", [("C major", "Imaj7 V7/ii ii7 V7")]),
        ("Em7 A7 | Dm7 G7 | C6", "C major", [("C major", "iii7 V7/ii ii7 V7 I6")]),
        # a tritone substitute
        ("Dm7 | Db7 | Cmaj7 | %", "C major", [("C major", "ii7 bII7 Imaj7")]),
        # ii-V-I in another key and back
        ("Cmaj7 | Cm7 F7 | Bbmaj7 | % | Dm7 | G7 | Cmaj7 | %", "C major",
         [("C major", "Imaj7"), ("B♭ major", "ii7 V7 Imaj7"), ("C major", "ii7 V7 Imaj7")]),
        # the backdoor, and a passing diminished chord
        ("Cmaj7 | Fm7 Bb7 | Cmaj7 | C#dim7 | Dm7 | G7", "C major",
         [("C major", "Imaj7 iv7 bVII7 Imaj7 #i°7 ii7 V7")]),
        # a blues
        ("C7 | F7 | C7 | % | F7 | F#dim7 | C7 | A7b9 | Dm7 | G7 | C7 A7b9 | Dm7 G7", "C major",
         [("C blues", "I7 IV7 I7 IV7 #iv°7 I7 V7/ii ii7 V7 I7 V7/ii ii7 V7")]),
        # a mode
        ("Dm7 | % | % | % | % | % | % | %", "D dorian", [("D dorian", "i7")]),
        ("Dm7 | % | % | % | Ebm7 | % | % | %", "D dorian",
         [("D dorian", "i7"), ("E♭ dorian", "i7")]),
    ],
)  # fmt: skip
def test_textbook_analyses(text: str, key: str, expected: list[tuple[str, str]]) -> None:
    assert analysis(text, key) == expected


@pytest.mark.parametrize(
    ("text", "key", "name"),
    [
        # common practice, no source: one key each
        ("Bb7 | % | % | % | Eb7 | % | Bb7 | % | F7 | Eb7 | Bb7 | F7", "Bb major", "B♭ blues"),
        ("F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | Am7b5 D7b9 | Gm7 | C7 | F7 D7 | Gm7 C7",
         "F major", "F blues"),
        ("Cm7 | % | % | % | Fm7 | % | Cm7 | % | Ab7 | G7 | Cm7 | Dm7b5 G7", "C minor", "C minor"),
        ("Cm7 | Am7b5 | Dm7b5 | G7b9", "C minor", "C minor"),
        ("Am6 F#m7b5 | Bm7b5 E7b9 | Am6 F7 | Bm7b5 E7alt", "A minor", "A minor"),
        ("Cm Cm/Bb | Am7b5 Ab7 | Dm7b5 G7 | Cm", "C minor", "C minor"),
        ("Cm7 Bb7 | Abmaj7 G7 | Cm7 Bb7 | Abmaj7 G7", "C minor", "C minor"),
        ("Bb6 G7 | Cm7 F7 | Dm7 G7 | Cm7 F7", "Bb major", "B♭ major"),
    ],
)  # fmt: skip
def test_a_blues_and_a_turnaround_are_in_one_key(text: str, key: str, name: str) -> None:
    centers = key_centers(plan_of_bars(bars(text, key=key)).spans)
    assert [center.name for center in centers if center.established] == [name]
    assert len(centers) == 1


def test_a_center_without_its_tonic_or_a_cadence_is_not_heard() -> None:
    """A blues with descending ii-Vs: a minor chord between them says no key of its own."""
    text = (
        "Fmaj7 | Em7b5 A7 | Dm7 G7 | Cm7 F7 | Bb7 | Bbm7 Eb7 | Am7 | Abm7 Db7 | Gm7 | C7"
        " | F7 D7 | Gm7 C7"
    )
    centers = key_centers(plan_of_bars(bars(text, key="F major")).spans)
    heard = {
        " ".join(f.numeral for f in center.functions): center.established for center in centers
    }
    assert heard["ii7 V7"]
    assert not heard["ii7"]


def test_a_cycle_of_dominants() -> None:
    """Dominants of the key's own degrees stay in it; with their own ii's they are keys apart."""
    assert analysis("E7 | % | A7 | % | D7 | % | G7 | % | C6 | %") == [
        ("C major", "V7/vi V7/ii V7/V V7 I6")
    ]
    text = "Fmaj7 | % | A7 | Em7 A7 | D7 | Am7 D7 | G7 | Dm7 G7 | Gm7 | C7 | Fmaj7 | %"
    names = [name for name, _ in analysis(text, "F major")]
    assert names == ["F major", "D major", "G major", "C major", "F major"]


@pytest.mark.parametrize("mode", ["major", "minor"])
@pytest.mark.parametrize("tonic", ["C", "Bb", "E", "Ab"])
def test_diatonic_chords_have_music21s_numerals(tonic: str, mode: str) -> None:
    """The base of each numeral in common-practice progressions, as music21 names it."""
    key = Key.parse(f"{tonic} {mode}")
    names = [str(name) for name in key.scale]
    suffixes = {
        "major": [(0, "maj7"), (5, "m7"), (1, "m7"), (4, "7"), (0, "maj7"), (3, "maj7"),
                  (2, "m7"), (5, "m7"), (1, "m7"), (4, "7")],
        "minor": [(0, "m"), (3, "m7"), (1, "m7b5"), (4, "7"), (0, "m"), (1, "m7b5"), (4, "7")],
    }[mode]  # fmt: skip
    chords = [names[step] + suffix for step, suffix in suffixes]
    (center,) = key_centers(plan_of_bars(bars(" | ".join(chords), key=str(key))).spans)
    assert center.name == f"{key.tonic.pretty} {mode}"
    theirs = music21.key.Key(tonic.replace("b", "-"), mode)
    for chord, function in zip(chords, center.functions, strict=True):
        parsed = parse_chord(chord)
        pitches = [parsed.spelled(d) for d in parsed.quality.core]
        sounded = music21.chord.Chord([str(p).replace("b", "-") for p in pitches])
        numeral = music21.roman.romanNumeralFromChord(sounded, theirs).romanNumeralAlone
        base = function.numeral.rstrip("0123456789maj°ø")
        assert base.lower() == numeral.lower()


def test_parent_scales() -> None:
    plan = plan_of_bars(bars("Em7 | A7b9 | Dm7 | G7"))
    scales = parent_scales(plan.spans)
    white = frozenset({0, 2, 4, 5, 7, 9, 11})
    # iii, ii and V have the notes of the key; the b9 of the V of ii is no part of it
    assert [scales[b] == white for b in (0, 4, 8, 12)] == [True, False, True, True]
    assert {9, 1, 4, 7, 10} <= scales[plan.spans[1].start]


@given(
    st.lists(
        st.builds(
            str.__add__,
            st.sampled_from(ROOTS),
            st.sampled_from([suffix for suffix in SUFFIXES if " " not in suffix]),
        ),
        min_size=1,
        max_size=12,
    )
)
@settings(max_examples=60)
def test_every_chord_has_a_place_and_a_scale_that_holds_it(chords: list[str]) -> None:
    played = bars(" | ".join(chords))
    centers = key_centers(plan_of_bars(played).spans)
    spans = plan_of_bars(played).spans
    functions = [function for center in centers for function in center.functions]
    assert [f.span for f in functions] == list(spans)
    assert all(a.end == b.start for a, b in pairwise(centers))
    for function in functions:
        assert function.span.chord is not None
        assert set(function.span.chord.sounding.core_pitch_classes) <= function.scale
