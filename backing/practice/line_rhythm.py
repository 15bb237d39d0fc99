"""When the notes of a line fall: unbroken, in slower values, or in phrases with fixed space."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from backing.chart.bar import Meter
from backing.combo.plan import ChordSpan, Plan, PlanBar
from backing.errors import PracticeError
from backing.practice.line import SLOW, Line
from backing.routine.ladder import eighth
from backing.routine.ladder import onsets as places

IDEA_BARS = 2
"""The length of an idea; of one bar where the whole is shorter than two ideas."""
DUPLE_CELLS = (((0, 1), 6), ((0,), 3), ((1,), 3), ((), 1))
TRIPLE_CELLS = (((0, 1, 2), 5), ((0, 2), 4), ((0,), 2), ((1, 2), 2))
"""The eighths of a beat that sound in a phrase, and their weights: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A note to be found: when (``onset``, ``length``, beats of the pass), and over which chord.

    ``beat``: it falls on a beat; ``downbeat``: on the first of a bar; ``triplet``: it is one of
    three to a beat, which do not swing; ``bound``: it follows the note before without a rest;
    ``last``: the held last note of an arrangement; ``closes``: it is the last one before somebody
    else has the floor.
    """

    onset: Fraction
    length: Fraction
    span: ChordSpan
    beat: bool
    downbeat: bool
    swung: bool
    eighth: Fraction
    triplet: bool = False
    bound: bool = True
    last: bool = False
    closes: bool = False

    @property
    def end(self) -> Fraction:
        """The beat at which the note ends."""
        return self.onset + self.length


def off_beat(meter: Meter) -> Fraction:
    """Where in a beat its off-beat falls: on the half, in compound meters on the last eighth."""
    return Fraction(2, 3) if meter.compound else Fraction(1, 2)


def slots(plan: Plan, line: Line, rng: random.Random) -> tuple[Slot, ...]:
    """The slots of a pass; none under N.C., in pickups, or where the melody is told to rest.

    Raises PracticeError where the bars are too few for the rhythm, or hold no chord.
    """
    found = list(_slots(plan, line, sorted(_onsets(plan, line, rng))))
    if not found:
        raise PracticeError(
            "There is no chord to play a line on in these bars.", "Choose bars with changes."
        )
    return tuple(_closing(plan, list(_bound(found))))


Onsets = list[tuple[Fraction, Fraction]]
"""Onset and length of notes, in beats of the pass."""


def _onsets(plan: Plan, line: Line, rng: random.Random) -> Onsets:
    match line.rhythm:
        case "phrases":
            return _phrased(plan, rng)
        case "call":
            return _called(plan, line.call_on, rng)
        case "off-beats":
            return _off_beats(plan)
    return _slow(plan, line.rhythm) if line.rhythm in SLOW else _unbroken(plan, line.rhythm)


def _unbroken(plan: Plan, value: str) -> Onsets:
    notes: Onsets = []
    for bar in plan.bars:
        starts = places(value, bar.bar.meter)
        step = starts[1] - starts[0]
        notes += [(bar.start + n, step) for n in starts if n + step <= bar.bar.length]
    return notes


def _off_beats(plan: Plan) -> Onsets:
    """An eighth on every off-beat, to the next beat."""
    return [
        (bar.start + beat + off, 1 - off)
        for bar in plan.bars
        for off in (off_beat(bar.bar.meter),)
        for beat in range(int(bar.bar.length))
    ]


def _slow(plan: Plan, value: str) -> Onsets:
    """One note for each of a slow value, and one where a chord comes in between."""
    times: set[Fraction] = set()
    for bar in plan.bars:
        starts = places(value, bar.bar.meter)
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


def _called(plan: Plan, call_on: str, rng: random.Random) -> Onsets:
    """Ideas, and as much space after each of them; turns go on from one round to the next."""
    bars = _line_bars(plan)
    if len(bars) < 2:
        raise PracticeError(
            f"A call and its answer need two bars at least; here is {len(bars) or 'none'}.",
            "Choose more bars, or a line in eighths.",
        )
    calls = [
        idea
        for number, idea in _ideas(plan)
        if number % 2 == 0 and not plan.resting("melody", idea[0].start)
    ]
    notes: Onsets = []
    for turn, idea in enumerate(calls, plan.take * len(calls)):
        notes += _placed(_rhythm(idea, rng, _call_start(idea, call_on, turn)), idea)
    return notes


def _call_start(idea: Sequence[PlanBar], call_on: str, turn: int) -> Fraction:
    """The beat on which a call starts, from the start of its idea.

    Raises PracticeError for a beat that its meter does not have.
    """
    meter = idea[0].bar.meter
    places = {"1": Fraction(0), "1&": off_beat(meter), "2": Fraction(1), "3": Fraction(2)}
    if eighth(meter) >= 1:
        del places["1&"]
    places = {name: beat for name, beat in places.items() if beat < meter.beats}
    if call_on == "turn":
        offered = [beat for beat in places.values() if beat < _room(idea)]
        return offered[turn % len(offered)]
    if call_on not in places:
        raise PracticeError(
            f"A bar of {meter} has no {call_on} to start a call on.",
            f"Choose {', '.join(places)} or turn.",
        )
    return places[call_on]


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


def _room(idea: Sequence[PlanBar]) -> int:
    """How many beats of an idea may sound: its last two (one in a single bar) are space."""
    beats = int(sum((bar.bar.length for bar in idea), Fraction(0)))
    return max(1, beats - (2 if len(idea) > 1 else 1))


def _rhythm(
    idea: Sequence[PlanBar], rng: random.Random, start: Fraction | None = None
) -> list[Fraction]:
    """Onsets from the start of an idea, the first at ``start`` (None: anywhere in its beat 1)."""
    step = min(Fraction(1), eighth(idea[0].bar.meter))
    cells = {2: DUPLE_CELLS, 3: TRIPLE_CELLS}.get(int(1 / step), (((0,), 1),))
    first = int(start or 0)
    room = max(first + 1, _room(idea))
    found: list[Fraction] = []
    for beat in range(first, room):
        offered = [(c, w) for c, w in cells if c] if beat in (first, room - 1) else list(cells)
        if beat == first and start is not None:
            begin = int((start - first) / step)
            offered = [(c, w) for c, w in offered if c[0] == begin] or [((begin,), 1)]
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
        off_beats = line.rhythm == "off-beats"
        step = length if off_beats else eighth(bar.bar.meter)
        early = (line.early or off_beats) and not plan.resting("melody", onset + step)
        span = _span(plan, onset, length, step, early=early)
        if span is None or span.chord is None:
            continue
        triplet = line.rhythm == "triplets" and not bar.bar.meter.compound
        # a chord pushed to the and does not cut a triplet short: swing puts it on the third one
        room = span.end - onset if span.end > onset and not triplet else length
        if final is not None:
            room = min(room, final.start - onset)
        slot = _slot(onset, min(length, room), span, bar)
        yield replace(slot, swung=False, triplet=True) if triplet else slot
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
