"""The room that chord symbols, degrees and frets take, and the letters that tell Verovio of it.

Verovio sets staves without our fonts. It is given letters of its own in place of chord symbols and
degrees, as many as take the room of what is printed in the end. Widths are in the units of a
system, in which a staff is 720 high.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil

from backing.chart.printed import NO_CHORD, PrintedSymbol
from backing.sheet.notation import Value

CHORD, DEGREE, NUMBER = 590, 370, 340
FRETS = {1: 400, 2: 350}
"""Sizes of text; of frets by their digits."""
SIGNS = "♭♯♮𝄫𝄪△°ø"
MARK = "@"
"""Stands before the number of a chord in text that ``engraving`` puts its symbol in place of."""
APART = {**dict.fromkeys("mM", 0.87), **dict.fromkeys("ijl(),/", 0.31)}
SIGNS_APART, OTHERS_APART, ROOT_APART = {"𝄫": 0.82, "△": 0.7}, 0.58, 0.76
"""How wide letters are by their size, at most: of Lato Bold, and of our chord signs (0.54)."""
HEAD, ACCIDENTAL = 230.0, 190.0
SYMBOL_GAP, TONE_GAP = 190, 80
"""Between two chord symbols, and between two degrees or frets."""
MARK_ROOM, M_ROOM = 1027, 316
"""What Verovio takes from one MARK with a number to the next, and for each m more."""
SYLLABLE_ROOM, NARROW_ROOM = 108, 113
"""The same for two syllables without letters, and for each narrow letter."""
_NARROW = str.maketrans("1234567890♭♯𝄫𝄪", "ijlt/:;,.'|![]")
_WIDE = {narrow: wide for wide, narrow in _NARROW.items()}
FILLER = "f"


AFTER_SLASH = 75
"""What lies between a slash and the bass of a chord symbol, clear of an A."""
SLASH_ROOM = 200
"""That, and what signs are set aside before and after it."""


def symbol_runs(symbol: PrintedSymbol) -> list[tuple[str, int, int]]:
    """The parts of a chord symbol, each with its size and how much it is raised."""
    root = round(0.7 * CHORD) if symbol.root == NO_CHORD else CHORD
    runs = [(symbol.root, root, 0), (symbol.accidental, round(0.82 * CHORD), 75)]
    runs.append((symbol.suffix, round(0.68 * CHORD), 150))
    if symbol.bass:
        runs += [("/", CHORD, 0), (symbol.bass, round(0.8 * CHORD), 0)]
        runs.append((symbol.bass_accidental, round(0.66 * CHORD), 55))
    return runs


def symbol_width(symbol: PrintedSymbol) -> float:
    """The width of a chord symbol and of the space after it."""
    slash = SLASH_ROOM if symbol.bass else 0
    return (
        SYMBOL_GAP
        + slash
        + sum(
            size * (ROOT_APART if letter in "ABCDEFGN" else _letter_width(letter))
            for text, size, _ in symbol_runs(symbol)
            for letter in text
        )
    )


def _letter_width(letter: str) -> float:
    if letter in SIGNS:
        return SIGNS_APART.get(letter, 0.54)
    return APART.get(letter, OTHERS_APART)


def marked(number: int, symbol: PrintedSymbol) -> str:
    """The text in place of a chord symbol, with room for it."""
    return f"{MARK}{number}" + "m" * max(0, ceil((symbol_width(symbol) - MARK_ROOM) / M_ROOM))


def value_width(value: Value, *, tablature: bool) -> float:
    """The width of a note, of the degree under it or of its fret, whichever is wider, and the space
    after it."""
    widths = [HEAD + ACCIDENTAL * (sign is not None) for sign in value.accidentals or (None,)]
    widths += [80 + 138 * len(tone.degree) for tone in value.tones if tone.degree]
    if tablature:
        digits = (len(str(tone.place.fret)) for tone in value.tones if tone.place)
        widths += [0.58 * FRETS[count] * count for count in digits]
    return TONE_GAP + max(widths)


def syllables(widths: Sequence[float]) -> Iterator[int]:
    """How many narrow letters each of some notes needs, to keep clear of the next one."""
    for width, following in zip(widths, [*widths[1:], 0], strict=True):
        yield max(0, ceil(((width + following) / 2 - SYLLABLE_ROOM) / NARROW_ROOM))


def narrow(degree: str, letters: int) -> str:
    """A degree in at least so many narrow letters."""
    return degree.translate(_NARROW).ljust(letters, FILLER)


def widened(text: str) -> str:
    """The degree that ``narrow`` has made narrow."""
    return text.rstrip(FILLER).translate(_WIDE)
