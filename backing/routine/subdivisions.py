"""Subdivisions, from wholes to triplets: where the notes of a bar begin."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from itertools import accumulate

from backing.chart.bar import Meter

VALUES = ("wholes", "halves", "quarters", "eighths", "triplets")
"""By the names they have in 4/4: one note a bar, one for each group of beats, one a beat; eighths;
three a beat."""


def eighth(meter: Meter) -> Fraction:
    """An eighth note in beats: a half, a third in compound meters, one in 5/8 and 7/8."""
    return Fraction(1, 2) / meter.beat_quarters


def onsets(value: str, meter: Meter) -> tuple[Fraction, ...]:
    """Where the notes of a bar in a value of VALUES begin, in beats from the bar line.

    In compound meters the eighths are three a beat, as triplets are.
    """
    match value:
        case "wholes":
            return (Fraction(0),)
        case "halves":
            return tuple(map(Fraction, accumulate(meter.groups[:-1], initial=0)))
        case "quarters":
            return tuple(map(Fraction, range(meter.beats)))
    step = eighth(meter) if value == "eighths" else Fraction(1, 3)
    return tuple(n * step for n in range(int(meter.beats / step)))


def values_in(meters: Iterable[Meter]) -> tuple[str, ...]:
    """The values that differ in these meters, from the slowest.

    One that is no quicker than the last in any of them is left out: halves in 3/4 and 6/8,
    triplets in compound meters.
    """
    heard = set(meters)
    found = [VALUES[0]]
    for value in VALUES[1:]:
        if any(len(onsets(value, meter)) > len(onsets(found[-1], meter)) for meter in heard):
            found.append(value)
    return tuple(found)
