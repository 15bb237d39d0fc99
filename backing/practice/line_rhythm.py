"""When the notes of a line fall: unbroken, in slower values, or in phrases with fixed space."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate, pairwise

from backing.chart.bar import Meter
from backing.combo.plan import ChordSpan, Plan, PlanBar
from backing.errors import PracticeError
from backing.practice.line import Line

IDEA_BARS = 2
"""The length of an idea; of one bar where the whole is shorter than two ideas."""
DUPLE_CELLS = (((0, 1), 6), ((0,), 3), ((1,), 3), ((), 1))
TRIPLE_CELLS = (((0, 1, 2), 5), ((0, 2), 4), ((0,), 2), ((1, 2), 2))
"""The eighths of a beat that sound in a phrase, and their weights: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A note to be found: when (``onset``, ``length``, beats of the pass), and over which chord.

    ``beat``: it falls on a beat; ``downbeat``: on the first of a bar; ``bound``: it follows the
    note before without a rest; ``last``: the held last note of an arrangement; ``closes``: it is
    the last one before somebody else has the floor.
    """

    onset: Fraction
    length: Fraction
    span: ChordSpan
    beat: bool
    downbeat: bool
    swung: bool
    eighth: Fraction
    bound: bool = True
    last: bool = False
    closes: bool = False

    @property
    def end(self) -> Fraction:
        """The beat at which the note ends."""
        return self.onset + self.length


def eighth(meter: Meter) -> Fraction:
    """An eighth note in beats: a half, a third in compound meters, one in 5/8 and 7/8."""
    return Fraction(1, 2) / meter.beat_quarters


def slots(plan: Plan, line: Line, rng: random.Random) -> tuple[Slot, ...]:
    """The slots of a pass; none under N.C., in pickups, or where the melody is told to rest.

    Raises PracticeError where the bars are too few for the rhythm, or hold no chord.
    """
    onsets = {
        "eighths": _unbroken,
        "quarters": lambda plan, _: _slow(plan, lambda meter: (1,) * meter.beats),
        "halves": lambda plan, _: _slow(plan, lambda meter: meter.groups),
        "phrases": _phrased,
        "call": _called,
    }[line.rhythm](plan, rng)
    found = list(_slots(plan, line, sorted(onsets)))
    if not found:
        raise PracticeError(
            "There is no chord to play a line on in these bars.", "Choose bars with changes."
        )
    return tuple(_closing(plan, list(_bound(found))))


Onsets = list[tuple[Fraction, Fraction]]
"""Onset and length of notes, in beats of the pass."""


def _unbroken(plan: Plan, _: random.Random) -> Onsets:
    return [
        (bar.start + n * step, step)
        for bar in plan.bars
        for step in (eighth(bar.bar.meter),)
        for n in range(int(bar.bar.length / step))
    ]


def _slow(plan: Plan, groups: Callable[[Meter], tuple[int, ...]]) -> Onsets:
    """One note for each group of beats, and one where a chord comes in between."""
    times: set[Fraction] = set()
    for bar in plan.bars:
        starts = accumulate(groups(bar.bar.meter), initial=0)
        times |= {bar.start + beats for beats in starts if beats < bar.bar.length}
    for span in plan.spans:
        if span.early > 0:  # who has come in early does not strike the beat again
            times.discard(span.written)
        times.add(max(span.start, Fraction(0)))
    ordered = [*sorted(t for t in times if t < plan.length), plan.length]
    return [(onset, end - onset) for onset, end in pairwise(ordered)]


def _phrased(plan: Plan, rng: random.Random) -> Onsets:
    """Ideas and answers of the same rhythm."""
    notes: Onsets = []
    rhythm: list[Fraction] = []
    for number, idea in _ideas(plan):
        if number % 2 == 0 or _short(plan, idea, rhythm):
            rhythm = _rhythm(idea, rng)
        notes += _placed(rhythm, idea)
    return notes


def _short(plan: Plan, idea: Sequence[PlanBar], rhythm: Sequence[Fraction]) -> bool:
    """Whether a rhythm is too long for the last bars before the line has to rest."""
    length = idea[-1].end - idea[0].start
    return plan.resting("melody", idea[-1].end) and rhythm[-1] >= length - 1


def _called(plan: Plan, rng: random.Random) -> Onsets:
    """Ideas, and as much space after each of them."""
    bars = _line_bars(plan)
    if len(bars) < 2:
        raise PracticeError(
            f"A call and its answer need two bars at least; here is {len(bars) or 'none'}.",
            "Choose more bars, or a line in eighths.",
        )
    notes: Onsets = []
    for number, idea in _ideas(plan):
        if number % 2 == 0:
            notes += _placed(_rhythm(idea, rng), idea)
    return notes


def _line_bars(plan: Plan) -> list[PlanBar]:
    return [bar for bar in plan.bars if not bar.bar.pickup and bar.bar.changes]


def _ideas(plan: Plan) -> Iterator[tuple[int, list[PlanBar]]]:
    """The bars of each idea and its number: even ones are answered by odd ones.

    They are counted within a section, and anew where the line comes in or begins to rest.
    """
    bars = _line_bars(plan)
    size = IDEA_BARS if len(bars) >= 2 * IDEA_BARS else 1
    rests = [plan.resting("melody", bar.start) for bar in bars]
    number, idea = 0, bars[:1]
    for bar, (before, now) in zip(bars[1:], pairwise(rests), strict=True):
        anew = bar.section_top or before is not now
        if anew or len(idea) == size:
            yield number, idea
            number = 0 if anew else number + 1
            idea = []
        idea.append(bar)
    if idea:
        yield number, idea


def _rhythm(idea: Sequence[PlanBar], rng: random.Random) -> list[Fraction]:
    """Onsets from the start of an idea; its last two beats (one in a single bar) are space."""
    meter = idea[0].bar.meter
    step = eighth(meter)
    inside = int(1 / step) if step < 1 else 1
    cells = {2: DUPLE_CELLS, 3: TRIPLE_CELLS}.get(inside, (((0,), 1),))
    beats = int(sum((bar.bar.length for bar in idea), Fraction(0)))
    room = max(1, beats - (2 if len(idea) > 1 else 1))
    found: list[Fraction] = []
    for beat in range(room):
        offered = [(c, w) for c, w in cells if c] if beat in (0, room - 1) else cells
        (cell,) = rng.choices([c for c, _ in offered], [w for _, w in offered])
        found += [beat + n * step for n in cell]
    return found


def _placed(rhythm: Sequence[Fraction], idea: Sequence[PlanBar]) -> Onsets:
    """A rhythm from the start of an idea; its last note is a beat long or less."""
    end = min(idea[-1].end, idea[0].start + rhythm[-1].__floor__() + 1)
    times = [t for t in (idea[0].start + onset for onset in rhythm) if t < end]
    ends = [*times[1:], end]
    return [
        (onset, min(stop - onset, Fraction(2))) for onset, stop in zip(times, ends, strict=True)
    ]


def _slots(plan: Plan, line: Line, onsets: Onsets) -> Iterator[Slot]:
    final = plan.bars[-1] if plan.ends else None
    for onset, length in onsets:
        bar = plan.bar_at(onset)
        if plan.resting("melody", onset) or bar.bar.pickup or not bar.bar.changes:
            continue
        if final is not None and onset >= final.start:
            continue
        step = eighth(bar.bar.meter)
        early = line.early and not plan.resting("melody", onset + step)
        span = _span(plan, onset, length, step, early=early)
        if span is None or span.chord is None:
            continue
        room = span.end - onset if span.end > onset else length
        if final is not None:
            room = min(room, final.start - onset)
        yield _slot(onset, min(length, room), span, bar)
    if final is not None and not plan.resting("melody", final.start):
        last = plan.span_at(final.start)
        if last is not None and last.chord is not None:
            length = final.bar.length if final.bar.final == "held" else Fraction(1, 2)
            yield replace(_slot(final.start, length, last, final), last=True)


def _slot(onset: Fraction, length: Fraction, span: ChordSpan, bar: PlanBar) -> Slot:
    inside = onset - bar.start
    beat, duple = inside.denominator == 1, (2 * onset).denominator == 1
    return Slot(onset, length, span, beat, inside == 0, duple, eighth(bar.bar.meter))


def _span(
    plan: Plan, onset: Fraction, length: Fraction, step: Fraction, *, early: bool
) -> ChordSpan | None:
    """The chord of a note: the next one where it is to arrive early, or where the note is held on
    from an eighth before the change."""
    ahead = plan.span_at(onset + step)
    if early and ahead is not None:
        return ahead
    here = plan.span_at(onset)
    tied = here is not ahead and length > step and here is not None and here.end == onset + step
    return ahead if tied else here


def _bound(found: Sequence[Slot]) -> Iterator[Slot]:
    """The slots with rests of a beat or more told."""
    yield replace(found[0], bound=False)
    for before, slot in pairwise(found):
        yield slot if slot.onset - before.end < 1 else replace(slot, bound=False)


def _closing(plan: Plan, found: Sequence[Slot]) -> Iterator[Slot]:
    """The slots with the last ones before a rest of the line told.

    A longer note ends an eighth before the rest: a soloist lets go in time.
    """
    rests = [rest.start for rest in plan.rests if "melody" in rest.players]
    if plan.resting("melody", plan.length):
        rests.append(plan.length)
    for slot, after in zip(found, (*found[1:], None), strict=True):
        until = after.onset if after is not None else plan.length + 1
        rest = next((start for start in rests if slot.onset < start < until), None)
        if rest is None:
            yield slot
            continue
        length = min(slot.length, rest - slot.onset)
        if slot.onset + length == rest and length > slot.eighth:
            length -= slot.eighth
        yield replace(slot, length=length, closes=True)
