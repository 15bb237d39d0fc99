"""The comping rhythm of a pass, chosen before anyone plays.

Figures of one or more bars come from the feel. One is drawn by its weight and taken if it
suits its place: are the chords heard, is the bar as full as it should be, has the figure been
played too often, does it leave room for a drum fill. Times are counted in ticks of 1/24 beat.
"""

from __future__ import annotations

import math
import random
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate, pairwise

from backing.combo.cell import MEDIUM, SHORT, Stroke
from backing.combo.comp.style import (
    TICKS,
    CompFigure,
    CompingStyle,
    figures_for,
    read_comp_style,
    to_ticks,
)
from backing.combo.plan import Accent, ChordSpan, CompStroke, Plan, PlanBar

HALF = TICKS // 2
LIFT = TICKS // 8
"""The gap before a chord that is played again."""
MOST_ALIKE = 4
"""So many bars in a row may have one figure, unless the feel is an ostinato."""
FRESH = (1.0, 0.8, 0.25, 0.1, 0.05, 0.05)
"""How well a figure suits after so many bars of it in a row."""
TRIES = 10
MOOD = 1.0
"""How far the fullness of a section is from the usual, in strokes per four beats (spread)."""
PULL = 1.7
"""How strongly the fullness of a place draws figures that are as full."""
LIKING = 0.9
"""Spread (log) of how much a figure is liked in a chorus."""
SILENCE = 0.13
"""How often a bar is silent, at an energy of a half (ours: 8 to 10 bars of 100)."""


@dataclass(slots=True)
class _Struck:
    """A stroke of a figure in its place; ``held``: only the next one ends it (ticks)."""

    tick: int
    end: int
    held: bool
    stroke: Stroke


def strokes(plan: Plan, rng: random.Random, comp: str = "piano") -> tuple[CompStroke, ...]:
    """The comping rhythm of a pass for ``comp``, a name in instruments.COMPING, in order of time.

    What the whole band strikes is in it (``together``).
    """
    score = _Score(plan)
    struck = _four(plan) if comp == "four" else _touched(plan, _figures(plan, score, rng))
    return _with_accents(plan, score, [s for s in struck if score.free(s.tick)])


class _Score:
    """What a rhythm has to suit, in ticks: the chords, and the room others need."""

    def __init__(self, plan: Plan) -> None:
        spans = list(plan.spans)
        if plan.following is not None:
            spans.append(plan.following)
        self.spans: Sequence[ChordSpan] = spans
        self.starts = [to_ticks(span.start) for span in spans]
        self.ends = [to_ticks(span.end) for span in spans]
        self.wanted = [
            span.chord is not None and end - start >= 2 * TICKS
            for span, start, end in zip(spans, self.starts, self.ends, strict=True)
        ]
        self.careful, self.plain = plan.careful, plan.plain
        self.heard: set[int] = set()
        self._closed = [_around_accent(a.onset, a.span.written) for a in plan.accents]
        if plan.following is not None and plan.following.start < plan.length:
            self._closed.append(_around_accent(plan.following.start, plan.length))
        self._closed += [
            (to_ticks(r.start), to_ticks(r.end) - 1) for r in plan.rests if "comp" in r.players
        ]

    def free(self, tick: int) -> bool:
        """Whether a plain stroke may stand at ``tick``."""
        return not any(start <= tick <= end for start, end in self._closed)

    def sounding(self, tick: int) -> int:
        """The index of the chord a stroke sounds: the next one, just before it comes."""
        at = max(0, bisect_right(self.starts, tick) - 1)
        following = at + 1
        if tick % TICKS and following < len(self.starts) and self.starts[following] - tick <= HALF:
            return following
        return at

    def unheard(self, start: int, end: int, onsets: Sequence[int]) -> int:
        """How many chords begin in [start, end) and neither sound at ``onsets`` nor did before."""
        first = bisect_right(self.starts, start - 1)
        last = bisect_right(self.starts, end - 1)
        missing = {i for i in range(first, last) if self.wanted[i] and i not in self.heard}
        return len(missing.difference(map(self.sounding, onsets))) if missing else 0


def _around_accent(onset: Fraction, written: Fraction) -> tuple[int, int]:
    """The ticks kept free around an accent; a push is not repeated on its written beat."""
    at = to_ticks(onset)
    return at - HALF, max(at + HALF - 1, to_ticks(written))


def _figures(plan: Plan, score: _Score, rng: random.Random) -> list[_Struck]:
    struck: list[_Struck] = []
    past: list[tuple[int, ...]] = []
    last: CompFigure | None = None
    begun: dict[int, CompFigure] = {}
    at, bars, mood = 0, plan.bars, 0.0
    taste = _Taste(rng.getrandbits(32))
    while at < len(bars):
        room = _room(bars, at)
        if not room:
            past, last, begun, at = [], None, {}, at + 1
            continue
        bar = bars[at]
        if at and (bar.feel, bar.bar.meter) != (bars[at - 1].feel, bars[at - 1].bar.meter):
            past, last, begun = [], None, {}
        style = read_comp_style(bar.feel)
        if bar.section_top:
            mood = rng.gauss(0, MOOD)
        before = struck[-1].tick if struck else -TICKS
        if bar.bar.section_bar % 4 == 3:
            last = begun.get(at - 2, last)  # play the call again, with another answer
        place = _FigureContext(plan.tempo, bars, at, room, style, past, last, before, mood, taste)
        figure = _choose(place, score, rng)
        start = to_ticks(bar.start)
        struck += _played(figure, start, style, rng)
        score.heard.update(score.sounding(start + onset) for onset in figure.onsets)
        past = (past + list(figure.patterns))[-MOST_ALIKE:]
        last = begun[at] = figure
        at += len(figure.patterns)
    return struck


class _Taste:
    """What a player likes in one chorus, so that choruses differ: some figures more than others."""

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._known: dict[int, tuple[float, ...]] = {}

    def of(
        self, figures: tuple[CompFigure, ...], weights: tuple[float, ...]
    ) -> tuple[tuple[CompFigure, ...], tuple[float, ...]]:
        """The figures with their summed weights, as they are liked in this chorus."""
        if id(figures) not in self._known:
            dice = random.Random(self._seed)
            single = [b - a for a, b in pairwise((0.0, *weights))]
            liked = accumulate(w * dice.lognormvariate(0, LIKING) for w in single)
            self._known[id(figures)] = tuple(liked)
        return figures, self._known[id(figures)]


def _room(bars: Sequence[PlanBar], at: int) -> int:
    """How many bars from ``at`` a figure may cover: alike, of one section, free of accents."""
    first, room = bars[at], 0
    for bar in bars[at : at + 4]:
        played, directions = bar.bar, bar.bar.directions
        if (
            played.pickup
            or played.final
            or not played.changes
            or directions.hits
            or directions.only is not None
            or played.meter != first.bar.meter
            or bar.feel is not first.feel
            or (room and bar.section_top)
        ):
            break
        room += 1
    return room


@dataclass(frozen=True, slots=True)
class _FigureContext:
    """Where a figure is wanted, and what was played before it."""

    tempo: Fraction
    bars: Sequence[PlanBar]
    at: int
    room: int
    style: CompingStyle
    past: Sequence[tuple[int, ...]]
    last: CompFigure | None
    last_tick: int
    mood: float
    taste: _Taste

    @property
    def bar(self) -> PlanBar:
        return self.bars[self.at]


def _choose(place: _FigureContext, score: _Score, rng: random.Random) -> CompFigure:
    """Draw figures by weight until one suits its place; after TRIES take the best."""
    bar = place.bar
    again = place.last if rng.random() < place.style.repeat else None
    if again and len(again.patterns) <= place.room and rng.random() < _suits(again, place, score):
        return again
    figures, weights = place.taste.of(
        *figures_for(bar.feel, bar.bar.meter, place.room, place.tempo)
    )
    if rng.random() < _silence(place, score):
        quiet = next((f for f in figures if not f.onsets and len(f.patterns) == 1), None)
        if quiet is not None:
            return quiet
    best, best_suits = figures[0], -1.0
    for _ in range(TRIES):
        figure = rng.choices(figures, cum_weights=weights)[0]
        suits = _suits(figure, place, score)
        if suits > best_suits:
            best, best_suits = figure, suits
        if rng.random() < suits:
            return figure
    return best


def _silence(place: _FigureContext, score: _Score) -> float:
    """How often a bar is left to the others: less with energy, never two in a row or at a top."""
    played = bool(place.past) and bool(place.past[-1])
    if score.careful or place.style.ostinato or not played or place.bar.section_top:
        return 0.0
    return SILENCE * (1.5 - place.bar.energy)


def _suits(figure: CompFigure, place: _FigureContext, score: _Score) -> float:
    """How well a figure suits its place, from 0 to 1."""
    bar, style = place.bar, place.style
    if not figure.energy[0] <= bar.energy <= figure.energy[1]:
        return 0.0
    if not style.ostinato and _worn(place.past, figure.patterns):
        return 0.0
    start = to_ticks(bar.start)
    onsets = [start + onset for onset in figure.onsets]
    missing = score.unheard(start, start + figure.ticks, onsets)
    sparse = 1.2 * (0.75 - bar.energy)  # where little is played some chords go by
    unheard = style.unheard * 0.3 if score.careful else max(style.unheard, sparse)
    suits = unheard**missing
    low, high = style.fullness
    last = place.bars[place.at + len(figure.patterns) - 1]
    wanted = low + (high - low) * last.energy + place.mood * (0.5 if style.ostinato else 1)
    # more at the end of four bars, less at the top of a section
    wanted += 0.4 * last.phrase_end - 0.3 * bar.section_top
    suits *= math.exp(-PULL * abs(figure.fullness - wanted))
    if not style.ostinato:
        suits *= _fresh(place.past, figure)
    if score.plain:
        # on the beats a learner counts, and few
        suits *= 0.05 ** sum(onset % TICKS > 0 for onset in onsets)
        suits *= 0.5 ** max(0, len(onsets) - 2 * len(figure.patterns))
    if onsets and onsets[0] - place.last_tick <= HALF:
        suits *= 0.25  # an anticipated chord need not be repeated
    if last.fill:
        fill = to_ticks(last.end - last.fill)
        suits *= 0.6 ** sum(onset >= fill for onset in onsets)
    return suits


def _fresh(past: Sequence[tuple[int, ...]], figure: CompFigure) -> float:
    """How fresh a figure still is, from 1 down: less with each bar in a row.

    One that stays on the beat tires at once.
    """
    pattern, running = figure.patterns[0], 0
    for before in reversed(past):
        if before != pattern:
            break
        running += 1
    on_the_beat = len(pattern) > 1 and not any(onset % TICKS for onset in pattern)
    return (FRESH[1:] if on_the_beat and running else FRESH)[running]


def _worn(past: Sequence[tuple[int, ...]], patterns: Sequence[tuple[int, ...]]) -> bool:
    """Whether bars in a row would have one figure more often than MOST_ALIKE times."""
    bars = [*past, *patterns]
    return any(
        bars[i] and all(bar == bars[i] for bar in bars[i : i + MOST_ALIKE + 1])
        for i in range(len(bars) - MOST_ALIKE)
    )


def _played(
    figure: CompFigure, start: int, style: CompingStyle, rng: random.Random
) -> list[_Struck]:
    struck = []
    for stroke, onset in zip(figure.strokes, figure.onsets, strict=True):
        if stroke.chance < 1 and rng.random() >= stroke.chance:
            continue
        end = start + onset + to_ticks(stroke.length)
        held = stroke.length > MEDIUM
        if end == start + figure.ticks and stroke.length == MEDIUM:
            held = rng.random() < style.hold
        struck.append(_Struck(start + onset, end, held, stroke))
    return struck


def _touched(plan: Plan, struck: list[_Struck]) -> list[_Struck]:
    """The strokes with the hits of the head, short and light, in place of a bar's figure."""
    for bar in plan.bars:
        if bar.light:
            start, end = to_ticks(bar.start), to_ticks(bar.end)
            struck = [s for s in struck if not start <= s.tick < end]
            touch = Stroke(Fraction(0), SHORT)
            at = [start + to_ticks(beat) for beat in bar.light]
            struck += [_Struck(tick, tick + to_ticks(SHORT), False, touch) for tick in at]
    return sorted(struck, key=lambda s: s.tick)


_FOUR = (
    Stroke(Fraction(0), Fraction(5, 8), accent=-1),
    Stroke(Fraction(0), Fraction(1, 2)),
)
"""Rhythm guitar: a longer stroke, then a shorter and stronger one on 2 and 4 (common practice)."""


def _four(plan: Plan) -> list[_Struck]:
    struck = []
    for at, bar in enumerate(plan.bars):
        if _room(plan.bars, at):
            for beat in range(int(bar.bar.length)):
                stroke = _FOUR[beat % 2]
                start = to_ticks(bar.start) + beat * TICKS
                struck.append(_Struck(start, start + to_ticks(stroke.length), False, stroke))
    return struck


def _with_accents(plan: Plan, score: _Score, struck: Sequence[_Struck]) -> tuple[CompStroke, ...]:
    """The strokes with the hits of the whole band; each ends before the next one."""
    starts = sorted({s.tick for s in struck} | {to_ticks(a.onset) for a in plan.accents})
    found = [_accent(a, starts) for a in plan.accents if a.span.chord is not None]
    for one in struck:
        index = score.sounding(one.tick)
        span = score.spans[index]
        if span.chord is None:
            continue
        end = max(score.ends[index], one.end) if one.held else one.end
        found.append(
            CompStroke(
                Fraction(one.tick, TICKS),
                _length(one.tick, min(end, one.tick + 8 * TICKS), starts),
                span,
                one.stroke.accent,
                one.stroke.swung,
                tempos=one.stroke.tempos,
            )
        )
    return _as_one(sorted(found, key=lambda s: s.onset))


def _as_one(found: Sequence[CompStroke]) -> tuple[CompStroke, ...]:
    """The strokes, with swung ones cut so that they end before unswung ones."""
    settled = [
        one if after.swung or not one.swung else _before_triplet(one, after.onset)
        for one, after in pairwise(found)
    ]
    return (*settled, *found[-1:])


def _before_triplet(stroke: CompStroke, triplet: Fraction) -> CompStroke:
    """A swung stroke that ends before an unswung onset whatever the swing."""
    if stroke.onset.denominator == 1:
        return replace(stroke, swung=False)
    beat = Fraction(triplet.__floor__())
    end = stroke.onset + stroke.length
    return replace(stroke, length=beat - stroke.onset) if stroke.onset < beat < end else stroke


def _accent(accent: Accent, starts: Sequence[int]) -> CompStroke:
    start = to_ticks(accent.onset)
    length = _length(start, start + to_ticks(accent.length), starts)
    return CompStroke(accent.onset, length, accent.span, 1, together=True)


def _length(start: int, end: int, starts: Sequence[int]) -> Fraction:
    """The length in beats of a stroke that ends at ``end``, or just before the next one."""
    at = bisect_right(starts, start)
    if at < len(starts) and end > starts[at] - LIFT:
        end = max(starts[at] - LIFT, start + LIFT)
    return Fraction(end - start, TICKS)
