"""The lines before the sections, and the options after a section's name.

==========  ================================  ====================================================
``title``   Low Tide Ferry                    the file's name, where it is missing
``by``      demo tune, CC0                    who wrote it, and its license
``key``     G minor                           the only line that must be there
``meter``   4/4                               also 2/4 3/4 5/4 6/4 7/4 6/8 9/8 12/8
``tempo``   132                               beats a minute, 20 to 400; 120 where it is missing
``feel``    swing                             how the band plays; swing where it is missing
``occasion``  lesson                          also rehearsal, where it is missing, and gig
``head``    intro A A B A                     the sections in order; as written, where missing
``solos``   A A B A                           one chorus for soloing
``head out``  A A B A:1-6 coda                  the head after the solos
``notes``   brushes throughout                for the player; may come several times
==========  ================================  ====================================================
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from backing.chart.bar import OCCASIONS, Meter
from backing.chart.pitch import Key
from backing.chart.section import SectionUse, is_feel_file
from backing.chart.text.source import Piece, Source, free_text
from backing.errors import ChordError
from backing.glossary import HEAD_OUT

HEADERS = (
    "title", "by", "key", "meter", "tempo", "feel", "occasion", "head", "solos", "head out",
    "notes",
)  # fmt: skip
NAME = r"[^\W\d_][\w']*"
"""The name of a section: a letter, then letters and digits."""

METERS = tuple(
    Meter(upper, lower)
    for upper, lower in [(2, 4), (3, 4), (4, 4), (5, 4), (6, 4), (7, 4), (6, 8), (9, 8), (12, 8)]
)
SLOWEST, FASTEST = 20, 400
"""Tempos that are played, in beats a minute."""

_NUMBER = re.compile(r"(?P<number>\d{1,6}(?:[./]\d{1,6})?)(?:\s*bpm)?", re.IGNORECASE)
_RATIO = re.compile(r"(?:x\s*(?P<times>\d{1,3}(?:[./]\d{1,3})?)|(?P<part>\d{1,3}/\d{1,3}))")
_BARS = r"(?P<first>\d{1,5})(?:[-–](?P<last>\d{1,5}))?"
_USE = re.compile(rf"(?P<name>{NAME})(?::{_BARS})?")


@dataclass(frozen=True, slots=True)
class Header:
    """The header lines of a tune; None where a line is missing or wrong."""

    title: str | None = None
    by: str = ""
    key: Key | None = None
    meter: Meter | None = None
    tempo: Fraction | None = None
    feel: str | None = None
    occasion: str | None = None
    head: tuple[SectionUse, ...] | None = None
    solos: tuple[SectionUse, ...] | None = None
    out: tuple[SectionUse, ...] | None = None
    notes: tuple[str, ...] = ()

    def with_line(self, word: str, value: Piece, source: Source) -> Header:
        """The header with one more line; ``word`` is one of HEADERS."""
        if word == "notes":
            return replace(self, notes=(*self.notes, plain(value)))
        free: dict[str, Any] = {"title": plain, "by": plain, "feel": read_feel}
        exact: dict[str, Any] = {
            "key": read_key, "meter": read_meter, "tempo": read_tempo, "occasion": read_occasion,
        }  # fmt: skip
        said = free[word](value) if word in free else exact.get(word, read_order)(value, source)
        return replace(self, **{"out" if word == HEAD_OUT.word else word: said})


def plain(value: Piece) -> str:
    """A free text with single spaces."""
    return free_text(value.text)


def read_feel(value: Piece) -> str:
    """The name of a feel in lowercase, or a feel file as it is named."""
    text = plain(value)
    return text if is_feel_file(text) else text.lower()


def read_occasion(value: Piece, source: Source) -> str | None:
    """Read what the band plays at, one of OCCASIONS; None after a problem."""
    text = plain(value).lower()
    if text in OCCASIONS:
        return text
    source.problem(value, f'"{value}" isn\'t an occasion.', f"Write one of {', '.join(OCCASIONS)}.")
    return None


def read_key(value: Piece, source: Source) -> Key | None:
    """Read a key such as "G minor"; None after a problem."""
    try:
        return Key.parse(value.text)
    except ChordError as error:
        source.refuse(value, error)
        return None


def read_meter(value: Piece, source: Source) -> Meter | None:
    """Read a time signature that the band can play; None after a problem."""
    text = value.text.replace(" ", "")
    for meter in METERS:
        if text == str(meter):
            return meter
    cause = f'"{value}" isn\'t a meter the band plays.'
    source.problem(value, cause, f"Write one of {', '.join(map(str, METERS))}.")
    return None


def read_tempo(value: Piece, source: Source) -> Fraction | None:
    """Read beats a minute; None after a problem."""
    match = _NUMBER.fullmatch(value.text)
    tempo = _fraction(match["number"]) if match else None
    if tempo is None:
        cause = f'"{value}" isn\'t a tempo.'
        source.problem(value, cause, "Write beats a minute, such as tempo: 132.")
        return None
    if not SLOWEST <= tempo <= FASTEST:
        cause = f"The band cannot play at {value} bpm."
        source.problem(value, cause, f"Write a tempo from {SLOWEST} to {FASTEST}.")
        return None
    return tempo


def read_ratio(value: Piece, tempo: Fraction, source: Source) -> Fraction | None:
    """Read a section's tempo, x2 or x1/2 or 1/2 of the tune's ``tempo``; None after a problem."""
    match = _RATIO.fullmatch(value.text.replace("×", "x"))
    ratio = _fraction(match["times"] or match["part"]) if match else None
    if ratio is not None and Fraction(1, 4) <= ratio <= 4:
        return ratio
    cause = f"\"{value}\" isn't a section's tempo, which is a ratio to the tune's."
    number = _NUMBER.fullmatch(value.text)
    bpm = _fraction(number["number"]) if number else None
    example = "x2, x1/2 or x3/4"
    if bpm and Fraction(1, 4) <= bpm / tempo <= 4 and (bpm / tempo).denominator < 1000:
        example = f"x{bpm / tempo}"
    source.problem(value, cause, f"Write tempo: {example}; x1/4 to x4 can be played.")
    return None


def _fraction(text: str) -> Fraction | None:
    try:
        return Fraction(text)
    except ZeroDivisionError:
        return None


def read_bars(value: Piece | None, source: Source) -> tuple[int, int] | None:
    """Read the first and the last of some bars, 5-8; None for all of them or after a problem."""
    match = re.fullmatch(_BARS, value.text) if value else None
    if value and not match:
        cure = "Write the first and the last, such as section intro = A:5-8."
        source.problem(value, f'"{value}" isn\'t bars of a section.', cure)
    return _numbers(match) if match else None


def _numbers(match: re.Match[str]) -> tuple[int, int] | None:
    """The first and the last of the bars that were matched; None where there are none."""
    if match["first"] is None:
        return None
    return int(match["first"]), int(match["last"] or match["first"])


def read_order(value: Piece, source: Source) -> tuple[SectionUse, ...] | None:
    """Read sections in order, whole or in part: A A B A:1-6 coda; None after a problem."""
    uses = []
    for word in value.find(r"[^\s,]+"):
        match = _USE.fullmatch(word.text)
        if match is None:
            cause = f'"{word}" isn\'t a section.'
            source.problem(word, cause, "Write names with spaces between: A A B A:1-6 coda.")
            return None
        first, last = _numbers(match) or (None, None)
        uses.append(SectionUse(match["name"], first, last, word.span))
    if not uses:
        source.problem(value, "No section is named here.", "Write one such as A A B A.")
        return None
    return tuple(uses)
