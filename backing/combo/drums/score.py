"""The drum strokes of a pass by tick and key, until they become a part."""

from __future__ import annotations

import random
from fractions import Fraction
from typing import Any

from backing.combo.drums.style import TICKS, VOICES, DrumStroke, DrumStyle
from backing.combo.feel import lateness
from backing.combo.instruments import BRUSH_KIT, CRASH, Instrument
from backing.combo.part import PALETTE, VELOCITIES, Note, Part
from backing.combo.plan import PlanBar

Tick = int | Fraction
"""Twelfths of a beat; a fraction only where a tune has odd beats."""

HALF = TICKS // 2
LENGTH, RING = Fraction(1, 6), Fraction(1)
"""Written lengths in beats of a stroke, and of a ringing cymbal."""

TOUCH = 4.0
"""The most a stroke's velocity varies; one step of the palette is 8."""
QUIETEST, BY_ENERGY = 0.93, 0.14
"""Velocities are multiplied by the first at energy 0, and grow by the second up to energy 1."""

GOES_ON = frozenset({"ride", "skip", "foot", "stick", "back-beat"})
"""Roles that play on through a hit of the whole band."""
COMMENTS = frozenset({"comment", "ghost"})


class DrumScore:
    """The strokes of a pass on one kit: one for each place and key, the loudest."""

    def __init__(self, kit: Instrument, dice: random.Random) -> None:
        self.kit, self.dice = kit, dice
        self.struck: dict[tuple[Tick, int], Note] = {}

    def strike(
        self, bar: PlanBar, style: DrumStyle, tick: Tick, stroke: DrumStroke, role: str
    ) -> None:
        """Put a stroke at ``tick`` of the pass, unless a louder one is there."""
        place = tick, self._key(stroke.voice)
        touch = TOUCH * (2 * self.dice.random() - 1)
        level = style.levels[stroke.voice][stroke.accent + 1]
        velocity = _velocity(level + touch, bar.energy)
        there = self.struck.get(place)
        if there is None or there.velocity < velocity:
            late = lateness(self.dice, *bar.feel.late(VOICES[stroke.voice].late))
            self.struck[place] = _note(
                place, velocity, role, swung=stroke.swung, lateness_ms=late, tempos=stroke.tempos
            )

    def strike_together(
        self, bar: PlanBar, style: DrumStyle, tick: Tick, stroke: DrumStroke, role: str
    ) -> None:
        """Put a hit of the whole band at ``tick`` in place of any other stroke."""
        velocity = _velocity(style.levels[stroke.voice][stroke.accent + 1], bar.energy)
        swung = (tick - ticks(bar.start)) % TICKS in (0, HALF)
        place = tick, self._key(stroke.voice)
        self.struck[place] = _note(place, velocity, role, swung=swung, together=True)

    def lift(self, tick: Tick, voice: str) -> bool:
        """Remove a voice at ``tick``; return whether it was there."""
        return self.struck.pop((tick, self._key(voice)), None) is not None

    def clear(self, tick: Tick, end: Tick) -> None:
        """Leave room for a hit of the band from ``tick`` to ``end``.

        Comments stop a beat before it; during it, and on the beat it was pushed from, only the
        time goes on.
        """
        for place, struck in list(self.struck.items()):
            if not tick - TICKS < place[0] <= end or struck.together or struck.role in GOES_ON:
                continue
            if place[0] >= tick or struck.role in COMMENTS:
                del self.struck[place]

    def part(self) -> Part:
        """The part, its notes by onset and key."""
        # whole numbers sort faster than the fractions Part.of would sort
        return Part("drums", self.kit, tuple(self.struck[place] for place in sorted(self.struck)))

    def _key(self, voice: str) -> int:
        instead = VOICES[voice].without_brushes
        return VOICES[voice].key if instead is None or self.kit is BRUSH_KIT else instead


def _velocity(level: float, energy: float) -> int:
    loud = round(level * (QUIETEST + BY_ENERGY * energy))
    return PALETTE[max(VELOCITIES[0], min(VELOCITIES[-1], loud))]


def _note(place: tuple[Tick, int], velocity: int, role: str, **how: Any) -> Note:
    tick, key = place
    length = RING if how.get("together") or key == CRASH else LENGTH
    return Note(beats_at(tick), length, key, velocity, role=role, **how)


_BEATS = tuple(Fraction(tick, TICKS) for tick in range(64 * 4 * TICKS))


def beats_at(tick: Tick) -> Fraction:
    """A tick in beats."""
    if isinstance(tick, int) and 0 <= tick < len(_BEATS):
        return _BEATS[tick]
    return Fraction(tick) / TICKS


def ticks(beats: Fraction) -> Tick:
    """Beats in ticks."""
    count = beats * TICKS
    return count.numerator if count.denominator == 1 else count
