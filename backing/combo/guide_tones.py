"""Guide tones: two lines through the changes that show where the chords lead.

One line starts on the third, the other on the seventh; each goes to the nearest guide tone of the
next chord, so that in a cadence it stays or falls by a step while the lines trade thirds and
sevenths. A line that has sunk starts again an octave higher at the head of a section.
"""

from __future__ import annotations

import random
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate, pairwise
from math import ceil

from backing.combo.instruments import VIBES, Instrument
from backing.combo.part import Note, Part, on_palette
from backing.combo.plan import Accent, ChordSpan, Plan, PlanBar

LINES = ("thirds", "sevenths", "both")
RHYTHMS = ("whole", "half", "phrased")
LOW, HIGH = 55, 79
"""The range of the lines, MIDI."""
THIRDS_START, SEVENTHS_START = 69, 67
"""Near which pitch (MIDI) each line begins."""
SUNK = 62
"""A line below this starts again an octave higher at the head of a section."""
RESTRIKE_BARS = 2
"""A chord that stays is struck again after so many bars."""
LIFT = Fraction(1, 8)
"""A note ends so many beats before the next one of its line, lest late ones overlap."""
PHRASES = (
    ((Fraction(0), Fraction(3)),),
    ((Fraction(0), Fraction(3, 2)), (Fraction(3, 2), Fraction(2))),
    ((Fraction(-1, 2), Fraction(3)),),
    ((Fraction(-1, 2), Fraction(1)), (Fraction(1), Fraction(2))),
    ((Fraction(0), Fraction(1)), (Fraction(5, 2), Fraction(1))),
)
"""Onset and length in beats from where a chord comes in: plain, repeated or brought forward."""


@dataclass(frozen=True, slots=True)
class GuideTone:
    """A guide tone of a line: ``pitch`` (MIDI) under the chord of ``span``."""

    span: ChordSpan
    pitch: int


@dataclass(frozen=True, slots=True)
class _Stroke:
    """When guide tones are struck: ``index`` counts the chords, times in beats of the pass."""

    index: int
    span: ChordSpan
    onset: Fraction
    length: Fraction


def play(
    plan: Plan,
    rng: random.Random,
    line: str = "both",
    rhythm: str = "whole",
    instrument: Instrument = VIBES,
) -> Part:
    """The guide tones of a pass; ``line`` is one of LINES, ``rhythm`` one of RHYTHMS.

    A note's role is the degree it is of its chord ("3", "b7"). Raises ValueError for another
    line or rhythm.
    """
    if line not in LINES or rhythm not in RHYTHMS:
        raise ValueError(f"a line of {LINES} in a rhythm of {RHYTHMS}, not {line!r}, {rhythm!r}")
    upper, lower = lines(plan)
    chosen = {"thirds": (upper,), "sevenths": (lower,), "both": (upper, lower)}[line]
    accents = {accent.onset for accent in plan.accents}
    notes: list[Note] = []
    for stroke in _lifted(_strokes(plan, rhythm, rng)):
        pitches = sorted({tones[stroke.index].pitch for tones in chosen})
        notes += _notes(plan, stroke, pitches, stroke.onset in accents)
    return Part("guide", instrument, tuple(notes))


def lines(plan: Plan) -> tuple[tuple[GuideTone, ...], tuple[GuideTone, ...]]:
    """The line that starts on the third and the one that starts on the seventh, chord by chord."""
    upper: list[GuideTone] = []
    lower: list[GuideTone] = []
    tops = [(bar.start, bar.end) for bar in plan.bars if bar.section_top]
    for span in plan.spans:
        if span.chord is None:
            continue
        third, seventh = span.chord.sounding.guide_pitch_classes
        if not upper:
            pair = _near(THIRDS_START, third), _near(SEVENTHS_START, seventh)
        else:
            pair = _nearest_pair(upper[-1].pitch, lower[-1].pitch, third, seventh)
        top = any(start <= max(span.start, span.written) < end for start, end in tops)
        upper.append(GuideTone(span, _in_range(pair[0], top)))
        lower.append(GuideTone(span, _in_range(pair[1], top)))
    return tuple(upper), tuple(lower)


def _nearest_pair(upper: int, lower: int, third: int, seventh: int) -> tuple[int, int]:
    """Where two lines go: each to a guide tone of its own, with the least motion in all."""
    straight = _near(upper, third), _near(lower, seventh)
    crossed = _near(upper, seventh), _near(lower, third)

    def motion(pair: tuple[int, int]) -> tuple[int, int]:
        moves = abs(pair[0] - upper), abs(pair[1] - lower)
        return max(moves), sum(moves)

    return min(straight, crossed, key=motion)


def _near(pitch: int, pitch_class: int) -> int:
    """The nearest pitch of a class, the lower one of two: lines sink rather than rise."""
    down = (pitch - pitch_class) % 12
    return pitch - down if down <= 6 else pitch + 12 - down


def _in_range(pitch: int, section_top: bool) -> int:
    if pitch < LOW or (section_top and pitch < SUNK):
        return pitch + 12
    return pitch - 12 if pitch > HIGH else pitch


def _strokes(plan: Plan, rhythm: str, rng: random.Random) -> list[_Stroke]:
    """All strokes of a pass in order of time."""
    grid = _grid(plan.bars) if rhythm == "half" else ()
    last = {a.span.start: a for a in plan.accents if a.kind == "last"}
    strokes: list[_Stroke] = []
    index = -1
    for span in plan.spans:
        if span.chord is None:
            continue
        index += 1
        if span.start in last:
            times = _ending(span, last[span.start])
        elif rhythm == "phrased" and span.end - span.start >= 2 and not span.early:
            times = _phrase(span, rng)
        else:
            times = _sustained(plan, span, grid)
        strokes += [_Stroke(index, span, onset, length) for onset, length in times]
    return strokes


def _ending(span: ChordSpan, last: Accent) -> list[tuple[Fraction, Fraction]]:
    """The last chord: what there is before the band's last stroke, and that stroke, held."""
    head = [(span.start, last.onset - span.start)] if span.start < last.onset else []
    return [*head, (last.onset, last.length)]


def _phrase(span: ChordSpan, rng: random.Random) -> list[tuple[Fraction, Fraction]]:
    phrases = PHRASES if span.start > 0 else [p for p in PHRASES if p[0][0] >= 0]
    room = span.end - span.start - Fraction(1, 2)
    inside = [(onset, length) for onset, length in rng.choice(phrases) if onset < room]
    return [(span.start + onset, min(length, room - onset)) for onset, length in inside]


def _sustained(
    plan: Plan, span: ChordSpan, grid: Sequence[Fraction]
) -> list[tuple[Fraction, Fraction]]:
    """Notes that last up to the next: with the chord and on the grid, or every few bars."""
    first = max(span.start, span.written)
    if grid:
        again = grid[bisect_right(grid, first) : bisect_left(grid, span.end)]
    else:
        step = plan.bar_at(first).bar.length * RESTRIKE_BARS
        again = [first + step * n for n in range(1, ceil((span.end - first) / step))]
    ordered = [span.start, *again, span.end]
    return [(onset, end - onset) for onset, end in pairwise(ordered)]


def _grid(bars: Sequence[PlanBar]) -> list[Fraction]:
    """Where the groups of beats begin: 1 and 3 in 4/4, 1 and 4 in 5/4."""
    return [
        bar.start + beats
        for bar in bars
        for beats in accumulate(bar.bar.meter.groups[:-1], initial=0)
    ]


def _lifted(strokes: Sequence[_Stroke]) -> list[_Stroke]:
    """The strokes, each ending a little before the next one begins."""
    lifted = []
    for stroke, following in pairwise(strokes):
        room = max(LIFT, following.onset - LIFT - stroke.onset)
        lifted.append(replace(stroke, length=min(stroke.length, room)))
    return [*lifted, *strokes[-1:]]


def _notes(plan: Plan, stroke: _Stroke, pitches: Sequence[int], together: bool) -> Iterator[Note]:
    chord, bar = stroke.span.chord, plan.bar_at(stroke.onset)
    assert chord is not None
    velocity = on_palette(64 + 16 * bar.energy)
    for pitch in pitches:
        yield Note(
            onset=stroke.onset,
            length=stroke.length,
            pitch=pitch,
            velocity=velocity,
            role=str(chord.sounding.name_of(pitch % 12)),
            chord=chord,
            together=together,
            melodic=not together,
        )
