"""The drum strokes of a pass by tick and key, until they become a part."""

from __future__ import annotations

import random
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from backing.combo.cell import drawn_bounds
from backing.combo.drums.style import TICKS, VOICES, DrumStroke, DrumStyle
from backing.combo.feel import lateness
from backing.combo.instruments import (
    BRUSH_KIT,
    CLOSED_HAT,
    CRASH,
    KICK,
    OPEN_HAT,
    PEDAL_HAT,
    SIDE_STICK,
    SNARE,
    Instrument,
)
from backing.combo.part import PALETTE, VELOCITIES, Note, Part
from backing.combo.plan import PlanBar

Tick = int | Fraction
"""Twelfths of a beat; a fraction only where a tune has odd beats."""

HALF = TICKS // 2
LENGTH, RING = Fraction(1, 6), Fraction(1)
"""Written lengths in beats of a stroke, and of a ringing cymbal."""

TOUCH, TOUCHES = 6.0, {"kick": 3.0, "foot": 14.0}
"""Spread of a stroke's velocity, of most voices and of some; one step of the palette is 8.

The foot's is 25 to 102 from the 10th to the 90th percentile in the jazz takes of GMD (see style).
"""
QUIETEST, BY_ENERGY = 0.85, 0.27
"""Velocities are multiplied by the first at energy 0, and grow by the second up to energy 1."""

SOLO_FROM, SOLO_BY, SOLO_GROWS = 36.0, 1.12, 10.0
"""Velocities of a drum solo: a level, scaled and lifted, and by how much the last bar is louder."""
BRUSHES_FROM = 26.0
"""The same with brushes, whose band is quieter."""

GOES_ON = frozenset({"ride", "skip", "foot", "stick", "back-beat"})
"""Roles that play on through a hit of the whole band."""
COMMENTS = frozenset({"comment", "ghost"})

FEET = frozenset({KICK, PEDAL_HAT})
ONE_DRUM = ((SNARE, SIDE_STICK), (CLOSED_HAT, OPEN_HAT))
"""Keys that are one instrument under the stick, played in one way at a time."""
KEPT_FIRST = ("fill", "set-up", "top", "ride", "back-beat", "stick", "comment", "skip", "ghost")
"""Which stroke stays where a drummer would need a third hand; before all, those with the band."""


class DrumScore:
    """The strokes of a pass on one kit: one for each place and key, the loudest.

    ``solo``: how far a drum solo has come, from 0 to 1, None where the band plays.
    """

    def __init__(self, kit: Instrument, dice: random.Random) -> None:
        self.kit, self.dice = kit, dice
        self.solo: float | None = None
        self.struck: dict[tuple[Tick, int], Note] = {}

    def strike(
        self, bar: PlanBar, style: DrumStyle, tick: Tick, stroke: DrumStroke, role: str
    ) -> None:
        """Put a stroke at ``tick`` of the pass, unless a louder one is there."""
        place = tick, self._key(stroke.voice)
        touch = self.dice.gauss(0, TOUCHES.get(stroke.voice, TOUCH))
        level = style.levels[stroke.voice][stroke.accent + 1]
        if stroke.voice == "kick" and stroke.accent < 0:
            touch = min(touch, TOUCHES["kick"])  # felt, not heard
        velocity = _velocity(self._played_up(level) + touch, bar.energy)
        there = self.struck.get(place)
        if there is not None and role == "set-up":
            velocity = max(velocity, there.velocity)
        if there is None or there.velocity < velocity or role == "set-up":
            late = lateness(self.dice, *bar.feel.late(VOICES[stroke.voice].late))
            bounds = drawn_bounds(stroke.tempos, self.dice) if stroke.tempos else None
            self.struck[place] = _note(
                place, velocity, role, swung=stroke.swung, lateness_ms=late, tempos=bounds
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
        """The part, its notes by onset and key, as two hands and two feet can play it."""
        by_tick: dict[Tick, list[int]] = {}
        for tick, key in self.struck:
            by_tick.setdefault(tick, []).append(key)
        for tick, keys in by_tick.items():
            for key in self._too_many(tick, keys):
                del self.struck[tick, key]
        for tick, key in list(self.struck):
            near = ((tick, CLOSED_HAT), (tick, OPEN_HAT), (tick - HALF, CLOSED_HAT))
            if key == PEDAL_HAT and any(place in self.struck for place in near):
                del self.struck[tick, key]  # the foot holds closed what the stick plays
        # whole numbers sort faster than the fractions Part.of would sort
        return Part("drums", self.kit, tuple(self.struck[place] for place in sorted(self.struck)))

    def _too_many(self, tick: Tick, keys: Sequence[int]) -> list[int]:
        """The keys of a tick for which there is no hand, or which are one drum with another."""
        hands = sorted(set(keys) - FEET, key=lambda key: _rank(self.struck[tick, key]))
        dropped = []
        for drum in ONE_DRUM:
            dropped += [key for key in hands if key in drum][1:]
        return dropped + [key for key in hands if key not in dropped][2:]

    def _played_up(self, level: float) -> float:
        """The level of a stroke; alone the drums carry the music, more so toward the end."""
        if self.solo is None:
            return level
        lifted = BRUSHES_FROM if self.kit is BRUSH_KIT else SOLO_FROM
        return lifted + SOLO_BY * level + SOLO_GROWS * self.solo

    def _key(self, voice: str) -> int:
        instead = VOICES[voice].without_brushes
        return VOICES[voice].key if instead is None or self.kit is BRUSH_KIT else instead


def _rank(note: Note) -> tuple[bool, int, int]:
    """Sorts what stays first where there are too many strokes."""
    place = KEPT_FIRST.index(note.role) if note.role in KEPT_FIRST else len(KEPT_FIRST)
    return not note.together, place, -note.velocity


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
