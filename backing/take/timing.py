"""How the time and the accents of a take sat, beside the band's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log2, sqrt
from statistics import median

from backing.take.course import Course
from backing.take.grid import PlacedNote

FEWEST_TIMED = 12
FEWEST_PAIRS = 8
SHIFT_MS = 30.0
"""A bar this far from the rest of the take is told of: more than bars of a rhythm section wander,
whose bass and ride lie 15 to 25 ms apart in spread (common practice, no source)."""
SHIFT_SPREADS = 3.0
"""And so many standard errors."""
DRIFT_MS = 20.0
"""Over the whole take."""


@dataclass(frozen=True, slots=True)
class BarShift:
    """A bar (index in the course) whose notes lie ``ms`` behind the rest of the take (negative:
    ahead)."""

    bar: int
    ms: float


@dataclass(frozen=True, slots=True)
class Timing:
    """The time of a take; None where there are too few notes to say.

    ``late_ms``: how far notes on the beat lie behind it, the middle one; None where the recording
    cannot tell. ``spread_ms``: how far notes scatter around their own middle (standard deviation,
    from the middle half). ``drift_ms``: how much later the end is than the beginning. ``swing``:
    long to short eighths, the middle pair, and ``swing_spread``: the standard deviation of its
    log2; ``pairs``: of how many. ``band_swing``: the band's. ``accent``: how much louder notes off
    the beat are than those on it, in the unit of their levels. ``shifts``: bars apart from others.
    """

    notes: int
    late_ms: float | None = None
    spread_ms: float | None = None
    drift_ms: float | None = None
    swing: float | None = None
    swing_spread: float | None = None
    pairs: int = 0
    band_swing: float = 1.0
    accent: float | None = None
    shifts: tuple[BarShift, ...] = ()


def timing(course: Course, notes: Sequence[PlacedNote], *, absolute: bool) -> Timing:
    """The time of the notes; ``absolute``: the moment of the track is known to the millisecond."""
    timed = [note for note in notes if note.late_ms is not None and abs(note.late_ms) < 150]
    on = [note.late_ms for note in timed if note.slot == "on" and note.late_ms is not None]
    ratios = _ratios(course, notes)
    swings = [course.bars[note.bar].swing for note in notes]
    found = Timing(
        len(timed),
        late_ms=median(on) if absolute and len(on) >= FEWEST_TIMED else None,
        pairs=len(ratios),
        band_swing=median(swings) if swings else 1.0,
        accent=_accent(notes),
    )
    if len(ratios) >= FEWEST_PAIRS:
        logs = [log2(ratio) for ratio in ratios]
        found = replace(found, swing=median(ratios), swing_spread=_spread(logs))
    if len(timed) < FEWEST_TIMED:
        return found
    rest = _residuals(timed)
    spread = _spread([ms for _, ms in rest])
    return replace(
        found,
        spread_ms=spread,
        drift_ms=_drift(rest),
        shifts=tuple(_shifts(rest, max(spread, 6.0))),
    )


def _residuals(timed: Sequence[PlacedNote]) -> list[tuple[PlacedNote, float]]:
    """Each note's lateness beside the middle of its kind: on the beat, or off it."""
    middle = {
        slot: median([n.late_ms for n in timed if n.slot == slot and n.late_ms is not None])
        for slot in {note.slot for note in timed}
    }
    return [(n, n.late_ms - middle[n.slot]) for n in timed if n.late_ms is not None]


def _spread(values: Sequence[float]) -> float:
    """The standard deviation of a normal distribution with this middle half."""
    if len(values) < 4:
        return 0.0
    ordered = sorted(values)
    low, high = ordered[len(ordered) // 4], ordered[-1 - len(ordered) // 4]
    return (high - low) / 1.349


def _ratios(course: Course, notes: Sequence[PlacedNote]) -> list[float]:
    """Long to short of every pair of eighths on and off a beat that goes on to the next beat."""
    found = []
    for one, two, three in zip(notes, notes[1:], notes[2:], strict=False):
        if (one.slot, two.slot) != ("on", "off") or three.slot == "other":
            continue
        if (two.eighth - one.eighth, three.eighth - two.eighth) != (1, 1):
            continue
        if course.bars[one.bar].yours and three.beat > two.beat > one.beat:
            ratio = (two.beat - one.beat) / (three.beat - two.beat)
            if 0.4 < ratio < 5:
                found.append(ratio)
    return found


def _drift(rest: Sequence[tuple[PlacedNote, float]]) -> float | None:
    """By how many ms the take falls behind from its first to its last third, where it is clear."""
    third = len(rest) // 3
    if third < FEWEST_TIMED:
        return None
    first, last = [ms for _, ms in rest[:third]], [ms for _, ms in rest[-third:]]
    return median(last) - median(first)


def _shifts(rest: Sequence[tuple[PlacedNote, float]], spread: float) -> list[BarShift]:
    """Bars whose middle lies clearly apart from the bars around them."""
    by_bar: dict[int, list[float]] = {}
    for note, ms in rest:
        by_bar.setdefault(note.bar, []).append(ms)
    found = []
    for bar, mine in by_bar.items():
        around = [ms for other, each in by_bar.items() if 0 < abs(other - bar) <= 8 for ms in each]
        if len(mine) < 3 or len(around) < FEWEST_TIMED:
            continue
        away = median(mine) - median(around)
        error = 1.25 * spread / sqrt(len(mine))
        if abs(away) >= max(SHIFT_MS, SHIFT_SPREADS * error):
            found.append(BarShift(bar, away))
    return found


def _accent(notes: Sequence[PlacedNote]) -> float | None:
    on = [note.note.level for note in notes if note.slot == "on"]
    off = [note.note.level for note in notes if note.slot == "off"]
    if min(len(on), len(off)) < FEWEST_PAIRS:
        return None
    return sum(off) / len(off) - sum(on) / len(on)
