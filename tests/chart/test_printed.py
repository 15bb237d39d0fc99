"""Chord symbols as they are set."""

from __future__ import annotations

import pytest

from backing.chart.harmony import parse_chord
from backing.chart.pitch import degrees
from backing.chart.printed import printed_degree, printed_symbol


@pytest.mark.parametrize(
    ("written", "plain", "signs"),
    [
        ("Bbmaj7", "B♭maj7", "B♭△7"),
        ("CM7", "CM7", "C△7"),
        ("Cmaj", "Cmaj", "C△"),
        ("C^7", "C△7", "C△7"),
        ("CΔ", "C△", "C△"),
        ("F#m7b5", "F♯m7♭5", "F♯ø7"),
        ("Eø", "Eø", "Eø"),
        ("Abdim7/Gb", "A♭dim7/G♭", "A♭°7/G♭"),
        ("Co7", "C°7", "C°7"),
        ("Comit5", "Comit5", "Comit5"),
        ("C7(b9,#11)", "C7(♭9,♯11)", "C7(♭9,♯11)"),
        ("Cm(maj7)", "Cm(maj7)", "Cm(△7)"),
        ("Dm7", "Dm7", "Dm7"),
        ("Cmadd9", "Cmadd9", "Cmadd9"),
        ("Gbb7", "G𝄫7", "G𝄫7"),
    ],
)
def test_letters_become_signs(written: str, plain: str, signs: str) -> None:
    chord = parse_chord(written)
    assert printed_symbol(chord).text == plain
    assert printed_symbol(chord, signs=True).text == signs


def test_no_chord_and_degrees() -> None:
    assert printed_symbol(None).text == "N.C."
    assert [printed_degree(d) for d in degrees("1 b3 #11 bb7")] == ["1", "♭3", "♯11", "𝄫7"]
