"""The bars that are counted before anyone plays."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from backing.chart.bar import Meter, PlayedBar
from backing.routine.passes import Pass, Purpose

SLOW_BPM = 70
"""Below this one bar of count is enough (common practice, no source)."""


def count_in_bars(meter: Meter, tempo: Fraction) -> int:
    """How many bars a leader counts off in ``meter`` at ``tempo`` bpm (common practice, no source).

    Two bars in 2, 3 and 4 beats, one where the tempo is slow or the bar is long (5 beats and up).
    """
    return 1 if meter.beats >= 5 or tempo < SLOW_BPM else 2


def count_in(first: PlayedBar, tempo: Fraction, bars: int | None = None) -> Pass | None:
    """The count before ``first`` at ``tempo`` bpm; None where no bars are wanted.

    ``bars``: how many, by default as many as a leader would count. Before a pickup the last
    counted bar is shorter by it: the pickup sounds inside the count.
    """
    count = count_in_bars(first.meter, tempo) if bars is None else bars
    if count == 0:
        return None
    whole = replace(
        first, role="count-in", section="count-in", section_use=1, section_bars=count, changes=(),
        directions=type(first.directions)(), length=Fraction(first.meter.beats), final="",
        slows_to=None,
    )  # fmt: skip
    counted = [replace(whole, number=n, section_bar=n) for n in range(1, count + 1)]
    if first.pickup:
        counted[-1] = replace(counted[-1], length=first.meter.beats - first.length)
    return Pass(Purpose.COUNT_IN, tuple(counted), tempo, leads_to=first)
