"""The table of qualities against references from outside.

- music21's table of chord kinds and abbreviations (``music21.harmony.CHORD_TYPES``).
- The Harte shorthands (Harte, Sandler, Abdallah, Gomez 2005) as mir_eval.chord encodes them.
- MusicXML 4.0 ``kind`` values (W3C, data type kind-value, description of each value).

Every difference is listed here with its reason; a difference that vanishes fails the test.
"""

from __future__ import annotations

import pytest
from mir_eval import chord as mir_chord
from music21 import harmony as music21_harmony

from backing.chart.harmony import parse_chord
from backing.chart.quality import QUALITIES

NO_ELEVENTH = "players leave the eleventh out over a major third; 13 does not say it"
NO_THIRD = "an eleventh over a dominant is played as a ninth with suspended fourth"

# music21 kind -> (the semitones we give, why)
MUSIC21_DIFFERS = {
    "dominant-11th": ({0, 2, 5, 7, 10}, NO_THIRD),
    "dominant-13th": ({0, 2, 4, 7, 9, 10}, NO_ELEVENTH),
    "major-13th": ({0, 2, 4, 7, 9, 11}, NO_ELEVENTH),
    "augmented-major-13th": ({0, 2, 4, 8, 9, 11}, NO_ELEVENTH),
    "augmented-dominant-13th": ({0, 2, 4, 8, 9, 10}, NO_ELEVENTH),
}
# single abbreviations that a chart uses for something else than music21 does
MUSIC21_SPELLINGS_DIFFER = {
    "+11": ({0, 4, 6, 7}, "on a chart +11 is the raised eleventh"),
}
# abbreviations that are names of kinds, not written after a root on a chart
MUSIC21_NAMES = {"dom7dim5", "power"}
# functional or editorial names that are not written after a root on a chart
MUSIC21_NOT_ON_CHARTS = {"Neapolitan", "Italian", "French", "German", "pedal", "Tristan"}

MUSIC21_CASES = [
    (kind, spelling)
    for kind, (_, spellings) in music21_harmony.CHORD_TYPES.items()
    if kind not in MUSIC21_NOT_ON_CHARTS
    for spelling in spellings
    if spelling not in MUSIC21_NAMES
]


def _music21(symbol: music21_harmony.ChordSymbol) -> set[int]:
    return {pitch.pitchClass for pitch in symbol.pitches}


@pytest.mark.parametrize(("kind", "spelling"), MUSIC21_CASES)
def test_music21_kind(kind: str, spelling: str) -> None:
    theirs = _music21(music21_harmony.ChordSymbol(root="C", kind=kind))
    ours = set(parse_chord("C" + spelling).pitch_classes)
    differs = MUSIC21_SPELLINGS_DIFFER.get(spelling) or MUSIC21_DIFFERS.get(kind)
    if differs:
        assert ours == differs[0] != theirs
    else:
        assert ours == theirs


# our symbol -> music21's figure, whose alterations are spelled out
MUSIC21_FIGURES = {
    "C7b9": "C7 add b9",
    "C7#9": "C7 add #9",
    "C7#11": "C7 add #11",
    "C7b13": "C7 add b13",
    "C7b9b13": "C7 add b9 add b13",
    "C7b5": "C7 alter b5",
    "C7#5#9": "C7 alter #5 add #9",
    "C9#11": "C9 add #11",
    "Cmaj7#11": "CM7 add #11",
    "Cmaj7#5": "CM7 alter #5",
    "Cadd9": "C add 9",
    "Cmadd9": "Cm add 9",
    "C6/9": "C6 add 9",
    "Cm6/9": "Cm6 add 9",
    "C7no5": "C7 omit 5",
    "Bb7b9": "B-7 add b9",
    "F#m7b5": "F#m7 alter b5",
}


@pytest.mark.parametrize(("ours", "theirs"), MUSIC21_FIGURES.items())
def test_music21_figure(ours: str, theirs: str) -> None:
    expected = _music21(music21_harmony.ChordSymbol(theirs))
    assert set(parse_chord(ours).pitch_classes) == expected


# our symbol -> Harte syntax
HARTE = {
    "C": "C:maj",
    "Cm": "C:min",
    "Cdim": "C:dim",
    "C+": "C:aug",
    "Cmaj7": "C:maj7",
    "Cm7": "C:min7",
    "C7": "C:7",
    "Cdim7": "C:dim7",
    "Cm7b5": "C:hdim7",
    "CmMaj7": "C:minmaj7",
    "C6": "C:maj6",
    "Cm6": "C:min6",
    "C9": "C:9",
    "Cmaj9": "C:maj9",
    "Cm9": "C:min9",
    "Cm11": "C:min11",
    "Cm13": "C:min13",
    "Csus4": "C:sus4",
    "Csus2": "C:sus2",
    "C5": "C:5",
    "C7sus4": "C:sus4(b7)",
    "C9sus4": "C:sus4(b7,9)",
    "C13sus4": "C:sus4(b7,9,13)",
    "C6/9": "C:maj6(9)",
    "C7b9": "C:7(b9)",
    "C7#9": "C:7(#9)",
    "C7(b9,#11)": "C:7(b9,#11)",
    "C7#5": "C:7(*5,#5)",
    "C7b5": "C:7(*5,b5)",
    "Cmaj7#11": "C:maj7(#11)",
    "Ebm7": "Eb:min7",
    "F#7": "F#:7",
    "C/E": "C:maj/3",
    "Am7/G": "A:min7/b7",
}
HARTE_DIFFERS = {
    "C11": ("C:11", NO_THIRD),
    "C13": ("C:13", NO_ELEVENTH),
    "Cmaj13": ("C:maj13", NO_ELEVENTH),
}


def _harte(label: str) -> tuple[set[int], int]:
    """The pitch classes and the bass of a label in Harte syntax."""
    root, bitmap, bass = mir_chord.encode(label, reduce_extended_chords=True)
    pitches = {(root + semitones) % 12 for semitones in range(12) if bitmap[semitones]}
    return pitches, int(root + bass) % 12


@pytest.mark.parametrize(("symbol", "label"), HARTE.items())
def test_harte_label(symbol: str, label: str) -> None:
    chord = parse_chord(symbol)
    assert (set(chord.pitch_classes), chord.bass_pitch_class) == _harte(label)


@pytest.mark.parametrize(("symbol", "label"), [(k, v[0]) for k, v in HARTE_DIFFERS.items()])
def test_harte_labels_differ_where_listed(symbol: str, label: str) -> None:
    ours = set(parse_chord(symbol).pitch_classes)
    theirs, _ = _harte(label)
    assert ours < theirs


# kind -> (semitones as MusicXML describes the kind, the name of our table)
MUSICXML_KINDS = {
    "major": ({0, 4, 7}, "major"),
    "minor": ({0, 3, 7}, "minor"),
    "augmented": ({0, 4, 8}, "augmented"),
    "diminished": ({0, 3, 6}, "diminished"),
    "dominant": ({0, 4, 7, 10}, "dominant"),
    "major-seventh": ({0, 4, 7, 11}, "major-seventh"),
    "minor-seventh": ({0, 3, 7, 10}, "minor-seventh"),
    "diminished-seventh": ({0, 3, 6, 9}, "diminished-seventh"),
    "augmented-seventh": ({0, 4, 8, 10}, "augmented-seventh"),
    "half-diminished": ({0, 3, 6, 10}, "half-diminished"),
    "major-minor": ({0, 3, 7, 11}, "major-minor"),
    "major-sixth": ({0, 4, 7, 9}, "major-sixth"),
    "minor-sixth": ({0, 3, 7, 9}, "minor-sixth"),
    "dominant-ninth": ({0, 4, 7, 10, 2}, "dominant-ninth"),
    "major-ninth": ({0, 4, 7, 11, 2}, "major-ninth"),
    "minor-ninth": ({0, 3, 7, 10, 2}, "minor-ninth"),
    "major-11th": ({0, 4, 7, 11, 2, 5}, "major-11th"),
    "minor-11th": ({0, 3, 7, 10, 2, 5}, "minor-11th"),
    "minor-13th": ({0, 3, 7, 10, 2, 5, 9}, "minor-13th"),
    "suspended-second": ({0, 2, 7}, "suspended-second"),
    "suspended-fourth": ({0, 5, 7}, "suspended-fourth"),
    "power": ({0, 7}, "power"),
}
MUSICXML_DIFFERS = {
    "dominant-11th": ({0, 4, 7, 10, 2, 5}, "dominant-ninth-suspended", {4}, NO_THIRD),
    "dominant-13th": ({0, 4, 7, 10, 2, 5, 9}, "dominant-13th", {5}, NO_ELEVENTH),
    "major-13th": ({0, 4, 7, 11, 2, 5, 9}, "major-13th", {5}, NO_ELEVENTH),
}


def _semitones(name: str) -> set[int]:
    return {degree.pitch_class for degree in QUALITIES[name].degrees}


@pytest.mark.parametrize(("kind", "expected"), MUSICXML_KINDS.items())
def test_musicxml_kind(kind: str, expected: tuple[set[int], str]) -> None:
    semitones, name = expected
    assert name == kind
    assert _semitones(name) == semitones


@pytest.mark.parametrize("kind", MUSICXML_DIFFERS)
def test_musicxml_kinds_differ_where_listed(kind: str) -> None:
    semitones, name, left_out, _ = MUSICXML_DIFFERS[kind]
    assert _semitones(name) == semitones - left_out
