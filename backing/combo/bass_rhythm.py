"""When the bass plays: the slots of a pass that its line then fills with pitches.

Times are whole ticks, 24 to a beat: fine enough for triplets and sixteenths, and quick.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from backing.chart.form import Meter
from backing.combo.bass_harmony import Harmony, Place, harmony_of
from backing.combo.bass_style import BassStyle, read_style
from backing.combo.cell import Cell
from backing.combo.plan import Accent, ChordSpan, Plan, PlanBar

TICKS = 24
"""Ticks in a beat."""
LONG = 3 * TICKS // 2
"""From this length a note stands out and wants a chord tone."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A place for one note: ``tick`` to ``end``, ``in_bar`` ticks after the bar line."""

    tick: int
    end: int
    in_bar: int
    span: ChordSpan
    harmony: Harmony
    bar: PlanBar
    place: Place
    accent: Accent | None = None

    @property
    def ticks(self) -> int:
        """The length of the slot in ticks."""
        return self.end - self.tick


def slots(plan: Plan, rng: random.Random) -> tuple[Slot, ...]:
    """The slots of a pass in order of time; where nothing is to be played there is none."""
    strokes = _strokes(plan, rng)
    accents = {in_ticks(accent.onset): accent for accent in plan.accents}
    for tick, accent in accents.items():
        strokes[tick] = plan.bar_at(max(accent.onset, Fraction(0)))
    limit = in_ticks(min(plan.length, plan.following.start if plan.following else plan.length))
    rests = [(in_ticks(r.start), in_ticks(r.end)) for r in plan.rests if "bass" in r.players]
    holds = [(in_ticks(s.start) + 1, in_ticks(s.written) + 1) for s in plan.spans if s.early > 0]
    silent = rests + holds
    kept = sorted(
        tick
        for tick in strokes
        if tick < limit
        and (tick in accents or not any(start <= tick < end for start, end in silent))
    )
    return tuple(_placed(plan, [*kept, limit], strokes, accents, rests))


Strokes = tuple[tuple[int, float], ...]
"""The strokes of a cell: tick and chance."""


def _strokes(plan: Plan, rng: random.Random) -> dict[int, PlanBar]:
    """Tick -> bar of the rhythm alone, and of the chords that come in between its strokes."""
    strokes: dict[int, PlanBar] = {}
    kept: dict[int, Strokes] = {}
    style: BassStyle | None = None
    for bar in plan.bars:
        mine = read_style(bar.feel)
        if mine is not style or (bar.bar.section_bar - 1) % mine.keep == 0:
            kept, style = {}, mine
        start = in_ticks(bar.start)
        for offset in _bar_rhythm(bar, mine, float(plan.tempo), kept, rng):
            strokes[start + offset] = bar
    for span in plan.spans:
        strokes.setdefault(in_ticks(span.start), plan.bar_at(max(span.start, Fraction(0))))
    return strokes


def _bar_rhythm(
    bar: PlanBar, style: BassStyle, tempo: float, kept: dict[int, Strokes], rng: random.Random
) -> Iterator[int]:
    length, start = in_ticks(bar.bar.length), 0
    for part in _parts(style, int(bar.bar.length), bar.bar.meter.groups):
        if part not in kept:
            kept[part] = _choose(style, part, tempo, bar.energy, rng)
        for tick, chance in kept[part]:
            sounds = chance == 1 or rng.random() < chance
            if sounds and start + tick < length:
                yield start + tick
        start += part * TICKS


@lru_cache(maxsize=256)
def _parts(style: BassStyle, beats: int, groups: tuple[int, ...]) -> tuple[int, ...]:
    """A bar as the cells of the style can fill it: whole, by its groups, or those by 3 and 2."""
    sizes = {cell.beats for cell in style.cells}
    parts: list[int] = []
    for size in (beats,) if beats in sizes else groups:
        threes = 0 if size in sizes else size % 2 if size > 1 else 0
        parts += [size] if size in sizes else [3] * threes + [2] * -(-(size - 3 * threes) // 2)
    return tuple(parts)


def _choose(
    style: BassStyle, beats: int, tempo: float, energy: float, rng: random.Random
) -> Strokes:
    cells, strokes = _cells(style, beats)
    at = [n for n, cell in enumerate(cells) if cell.fits(tempo, energy)] or list(range(len(cells)))
    return strokes[at[0] if len(at) == 1 else rng.choices(at, [cells[n].weight for n in at])[0]]


@lru_cache(maxsize=256)
def _cells(style: BassStyle, beats: int) -> tuple[list[Cell], list[Strokes]]:
    cells = [cell for cell in style.cells if cell.beats == beats]
    return cells, [tuple((in_ticks(s.onset), s.chance) for s in c.strokes) for c in cells]


def _placed(
    plan: Plan,
    ticks: list[int],
    strokes: dict[int, PlanBar],
    accents: dict[int, Accent],
    rests: list[tuple[int, int]],
) -> Iterator[Slot]:
    """Slots with their length, chord and place; none where there is no chord."""
    starts = [in_ticks(span.start) for span in plan.spans]
    harmonies = [
        harmony_of(span.chord, span.key, span.pedal) if span.chord else None for span in plan.spans
    ]
    at, last_bar, last_at, bar_start = -1, None, -1, 0
    for tick, following in pairwise(ticks):
        while at + 1 < len(starts) and starts[at + 1] <= tick:
            at += 1
        harmony, bar = harmonies[at] if at >= 0 else None, strokes[tick]
        if harmony is None:
            continue
        if bar is not last_bar:
            bar_start = in_ticks(bar.start)
        accent = accents.get(tick)
        end = _end(tick, following, starts[at + 1 : at + 2], rests, accent)
        if at != last_at:
            place = Place.CHANGE
        elif bar is not last_bar:
            place = Place.BAR
        else:
            strong = end - tick >= LONG or tick - bar_start in _heads(bar.bar.meter)
            place = Place.STRONG if strong else Place.WEAK
        last_bar, last_at = bar, at
        yield Slot(tick, end, tick - bar_start, plan.spans[at], harmony, bar, place, accent)


def _end(
    tick: int,
    following: int,
    chord_after: list[int],
    rests: list[tuple[int, int]],
    accent: Accent | None,
) -> int:
    """Where the note of a slot ends: at the next one, the next chord, a rest, its accent's end."""
    ends = [following, *chord_after, *(start for start, _ in rests if start > tick)]
    if accent is not None and accent.kind != "push":
        ends.append(tick + in_ticks(accent.length))
    return min(ends)


@lru_cache(maxsize=64)
def _heads(meter: Meter) -> frozenset[int]:
    """The ticks of a bar at which a group of beats begins."""
    return frozenset(sum(meter.groups[:n]) * TICKS for n in range(len(meter.groups)))


def in_ticks(beats: Fraction) -> int:
    """Beats in whole ticks (downwards)."""
    return beats.numerator * TICKS // beats.denominator
