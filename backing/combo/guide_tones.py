"""Guide tones: two lines through the changes that show where the chords lead.

One line starts on the third, the other on the seventh; each goes to the nearest guide tone of the
next chord, so that in a cadence it stays or falls by a step while the lines exchange thirds and
sevenths. A line that has sunk too low starts again an octave higher at the top of a section, or,
if it cannot wait, between phrases; not inside a cadence. Lines begin with bar 1: in a pickup the
band only counts, and the choruses that follow have none.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil

from backing.combo.instruments import VIBES
from backing.combo.part import Note, Part, on_palette
from backing.combo.plan import Accent, ChordSpan, Plan, leads_as_two

LOW, HIGH = 55, 79
"""The range of the lines, MIDI."""
THIRDS_START, SEVENTHS_START = 69, 67
"""Near which pitch (MIDI) each line begins."""
SUNK = 62
"""A line below this starts again an octave higher at the top of a section."""
AT_SECTION, AT_PHRASE, AT_CHORD, IN_CADENCE = 1.0, 3.0, 8.0, 60.0
"""The cost of a leap by an octave: least at the top of a section, then of a four-bar phrase; in a
cadence only as a last resort."""
MIDDLE, OFF_MIDDLE = 67, 0.02
"""The middle of the range, and the cost of each half step away from it."""
RESTRIKE_BARS = 2
"""A chord that lasts is played again every so many bars."""
STEP, MINOR_SEVENTH = 2, 10
"""Semitones."""
LIFT = Fraction(1, 8)
"""A note ends so many beats before the next, so that late ones do not overlap."""


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


def play(plan: Plan, _: random.Random, line: str = "both") -> Part:
    """The guide tones of a pass; ``line`` is one of band.GUIDE_LINES.

    A note's role is the degree it is of its chord ("3", "b7").
    """
    chosen = chosen_lines(plan, line)
    accents = {accent.onset for accent in plan.accents}
    notes: list[Note] = []
    for stroke in _lifted(_strokes(plan)):
        pitches = sorted({tones[stroke.index].pitch for tones in chosen})
        notes += _notes(plan, stroke, pitches, stroke.onset in accents)
    return Part("guide", VIBES, tuple(notes))


def chosen_lines(plan: Plan, line: str) -> tuple[tuple[GuideTone, ...], ...]:
    """The lines that ``line`` of band.GUIDE_LINES names."""
    upper, lower = lines(plan)
    return {"3rd": (upper,), "7th": (lower,), "both": (upper, lower)}[line]


def lines(plan: Plan) -> tuple[tuple[GuideTone, ...], tuple[GuideTone, ...]]:
    """The line that starts on the third and the one that starts on the seventh, chord by chord."""
    spans = _guided(plan)
    joints = [_joint(plan, spans, at) for at in range(len(spans))]
    guides = [_guides(plan, span) for span in spans]
    upper, lower = (map(GuideTone, spans, _in_range(line, joints)) for line in _led(guides))
    return tuple(upper), tuple(lower)


def _guided(plan: Plan) -> list[ChordSpan]:
    """The chords that have guide tones: those written in bars that the band plays."""
    written = (span for span in plan.spans if span.chord is not None)
    return [span for span in written if not plan.bar_at(span.written).bar.pickup]


def _guides(plan: Plan, span: ChordSpan) -> tuple[int, int]:
    """The third and the seventh of a chord; a plain minor triad has one where it is a II."""
    assert span.chord is not None
    heard, after = span.chord.sounding, plan.after(span)
    third, seventh = heard.guide_pitch_classes
    if leads_as_two(span.chord, after.chord if after else None, span.key):
        seventh = (heard.root.pitch_class + MINOR_SEVENTH) % 12
    return third, seventh


def _led(guides: Sequence[tuple[int, int]]) -> tuple[list[int], list[int]]:
    """Both lines led to the nearest tones, whatever their range: they sink and sink."""
    upper: list[int] = []
    lower: list[int] = []
    for third, seventh in guides:
        if upper:
            pair = _nearest_pair(upper[-1], lower[-1], third, seventh)
        else:
            pair = _near(THIRDS_START, third), _near(SEVENTHS_START, seventh)
        upper.append(pair[0])
        lower.append(pair[1])
    return upper, lower


def _nearest_pair(upper: int, lower: int, third: int, seventh: int) -> tuple[int, int]:
    """Where two lines go: each to its own guide tone, by step if it can, with the least motion."""
    straight = _near(upper, third), _near(lower, seventh)
    crossed = _near(upper, seventh), _near(lower, third)

    def motion(pair: tuple[int, int]) -> tuple[int, int, int]:
        moves = abs(pair[0] - upper), abs(pair[1] - lower)
        return sum(move > STEP for move in moves), max(moves), sum(moves)

    return min(straight, crossed, key=motion)


def _near(pitch: int, pitch_class: int) -> int:
    """The nearest pitch of a class, the lower one of two: lines sink rather than rise."""
    down = (pitch - pitch_class) % 12
    return pitch - down if down <= 6 else pitch + 12 - down


@dataclass(frozen=True, slots=True)
class _Joint:
    """The start of a chord: the cost of an octave leap there, and whether it is a section's top."""

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
    """Whether a chord resolves: down a fifth, or from a dominant down a half step."""
    assert before.chord is not None
    assert span.chord is not None
    falls = (before.chord.root.pitch_class - span.chord.root.pitch_class) % 12
    return falls == 7 or (falls == 1 and before.chord.is_dominant)


def _in_range(line: Sequence[int], joints: Sequence[_Joint]) -> list[int]:
    """The line with octaves chosen to stay in range and to leap where it costs least."""
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
    # the cheapest way to the end, walked back
    pitch = min(reached[-1], key=lambda option: reached[-1][option][0]) if reached else 0
    pitches = []
    for here in reversed(reached):
        pitches.append(pitch)
        pitch = here[pitch][1]
    return pitches[::-1]


def _octaves(pitch: int, top: bool) -> list[int]:
    low = SUNK if top else LOW
    return list(range(low + (pitch - low) % 12, HIGH + 1, 12))


def _strokes(plan: Plan) -> list[_Entry]:
    """All strokes of a pass in order of time."""
    last = {a.span.start: a for a in plan.accents if a.kind == "last"}
    strokes: list[_Entry] = []
    for index, span in enumerate(_guided(plan)):
        ends = span.start in last
        times = _ending(span, last[span.start]) if ends else _sustained(plan, span)
        strokes += [_Entry(index, span, onset, length) for onset, length in times]
    return strokes


def _ending(span: ChordSpan, last: Accent) -> list[tuple[Fraction, Fraction]]:
    """The last chord: what there is before the band's last stroke, and that stroke, held."""
    head = [(span.start, last.onset - span.start)] if span.start < last.onset else []
    return [*head, (last.onset, last.length)]


def _sustained(plan: Plan, span: ChordSpan) -> list[tuple[Fraction, Fraction]]:
    """Notes that last up to the next: with the chord, and again every few bars.

    The last one is held beyond the end where the next pass begins with a chord that comes late.
    """
    first = max(span.start, span.written)
    step = plan.bar_at(first).bar.length * RESTRIKE_BARS
    again = [first + step * n for n in range(1, ceil((min(span.end, plan.length) - first) / step))]
    ordered = [span.start, *again, span.end]
    return [(onset, end - onset) for onset, end in pairwise(ordered)]


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
