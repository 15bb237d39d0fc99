"""What is played, in which order: a form becomes passes.

A pass is a run of bars at one tempo in one key: a chorus, once through a loop, a count-in. A
routine is passes in a row, without a gap.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from backing.chart.bar import PlayedBar


class Purpose(StrEnum):
    """What a pass is for."""

    COUNT_IN = "count-in"
    LEAD_IN = "lead-in"
    HEAD = "head"
    SOLO = "solo"
    HEAD_OUT = "head out"
    TIME = "time"
    REST_BAR = "rest bar"


@dataclass(frozen=True, slots=True)
class Pass:
    """Bars played in a row at one tempo.

    ``tempo`` is in bpm (beats of the meter a minute), exact; bars may multiply it by their
    ``tempo_ratio``. ``take`` tells one playing of the same bars from another: equal takes of
    equal bars sound the same (the tempos of a climb), others differ. ``reference_tempo`` is the
    tempo for which the playing is thought out (the goal of a climb). ``chorus`` counts whole
    choruses from 0 over head, solos and head out; ``choruses`` is how many there are in all (0 in
    a loop). ``circular``: once through a loop, which comes back to its first bar. ``leads_to`` is
    the bar that follows the last one (None: nothing follows). ``value``: the subdivision in which
    a line is heard, see subdivisions.VALUES (empty: as the line itself goes). ``earlier``: how many
    times the same loop was played before in other keys, without a stop.
    """

    purpose: Purpose
    bars: tuple[PlayedBar, ...]
    tempo: Fraction
    take: int = 0
    reference_tempo: Fraction = Fraction(0)
    chorus: int = 0
    choruses: int = 0
    circular: bool = False
    leads_to: PlayedBar | None = None
    value: str = ""
    earlier: int = 0

    @property
    def length_beats(self) -> Fraction:
        """How long the pass lasts, in beats."""
        return sum((bar.length for bar in self.bars), Fraction(0))
