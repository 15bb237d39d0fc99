"""Players' parts: the transposition, clef and tablature in which a sheet is written."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from backing.chart.pitch import Interval
from backing.errors import PracticeError
from backing.neck.fingerboard import STANDARD

UNISON = Interval(0, 0)
FRETTED = ("guitar", "bass")
"""Parts with frets."""
HIGHEST_BASS_STRING, LOWEST_HIGH_STRING = 50, 55
"""MIDI: every string of a bass lies below D3; those of small instruments at G3 or above."""


@dataclass(frozen=True, slots=True)
class SheetPart:
    """The part a player reads.

    ``words``: what the sheet says beside its title. ``interval``: from what sounds to what is
    written. ``clef``: "treble", "bass", or "octave-treble" and "octave-bass", which sound an
    octave lower. ``tablature``: under the staff. ``middle``: the sounding MIDI pitch around which
    a line lies well, None where its octave stays. ``compass``: the lowest and the highest written
    pitch of its players, None where there is no bound to keep.
    """

    name: str
    words: str
    interval: Interval = UNISON
    clef: str = "treble"
    tablature: bool = False
    middle: int | None = None
    compass: tuple[int, int] | None = None

    @property
    def frets(self) -> bool:
        """Whether the player has a fretted neck, for grids and positions."""
        return self.name in FRETTED

    @property
    def tuning(self) -> str:
        """Of the neck on which positions are counted where none is named."""
        return "bass" if self.name == "bass" else STANDARD

    def with_strings(self, open_pitches: Sequence[int]) -> SheetPart:
        """The part in the clef of an instrument with these open strings (MIDI pitches).

        Common practice, no source: basses in bass clef, guitars in treble clef, both an octave
        higher than they sound; a ukulele or a mandolin as it sounds.
        """
        if self.clef not in ("octave-treble", "octave-bass"):
            return self
        if max(open_pitches) < HIGHEST_BASS_STRING:
            return replace(self, clef="octave-bass")
        high = min(open_pitches) >= LOWEST_HIGH_STRING
        return replace(self, clef="treble" if high else "octave-treble")


PARTS = {
    "guitar": SheetPart("guitar", "", clef="octave-treble", tablature=True),
    "C": SheetPart("C", "C part", middle=70),
    "Bb": SheetPart("Bb", "B♭ part", Interval(1, 2), middle=68, compass=(58, 84)),
    "Eb": SheetPart("Eb", "E♭ part", Interval(5, 9), middle=62, compass=(58, 89)),
    "bass": SheetPart("bass", "bass part", clef="octave-bass", tablature=True),
}
"""By name. Transpositions as in any textbook of instrumentation: a B-flat trumpet is written a
major second above what sounds, an alto saxophone a major sixth. Middles are common practice (no
source): a line in the staff. Compasses as books of orchestration have them (from memory): written
B-flat 3 to F6 for saxophones, of which a trumpet has no more than C6 for sure."""
CLEFS = ("treble", "bass")
INSTRUMENTS = {
    **dict.fromkeys(("alto", "baritone"), "Eb"),
    **dict.fromkeys(("soprano", "tenor", "trumpet", "flugelhorn", "clarinet"), "Bb"),
    **dict.fromkeys(("flute", "violin", "piano", "vibes", "voice", "trombone", "cello"), "C"),
}
"""The part that a player of an instrument reads, saxophones by their voice alone."""
LOW = ("trombone", "cello")
"""Instruments that read the bass clef."""


def make_sheet_part(name: str = "guitar", clef: str | None = None) -> SheetPart:
    """A part by its name or its instrument, in whatever case; with a ``clef`` it has no tablature.

    Raises PracticeError for an unknown part or clef.
    """
    known = {key.lower(): part for key, part in PARTS.items()}
    word = re.sub(r" (?:saxophone|sax)$", "", name.strip().replace("♭", "b").lower())
    clef = clef or ("bass" if word in LOW else None)
    found = known.get(INSTRUMENTS.get(word, word).lower())
    if found is None:
        raise PracticeError(
            f'There is no part for "{name}".', f"Choose from {', '.join((*PARTS, *INSTRUMENTS))}."
        )
    if clef is None:
        return found
    if clef not in CLEFS:
        raise PracticeError(
            f'"{clef}" isn\'t a clef for this part.', f"Choose {' or '.join(CLEFS)}."
        )
    middle = {"treble": found.middle or 70, "bass": 50 - found.interval.semitones % 12}[clef]
    return SheetPart(found.name, found.words, found.interval, clef, middle=middle)
