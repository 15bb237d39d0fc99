"""What the band of a page plays: a few takes of the chorus, told bar by bar.

The page goes round any run of bars, so every note is kept with the bar whose chord it sounds: an
anticipation or a push belongs to the bar it leads into, with a negative onset. Whatever bar comes
first in a loop brings its own anticipations with it, and what led elsewhere is not played.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate, takewhile

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.combo import click
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.instruments import (
    ACOUSTIC_BASS,
    COMPING,
    JAZZ_GUITAR,
    JAZZ_KIT,
    VIBES,
    Instrument,
)
from backing.combo.part import Note, Part
from backing.combo.performance import Performance
from backing.combo.plan import ChordSpan, Plan, make_plan
from backing.errors import PracticeError
from backing.lines import player
from backing.lines.line import CALLS_ON, SUBDIVISIONS
from backing.lines.player import Line
from backing.page.neck_data import SIGNS
from backing.routine.count_in import count_in
from backing.routine.drills import laying_out
from backing.routine.passes import Pass, Purpose
from backing.routine.request import CHORUSES, Request
from backing.routine.routine import Routine, make_routine
from backing.routine.subdivisions import values_in

TAKES = 3
"""So many choruses differ; then the first comes again."""
BAND = ("bass", "comp", "drums")
GUIDE_LINES = {"third": "3rd", "seventh": "7th"}
"""The guide-tone lines of the page, as the band calls them."""
BELOW = "comp below"
"""The comp as it is played below guide tones that are heard."""
INSTRUMENTS = {"bass": ACOUSTIC_BASS, "drums": JAZZ_KIT, "guide": VIBES}
"""What a player holds who has nothing to play."""
ENDINGS = ("held", "short", "slow")
"""How the whole form of a page can end, beside the one that is asked for."""
COUNTED_TEMPOS = (Fraction(60), Fraction(140), Fraction(240))
"""A tempo in each of the ranges in which a leader counts otherwise."""


@dataclass(frozen=True, slots=True)
class ScorePart:
    """One part through the chorus: ``takes`` of bars of notes, onsets in beats of their bar.

    A negative onset sounds in the bar before. Where there is one take it is played every time.
    ``around``: the bars of the head and of the last heads, as in ``Score.sides``.
    """

    name: str
    instrument: Instrument
    takes: tuple[tuple[tuple[Note, ...], ...], ...]
    around: tuple[tuple[Note, ...], ...] = ()

    def notes(self) -> Iterator[Note]:
        """All notes of all takes, and around them."""
        return (note for take in (*self.takes, self.around) for bar in take for note in bar)

    def keeping(self, bars: Sequence[int]) -> ScorePart:
        """The part with these bars alone of what is around it, if there is anything."""
        return replace(self, around=tuple(self.around[at] for at in bars if self.around))


@dataclass(frozen=True, slots=True)
class ScoreLine:
    """A line of the page, in the words that ask for its rhythm: "eighths", "call on 1&".

    ``part``: without ``around`` where the line is for loops alone.
    """

    words: str
    line: Line
    part: ScorePart


@dataclass(frozen=True, slots=True)
class Count:
    """A count-in for tempos up to ``up_to`` bpm: the strokes of each of its bars."""

    up_to: int
    bars: tuple[tuple[Note, ...], ...]


@dataclass(frozen=True, slots=True)
class Side:
    """Bars that are read together, and the plan of the band for them.

    ``shared``: so many bars of the plan come before ``bars``, and are those of another side.
    """

    bars: tuple[PlayedBar, ...]
    plan: Plan
    shared: int = 0


@dataclass(frozen=True)
class Score:
    """The chorus of a page: its bars, how the band plays them, and what is counted.

    ``plan`` is the first take's; ``head`` is what a track plays before, ``outs`` after with each
    ending: of all but the first there are only the bars from where they differ, perhaps none.
    ``etudes`` are the lines that can be chosen, or that follow each other: the one in ``lines``
    first. ``counts`` hold for the meter of the key, as ``rest_bars`` does: a bar of the hi-hat foot
    alone. Meters are written as in the tune: "4/4".
    """

    form: Form
    bars: tuple[PlayedBar, ...]
    plan: Plan
    head: Side
    outs: Mapping[str, Side]
    lines: tuple[ScorePart, ...]
    etudes: tuple[ScoreLine, ...]
    counts: dict[str, tuple[Count, ...]]
    rest_bars: dict[str, tuple[Note, ...]]
    kit: Instrument

    @property
    def sides(self) -> tuple[Side, ...]:
        """The solo chorus, the head, the last head, and other ways in which that ends."""
        outs = (side for side in self.outs.values() if side.bars)
        return Side(self.bars, self.plan), self.head, *outs

    def sides_in(self, form: Form) -> tuple[tuple[PlayedBar, ...], ...]:
        """The bars of ``sides`` in a form that is this one in another key."""
        head, *outs = around(form, tuple(self.outs))
        tails = (
            out.bars[self.outs[end].shared :] for end, out in zip(self.outs, outs, strict=True)
        )
        return form.played("solos"), head.bars, *filter(None, tails)


def around(form: Form, endings: Sequence[str]) -> tuple[Pass, ...]:
    """What a track plays around its solos: the head, and the last head with each ending."""
    requests = (Request(choruses=CHORUSES, count_in=0, ending=ending) for ending in endings)
    wholes = [make_routine(form, request).passes for request in requests]
    return wholes[0][0], *(passes[-1] for passes in wholes)


def make_score(form: Form, band: Band, line: Line | None = None, ending: str = "") -> Score:
    """The band's playing of the solo chorus of ``form``, a circle, TAKES times, and around it.

    ``line``: how the etude goes, unbroken eighths if nothing is said; ``ending``: how the whole
    form ends, too, beside ENDINGS. Raises FeelError for a feel that is unknown, RoutineError for
    such an ending, and PracticeError for a line that cannot be had.
    """
    rounds = make_routine(form, Request(times=TAKES, count_in=0))
    endings = tuple(dict.fromkeys((*ENDINGS, *filter(None, [ending]))))
    whole = replace(rounds, passes=around(form, endings))
    takes, outside = _planned(rounds, band), _planned(whole, band)
    lines = list(_played(takes, outside, replace(band, players=frozenset(BAND))))
    chords = any(span.chord for span in takes.plans[0].spans)
    if chords:
        under = replace(band, players=frozenset({"comp", "guide"}), guide_line="both")
        comp = next(part for part in _played(takes, outside, under) if part.name == "comp")
        lines.append(replace(comp, name=BELOW))
    once = _Planned(replace(rounds, passes=rounds.passes[:1]), takes.plans[:1])
    for name, guide_line in GUIDE_LINES.items() if chords else ():
        alone = replace(band, players=frozenset({"guide"}), guide_line=guide_line)
        lines += [replace(part, name=name) for part in _played(once, outside, alone)]
    line = line or Line()
    if chords:
        etudes = list(_etudes(takes, outside, line))
    else:
        silent = [_silent(name, takes.plans[0], outside.plans) for name in (*GUIDE_LINES, "etude")]
        lines += silent[:-1]
        etudes = [ScoreLine(rhythm_words(line), line, silent[-1])]
    lines.append(etudes[0].part)
    lines += [_clicked(takes.plans[0], outside, beats) for beats in click.BEATS]
    drums = next(line for line in lines if line.name == "drums")
    bars = rounds.passes[0].bars
    head, *outs = (Side(p.bars, plan) for p, plan in zip(whole.passes, outside.plans, strict=True))
    outs, kept = _without_shared(head, outs, [*lines, *(each.part for each in etudes)])
    etudes = [replace(each, part=each.part.keeping(kept)) for each in etudes]
    every = (*bars, *head.bars, *(bar for side in outs for bar in side.bars))
    firsts = {str(bar.meter): bar for bar in reversed(every)}
    return Score(
        form=form,
        bars=bars,
        plan=takes.plans[0],
        head=head,
        outs=dict(zip(endings, outs, strict=True)),
        lines=tuple(part.keeping(kept) for part in lines),
        etudes=tuple(etudes),
        counts={meter: tuple(_counts(bar)) for meter, bar in firsts.items()},
        rest_bars={meter: _rest_bar(form, band, bar) for meter, bar in firsts.items()},
        kit=drums.instrument,
    )


def looped(score: Score, band: Band, line: Line, bars: str) -> Score:
    """The score with its first etude over a loop of ``bars`` as a track plays it there.

    Raises SelectionError for bars that are not there, and PracticeError as ``make_score`` does.
    """
    first = score.etudes[0]
    if first.words != rhythm_words(line) or not any(span.chord for span in score.plan.spans):
        return score
    loop = _planned(make_routine(score.form, Request(bars=bars, times=TAKES, count_in=0)), band)
    played = loop.routine.passes[0].bars
    at = {score.bars.index(bar): number for number, bar in enumerate(played)}
    takes = tuple(
        tuple(own[at[number]] if number in at else bar for number, bar in enumerate(take))
        for take, plan in zip(first.part.takes, loop.plans, strict=False)
        for own in [by_bar(_fingered(plan, first.line), plan)]  # lies where that of the chorus does
    )
    part = replace(first.part, takes=takes)
    lines = tuple(part if each is first.part else each for each in score.lines)
    return replace(score, lines=lines, etudes=(replace(first, part=part), *score.etudes[1:]))


def _without_shared(
    head: Side, outs: Sequence[Side], lines: Sequence[ScorePart]
) -> tuple[list[Side], list[int]]:
    """The last heads from where they differ from the first of them, and which bars are left."""
    sides = (head, *outs)
    firsts = list(accumulate((len(side.bars) for side in sides), initial=0))
    found, kept = [outs[0]], [*range(firsts[2])]
    for side, first in zip(outs[1:], firsts[2:], strict=False):
        shared = _shared(outs[0], side, lines, firsts[1], first)
        found.append(replace(side, bars=side.bars[shared:], shared=shared))
        kept += range(first + shared, first + len(side.bars))
    return found, kept


def _shared(one: Side, other: Side, lines: Sequence[ScorePart], mine: int, theirs: int) -> int:
    """How many bars two sides begin with that are played alike, up to a chord that begins.

    ``mine`` and ``theirs``: where their bars begin in what is around a part.
    """
    around = [ln for ln in lines if ln.around]
    pairs = enumerate(zip(one.bars, other.bars, strict=False))
    alike = (
        a == b and all(ln.around[mine + at] == ln.around[theirs + at] for ln in around)
        for at, (a, b) in pairs
    )
    count = sum(1 for _ in takewhile(bool, alike))
    begins = {span.written for span in other.plan.spans}
    while 0 < count < len(other.bars) and other.plan.bars[count].start not in begins:
        count -= 1
    return count


@dataclass(frozen=True)
class _Planned:
    """A routine and the band's plan of each of its passes."""

    routine: Routine
    plans: tuple[Plan, ...]


def _planned(routine: Routine, band: Band) -> _Planned:
    occasion = band.occasion or routine.form.occasion or None
    plans = (make_plan(each, band.feel, band.seed, occasion) for each in routine.passes)
    return _Planned(routine, tuple(plans))


def _played(takes: _Planned, sides: _Planned, band: Band) -> Iterator[ScorePart]:
    """What every player of the band plays, also of one who has nothing to play."""
    performance, whole = arrange(takes.routine, band), arrange(sides.routine, band)
    usual = INSTRUMENTS | {"comp": COMPING[band.comp]}
    for name in sorted(band.players):
        parts, outside = (_parts(done, name) for done in (performance, whole))
        instrument = next((p.instrument for p in (*parts, *outside) if p), usual[name])
        yield ScorePart(
            name,
            instrument,
            tuple(map(by_bar, parts, takes.plans)),
            _around(outside, sides.plans),
        )


def _parts(performance: Performance, name: str) -> list[Part | None]:
    """The part of a player in each pass; None where he has nothing to play."""
    return [next((p for p in done.parts if p.name == name), None) for done in performance.passes]


def _around(parts: Sequence[Part | None], plans: Sequence[Plan]) -> tuple[tuple[Note, ...], ...]:
    """The bars of a part in the head and the last heads."""
    pairs = zip(parts, plans, strict=True)
    return tuple(bar for part, plan in pairs for bar in by_bar(part, plan, circular=False))


def _silent(name: str, plan: Plan, sides: Sequence[Plan]) -> ScorePart:
    """A part of a tune that gives it no chord to play on."""
    outside = _around([None] * len(sides), sides)
    return ScorePart(name, JAZZ_GUITAR, (by_bar(None, plan),), outside)


def _etudes(takes: _Planned, sides: _Planned, line: Line) -> Iterator[ScoreLine]:
    """The line in its position, or where the hand lies best; and what it can be exchanged for: the
    subdivisions that differ in these meters, and calls on each of their starts."""
    line = line.placed(takes.routine.passes[0].bars)
    bars = takes.routine.passes[0].bars
    values = [
        replace(line, rhythm=value, call_on="turn") for value in values_in(b.meter for b in bars)
    ]
    calls = [replace(line, rhythm="call", call_on=start) for start in CALLS_ON if start != "turn"]
    whole = {rhythm_words(each) for each in (line, *calls)}
    found: dict[str, ScoreLine] = {}
    for each in (line, *values, *calls):
        words = rhythm_words(each)
        if words in found or words == SUBDIVISIONS:
            continue
        try:
            part = _etude(takes, sides, each, around=words in whole)
        except PracticeError:
            if each is line:
                raise
            continue  # too few bars for a call, or a meter without such a beat
        found[words] = ScoreLine(words, each, part)
    yield from found.values()


def rhythm_words(line: Line) -> str:
    """The rhythm of a line in words: "call on 1&"."""
    return line.rhythm if line.call_on == "turn" else f"{line.rhythm} on {line.call_on}"


def _etude(takes: _Planned, sides: _Planned, line: Line, *, around: bool) -> ScorePart:
    """A line, another for each take that is to differ; ``around``: also in the heads."""
    plans = takes.plans[:1] if line.number else takes.plans
    bars = tuple(by_bar(_fingered(plan, line), plan) for plan in plans)
    outside = [_fingered(plan, line) for plan in sides.plans] if around else []
    return ScorePart("etude", JAZZ_GUITAR, bars, _around(outside, sides.plans[: len(outside)]))


def _fingered(plan: Plan, line: Line) -> Part:
    """The part of a line; the role of a note is its place: string, fret and finger as signs."""
    notes = player.played(plan, line)
    part = player.part_of(plan, notes)
    places = (f"{n.place.string}{SIGNS[n.place.fret]}{n.finger}" for n in notes)
    fingered = (replace(n, role=place) for n, place in zip(part.notes, places, strict=True))
    return replace(part, notes=tuple(fingered))


def _clicked(plan: Plan, sides: _Planned, beats: str) -> ScorePart:
    part, outside = click.play(plan, beats), [click.play(each, beats) for each in sides.plans]
    bars = (by_bar(part, plan),)
    return ScorePart(f"click {beats}", part.instrument, bars, _around(outside, sides.plans))


def by_bar(part: Part | None, plan: Plan, *, circular: bool = True) -> tuple[tuple[Note, ...], ...]:
    """The notes of a part, each in the bar it belongs to, with its onset counted from there.

    ``circular``: what leads on from the end belongs to the first bar, else to what comes.
    """
    bars: list[list[Note]] = [[] for _ in plan.bars]
    for note in part.notes if part else ():
        at = _home(note, plan, struck=part is not None and part.instrument.kit)
        if at == len(bars) and not circular:
            continue
        start = plan.bars[at].start if at < len(bars) else plan.length
        bars[at % len(bars)].append(replace(note, onset=note.onset - start))
    return tuple(tuple(sorted(bar, key=lambda note: (note.onset, note.pitch))) for bar in bars)


def _home(note: Note, plan: Plan, *, struck: bool) -> int:
    """The index of the bar whose chord a note sounds; the number of bars for the next round."""
    bar = plan.bar_at(note.onset)
    if struck and not note.together:
        return bar.index  # the ride goes on under a push
    span = plan.span_at(note.onset)
    for ahead in _ahead(span, plan):
        if ahead.written < bar.end:
            continue
        anticipates = ahead is not span and note.chord is not None and note.chord == ahead.chord
        pushed = ahead is span and ahead.early > 0
        if pushed or (anticipates and span is not None and note.chord != span.chord):
            return (
                plan.bar_at(ahead.written).index if ahead.written < plan.length else len(plan.bars)
            )
    return bar.index


def _ahead(span: ChordSpan | None, plan: Plan) -> Iterator[ChordSpan]:
    if span is not None:
        yield span
        following = plan.after(span)
        if following is not None:
            yield following


def _counts(first: PlayedBar) -> Iterator[Count]:
    """The count-ins of a leader before ``first``, from slow to fast."""
    limits = (click.SLOW_BPM, click.FAST_BPM, 1000)
    for tempo, up_to in zip(COUNTED_TEMPOS, limits, strict=True):
        counted = count_in(first, tempo)
        if counted is not None:
            plan = make_plan(counted)
            yield Count(up_to, by_bar(click.count_in(plan, tempo), plan))


def _rest_bar(form: Form, band: Band, bar: PlayedBar) -> tuple[Note, ...]:
    """One bar of the hi-hat foot alone, as it stands between the rounds of a loop."""
    drums = replace(band, players=frozenset({"drums"}))
    alone = circle(laying_out((bar,), 1), form.tempo)
    performance = arrange(Routine(form, (alone,), seamless=True), drums)
    return tuple(note for done in performance.passes for part in done.parts for note in part.notes)


def circle(bars: tuple[PlayedBar, ...], tempo: Fraction) -> Pass:
    """The bars as one round that leads to itself."""
    return Pass(Purpose.TIME, bars, tempo, reference_tempo=tempo, circular=True, leads_to=bars[0])
