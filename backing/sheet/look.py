"""Who a sheet is for, and how it is printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from backing.chart.pitch import Interval
from backing.errors import OutputError, PracticeError

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in millimetres: ISO 216, and ANSI Y14.1 (8.5 by 11 inches)."""
LARGE = 1.4
"""How much larger the large print is: 12 point text becomes the 17 point of large-print books."""
UNISON = Interval(0, 0)
HIGHEST_BASS_STRING, LOWEST_HIGH_STRING = 50, 55
"""MIDI: every string of a bass lies below D3; those of small instruments at G3 or above."""


@dataclass(frozen=True, slots=True)
class Look:
    """Paper size in millimetres and the ``scale`` of everything printed on it."""

    width_mm: float
    height_mm: float
    scale: float = 1.0
    signs: bool = False


def make_look(paper: str = "a4", *, large: bool = False, signs: bool = False) -> Look:
    """A look by the paper's name; ``signs``: triangles and circles for words in chord symbols.

    Raises OutputError for a paper that is unknown.
    """
    size = PAPERS.get(paper.strip().lower())
    if size is None:
        raise OutputError(
            f'"{paper}" is no paper that is known here.', f"Choose {' or '.join(PAPERS)}."
        )
    return Look(*size, LARGE if large else 1.0, signs)


@dataclass(frozen=True, slots=True)
class Reader:
    """Who plays from a sheet.

    ``interval``: from what sounds to what is written. ``clef``: "treble", "bass", or
    "octave-treble" and "octave-bass", which sound an octave lower. ``tablature``: under the staff.
    ``middle``: the sounding MIDI pitch around which a line lies well, None where its octave stays.
    """

    name: str
    words: str
    interval: Interval = UNISON
    clef: str = "treble"
    tablature: bool = False
    middle: int | None = None

    @property
    def frets(self) -> bool:
        """Whether grids and positions on the neck mean something to this reader."""
        return self.name == "guitar"

    def with_strings(self, open_pitches: Sequence[int]) -> Reader:
        """The reader with the clef in which an instrument with these MIDI pitches is written.

        Common practice, no source: basses in bass clef, guitars in treble clef, both an octave
        higher than they sound; a ukulele or a mandolin as it sounds.
        """
        if self.clef != "octave-treble":
            return self
        if max(open_pitches) < HIGHEST_BASS_STRING:
            return replace(self, clef="octave-bass")
        return replace(self, clef="treble") if min(open_pitches) >= LOWEST_HIGH_STRING else self


READERS = {
    "guitar": Reader("guitar", "", clef="octave-treble", tablature=True),
    "C": Reader("C", "in C", middle=70),
    "Bb": Reader("Bb", "for B♭ instruments", Interval(1, 2), middle=68),
    "Eb": Reader("Eb", "for E♭ instruments", Interval(5, 9), middle=62),
    "bass": Reader("bass", "in bass clef", clef="bass", middle=50),
}
"""By name. Transpositions as in any textbook of instrumentation: a B-flat trumpet is written a
major second above what sounds, an alto saxophone a major sixth. Middles are common practice (no
source): a line in the staff."""
CLEFS = ("treble", "bass")


def make_reader(name: str = "guitar", clef: str | None = None) -> Reader:
    """A reader by its name, in whatever case; ``clef`` takes the tablature away.

    Raises PracticeError for one that is unknown.
    """
    known = {key.lower(): reader for key, reader in READERS.items()}
    found = known.get(name.strip().replace("♭", "b").lower())
    if found is None:
        raise PracticeError(f'"{name}" is nobody a sheet is made for.',
                            f"Choose from {', '.join(READERS)}.")  # fmt: skip
    if clef is None:
        return found
    if clef not in CLEFS:
        raise PracticeError(f'"{clef}" is no clef here.', f"Choose {' or '.join(CLEFS)}.")
    middle = {"treble": found.middle or 70, "bass": 50 - found.interval.semitones % 12}[clef]
    return Reader(found.name, found.words, found.interval, clef, middle=middle)
