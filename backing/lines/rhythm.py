"""The rhythm of a line: one note value throughout, phrases with space, or calls."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from backing.chart.bar import Meter
from backing.combo.plan import ChordSpan, Plan, PlanBar
from backing.errors import PracticeError
from backing.lines.line import IDEAS, SLOW, LineRequest
from backing.routine.subdivisions import eighth
from backing.routine.subdivisions import onsets as places

IDEA_BARS = 2
"""The length of an idea; one bar where there are fewer than two ideas' worth."""
DUPLE_CELLS = (((0, 1), 6), ((0,), 3), ((1,), 3), ((), 1))
TRIPLE_CELLS = (((0, 1, 2), 5), ((0, 2), 4), ((0,), 2), ((1, 2), 2))
"""The eighths of a beat that sound in a phrase, and their weights: common practice, no source."""
IDEA_STARTS = {"1": 3, "1&": 3, "2": 3}
LATE_STARTS = {"1": 1, "1&": 2, "2": 2, "3": 3}
"""Where ideas start, and how often; late ones are those of level 4, and go on over the bar line:
common practice, no source."""
TURN_STARTS = {"1": 4, "1&": 3, "2": 3}
"""Where the first phrase of a turn starts, and the weights: common practice, no source."""
SPARED, SHORTEST_CALL = {0: 3, 1: 2, 2: 1}, 3
"""How many beats early a call may end, with weights, and the shortest call in beats: common
practice, no source."""


@dataclass(frozen=True, slots=True)
class LineSlot:
    """A note without its pitch: ``onset`` and ``length`` in beats of the pass, and its chord.

    ``beat``: it falls on a beat; ``downbeat``: on the first of a bar; ``triplet``: it is one of
    three to a beat, which do not swing; ``bound``: it follows the note before without a rest;
    ``opens``: it is the first of a call, or of a turn in trading; ``last``: the held
    last note of an arrangement; ``closes``: it is the last one before a rest of a beat, or of
    a turn in trading.
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
    opens: bool = False
    last: bool = False
    closes: bool = False

    @property
    def end(self) -> Fraction:
        """The beat at which the note ends."""
        return self.onset + self.length


def starts_freely(plan: Plan, line: LineRequest) -> bool:
    """Whether the first note may be any tone, since no pass leads on to it."""
    if line.rhythm in IDEAS:
        return True
    first = plan.bars[0]
    return _line_rests(first) or (starts_turn(plan, first) and not _line_rests(plan.bars[-1]))


def off_beat(meter: Meter) -> Fraction:
    """The off-beat within a beat: the half, in compound meters the last eighth."""
    return Fraction(2, 3) if meter.compound else Fraction(1, 2)


def slots(plan: Plan, line: LineRequest, rng: random.Random) -> tuple[LineSlot, ...]:
    """The slots of a pass; none under N.C., in pickups, or where the line rests.

    Raises PracticeError where the bars are too few for the rhythm, or hold no chord.
    """
    found = list(_slots(plan, line, sorted(_onsets(plan, line, rng))))
    if not found:
        raise PracticeError(
            "These bars have no chord to play a line on.", "Choose bars with changes."
        )
    return tuple(_closing(plan, list(_bound(plan, line, found))))


Onsets = list[tuple[Fraction, Fraction]]
"""Onset and length of notes, in beats of the pass."""


def _onsets(plan: Plan, line: LineRequest, rng: random.Random) -> Onsets:
    match line.rhythm:
        case "phrases":
            return _phrased(plan, rng, LATE_STARTS if line.level == 4 else IDEA_STARTS)
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
        if span.early > 0:  # a pushed chord is not repeated on its beat
            times.discard(span.written)
        times.add(max(span.start, Fraction(0)))
    ordered = [*sorted(t for t in times if t < plan.length), plan.length]
    return [(onset, end - onset) for onset, end in pairwise(ordered)]


def _phrased(plan: Plan, rng: random.Random, starts: Mapping[str, int]) -> Onsets:
    """Ideas and answers of the same rhythm; a turn in trading does not always start on 1."""
    notes: Onsets = []
    rhythm: list[Fraction] = []
    for number, idea in _ideas(plan):
        if number % 2 == 0 or _short(idea, rhythm):
            start = _turn_start(plan, idea, rng)
            rhythm = _rhythm(idea, rng, _idea_start(idea, rng, starts) if start is None else start)
        notes += _placed(rhythm, idea)
    return notes


def _idea_start(idea: Sequence[PlanBar], rng: random.Random, starts: Mapping[str, int]) -> Fraction:
    """Where an idea starts: also later in its bar, so that it goes on over the bar line."""
    places = _starts(idea[0].bar.meter)
    offered = [name for name in starts if name in places and places[name] < _room(idea)]
    (name,) = rng.choices(offered, [starts[name] for name in offered])
    return places[name]


def _turn_start(plan: Plan, idea: Sequence[PlanBar], rng: random.Random) -> Fraction | None:
    """The beat on which a turn starts, from the start of its idea; None where none begins."""
    if not starts_turn(plan, idea[0]):
        return None
    places = _starts(idea[0].bar.meter)
    offered = [name for name in TURN_STARTS if name in places and places[name] < _room(idea)]
    (name,) = rng.choices(offered, [TURN_STARTS[name] for name in offered])
    return places[name]


def starts_turn(plan: Plan, bar: PlanBar) -> bool:
    """Whether a turn of the line begins with a bar, as in trading."""
    if _line_rests(bar):
        return False
    if bar.index:
        return _line_rests(plan.bars[bar.index - 1])
    # the pass before is not known: in trading the others had its end
    shared = any(_line_rests(each) for each in plan.bars)
    return shared and (_line_rests(plan.bars[-1]) or "line" in plan.resting_next)


def _line_rests(bar: PlanBar) -> bool:
    return "line" in bar.bar.directions.lay_out


def _short(idea: Sequence[PlanBar], rhythm: Sequence[Fraction]) -> bool:
    """Whether an idea is too short for a rhythm and space after it."""
    return rhythm[-1] >= idea[-1].end - idea[0].start - 1


def _called(plan: Plan, call_on: str, rng: random.Random) -> Onsets:
    """Ideas, and as much space after each of them; turns go on from one time to the next."""
    bars = _line_bars(plan)
    if len(bars) < 2:
        raise PracticeError(
            f"A call and its answer need at least two bars; here there is {len(bars) or 'none'}.",
            "Choose more bars, or a line in eighths.",
        )
    calls = _calls(plan)
    notes: Onsets = []
    for turn, idea in enumerate(calls, (plan.earlier + plan.take) * len(calls)):
        start = _call_start(idea, call_on, turn)
        notes += _placed(_rhythm(idea, rng, start, _spared(idea, start, rng)), idea)
    return notes


def _calls(plan: Plan) -> list[Sequence[PlanBar]]:
    """Every second idea, no longer than the one after it, which is the answer's.

    Not the last one if the next pass would begin with another call.
    """
    ideas = [idea for _, idea in _ideas(plan)]
    calls: list[Sequence[PlanBar]] = []
    called = False
    for idea, answer in zip(ideas, [*ideas[1:], []], strict=True):
        called = not called and not plan.resting("line", idea[0].start)
        if called:
            followed = answer and not plan.resting("line", answer[0].start)
            calls.append(idea[: len(answer)] if followed else idea)
    if called and len(calls) > 1 and not plan.resting("line", plan.length):
        calls.pop()
    return calls


def _spared(idea: Sequence[PlanBar], start: Fraction, rng: random.Random) -> int:
    """How many beats early a call ends."""
    most = _room(idea) - int(start) - SHORTEST_CALL
    offered = [beats for beats in SPARED if beats <= max(0, most)]
    return rng.choices(offered, [SPARED[beats] for beats in offered])[0]


def _call_start(idea: Sequence[PlanBar], call_on: str, turn: int) -> Fraction:
    """The beat on which a call starts, from the start of its idea.

    Raises PracticeError for a beat that its meter does not have.
    """
    meter = idea[0].bar.meter
    places = _starts(meter)
    if call_on == "turn":
        offered = [beat for beat in places.values() if beat < _room(idea)]
        return offered[turn % len(offered)]
    if call_on not in places:
        raise PracticeError(
            f"A bar of {meter} has no {call_on} to start a call on.",
            f"Choose {', '.join(places)} or turn.",
        )
    return places[call_on]


def _starts(meter: Meter) -> dict[str, Fraction]:
    """Where in a bar an idea may start: the words of CALLS_ON that the meter has, in beats."""
    places = {"1": Fraction(0), "1&": off_beat(meter), "2": Fraction(1), "3": Fraction(2)}
    if eighth(meter) >= 1:
        del places["1&"]
    return {name: beat for name, beat in places.items() if beat < meter.beats}


def _line_bars(plan: Plan) -> list[PlanBar]:
    return [bar for bar in plan.bars if not bar.bar.pickup and bar.bar.changes]


def _ideas(plan: Plan) -> Iterator[tuple[int, list[PlanBar]]]:
    """The bars of each idea and its number: even ones are answered by odd ones.

    They are counted within a section, and anew where the line comes in or begins to rest.
    """
    bars = _line_bars(plan)
    size = IDEA_BARS if len(bars) >= 2 * IDEA_BARS else 1
    rests = [plan.resting("line", bar.start) for bar in bars]
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
    idea: Sequence[PlanBar], rng: random.Random, start: Fraction | None = None, spared: int = 0
) -> list[Fraction]:
    """Onsets from the start of an idea, the first at ``start`` (None: anywhere in its beat 1).

    ``spared``: so many beats of its room are space as well.
    """
    step = min(Fraction(1), eighth(idea[0].bar.meter))
    cells = {2: DUPLE_CELLS, 3: TRIPLE_CELLS}.get(int(1 / step), (((0,), 1),))
    first = int(start or 0)
    room = max(first + 1, _room(idea) - spared)
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


def _slots(plan: Plan, line: LineRequest, onsets: Onsets) -> Iterator[LineSlot]:
    final = plan.bars[-1] if plan.ends else None
    for onset, length in onsets:
        bar = plan.bar_at(onset)
        if plan.resting("line", onset) or bar.bar.pickup or not bar.bar.changes:
            continue
        if final is not None and onset >= final.start:
            continue
        off_beats = line.rhythm == "off-beats"
        step = length if off_beats else eighth(bar.bar.meter)
        early = (line.anticipate or off_beats) and not plan.resting("line", onset + step)
        span = _span(plan, onset, length, step, early=early)
        if span is None or span.chord is None:
            continue
        triplet = line.rhythm == "triplets" and not bar.bar.meter.compound
        # a triplet lasts up to a chord pushed to the and, which swing puts on the third triplet
        room = span.end - onset if span.end > onset and not triplet else length
        if final is not None:
            room = min(room, final.start - onset)
        slot = _slot(onset, min(length, room), span, bar)
        yield replace(slot, swung=False, triplet=True) if triplet else slot
    if final is not None and not plan.resting("line", final.start):
        last = plan.span_at(final.start)
        if last is not None and last.chord is not None:
            length = final.bar.length if final.bar.final == "held" else Fraction(1, 2)
            yield replace(_slot(final.start, length, last, final), last=True)


def _slot(onset: Fraction, length: Fraction, span: ChordSpan, bar: PlanBar) -> LineSlot:
    inside = onset - bar.start
    beat, duple = inside.denominator == 1, (2 * onset).denominator == 1
    return LineSlot(onset, length, span, beat, inside == 0, duple, eighth(bar.bar.meter))


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


def _bound(plan: Plan, line: LineRequest, found: Sequence[LineSlot]) -> Iterator[LineSlot]:
    """The slots, marked where they follow a rest of a beat or more, or begin a turn."""
    yield replace(found[0], bound=False, opens=True)
    for before, slot in pairwise(found):
        rest = slot.onset - before.end
        if rest < 1:
            yield slot
            continue
        others = any(_line_rests(b) and before.onset < b.start < slot.onset for b in plan.bars)
        yield replace(slot, bound=False, opens=others or (line.rhythm == "call" and rest >= 2))


def _closing(plan: Plan, found: Sequence[LineSlot]) -> Iterator[LineSlot]:
    """The slots, marked where they close before a rest.

    At the end of a turn a longer note ends an eighth early.
    """
    rests = [rest.start for rest in plan.rests if "line" in rest.players]
    if plan.resting("line", plan.length):
        rests.append(plan.length)
    for slot, after in zip(found, (*found[1:], None), strict=True):
        until = after.onset if after is not None else plan.length + 1
        rest = next((start for start in rests if slot.onset < start < until), None)
        if rest is None:
            leads_on = after.bound if after is not None else plan.length - slot.end < 1
            yield slot if leads_on else replace(slot, closes=True)
            continue
        length = min(slot.length, rest - slot.onset)
        if slot.onset + length == rest and length > slot.eighth:
            length -= slot.eighth
        yield replace(slot, length=length, closes=True)
