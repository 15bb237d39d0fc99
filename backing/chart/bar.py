"""A bar as the band plays it: its meter, its changes, and what the whole band does in it.

Beats are the pulses a player counts: quarters in 2/4 to 7/4, dotted quarters in 6/8, 9/8 and
12/8. Times inside a bar are exact fractions of a beat, counted from 0 (the first beat).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

from backing.chart.harmony import Chord
from backing.chart.pitch import Interval, Key, PitchName
from backing.errors import Span

PLAYERS = ("bass", "comp", "drums", "guide", "line", "click")
"""The names by which parts of the band are told to lay out, left out or heard alone."""
OCCASIONS = ("lesson", "rehearsal", "gig")
"""What the band plays at: in a lesson roots and plain fours, at a gig all it has."""
RHYTHM_SECTION = frozenset({"bass", "comp", "drums"})


@dataclass(frozen=True, slots=True)
class Meter:
    """A time signature, ``upper`` over ``lower``."""

    upper: int
    lower: int

    @property
    def compound(self) -> bool:
        """Whether the beat is a dotted quarter (6/8, 9/8, 12/8)."""
        return self.lower == 8 and self.upper % 3 == 0

    @property
    def beats(self) -> int:
        """How many beats a player counts in a bar: 4 in 4/4 and 12/8, 2 in 6/8."""
        return self.upper // 3 if self.compound else self.upper

    @property
    def beat_quarters(self) -> Fraction:
        """The length of a beat in quarter notes: 1, or 3/2 in compound meters."""
        return Fraction(3, 2) if self.compound else Fraction(4, self.lower)

    @property
    def groups(self) -> tuple[int, ...]:
        """How the beats of a bar are grouped: (2, 2) in 4/4, (3, 2) in 5/4, (3,) in 3/4."""
        by_beats = {2: (2,), 3: (3,), 4: (2, 2), 5: (3, 2), 6: (3, 3), 7: (4, 3)}
        return by_beats.get(self.beats, (self.beats,))

    def __str__(self) -> str:
        return f"{self.upper}/{self.lower}"


@dataclass(frozen=True, slots=True)
class Change:
    """A chord arriving in a bar.

    ``onset`` is in beats from the bar line, as written; ``chord`` is None for N.C. (no chord);
    ``early``: the band pushes it by so many beats (negative: plays it late).
    """

    onset: Fraction
    chord: Chord | None
    early: Fraction = Fraction(0)
    span: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Directions:
    """What the whole band does in one bar besides playing time.

    ``hits``: beats the whole band hits together; ``only``: the only beats it plays (stop-time, or a
    break when there are few), None when it plays on; ``pedal``: the note
    the bass holds to; ``lay_out``: names from PLAYERS that rest. Beats count from 0.
    ``centers``: the key center printed over the bar, empty for none; None where it is found.
    """

    hits: tuple[Fraction, ...] = ()
    only: tuple[Fraction, ...] | None = None
    pedal: PitchName | None = None
    lay_out: frozenset[str] = frozenset()
    centers: tuple[Key, ...] | None = None


@dataclass(frozen=True, slots=True)
class PlayedBar:
    """One bar as the band plays it, and its place in the tune.

    ``number`` counts the bars of the chorus as played from 1 whatever the repeats (0: a pickup);
    intro, ending, coda and tag bars count apart, and ``role`` says which: "chorus", "intro",
    "ending", "coda" or "tag". ``section_bar`` counts from 1 within the section as played, and
    ``section_use`` tells one use of a section in the order from another. ``length`` is in beats
    (shorter than the meter only in a pickup). ``changes`` start with one at beat 0; there are none
    in bars that are only counted off. ``feel`` is where the feel is found (see Form.feel_place).
    ``tempo_ratio`` multiplies the tempo of the pass; where the music slows down in the bar it has
    come to ``slows_to`` at its end. ``final`` marks the bar in which an
    arrangement ends, and how: "held" or "short" (empty in all other bars).
    """

    number: int
    role: str
    section: str
    section_use: int
    section_bar: int
    section_bars: int
    meter: Meter
    length: Fraction
    key: Key
    feel: str
    changes: tuple[Change, ...]
    directions: Directions = Directions()
    tempo_ratio: Fraction = Fraction(1)
    final: str = ""
    slows_to: Fraction | None = None

    def tempo_ratios(self) -> tuple[Fraction, ...]:
        """The ratio of each stretch of equal length in the bar: of every beat where it slows down.

        The cube of the tempo falls in a line, as that of runners who come to a stop (Friberg &
        Sundberg 1999, JASA 105(3)).
        """
        if self.slows_to is None or self.length.denominator > 1:
            return (self.tempo_ratio,)
        first, last, beats = (
            float(self.tempo_ratio) ** 3,
            float(self.slows_to) ** 3,
            int(self.length),
        )
        cubes = (first + (last - first) * (beat + 0.5) / beats for beat in range(beats))
        return tuple(Fraction(round(cube ** (1 / 3) * 1000), 1000) for cube in cubes)

    @property
    def pickup(self) -> bool:
        """Whether this is the short bar before bar 1, which the band counts and does not play."""
        return self.number == 0

    @property
    def label(self) -> str:
        """How a player points at the bar: "13", or "intro:1" outside the chorus."""
        return str(self.number) if self.role == "chorus" else f"{self.role}:{self.number}"

    def transposed(self, interval: Interval) -> PlayedBar:
        """The same bar in another key, its names spelled as that key has them."""
        key, interval = self.key.transposed(interval), self.key.spelled(interval)
        changes = tuple(
            replace(c, chord=c.chord and c.chord.transposed(interval, key)) for c in self.changes
        )
        pedal = self.directions.pedal
        pedal = pedal and pedal.transposed(interval).simplified(key)
        centers = self.directions.centers
        centers = centers and tuple(center.transposed(interval) for center in centers)
        directions = replace(self.directions, pedal=pedal, centers=centers)
        return replace(self, key=key, changes=changes, directions=directions)
