"""What a drum part is like, in the figures that research counts.

A *played* pass is a plan with the part played over it; all functions take several. Figures are of
time-keeping bars: those without a fill, a set-up or a stroke of the whole band. Shares are from
0 to 1, velocities as sent.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from statistics import mean, median

from backing.combo import instruments as kit
from backing.combo.part import Note, Part
from backing.combo.plan import Plan, PlanBar

Played = tuple[Plan, Part]
SNARES = (kit.SNARE, kit.SIDE_STICK)


@dataclass(frozen=True, slots=True)
class DrumFigures:
    """The figures of some passes in 4/4.

    ``ride``: share of bars with a ride stroke on beats 1-4; ``skips``: on their off-beats.
    ``back_beat``: mean ride velocity on 2 and 4 less that on 1 and 3; ``skip_drop``: the median
    of what a skip is softer than the beat before it. ``foot``: share of bars with the hi-hat foot
    on 2 and 4; ``foot_elsewhere`` on 1 or 3. ``feather``: share of beats with a feathered kick,
    ``feather_loudest`` its highest velocity. ``snare_off``, ``snare_on``: share of off-beats and
    beats with a snare; ``snare_median``: its velocity. ``onsets``: places struck in a bar, fills
    and all. ``crashes``: in a pass.
    """

    ride: tuple[float, ...]
    skips: tuple[float, ...]
    ride_per_bar: float
    back_beat: float
    skip_drop: float
    foot: float
    foot_elsewhere: float
    feather: float
    feather_loudest: int
    snare_off: float
    snare_on: float
    snare_median: float
    kick_comments: float
    onsets: float
    crashes: float


@dataclass
class _Bar:
    """A bar of the part: velocity by place (beats from its bar line) for each key."""

    plan: PlanBar
    keys: dict[int, dict[Fraction, Note]] = field(default_factory=dict)

    def at(self, key: int, beat: Fraction) -> Note | None:
        return self.keys.get(key, {}).get(beat)


def figures(played: Iterable[Played], tempo: int | None = None) -> DrumFigures:
    """The figures of passes; ``tempo`` (bpm) plays them at another tempo than the plan's."""
    played = list(played)
    every = [bar for plan, part in played for bar in _bars(plan, part, tempo)]
    plain = [bar for bar in every if not bar.plan.fill and not bar.plan.set_up]
    ride = [_share(plain, kit.RIDE, Fraction(b)) for b in range(4)]
    skips = [_share(plain, kit.RIDE, b + Fraction(1, 2)) for b in range(4)]
    snares = [n for bar in plain for n in bar.keys.get(kit.SNARE, {}).values()]
    feathers = [n for bar in plain for n in _kicks(bar) if n.role == "feather"]
    return DrumFigures(
        ride=tuple(ride),
        skips=tuple(skips),
        ride_per_bar=mean(len(bar.keys.get(kit.RIDE, {})) for bar in plain),
        back_beat=_loud(plain, (1, 3)) - _loud(plain, (0, 2)),
        skip_drop=median(_drops(plain) or [0]),
        foot=mean(all(bar.at(kit.PEDAL_HAT, Fraction(b)) for b in (1, 3)) for bar in plain),
        foot_elsewhere=mean(
            any(bar.at(kit.PEDAL_HAT, Fraction(b)) for b in (0, 2)) for bar in plain
        ),
        feather=len(feathers) / (4 * len(plain)),
        feather_loudest=max((n.velocity for n in feathers), default=0),
        snare_off=mean(_share(plain, kit.SNARE, b + Fraction(1, 2)) for b in range(4)),
        snare_on=mean(_share(plain, kit.SNARE, Fraction(b)) for b in range(4)),
        snare_median=median([n.velocity for n in snares] or [0]),
        kick_comments=mean(sum(n.role == "comment" for n in _kicks(bar)) for bar in plain),
        onsets=mean(len({b for notes in bar.keys.values() for b in notes}) for bar in every),
        crashes=mean(sum(n.pitch == kit.CRASH for n in part.notes) for _, part in played),
    )


def off_beats_shared(played: Iterable[Played]) -> float:
    """The most ms by which any two strokes on one off-beat lie apart, the foot left out."""
    widest = 0.0
    for _, part in played:
        places: dict[Fraction, list[float]] = {}
        for note in part.notes:
            if note.onset.denominator == 2 and note.pitch != kit.PEDAL_HAT:
                places.setdefault(note.onset, []).append(note.lateness_ms)
        widest = max([widest, *(max(late) - min(late) for late in places.values())])
    return widest


def answers(played: Sequence[Played]) -> tuple[float, float]:
    """Shares of snare comments that fall on an accent of the comping, and beside its strokes.

    "Beside" is an eighth away from a stroke of the comping and not on one.
    """
    on, beside, count = 0, 0, 0
    for plan, part in played:
        strokes = {stroke.onset: stroke.accent for stroke in plan.comping}
        for note in part.notes:
            if note.role in ("comment", "ghost") and note.pitch == kit.SNARE:
                count += 1
                on += note.onset in strokes
                near = (note.onset - Fraction(1, 2), note.onset + Fraction(1, 2))
                beside += note.onset not in strokes and any(b in strokes for b in near)
    return on / max(1, count), beside / max(1, count)


def _bars(plan: Plan, part: Part, tempo: int | None) -> list[_Bar]:
    bars = [_Bar(bar) for bar in plan.bars]
    for note in part.notes:
        if note.onset >= 0 and note.sounds_at(Fraction(tempo or plan.tempo)):
            bar = bars[plan.bar_at(note.onset).index]
            bar.keys.setdefault(note.pitch, {})[note.onset - bar.plan.start] = note
    return bars


def _share(bars: Sequence[_Bar], key: int, beat: Fraction) -> float:
    return sum(bar.at(key, beat) is not None for bar in bars) / len(bars)


def _kicks(bar: _Bar) -> Iterable[Note]:
    return bar.keys.get(kit.KICK, {}).values()


def _loud(bars: Sequence[_Bar], beats: tuple[int, int]) -> float:
    found = (bar.at(kit.RIDE, Fraction(beat)) for bar in bars for beat in beats)
    return mean([note.velocity for note in found if note] or [0])


def _drops(bars: Sequence[_Bar]) -> list[int]:
    pairs = (
        (bar.at(kit.RIDE, Fraction(b)), bar.at(kit.RIDE, b + Fraction(1, 2)))
        for bar in bars
        for b in (1, 3)
    )
    return [beat.velocity - skip.velocity for beat, skip in pairs if beat and skip]
