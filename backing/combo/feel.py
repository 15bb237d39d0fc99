"""The one conversion between beats and seconds: swing, lateness, and the clock of a performance.

Players write straight eighths. Here an off-beat goes to the place the swing of its bar gives it,
a note moves behind or ahead by its lateness, and beats become seconds. Nothing else does: sound
(``mixdown/schedule.py``) puts columns of floats into the same formulas.
"""

from __future__ import annotations

import random
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from math import exp2, pi, sin
from typing import Any, TypeVar

Number = TypeVar("Number", Fraction, Any)
"""A fraction, or an array of floats: MIDI is written from the exact ones, sound from the others."""

SHORTEST_OFF_BEAT_MS = 80.0
"""The short note of a swung pair is hardly shorter (Friberg & Sundström 2002: about 100 ms)."""

SPARE_MS = 3.0
"""So much longer it is where the ratio wanders, for hands are not exact."""

RIDE_RATIOS = (
    (45, 2.0), (60, 2.2), (80, 2.5), (100, 2.53), (125, 2.38), (155, 2.25), (185, 2.0),
    (215, 1.78), (245, 1.57), (280, 1.36), (320, 1.2), (400, 1.0),
)  # fmt: skip
"""Tempo (bpm) -> long : short eighth of the ride cymbal.

From 80 to 300 bpm the medians per tempo of the drummers of the Jazz Trio Database (Cheston,
Schlichting, Cross & Harrison 2024, TISMIR, DOI 10.5334/tismir.186), kept between that paper's
model and the line of Friberg & Sundström 2002 (Music Perception 19(3)); slower and faster from
common practice (no source): ballads near the triplet, even at the top.
"""

SOLOIST_RATIO = (2.0483, -0.0031)
"""Long : short eighths of soloists, at 0 bpm and by bpm: the KTH performance rules (swing.lsp)."""
MOST_MELODIC_LATENESS_MS = 74.0
"""Slower than the data reaches, a line is not later than this (common practice, no source)."""


def ride_ratio(tempo: float) -> float:
    """The swing ratio (long : short) of the ride at ``tempo`` bpm, 1.0 and up.

    Linear between the points of RIDE_RATIOS, and never so large that the short note falls below
    SHORTEST_OFF_BEAT_MS.
    """
    points = RIDE_RATIOS
    if tempo <= points[0][0]:
        return points[0][1]
    if tempo >= points[-1][0]:
        return points[-1][1]
    at = bisect_right(points, (tempo, float("inf")))
    (t0, r0), (t1, r1) = points[at - 1], points[at]
    ratio = r0 + (r1 - r0) * (tempo - t0) / (t1 - t0)
    return max(1.0, min(ratio, 60_000 / tempo / SHORTEST_OFF_BEAT_MS - 1))


WAVES = ((8, 0.16), (16, 0.15), (32, 0.13))
"""The ride's ratio drifts in waves: how many bars each lasts, and how far it goes (log2).

Together they have a spread of .18: drummers of the Jazz Trio Database have .18 to .44 within a
track, and at one tempo half of them are within about 10 % of each other (BETWEEN).
"""
BETWEEN = 0.34
"""How far a seed swings more or less than the published ratio, at most (log2)."""

LEANING_UP = 0.04
"""By how much it swings more than RIDE_RATIOS in the mean (log2): those keep to the lower of the
published lines, and what wanders below them would lie outside the other."""


@lru_cache(maxsize=4096)
def wander(seed: int, bar: int) -> float:
    """The factor of the ride's ratio in a bar, told by its number in the chorus."""
    dice = random.Random(f"{seed}/ride")
    log = LEANING_UP + BETWEEN * (2 * dice.random() - 1)
    log += sum(far * sin(2 * pi * (bar / bars + dice.random())) for bars, far in WAVES)
    return round(exp2(log), 3)


def wandered(ratio: float, factor: float, tempo: float) -> float:
    """A ratio at ``tempo`` bpm times a factor, its short note well above what is heard."""
    most = 60_000 / tempo / (SHORTEST_OFF_BEAT_MS + SPARE_MS) - 1
    return max(1.0, min(ratio * factor, max(ratio, most)))


def melodic_lateness_ms(tempo: float, on_beat: bool, ratio: float | None = None) -> float:
    """By how many ms a melodic line is behind the ride at ``tempo`` bpm, in whole or half ms.

    Lines are straighter than the ride because their notes on the beat come late while those off
    the beat stay with it (Friberg & Sundström 2002; Nelias et al. 2022, Communications Physics 5,
    DOI 10.1038/s42005-022-00995-z): so late that the line's own ratio is the soloists' of
    Friberg & Sundström, 2.0483 - 0.0031 bpm, against the ride's ``ratio`` (the published one if
    None). About 33 ms at 150 bpm, 49 at 100, 7 at 280.
    """
    if not on_beat:
        return 0.0
    ride = ride_ratio(tempo) if ratio is None else ratio
    soloist = max(1.0, SOLOIST_RATIO[0] + SOLOIST_RATIO[1] * tempo)
    beat_ms = 60_000 / tempo
    off_beat_ms = beat_ms * ride / (ride + 1)
    late = (off_beat_ms - soloist * (beat_ms - off_beat_ms)) / (soloist + 1)
    return round(2 * max(0.0, min(MOST_MELODIC_LATENESS_MS, late))) / 2


def lateness(dice: random.Random, mean: float, spread: float) -> float:
    """By how many ms a stroke is late (negative: early): whole or half ms, clipped to 2 spreads."""
    if not spread:
        return mean
    drift = max(-2 * spread, min(2 * spread, dice.gauss(0.0, spread)))
    return round(2 * (mean + drift)) / 2


LASTING = 0.3
"""How much of a lean is left a beat later.

Of the asynchronies of bass and drums in one duo (Nelias et al. 2022) .16 to .30.
"""


def leaning(dice: random.Random, beats: int) -> tuple[float, ...]:
    """How far a band leans back on each of some beats: a slow process of spread 1, mean 0."""
    found, now = [], dice.gauss(0, 1)
    fresh = (1 - LASTING**2) ** 0.5
    for _ in range(beats):
        found.append(max(-2.0, min(2.0, now)))
        now = LASTING * now + fresh * dice.gauss(0, 1)
    return tuple(found)


def swing_place(beat: Number, ratio: Number) -> Number:
    """Where a written ``beat`` is played when the long : short ratio is ``ratio``.

    The first half of every beat is stretched, the second squeezed: the off-beat goes to
    ratio / (ratio + 1) of the beat, beats stay where they are. For fractions, and for arrays.
    """
    in_beat = beat % 1
    first_half = (2 * in_beat + 1 - abs(2 * in_beat - 1)) / 4  # of it, what lies in the first half
    off = ratio / (ratio + 1)
    return beat - in_beat + 2 * (off * first_half + (1 - off) * (in_beat - first_half))


def late_beats(lateness_ms: Number, tempo: Number) -> Number:
    """A lateness in beats. For fractions, and for arrays."""
    return lateness_ms * tempo / 60_000


@dataclass(frozen=True, slots=True)
class Stretch:
    """A run of beats with one tempo and one swing.

    ``start`` is in beats from the start of the performance and ``seconds`` the exact time there;
    ``tempo`` in bpm; ``ratio`` the long : short eighths (1 is even). ``grid`` is a beat the player
    counts: a bar line, from which the off-beats are told.
    """

    start: Fraction
    seconds: Fraction
    tempo: Fraction
    ratio: Fraction
    grid: Fraction
    beat_seconds: Fraction = field(init=False, repr=False, compare=False)
    """How long a beat lasts, in seconds."""
    # few places in the beat and few latenesses recur thousands of times
    _moves: dict[tuple[int, int], Fraction] = field(default_factory=dict, repr=False, compare=False)
    _late: dict[float, Fraction] = field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "beat_seconds", 60 / self.tempo)

    def swung(self, beat: Fraction) -> Fraction:
        """The beat at which a written ``beat`` is played."""
        part = beat - self.grid if self.grid.denominator > 1 else beat
        key = part.numerator % part.denominator, part.denominator
        move = self._moves.get(key)
        if move is None:
            inside = Fraction(*key)
            move = self._moves[key] = swing_place(inside, self.ratio) - inside
        return beat + move if move else beat

    def melodic_late(self, beat: Fraction) -> Fraction:
        """How many beats a melodic line is late at a written ``beat``."""
        on_beat = (beat - self.grid).denominator == 1
        return self.late(melodic_lateness_ms(float(self.tempo), on_beat, float(self.ratio)))

    def late(self, lateness_ms: float) -> Fraction:
        """A lateness in beats, to the thousandth of a millisecond: fractions stay small."""
        late = self._late.get(lateness_ms)
        if late is None:
            late = late_beats(Fraction(round(lateness_ms * 1000), 1000), self.tempo)
            self._late[lateness_ms] = late
        return late


class Clock:
    """Beats to seconds for a whole performance: exact; only the last reader rounds."""

    def __init__(self, runs: Sequence[tuple[Fraction, Fraction, Fraction]]) -> None:
        """``runs``: (length in beats, tempo in bpm, swing ratio) of each bar, in order.

        A bar that is no whole number of beats long is a pickup, counted back from the bar line it
        leads to, or a count cut short by the pickup that comes next.
        """
        stretches: list[Stretch] = []
        beat, time, grid = Fraction(0), Fraction(0), Fraction(0)
        for at, (length, tempo, ratio) in enumerate(runs):
            following = runs[at + 1][0] if at + 1 < len(runs) else None
            grid = _grid(beat, length, following, grid)
            last = stretches[-1] if stretches else None
            if last is None or not _goes_on(last, tempo, ratio, grid):
                stretches.append(Stretch(beat, time, tempo, ratio, grid))
            beat += length
            time += length * 60 / tempo
        self.stretches = tuple(stretches)
        self.length_beats = beat
        self.length_seconds = time
        self._starts = [float(stretch.start) for stretch in stretches]

    def at(self, beat: Fraction) -> Stretch:
        """The stretch that ``beat`` lies in (the first one before the start, the last after)."""
        # floats are found in a tenth of the time; two that are equal may stand for unequal beats
        near = beat.numerator / beat.denominator
        at = bisect_right(self._starts, near) - 1
        if at > 0 and self._starts[at] == near and beat < self.stretches[at].start:
            at -= 1
        return self.stretches[max(0, at)]

    def seconds(self, beat: Fraction) -> Fraction:
        """The exact time of a *played* beat (swing already applied)."""
        here = self.at(beat)
        over = beat - here.start if here.start else beat
        return here.seconds + over * here.beat_seconds

    def beat(self, seconds: Fraction) -> Fraction:
        """The *played* beat at a time: the inverse of ``seconds``."""
        at = bisect_right(self.stretches, seconds, key=lambda stretch: stretch.seconds) - 1
        here = self.stretches[max(0, at)]
        return here.start + (seconds - here.seconds) * here.tempo / 60

    def played(self, beat: Fraction, *, swung: bool = True) -> Fraction:
        """The beat at which a *written* beat is played: moved by the swing of its stretch."""
        if not swung:
            return beat
        return self.at(beat).swung(beat)


def _grid(beat: Fraction, length: Fraction, following: Fraction | None, grid: Fraction) -> Fraction:
    """A beat from which the beats of the bar at ``beat`` are counted."""
    if length.denominator == 1:
        return beat
    if (beat - grid).denominator != 1:
        return grid  # the pickup that fills up a count cut short
    cut_short = following is None or following.denominator != 1
    return beat if cut_short else beat + length


def _goes_on(last: Stretch, tempo: Fraction, ratio: Fraction, grid: Fraction) -> bool:
    same = (last.tempo, last.ratio) == (tempo, ratio)
    return same and (grid - last.grid).denominator == 1
