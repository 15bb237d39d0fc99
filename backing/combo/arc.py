"""The arc over the choruses: what the band agrees on before it plays a note.

The head is stated, the first solo begins with little, density, register, touch and cymbal build to
a height before the last solo ends, and the band comes down into the head or plays straight out.
On the way a soloist may be left with bass and drums, get stop-time, or a pedal before the height.
Common practice, no source.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from backing.chart.bar import Directions, PlayedBar
from backing.routine import Pass, Purpose

FIRST, HIGHEST = 0.2, 0.97
"""Energy at the top of the first solo, and at the height; few solos go less far."""
HEAD, HEAD_OUT, STRAIGHT_OUT, LOOP = 0.4, 0.55, 0.75, 0.55
HEIGHT_AT = 0.88
"""How far through the solos the height is."""
STEPS = 16
"""In which a solo's energy is told."""
STAGED_BARS = 8
ENOUGH_SOLOS = 4
"""From so many solos on there is room for a change of texture."""
TEXTURES = ("stroll", "stop-time", "pedal")


@dataclass(frozen=True, slots=True)
class Chapter:
    """One pass in the arc: its energy at equal steps from the first bar to the last, from 0 to 1.

    ``texture``: how it begins, a name of TEXTURES, or "" as usual.
    """

    levels: tuple[float, ...]
    texture: str = ""

    def energy(self, bar: int, bars: int) -> float:
        """The energy of a bar of so many."""
        return self.levels[round((len(self.levels) - 1) * bar / max(1, bars - 1))]


def chapter(played: Pass, seed: int) -> Chapter:
    """The place of a pass in the arc over its choruses; another seed may go another way."""
    dice = random.Random(f"{seed}/arc")
    straight_out, dips = dice.random() < 0.5, dice.random() < 0.6
    if played.purpose is Purpose.HEAD:
        return Chapter((HEAD, HEAD + 0.05))
    if played.purpose is Purpose.HEAD_OUT:
        level = STRAIGHT_OUT if straight_out and played.choruses > 2 else HEAD_OUT
        return Chapter((level,))
    solos = played.choruses - 2
    if played.purpose is not Purpose.SOLO or solos < 1:
        return Chapter((LOOP,))
    solo = played.chorus - 1
    dips = dips and solos > 5
    ways = (Fraction(STEPS * solo + step, STEPS * solos) for step in range(STEPS + 1))
    few = max(0, ENOUGH_SOLOS - solos)
    low, high = FIRST + 0.05 * few, HIGHEST - 0.06 * few
    levels = tuple(low + (high - low) * _height(way, straight_out, dips=dips) for way in ways)
    return Chapter(levels, _texture(solo, solos, dice))


def _height(at: Fraction, straight_out: bool, *, dips: bool) -> float:
    """How high it is so far through the solos, from 0 to 1."""
    way = float(at)
    if way > HEIGHT_AT:
        down = 0.15 if straight_out else 0.6
        return 1 - down * (way - HEIGHT_AT) / (1 - HEIGHT_AT)
    return way / HEIGHT_AT - (0.2 if dips and 0.45 < way < 0.65 else 0.0)


def _texture(solo: int, solos: int, dice: random.Random) -> str:
    """What a solo begins with: each texture at most once, where it serves."""
    if solos < ENOUGH_SOLOS:
        return ""
    places = {
        "stroll": 1 + dice.randrange(2),
        "stop-time": round(solos * 0.5),
        "pedal": max(3, round(solos * 0.7)),
    }
    wanted = [name for name in TEXTURES if dice.random() < 0.75]
    return next((name for name in wanted if places[name] == solo), "")


def staged(bars: Sequence[PlayedBar], texture: str) -> tuple[PlayedBar, ...]:
    """The bars of a solo with its texture, where nothing else is written in its first section."""
    count = next((n for n, bar in enumerate(bars) if n and bar.section_bar == 1), len(bars))
    count = min(count, STAGED_BARS)
    opening = bars[:count]
    plain = all(bar.directions == Directions() and bar.changes for bar in opening)
    if not texture or not plain or (texture == "pedal" and not _stays_in_key(opening)):
        return tuple(bars)
    told = tuple(replace(bar, directions=_told(bar, texture)) for bar in opening)
    return (*told, *bars[count:])


def _told(bar: PlayedBar, texture: str) -> Directions:
    if texture == "stroll":
        return Directions(lay_out=frozenset({"comp"}))
    if texture == "stop-time":
        return Directions(only=(Fraction(0),))
    return Directions(pedal=bar.key.scale[4])


def _stays_in_key(bars: Sequence[PlayedBar]) -> bool:
    """Whether all chords stand on notes of one key: a pedal on its fifth carries them."""
    chords = [change.chord for bar in bars for change in bar.changes]
    roots = {chord.root.pitch_class for chord in chords if chord is not None}
    scale = {name.pitch_class for name in bars[0].key.scale}
    return len({bar.key for bar in bars}) == 1 and roots <= scale and None not in chords
