"""Guide tones: two lines through the changes that show where the chords lead.

One line starts on the third, the other on the seventh; each goes to the nearest guide tone of the
next chord, so that in a cadence it stays or falls by a step while the lines trade thirds and
sevenths. A line that has sunk starts again an octave higher at the head of a section; where it
cannot wait so long it does so between phrases, not inside a cadence.
"""

from __future__ import annotations

import random
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate, pairwise
from math import ceil

from backing.combo.band import LINES
from backing.combo.instruments import VIBES, Instrument
from backing.combo.part import Note, Part, on_palette
from backing.combo.plan import Accent, ChordSpan, Plan, PlanBar

RHYTHMS = ("whole", "half", "phrased")
LOW, HIGH = 55, 79
"""The range of the lines, MIDI."""
THIRDS_START, SEVENTHS_START = 69, 67
"""Near which pitch (MIDI) each line begins."""
SUNK = 62
"""A line below this starts again an octave higher at the head of a section."""
AT_SECTION, AT_PHRASE, AT_CHORD, IN_CADENCE = 1.0, 3.0, 8.0, 60.0
"""What it costs a line to leap by an octave: least where a section begins, then a phrase of four
bars; inside a cadence only what nothing else can bring back."""
MIDDLE, OFF_MIDDLE = 67, 0.02
"""The middle of the range, and what each semitone away from it costs a chord."""
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
class _Entry:
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
    spans = [span for span in plan.spans if span.chord is not None]
    joints = [_joint(plan, spans, at) for at in range(len(spans))]
    upper, lower = (_in_range(line, joints) for line in _led(spans))
    return _toned(spans, upper), _toned(spans, lower)


def _toned(spans: Sequence[ChordSpan], pitches: Sequence[int]) -> tuple[GuideTone, ...]:
    return tuple(GuideTone(span, pitch) for span, pitch in zip(spans, pitches, strict=True))


def _led(spans: Sequence[ChordSpan]) -> tuple[list[int], list[int]]:
    """Both lines as the nearest tones lead them, wherever that is: they sink without an end."""
    upper: list[int] = []
    lower: list[int] = []
    for span in spans:
        assert span.chord is not None
        third, seventh = span.chord.sounding.guide_pitch_classes
        if upper:
            pair = _nearest_pair(upper[-1], lower[-1], third, seventh)
        else:
            pair = _near(THIRDS_START, third), _near(SEVENTHS_START, seventh)
        upper.append(pair[0])
        lower.append(pair[1])
    return upper, lower


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


@dataclass(frozen=True, slots=True)
class _Joint:
    """Where a chord begins: what an octave costs a line there, and whether a section does too."""

    price: float
    top: bool


def _joint(plan: Plan, spans: Sequence[ChordSpan], at: int) -> _Joint:
    written = max(spans[at].start, spans[at].written)
    bar = plan.bar_at(written)
    if bar.section_top and (at == 0 or max(spans[at - 1].start, spans[at - 1].written) < bar.start):
        return _Joint(AT_SECTION, True)
    if at and _resolves(spans[at - 1], spans[at]):
        return _Joint(IN_CADENCE, False)
    phrase = bar.bar.section_bar % 4 == 1 and written == bar.start
    return _Joint(AT_PHRASE if phrase else AT_CHORD, False)


def _resolves(before: ChordSpan, span: ChordSpan) -> bool:
    """Whether two chords belong together: a fall by a fifth, or by a semitone from a dominant."""
    assert before.chord is not None
    assert span.chord is not None
    falls = (before.chord.root.pitch_class - span.chord.root.pitch_class) % 12
    return falls == 7 or (falls == 1 and before.chord.is_dominant)


def _in_range(line: Sequence[int], joints: Sequence[_Joint]) -> list[int]:
    """The line with its octaves chosen so that it stays in range and leaps where it costs least."""
    reached: list[dict[int, tuple[float, int]]] = []
    for at, (pitch, joint) in enumerate(zip(line, joints, strict=True)):
        options = _octaves(pitch, joint.top) if at else [pitch]
        before = reached[-1] if at else {}
        here = {}
        for option in options:
            ways = [
                (cost + joint.price * abs((option - left) - (pitch - line[at - 1])) / 12, left)
                for left, (cost, _) in before.items()
            ]
            cost, left = min(ways, default=(0.0, option))
            here[option] = (cost + OFF_MIDDLE * abs(option - MIDDLE), left)
        reached.append(here)
    return _walked_back(reached)


def _octaves(pitch: int, top: bool) -> list[int]:
    low = SUNK if top else LOW
    return list(range(low + (pitch - low) % 12, HIGH + 1, 12))


def _walked_back(reached: Sequence[dict[int, tuple[float, int]]]) -> list[int]:
    """The pitches of the cheapest way to the end."""
    if not reached:
        return []
    pitch = min(reached[-1], key=lambda option: reached[-1][option][0])
    pitches = []
    for here in reversed(reached):
        pitches.append(pitch)
        pitch = here[pitch][1]
    return pitches[::-1]


def _strokes(plan: Plan, rhythm: str, rng: random.Random) -> list[_Entry]:
    """All strokes of a pass in order of time."""
    grid = _grid(plan.bars) if rhythm == "half" else ()
    last = {a.span.start: a for a in plan.accents if a.kind == "last"}
    strokes: list[_Entry] = []
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
        strokes += [_Entry(index, span, onset, length) for onset, length in times]
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


def _lifted(strokes: Sequence[_Entry]) -> list[_Entry]:
    """The strokes, each ending a little before the next one begins."""
    lifted = []
    for stroke, following in pairwise(strokes):
        room = max(LIFT, following.onset - LIFT - stroke.onset)
        lifted.append(replace(stroke, length=min(stroke.length, room)))
    return [*lifted, *strokes[-1:]]


def _notes(plan: Plan, stroke: _Entry, pitches: Sequence[int], together: bool) -> Iterator[Note]:
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
