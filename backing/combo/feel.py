"""The one conversion between beats and seconds: swing, lateness, and the clock of a performance.

Players write straight eighths. Here an off-beat goes to the place the swing of its bar gives it,
a note moves behind or ahead by its lateness, and beats become seconds. Nothing else does.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

SHORTEST_OFF_BEAT_MS = 80.0
"""The short note of a swung pair is hardly shorter (Friberg & Sundström 2002: about 100 ms)."""

RIDE_RATIOS = (
    (45, 2.0), (60, 2.1), (80, 2.4), (100, 2.5), (125, 2.4), (155, 2.25), (185, 2.0),
    (215, 1.78), (245, 1.53), (280, 1.35), (320, 1.2), (400, 1.0),
)  # fmt: skip
"""Tempo (bpm) -> long : short eighth of the ride cymbal.

From 95 bpm up the medians per tempo of the drummers of the Jazz Trio Database (Cheston,
Schlichting, Cross & Harrison 2024, TISMIR, DOI 10.5334/tismir.186); slower and faster than that
data reaches from common practice (no source): ballads near the triplet, even at the top.
"""


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


def swing_place(beat: Fraction, ratio: Fraction) -> Fraction:
    """Where a written ``beat`` is played when the long : short ratio is ``ratio``.

    The first half of every beat is stretched, the second squeezed: the off-beat goes to
    ratio / (ratio + 1) of the beat, beats stay where they are.
    """
    whole = beat.__floor__()
    part = beat - whole
    if not part or ratio == 1:
        return beat
    off = ratio / (ratio + 1)
    if part <= Fraction(1, 2):
        return whole + part * 2 * off
    return whole + off + (part - Fraction(1, 2)) * 2 * (1 - off)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A run of beats with one tempo and one swing.

    ``start`` is in beats from the start of the performance and ``seconds`` the exact time there;
    ``tempo`` in bpm; ``ratio`` the long : short eighths (1 is even).
    """

    start: Fraction
    seconds: Fraction
    tempo: Fraction
    ratio: Fraction


class Clock:
    """Beats to seconds for a whole performance: exact; only the last reader rounds."""

    def __init__(self, runs: Sequence[tuple[Fraction, Fraction, Fraction]]) -> None:
        """``runs``: (length in beats, tempo in bpm, swing ratio) of each run, in order."""
        stretches: list[Stretch] = []
        beat, time = Fraction(0), Fraction(0)
        for length, tempo, ratio in runs:
            last = stretches[-1] if stretches else None
            if last is None or (last.tempo, last.ratio) != (tempo, ratio):
                stretches.append(Stretch(beat, time, tempo, ratio))
            beat += length
            time += length * 60 / tempo
        self.stretches = tuple(stretches)
        self.length_beats = beat
        self.length_seconds = time
        self._starts = [stretch.start for stretch in stretches]

    def at(self, beat: Fraction) -> Stretch:
        """The stretch that ``beat`` lies in (the first one before the start, the last after)."""
        return self.stretches[max(0, bisect_right(self._starts, beat) - 1)]

    def seconds(self, beat: Fraction) -> Fraction:
        """The exact time of a *played* beat (swing already applied)."""
        here = self.at(beat)
        return here.seconds + (beat - here.start) * 60 / here.tempo

    def played(self, beat: Fraction, *, swung: bool = True) -> Fraction:
        """The beat at which a *written* beat is played: moved by the swing of its stretch."""
        if not swung:
            return beat
        here = self.at(beat)
        # beats are counted inside the stretch: a pickup may put bar lines off the whole numbers
        return here.start + swing_place(beat - here.start, here.ratio)
