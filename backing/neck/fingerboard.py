"""The fingerboard, and the reach of a hand in one position.

Strings and frets are counted as players do: string 1 is the last one of a tuning (on a guitar the
highest), fret 0 the open string. Pitches are MIDI numbers as they sound. Position by the trade's
rule (common practice, no source): in fifth position the index finger is at home at fret 5, the
hand covers frets 5 to 8, one finger a fret, and reaches to 4 and 9 by stretching.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

from backing.chart.pitch import LETTERS, NATURAL_SEMITONES, PitchName, read_pitch_name
from backing.errors import ChordError, PracticeError

TUNINGS = {
    "standard": "E2 A2 D3 G3 B3 E4",
    "drop-d": "D2 A2 D3 G3 B3 E4",
    "seven-string": "B1 E2 A2 D3 G3 B3 E4",
    "all-fourths": "E2 A2 D3 G3 C4 F4",
    "bass": "E1 A1 D2 G2",
    "five-string-bass": "B0 E1 A1 D2 G2",
    "ukulele": "G4 C4 E4 A4",
    "mandolin": "G3 D4 A4 E5",
}
"""Tunings by name, from the lowest string as strung to string 1, sounding pitches in scientific
notation (C4 is middle C, MIDI 60). Common practice, no source; the ukulele's is re-entrant."""

STANDARD, FRETS = "standard", 22
"""A guitar, where nothing is said of the neck."""
SPAN = 4
"""Frets under the hand at rest, one finger each."""
FEWEST_FRETS = SPAN + 1
MOST_FRETS = 36
MOST_STRINGS = 12


class StringFret(NamedTuple):
    """A place on the neck: ``string`` from 1 (the highest on a guitar), ``fret`` from 0 (open)."""

    string: int
    fret: int

    def __str__(self) -> str:
        return f"string {self.string} fret {self.fret}"


@dataclass(frozen=True, slots=True)
class Fingerboard:
    """A fretted instrument.

    ``strings`` are the open MIDI pitches, from the lowest as strung to string 1,
    ``names`` their note names. ``left_handed`` turns drawings around and nothing else.
    """

    strings: tuple[int, ...]
    frets: int
    names: tuple[PitchName, ...]
    left_handed: bool = False

    @property
    def highest_position(self) -> int:
        """The last position in which all four fingers have a fret."""
        return self.frets - SPAN + 1

    @property
    def columns(self) -> tuple[int, ...]:
        """String numbers from left to right in an upright grid; the other way for left hands."""
        numbers = tuple(range(len(self.strings), 0, -1))
        return numbers[::-1] if self.left_handed else numbers

    def open_pitch(self, string: int) -> int:
        """The MIDI pitch of a string left open."""
        return self.strings[-string]

    def pitch(self, place: StringFret) -> int:
        """The MIDI pitch that sounds at a place."""
        return self.strings[-place.string] + place.fret

    def places(self, pitch: int) -> tuple[StringFret, ...]:
        """Every place where a MIDI pitch can be played, the highest-numbered string first."""
        return tuple(
            StringFret(string, pitch - self.open_pitch(string))
            for string in range(len(self.strings), 0, -1)
            if 0 <= pitch - self.open_pitch(string) <= self.frets
        )


def make_fingerboard(
    tuning: str = STANDARD, frets: int = FRETS, *, left_handed: bool = False
) -> Fingerboard:
    """A fingerboard from a name in TUNINGS, or from note names with octaves: "E2 A2 D3 G3 B3 E4".

    The names go from the lowest string as strung to string 1. Raises PracticeError.
    """
    if not FEWEST_FRETS <= frets <= MOST_FRETS:
        raise PracticeError(
            f"A neck with {frets} frets cannot be drawn.",
            f"Give {FEWEST_FRETS} to {MOST_FRETS} frets.",
        )
    words = TUNINGS.get(tuning.strip().lower(), tuning).split()
    if not 1 <= len(words) <= MOST_STRINGS:
        raise PracticeError(
            f"A tuning of {len(words)} strings cannot be drawn.",
            f"Give the notes of 1 to {MOST_STRINGS} strings, such as {TUNINGS['standard']}.",
        )
    strings = [_open_string(word) for word in words]
    pitches, names = tuple(p for p, _ in strings), tuple(n for _, n in strings)
    if max(pitches) + frets > 127:
        highest = words[pitches.index(max(pitches))]
        raise PracticeError(
            f"The last fret of the string {highest} would sound above MIDI 127.",
            "Tune lower or give fewer frets.",
        )
    return Fingerboard(pitches, frets, names, left_handed)


def _open_string(word: str) -> tuple[int, PitchName]:
    """MIDI pitch and name of a word such as E2 or Bb1."""
    known = ", ".join(TUNINGS)
    cure = f"Write each string as note and octave, such as E2, or name a tuning: {known}."
    try:
        name, end = read_pitch_name(word[:1].upper() + word[1:])
    except ChordError:
        raise PracticeError(f'"{word}" isn\'t a string.', cure) from None
    digits = word[end:]
    if digits not in {str(octave) for octave in range(10)}:
        missing = "no octave" if not digits else "an octave that is not a number from 0 to 9"
        raise PracticeError(f'The string "{word}" has {missing}.', cure)
    pitch = 12 * (int(digits) + 1) + NATURAL_SEMITONES[LETTERS.index(name.letter)] + name.alter
    if not 0 <= pitch <= 127:
        raise PracticeError(f'The string "{word}" is outside MIDI 0 to 127.', "Tune it otherwise.")
    return pitch, name


@dataclass(frozen=True)
class Hand:
    """A hand in one ``position`` of a ``fingerboard``; made by ``hand``."""

    fingerboard: Fingerboard
    position: int

    def stretched(self, place: StringFret) -> bool:
        """Whether a finger leaves its home fret for this place; open strings are free."""
        return place.fret != 0 and not 0 <= place.fret - self.position < SPAN

    def finger(self, place: StringFret) -> int:
        """1 (index) to 4 (little finger), one to a fret; 0 for an open string."""
        if place.fret == 0:
            return 0
        return min(max(place.fret - self.position + 1, 1), SPAN)

    def low(self, place: StringFret) -> bool:
        """Whether this place is a stretch below fret 5, where frets are wide."""
        return self.stretched(place) and min(place.fret, self.position) < 5

    @cached_property
    def reach(self) -> dict[int, tuple[StringFret, ...]]:
        """Every pitch the hand reaches -> its places: those under the fingers, or by stretching.

        Where a pitch lies under the hand at rest, stretched places are left out.
        """
        found: dict[int, list[StringFret]] = {}
        first, last = self.position - 1, min(self.position + SPAN, self.fingerboard.frets)
        for string in range(len(self.fingerboard.strings), 0, -1):
            for fret in range(first, last + 1):
                place = StringFret(string, fret)
                found.setdefault(self.fingerboard.pitch(place), []).append(place)
        return {pitch: self._best(found[pitch]) for pitch in sorted(found)}

    def _best(self, places: list[StringFret]) -> tuple[StringFret, ...]:
        at_home = [place for place in places if not self.stretched(place)]
        return tuple(at_home or places)

    @cached_property
    def extent(self) -> tuple[int, int]:
        """The lowest and the highest pitch under the hand at rest (open strings included)."""
        pitches = [p for p, places in self.reach.items() if not self.stretched(places[0])]
        return min(pitches), max(pitches)


@lru_cache(maxsize=256)
def hand(fingerboard: Fingerboard, position: int) -> Hand:
    """The hand in a position, 1 to ``fingerboard.highest_position``. Raises PracticeError."""
    highest = fingerboard.highest_position
    if not 1 <= position <= highest:
        raise PracticeError(
            f"Position {position} is off the neck.",
            f"With {fingerboard.frets} frets the hand can be in position 1 to {highest}.",
        )
    return Hand(fingerboard, position)
