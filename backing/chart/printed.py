"""Chord symbols and degrees as they are printed: typographic signs in place of letters."""

from __future__ import annotations

import re
from dataclasses import dataclass

from backing.chart.chord_symbol import read_symbol
from backing.chart.harmony import Chord
from backing.chart.pitch import Degree

NO_CHORD = "N.C."
_ACCIDENTALS = {-2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪"}
# PageSetup-alikes of the signs, as people type them.
_SIGNS = str.maketrans("^Δ∆▵▲º˚○Ø⌀∅φ−–", "△△△△△°°°øøøø--")
_WORDS_TO_SIGNS = (
    (re.compile(r"^(?:m|mi|min|-)7\(?♭5\)?"), "ø7"),
    (re.compile(r"^(?:m|mi|min|-)9\(?♭5\)?"), "ø9"),
    (re.compile(r"^dim(?:inished)?"), "°"),
    (re.compile(r"(?:maj|ma|M)(?=\d|\)|$)"), "△"),
)
"""Words for which the trade has a sign."""


@dataclass(frozen=True, slots=True)
class PrintedSymbol:
    """A chord symbol ready to print: root and bass in large letters, the rest raised.

    ``root`` and ``bass`` are letters (``bass`` empty where there is none), their accidentals
    apart; N.C. is all ``root``.
    """

    root: str
    accidental: str = ""
    suffix: str = ""
    bass: str = ""
    bass_accidental: str = ""

    @property
    def text(self) -> str:
        """The whole symbol in a line."""
        slash = f"/{self.bass}{self.bass_accidental}" if self.bass else ""
        return f"{self.root}{self.accidental}{self.suffix}{slash}"


def printed_symbol(chord: Chord | None, *, signs: bool = False) -> PrintedSymbol:
    """A chord as it is printed; N.C. for None.

    The suffix is spelled as written, or, with ``signs``, with triangle, circle and slashed circle.
    """
    if chord is None:
        return PrintedSymbol(NO_CHORD)
    written = read_symbol(chord.text).suffix if chord.text else chord.quality.symbol
    bass = chord.bass
    return PrintedSymbol(
        chord.root.letter,
        _ACCIDENTALS[chord.root.alter],
        _suffix(written, signs=signs),
        bass.letter if bass else "",
        _ACCIDENTALS[bass.alter] if bass else "",
    )


def _suffix(written: str, *, signs: bool) -> str:
    text = written.translate(_SIGNS)
    text = re.sub(r"^o(?!m)", "°", text)
    text = re.sub(r"bb(?=\d)", "𝄫", text)
    text = re.sub(r"b(?=\d)", "♭", text)
    text = text.replace("#", "♯")
    for word, sign in _WORDS_TO_SIGNS if signs else ():
        text = word.sub(sign, text)
    return text


def printed_degree(degree: Degree) -> str:
    """A degree as it is printed: ♭3, ♯11, 𝄫7."""
    return f"{_ACCIDENTALS[degree.alter]}{degree.number}"
