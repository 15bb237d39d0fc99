"""Chords in other keys: a cadence has the names of one key, whatever key the tune is in."""

from __future__ import annotations

import music21
import pytest

from backing.chart.form import Form
from backing.chart.pitch import PitchName
from backing.chart.text.tune_file import read
from backing.sheet.request import SheetRequest
from backing.sheet.sheets import tune_sheet

KEYS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")


def roots(form: Form) -> list[str]:
    changes = [change for bar in form.played("solos") for change in bar.changes]
    return [str(change.chord.root) for change in changes if change.chord]


def in_key(form: Form, tonic: str) -> Form:
    return form.transposed(form.key.tonic.interval_to(PitchName.parse(tonic)))


def by_music21(target: str, mode: str) -> list[str]:
    """The roots of ii-V-I in a key, by music21's roman numerals."""
    key = music21.key.Key(target.replace("b", "-"), mode)
    figures = ("ii7", "V7", "I") if mode == "major" else ("iiø7", "V7", "i")
    names = [music21.roman.RomanNumeral(figure, key).root().name for figure in figures]
    return [name.replace("-", "b") for name in names]


@pytest.mark.parametrize("home", KEYS)
@pytest.mark.parametrize(
    ("written", "mode", "but"),
    [
        ("F#m7 | B7 | Emaj7", "major", ""),  # on the b2 of E flat
        ("G#m7 | C#7 | F#maj7", "major", "Db Ab"),  # Gb B E: no sharp among so many flats
        ("Bbm7 | Eb7 | Abmaj7", "major", ""),
        ("Am7b5 | D7b9 | Gm7", "minor", "B"),  # D#m there, and nobody reads E#m7b5
    ],
)
def test_a_cadence_has_the_names_of_one_key(written: str, mode: str, but: str, home: str) -> None:
    form = read(f"key: Eb\nsection A\n| Ebmaj7 | {written} |")
    _, *cadence = roots(in_key(form, home))
    assert (cadence == by_music21(cadence[-1], mode)) != (home in but.split())


def test_a_chord_of_its_own_keeps_the_name_that_suits_the_key() -> None:
    """The bVI7 of B flat is Gb7, whether or not a V7 is written with the same name elsewhere."""
    form = read("key: Bb\nsection A\n| Bb6 | Gb7 F7 | Bb6 | F#7 |\n| Bmaj7 | F7 | Bb6 | % |")
    assert roots(in_key(form, "C")) == ["C", "Ab", "G", "C", "Ab", "Db", "G", "C", "C"]


def test_a_cycle_of_dominants_does_not_end_in_sharps() -> None:
    form = read("key: C\nsection A\n| A7 | D7 | G7 | C7 |\n| F7 | Bb7 | Eb7 | Ab7 | Db7 | C6 |")
    moved = roots(in_key(form, "Db"))
    assert moved == ["Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "Db"]


def test_what_is_written_alike_is_named_alike() -> None:
    """Also where the one leads on and the other does not, in the head and in the solos."""
    form = read(
        "key: Bb\nsection A\n| Ebm7 | Ab7 | Dbmaj7 | Ab7 |\nsolos: | Dm7 | G7 | Cmaj7 | Ab7 |"
    )
    for home in KEYS:
        moved = in_key(form, home)
        chords = [c.chord for bar in moved.played("head") for c in bar.changes]
        assert chords[1] == chords[3]
        assert str(chords[3]) == str(moved.played("solos")[3].changes[0].chord)


def test_print_has_the_roots_of_the_writer() -> None:
    form = read("title: T\nkey: Eb\nsection B\n| F#m7 | B7 | Emaj7 | Fm7 Bb7 |")
    sheet = tune_sheet(form, SheetRequest(line="guide", position="3"))
    chart, shapes, _ = sheet.content["blocks"]
    (row,) = chart["sections"][0]["rows"]
    in_rows = [chord for bar in row["bars"] for chord in bar["chords"]]
    over_grids = [cell["chord"] for cell in shapes["cells"]]
    for printed in (in_rows, over_grids):
        names = [chord["root"] + chord["accidental"] for chord in printed]
        assert names == ["F♯", "B", "E", "F", "B♭"]
