"""The demo tunes: they read, have the form they say, and their chords are what music21 hears."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from music21 import harmony as m21_harmony

from backing.chart.form import Form
from backing.chart.harmony import Chord
from backing.chart.text.tune_file import read, read_file, write

TUNES = Path(__file__).parents[3] / "tunes"
# file, bars of the chorus, beats in a bar, feel, tempo, tonic and mode
DEMOS = [
    ("corner-booth", 32, 4, "swing", 168, "F major"),
    ("kite-string-waltz", 32, 3, "waltz", 144, "G major"),
    ("lanterns-on-mill-street", 32, 4, "swing", 138, "F major"),
    ("last-train-but-one", 32, 4, "swing", 240, "G major"),
    ("low-tide-ferry", 32, 4, "swing", 132, "G minor"),
    ("night-shift-bakery", 12, 4, "swing", 152, "C minor"),
    ("open-water", 32, 4, "swing", 144, "D dorian"),
    ("paper-route-blues", 12, 4, "swing", 126, "Bb major"),
    ("rain-on-the-awning", 32, 4, "ballad", 60, "Eb major"),
    ("salt-on-the-railing", 32, 4, "bossa", 132, "C major"),
    ("seven-stairs", 14, 4, "swing", 144, "F minor"),
    ("stairwell-study", 24, 4, "swing", 116, "C major"),
]
# music21 names the rest of a symbol in its own way
M21_SUFFIXES = {
    "": "", "6": "6", "m6": "m6", "7": "7", "m7": "m7", "maj7": "maj7", "m7b5": "m7b5",
    "dim7": "dim7", "7b9": "7 add b9", "m9": "m9", "9": "9", "maj9": "M9", "7sus": "7sus",
    "7#11": "7 add #11", "maj7#11": "maj7 add #11", "13": "13", "7b13": "7 add b13",
}  # fmt: skip


def demo(name: str) -> Form:
    return read_file(TUNES / f"{name}.tune")


def test_every_demo_tune_is_listed() -> None:
    assert sorted(path.stem for path in TUNES.glob("*.tune")) == [name for name, *_ in DEMOS]


@pytest.mark.parametrize("facts", DEMOS, ids=[name for name, *_ in DEMOS])
def test_demo_tunes(facts: tuple[str, int, int, str, int, str]) -> None:
    name, bars, beats, feel, tempo, key = facts
    form = demo(name)
    assert form.title.lower() == name.replace("-", " ")
    assert form.by == "demo tune, CC0"
    assert (form.feel, form.tempo, str(form.key)) == (feel, tempo, key)
    solos = form.played("solos")
    assert [bar.number for bar in solos] == list(range(1, bars + 1))
    assert {bar.length for bar in solos} == {Fraction(beats)}
    assert read(write(form)) == form


def sounding(form: Form) -> list[Chord]:
    bars = [bar for order in ("head", "solos", "out") for bar in form.played(order)]
    return [change.chord for bar in bars for change in bar.changes if change.chord]


@pytest.mark.parametrize("name", [name for name, *_ in DEMOS])
def test_chords_of_the_demos_are_what_music21_hears(name: str) -> None:
    for chord in dict.fromkeys(sounding(demo(name))):
        suffix = chord.text.removeprefix(str(chord.root))
        suffix = suffix.removesuffix(f"/{chord.bass}")
        if suffix not in M21_SUFFIXES:  # alt and 6/9 have no name in music21
            assert suffix in ("7alt", "6/9"), chord.text
            continue
        root = str(chord.root).replace("b", "-")
        heard = m21_harmony.ChordSymbol(root + M21_SUFFIXES[suffix]).pitchClasses
        # music21 spells out ninths and elevenths that our table leaves to the player
        extra = (
            {(chord.root.pitch_class + above) % 12 for above in (2, 5)} if suffix == "13" else set()
        )
        assert set(heard) - extra == set(chord.pitch_classes) - extra, chord.text


# common practice, no source: where a dominant goes, in semitones up from its root
HOME = {
    5: "down a fifth",
    11: "down a semitone, as a tritone substitute",
    2: "up a step, as a backdoor",
    9: "to the iii that stands for its tonic",
    6: "to that iii from a backdoor, or to its own substitute",
    7: "back to its own ii",
    0: "held, or turning into the ii of the next key",
}


@pytest.mark.parametrize("name", [name for name, *_ in DEMOS if "blues" not in name])
def test_dominants_of_the_demos_lead_somewhere(name: str) -> None:
    form = demo(name)
    for order in ("head", "solos", "out"):
        bars = form.played(order)
        chords = [c.chord for bar in bars for c in bar.changes if c.chord]
        follow = [*chords[1:], chords[0] if order == "solos" else None]
        for chord, after in zip(chords, follow, strict=True):
            if after is None or not chord.is_dominant:
                continue
            step = (after.root.pitch_class - chord.root.pitch_class) % 12
            assert step in HOME, f"{chord} {after}"


def test_the_arranged_demo_uses_what_a_band_can_be_told() -> None:
    form = demo("low-tide-ferry")
    head = form.played("head")
    assert [bar.role for bar in head[:5]] == ["intro"] * 4 + ["chorus"]
    assert {bar.directions.pedal is not None for bar in head[:4]} == {True}
    assert [bar.feel for bar in head if bar.section == "B"] == ["two"] * 8
    by_number = {bar.number: bar for bar in head if bar.role == "chorus"}
    assert by_number[5].changes[0].early == Fraction(1, 2)
    assert by_number[8].directions.hits == (0, Fraction(3, 2), Fraction(7, 2))
    assert (by_number[16].directions.hits, by_number[16].directions.only) == ((), (0,))
    assert [bar.label for bar in form.played("out")[-4:]] == [f"coda:{n}" for n in range(1, 5)]
    assert str(form.played("solos")[3].changes[0].chord) == "D7alt"
