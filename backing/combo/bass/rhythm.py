"""The rhythm of the bass: slots of a pass that the line fills with pitches.

Times are whole ticks, 24 to a beat: exact for triplets and sixteenths.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from backing.chart.bar import Meter
from backing.combo.bass.harmony import Emphasis, Harmony, harmony_of
from backing.combo.bass.style import BassStyle, read_bass_style
from backing.combo.cell import Cell
from backing.combo.plan import Accent, ChordSpan, Plan, PlanBar

TICKS = 24
"""Ticks in a beat."""
LAST_TRIPLET = 2 * TICKS // 3
"""A note here would fall together with a swung off-beat."""
PEDAL_BARS = 4
"""A figure over a pedal point is kept for so many bars at least."""
LONG = 4 * TICKS // 3
"""From this length a note is a chord tone."""


@dataclass(frozen=True, slots=True)
class BassSlot:
    """A place for one note: ``tick`` to ``end``, ``in_bar`` ticks after the bar line.

    ``touch``: 1 accented, 0 plain, -1 ghosted, as its cell says.
    """

    tick: int
    end: int
    in_bar: int
    span: ChordSpan
    harmony: Harmony
    bar: PlanBar
    place: Emphasis
    touch: int = 0
    accent: Accent | None = None

    @property
    def ticks(self) -> int:
        """The length of the slot in ticks."""
        return self.end - self.tick


def slots(plan: Plan, rng: random.Random) -> tuple[BassSlot, ...]:
    """The slots of a pass in order of time."""
    strokes = _strokes(plan, rng)
    accents = {in_ticks(accent.onset): accent for accent in plan.accents}
    for tick, accent in accents.items():
        strokes[tick] = (plan.bar_at(max(accent.onset, Fraction(0))), _FORCED)
    limit = in_ticks(min(plan.length, plan.following.start if plan.following else plan.length))
    rests = [(in_ticks(r.start), in_ticks(r.end)) for r in plan.rests if "bass" in r.players]
    holds = [(in_ticks(s.start) + 1, in_ticks(s.written) + 1) for s in plan.spans if s.early > 0]
    silent = rests + holds
    kept = sorted(
        tick
        for tick in strokes
        if tick < limit
        and (tick in accents or not any(start <= tick < end for start, end in silent))
        and not (tick % TICKS == LAST_TRIPLET and tick - LAST_TRIPLET + TICKS // 2 in strokes)
    )
    return tuple(_placed(plan, [*kept, limit], strokes, accents, rests))


@dataclass(frozen=True, slots=True)
class _BassStroke:
    """A stroke of a cell: ``ticks`` long, None where it is held until the next note."""

    tick: int
    ticks: int | None = None
    chance: float = 1
    touch: int = 0


_Strokes = dict[int, tuple[PlanBar, _BassStroke]]
_FORCED = _BassStroke(0)
"""A stroke of no cell: a new chord, or a hit of the band."""


def _strokes(plan: Plan, rng: random.Random) -> _Strokes:
    """Strokes by tick: those of the cells, and one for every chord that comes between."""
    strokes: _Strokes = {}
    kept: dict[tuple[int, bool], tuple[_BassStroke, ...]] = {}
    style: BassStyle | None = None
    for bar in plan.bars:
        mine = read_bass_style(bar.feel)
        pedal = _has_pedal_figure(bar, mine)
        keep = max(mine.keep, PEDAL_BARS) if pedal else mine.keep
        if mine is not style or (bar.bar.section_bar - 1) % keep == 0:
            kept, style = {}, mine
        start, length = in_ticks(bar.start), in_ticks(bar.bar.length)
        beats = int(bar.bar.length)
        parts = ((beats, 0),) if pedal else _parts(mine, beats, bar.bar.meter.groups)
        for part, offset in parts:
            if (part, pedal) not in kept:
                cells = _cells(mine, part, pedal)
                kept[part, pedal] = (
                    max(cells, key=lambda cell: cell[0].weight)[1]
                    if plan.plain
                    else _choose(cells, float(plan.tempo), bar.energy, rng)
                )
            for stroke in kept[part, pedal]:
                sounds = stroke.chance == 1 or rng.random() < stroke.chance
                if sounds and offset + stroke.tick < length:
                    strokes[start + offset + stroke.tick] = (bar, stroke)
    for span in plan.spans:
        tick = in_ticks(span.start)
        if tick not in strokes:
            strokes[tick] = (plan.bar_at(max(span.start, Fraction(0))), _FORCED)
    return strokes


def _has_pedal_figure(bar: PlanBar, style: BassStyle) -> bool:
    """Whether a bar has a pedal and the feel a pedal rhythm of its length."""
    pedal = bar.bar.directions.pedal is not None
    return pedal and any(cell.beats == bar.bar.length for cell in style.pedal)


@lru_cache(maxsize=256)
def _parts(style: BassStyle, beats: int, groups: tuple[int, ...]) -> tuple[tuple[int, int], ...]:
    """Beats and first tick of the parts of a bar: all of it, its groups, or threes and twos."""
    sizes = {cell.beats for cell in style.cells}
    parts: list[int] = []
    for size in (beats,) if beats in sizes else groups:
        threes = 0 if size in sizes else size % 2 if size > 1 else 0
        parts += [size] if size in sizes else [3] * threes + [2] * -(-(size - 3 * threes) // 2)
    return tuple((part, sum(parts[:at]) * TICKS) for at, part in enumerate(parts))


def _choose(
    options: Sequence[tuple[Cell, tuple[_BassStroke, ...]]],
    tempo: float,
    energy: float,
    rng: random.Random,
) -> tuple[_BassStroke, ...]:
    weights = [cell.suits(tempo, energy) for cell, _ in options]
    return rng.choices(options, weights if any(weights) else None)[0][1]


@lru_cache(maxsize=256)
def _cells(
    style: BassStyle, beats: int, pedal: bool
) -> tuple[tuple[Cell, tuple[_BassStroke, ...]], ...]:
    source = style.pedal if pedal else style.cells
    cells = [cell for cell in source if cell.beats == beats]
    return tuple((cell, tuple(_in_ticks(cell))) for cell in cells)


def _in_ticks(cell: Cell) -> Iterator[_BassStroke]:
    ends = [stroke.onset for stroke in cell.strokes[1:]] + [Fraction(cell.beats)]
    for stroke, end in zip(cell.strokes, ends, strict=True):
        held = stroke.onset + stroke.length == end
        ticks = None if held else in_ticks(stroke.length)
        yield _BassStroke(in_ticks(stroke.onset), ticks, stroke.chance, stroke.accent)


def _placed(
    plan: Plan,
    ticks: list[int],
    strokes: _Strokes,
    accents: dict[int, Accent],
    rests: list[tuple[int, int]],
) -> Iterator[BassSlot]:
    """Slots with their length, chord and place; none under N.C."""
    starts = [in_ticks(span.start) for span in plan.spans]
    harmonies = [
        harmony_of(span.chord, span.key, span.pedal) if span.chord else None for span in plan.spans
    ]
    at, last_bar, last_at, bar_start = -1, None, -1, 0
    for tick, following in pairwise(ticks):
        while at + 1 < len(starts) and (starts[at + 1] <= tick or (at < 0 and tick in accents)):
            at += 1
        harmony, (bar, stroke) = harmonies[at] if at >= 0 else None, strokes[tick]
        if harmony is None:
            continue
        if bar is not last_bar:
            bar_start = in_ticks(bar.start)
        accent = accents.get(tick)
        end = _end(tick, following, starts[at + 1 : at + 2], rests, accent)
        if stroke.ticks is not None:
            end = min(end, tick + stroke.ticks)
        if at != last_at:
            place = Emphasis.CHANGE
        elif bar is not last_bar:
            place = Emphasis.BAR
        else:
            place = _inner_place(tick - bar_start, end - tick, bar.bar.meter)
        last_bar, last_at = bar, at
        yield BassSlot(
            tick, end, tick - bar_start, plan.spans[at], harmony, bar, place, stroke.touch, accent
        )


def _inner_place(in_bar: int, ticks: int, meter: Meter) -> Emphasis:
    """HELD for long notes, STRONG on the first of a group and on beats in eighths; else WEAK."""
    if ticks >= LONG:
        return Emphasis.HELD
    in_eighths = ticks == TICKS // 2 and in_bar % TICKS == 0
    return Emphasis.STRONG if in_eighths or in_bar in _heads(meter) else Emphasis.WEAK


def _end(
    tick: int,
    following: int,
    chord_after: list[int],
    rests: list[tuple[int, int]],
    accent: Accent | None,
) -> int:
    """The end of a note: at the next one, the next chord, a rest, or its accent's end."""
    ends = [following, *chord_after]
    if accent is None or accent.kind not in ("hold", "last"):  # these ring on
        ends += [start for start, _ in rests if start > tick]
    if accent is not None and accent.kind != "push":
        ends.append(tick + in_ticks(accent.length))
    return min(ends)


@lru_cache(maxsize=64)
def _heads(meter: Meter) -> frozenset[int]:
    """The ticks of a bar at which a group of beats begins."""
    return frozenset(sum(meter.groups[:n]) * TICKS for n in range(len(meter.groups)))


def in_ticks(beats: Fraction) -> int:
    """Beats in whole ticks, rounded down."""
    return beats.numerator * TICKS // beats.denominator
