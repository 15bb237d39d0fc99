"""What a bass part is like, in the figures that research counts.

A *played* pass is a plan with the part played over it; all functions take several. "Structural"
notes are those without a tempo range of their own. Shares are from 0 to 1.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from backing.chart.harmony import Chord
from backing.combo.part import Note, Part
from backing.combo.plan import ChordSpan, Plan

Played = tuple[Plan, Part]


@dataclass(frozen=True, slots=True)
class BassFigures:
    """The figures of some passes.

    ``roots_on_change``, ``written_under_slash``, ``tones_on_one``: shares of the first notes over
    a chord that are its root, of those over a slash chord that are the written bass, of first
    beats that sound a chord tone. ``roots_on_one_held``: roots on beat 1 where the chord is
    older. ``steps_in`` and ``semitones_in``: shares of changes reached by one or two semitones,
    by one. ``dominants_in``: from the fifth above or the fourth below. ``repeats``, ``steps``
    (1-2), ``skips`` (3-5), ``wide`` (6 and more): shares of all moves; ``widest`` in semitones.
    ``steps_turned``, ``leaps_turned``: shares of steps, and of leaps of a fourth or more, after
    which the line turns. ``inside``: share of pitches in MIDI 33-50. ``span``: semitones between
    the 2.5th and the 97.5th percentile, the median over passes. ``onsets``: a bar, at the tempo.
    ``runs``: the mean number of moves in one direction.
    """

    roots_on_change: float
    written_under_slash: float
    tones_on_one: float
    roots_on_one_held: float
    steps_in: float
    semitones_in: float
    dominants_in: float
    repeats: float
    steps: float
    skips: float
    wide: float
    widest: int
    steps_turned: float
    leaps_turned: float
    lowest: int
    highest: int
    median: int
    inside: float
    span: float
    onsets: float
    onsets_off_beat: float
    four_a_bar: float
    runs: float
    figures_heard_again: float


def figures(played: Sequence[Played], tempo: Fraction | int) -> BassFigures:
    """All figures of some passes at a tempo (bpm)."""
    lines = [structural(part) for _, part in played]
    pairs = [pair for line in lines for pair in pairwise(line)]
    moves = Counter(abs(b.pitch - a.pitch) for a, b in pairs)
    count = sum(moves.values()) or 1
    pitches = sorted(note.pitch for line in lines for note in line)
    changes = [change for plan, part in played for change in arrivals(plan, structural(part))]
    into = Counter(abs(n.pitch - b.pitch) for _, n, b in changes if b)
    leading = [(n.pitch - b.pitch) for _, n, b in changes if b]
    plain = [(s, n) for s, n, _ in changes if s.chord and not s.chord.bass and not s.pedal]
    slashed = [(s, n) for s, n, _ in changes if s.chord and s.chord.bass and not s.pedal]
    ones = [one for plan, part in played for one in first_beats(plan, structural(part))]
    held = [(chord, note) for chord, note, new in ones if not new]
    bars = [len(notes) for plan, part in played for notes in by_bar(plan, part, tempo)]
    off = [n for plan, part in played for b in by_bar(plan, part, tempo) for n in b]
    turned = [
        (b.pitch - a.pitch, c.pitch - b.pitch)
        for line in lines
        for a, b, c in zip(line, line[1:], line[2:], strict=False)
        if b.pitch not in (a.pitch, c.pitch)
    ]
    return BassFigures(
        roots_on_change=_share(n.pitch % 12 == _root(s) for s, n in plain),
        written_under_slash=_share(n.pitch % 12 == _bass(s) for s, n in slashed),
        tones_on_one=_share(n.pitch % 12 in _tones(chord) for chord, n, _ in ones),
        roots_on_one_held=_share(n.pitch % 12 == chord.root.pitch_class for chord, n in held),
        steps_in=(into[1] + into[2]) / (sum(into.values()) or 1),
        semitones_in=into[1] / (sum(into.values()) or 1),
        dominants_in=_share(move in (5, -7) for move in leading),
        repeats=moves[0] / count,
        steps=(moves[1] + moves[2]) / count,
        skips=(moves[3] + moves[4] + moves[5]) / count,
        wide=sum(times for width, times in moves.items() if width >= 6) / count,
        widest=max(moves, default=0),
        steps_turned=_share(a * b < 0 for a, b in turned if abs(a) <= 2),
        leaps_turned=_share(a * b < 0 for a, b in turned if abs(a) >= 5),
        lowest=pitches[0],
        highest=pitches[-1],
        median=pitches[len(pitches) // 2],
        inside=_share(33 <= pitch <= 50 for pitch in pitches),
        span=_median([_span(line) for line in lines if line]),
        onsets=sum(bars) / (len(bars) or 1),
        onsets_off_beat=_share(n.onset.denominator > 1 for n in off),
        four_a_bar=_share(b == 4 for b in bars),
        runs=_runs(lines),
        figures_heard_again=_share(heard_again(played)),
    )


def structural(part: Part) -> list[Note]:
    """The notes that are played at every tempo."""
    return [note for note in part.notes if note.tempos is None]


def arrivals(plan: Plan, line: Sequence[Note]) -> Iterable[tuple[ChordSpan, Note, Note | None]]:
    """Every chord's first note with the note before it."""
    starts = [note.onset for note in line]
    for span in plan.spans:
        at = bisect_right(starts, span.start)
        first = at - 1 if at and starts[at - 1] == span.start else at
        if span.chord and first < len(line) and starts[first] < span.end:
            yield span, line[first], line[first - 1] if first else None


def first_beats(plan: Plan, line: Sequence[Note]) -> Iterable[tuple[Chord, Note, bool]]:
    """The notes on the first beats of bars, with their chord and whether it is new there."""
    by_onset = {note.onset: note for note in line}
    starts = {span.start for span in plan.spans}
    for bar in plan.bars:
        note, span = by_onset.get(bar.start), plan.span_at(bar.start)
        if note and span and span.chord and not span.pedal:
            yield span.chord, note, bar.start in starts


def by_bar(plan: Plan, part: Part, tempo: Fraction | int) -> Iterable[list[Note]]:
    """The notes that sound at a tempo, bar by bar."""
    heard = [note for note in part.notes if note.sounds_at(Fraction(tempo))]
    for bar in plan.bars:
        yield [note for note in heard if bar.start <= note.onset < bar.end]


def heard_again(played: Iterable[Played]) -> Iterable[bool]:
    """For each bar of four notes: whether its figure over the bass was one of the four before."""
    for plan, part in played:
        before: list[tuple[int, ...]] = []
        line = Part(part.name, part.instrument, tuple(structural(part)))
        for bar, notes in zip(plan.bars, by_bar(plan, line, plan.tempo), strict=True):
            span = plan.span_at(bar.start)
            if len(notes) == 4 and span and span.chord:
                figure = tuple((note.pitch - _bass(span)) % 12 for note in notes)
                yield figure in before[-4:]
                before.append(figure)


def _share(values: Iterable[bool]) -> float:
    found = [bool(value) for value in values]
    return sum(found) / len(found) if found else float("nan")


def _root(span: ChordSpan) -> int:
    assert span.chord is not None
    return span.chord.root.pitch_class


def _bass(span: ChordSpan) -> int:
    assert span.chord is not None
    return span.chord.bass_pitch_class


def _tones(chord: Chord) -> set[int]:
    return {*chord.core_pitch_classes, chord.bass_pitch_class}


def _span(line: Sequence[Note]) -> int:
    pitches = sorted(note.pitch for note in line)
    outer = len(pitches) // 40
    return pitches[-1 - outer] - pitches[outer]


def _median(values: list[int]) -> float:
    return sorted(values)[len(values) // 2] if values else float("nan")


def _runs(lines: Iterable[Sequence[Note]]) -> float:
    lengths: list[int] = []
    for line in lines:
        direction = 0
        for a, b in pairwise(line):
            new = (b.pitch > a.pitch) - (b.pitch < a.pitch)
            if new and new == direction:
                lengths[-1] += 1
            elif new:
                lengths.append(1)
            direction = new
    return sum(lengths) / (len(lengths) or 1)
