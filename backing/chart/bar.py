"""A bar as the band plays it: its meter, its changes, and what the whole band does in it.

Beats are the pulses a player counts: quarters in 2/4 to 7/4, dotted quarters in 6/8, 9/8 and
12/8. Times inside a bar are exact fractions of a beat, counted from 0 (the first beat).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

from backing.chart.harmony import Chord
from backing.chart.pitch import Key, PitchName
from backing.errors import Span

PLAYERS = ("bass", "comp", "drums", "guide", "line", "click")
"""The names by which parts of the band are told to lay out, left out or heard alone."""
OCCASIONS = ("lesson", "rehearsal", "gig")
"""What the band plays at: in a lesson roots and plain fours, at a gig all it has."""
RHYTHM_SECTION = frozenset({"bass", "comp", "drums"})
HELD = 2
"""What is held lasts so many times as long, so that players count their way through it (common
practice, no source)."""


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
class Slowing:
    """A bar of a ritardando: ratios of the tempo at its ``start`` and ``end``, and at the very end
    of all its bars."""

    start: Fraction
    end: Fraction
    last: Fraction


def slowing(bars: int, last: Fraction) -> tuple[Fraction, ...]:
    """The ratio of the tempo at each line of some bars that slow down to ``last``.

    The cube of the tempo falls in a line, as that of runners who come to a stop (Friberg &
    Sundberg 1999, JASA 105(3)).
    """
    ways = (Fraction(at, max(1, bars)) for at in range(bars + 1))
    return tuple(_on_the_way(Fraction(1), last, way) for way in ways)


def _on_the_way(first: Fraction, last: Fraction, at: Fraction) -> Fraction:
    cube = float(first) ** 3 + (float(last) ** 3 - float(first) ** 3) * float(at)
    return Fraction(round(cube ** (1 / 3) * 1000), 1000)


@dataclass(frozen=True, slots=True)
class Directions:
    """What the whole band does in one bar besides playing time.

    ``hits``: beats the whole band hits together; ``only``: the only beats it plays (stop-time, or a
    break when there are few), None when it plays on; ``pedal``: the note
    the bass holds to; ``lay_out``: names from PLAYERS that rest; ``hold``: the beat from which the
    bar is held, HELD times as long; ``slows``: the tempo falls. Beats count from 0.
    ``centers``: the key center printed over the bar, empty for none; None where it is found.
    """

    hits: tuple[Fraction, ...] = ()
    only: tuple[Fraction, ...] | None = None
    pedal: PitchName | None = None
    lay_out: frozenset[str] = frozenset()
    hold: Fraction | None = None
    slows: Slowing | None = None
    centers: tuple[Key, ...] | None = None

    @property
    def in_time(self) -> bool:
        """Whether the beat goes on without waiting."""
        return self.hold is None and self.slows is None


@dataclass(frozen=True, slots=True)
class PlayedBar:
    """One bar as the band plays it, and its place in the tune.

    ``number`` counts the bars of the chorus as played from 1 whatever the repeats (0: a pickup);
    those outside the chorus count apart, and ``role`` says which: "chorus", "intro",
    "ending", "coda", "tag" or "vamp". ``section_bar`` counts from 1 within the section as played,
    and ``section_use`` tells one use of a section in the order from another. ``length`` is in beats
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
        """The ratio of each stretch of equal length in the bar: of every beat where they differ.

        How it slows down: see ``slowing``.
        """
        hold, first, last = self.directions.hold, self.tempo_ratio, self.slows_to
        if (last is None and hold is None) or self.length.denominator > 1:
            return (first,)
        beats = int(self.length)
        middles = (Fraction(2 * beat + 1, 2 * beats) for beat in range(beats))
        ratios = [first if last is None else _on_the_way(first, last, at) for at in middles]
        held = beats if hold is None else int(hold)
        return (*ratios[:held], *(ratio / HELD for ratio in ratios[held:]))

    def seconds(self, tempo: Fraction) -> Fraction:
        """How long the bar lasts where its pass goes at ``tempo`` bpm, with its holds."""
        ratios = self.tempo_ratios()
        beats = self.length / len(ratios)
        return sum((beats * 60 / (tempo * ratio) for ratio in ratios), Fraction(0))

    def slowed(self) -> PlayedBar:
        """The bar with the tempo that its directions tell."""
        slows, ratio = self.directions.slows, self.tempo_ratio
        if slows is None:
            return self
        return replace(self, tempo_ratio=ratio * slows.start, slows_to=ratio * slows.end)

    def in_time(self) -> PlayedBar:
        """The bar without a hold, at the tempo in which it would be if it did not slow down."""
        told, ratio = self.directions, self.tempo_ratio
        ratio = ratio / told.slows.start if told.slows else ratio
        told = replace(told, hold=None, slows=None)
        return replace(self, directions=told, tempo_ratio=ratio, slows_to=None)

    @property
    def pickup(self) -> bool:
        """Whether this is the short bar before bar 1, which the band counts and does not play."""
        return self.number == 0

    @property
    def label(self) -> str:
        """How a player points at the bar: "13", or "intro:1" outside the chorus."""
        return str(self.number) if self.role == "chorus" else f"{self.role}:{self.number}"
