"""Ornaments of the bass line: skips, dead notes, rakes, octave drops.

Each has the tempos between which it is played, so that one arrangement thins out as it gets
faster or slower.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import ceil, floor

from backing.combo.bass.harmony import CHROMATIC, HIGHEST, LOWEST
from backing.combo.bass.rhythm import TICKS, BassSlot
from backing.combo.bass.style import read_bass_style

OFF_BEAT = TICKS // 2
FASTEST_TRIPLETS = (160, 220)
"""Triplets thin out between these tempos (bpm)."""

DENSITY = (
    (50, 0.2), (80, 0.19), (110, 0.095), (140, 0.075), (200, 0.075), (230, 0.073), (260, 0.065),
    (320, 0.02), (360, 0.0),
)  # fmt: skip
"""Tempo (bpm) -> share of beats with an ornament after them.

From the hand-annotated tracks of the Jazz Trio Database (Cheston, Schlichting, Cross & Harrison
2024, TISMIR, DOI 10.5334/tismir.186): 1.18 to 1.58 notes a beat at 80 bpm; two onsets in a beat
.52, .48 and .44 times a bar near 200, 230 and 260. The rhythms of the feel have some of them.
"""


@dataclass(frozen=True, slots=True)
class Ornament:
    """A small note: ``tick`` and ``ticks`` as in a slot, ``velocity`` against its beat's."""

    tick: int
    ticks: int
    pitch: int
    velocity: int
    role: str
    swung: bool
    tempos: tuple[int, int]


def ornaments(
    slots: Sequence[BassSlot], pitches: Sequence[int], rng: random.Random
) -> dict[int, tuple[Ornament, ...]]:
    """The ornaments by the index of the slot they end; the rhythm is the same for all pitches."""
    found: dict[int, tuple[Ornament, ...]] = {}
    mood = 1.0
    for at, slot in enumerate(slots):
        if slot.in_bar == 0:
            mood = rng.choice((0.4, 0.7, 1.0, 1.3, 1.6))
        drawn, kind = rng.random(), rng.random()
        following = slots[at + 1] if at + 1 < len(slots) else None
        if not _has_room(slot, following):
            continue
        share = read_bass_style(slot.bar.feel).ornaments * mood * (0.6 + 0.8 * slot.bar.energy)
        tempos = _tempos(round(drawn / share, 3)) if share > 0 else None
        if tempos:
            after = pitches[at + 1] if following else pitches[at]
            made = _ornament(slot, pitches[at], after, kind, tempos)
            if made:
                found[at] = made
    return found


def _has_room(slot: BassSlot, following: BassSlot | None) -> bool:
    """Whether the slot's last beat is free and the next note follows on the beat."""
    return (
        slot.accent is None
        and slot.ticks >= TICKS
        and slot.end % TICKS == 0
        and (following is None or (following.tick == slot.end and following.accent is None))
    )


@lru_cache(maxsize=2048)
def _tempos(share: float) -> tuple[int, int] | None:
    """The tempos at which DENSITY passes ``share``; None where it never does."""
    inside: list[float] = []
    for (t0, d0), (t1, d1) in pairwise(DENSITY):
        if d0 != d1 and min(d0, d1) <= share <= max(d0, d1):
            inside.append(t0 + (t1 - t0) * (share - d0) / (d1 - d0))
    if not inside or share > max(d for _, d in DENSITY):
        return None
    low = ceil(min(inside)) if share > DENSITY[0][1] else 0
    return low, floor(max(inside))


def _ornament(
    slot: BassSlot, pitch: int, after: int, kind: float, tempos: tuple[int, int]
) -> tuple[Ornament, ...] | None:
    beat = slot.end - TICKS
    compound = slot.bar.bar.meter.compound
    # in compound time the off-beat is the last third
    place, swung = (beat + 2 * TICKS // 3, False) if compound else (beat + OFF_BEAT, True)
    sung = slot.end - place - 2
    if kind < 0.4:
        return (Ornament(place, 6, pitch, -30, "dead note", swung, tempos),)
    if kind < 0.5:
        return _triplet(slot, pitch, after, _slow(tempos, (kind - 0.4) / 0.1))
    if kind < 0.62:
        dead = after if abs(after - pitch) <= 7 else pitch
        return (Ornament(place, 6, dead, -26, "dead note", swung, tempos),)
    if kind < 0.74:
        return _rake(beat, pitch, _slow(tempos, (kind - 0.62) / 0.12))
    if kind < 0.86:
        low = pitch - 12 if pitch - 12 >= 33 or pitch - 12 == 28 else pitch + 12
        if LOWEST <= low <= HIGHEST and low <= 50:
            return (Ornament(place, sung, low, -14, "octave", swung, tempos),)
        return (Ornament(place, 6, pitch, -30, "dead note", swung, tempos),)
    return (Ornament(place, sung, _between(slot, pitch, after), -12, "skip", swung, tempos),)


def _slow(tempos: tuple[int, int], drawn: float) -> tuple[int, int]:
    """The tempos of an ornament in triplets, up to a tempo ``drawn`` from 0 to 1."""
    slow, fast = FASTEST_TRIPLETS
    return tempos[0], min(tempos[1], round(slow + (fast - slow) * drawn))


def _rake(beat: int, pitch: int, tempos: tuple[int, int]) -> tuple[Ornament, ...] | None:
    """Two dead triplets toward the next beat."""
    if tempos[1] < tempos[0]:
        return None
    third = TICKS // 3
    return tuple(
        Ornament(beat + third * n, 5, pitch, down, "rake", False, tempos)
        for n, down in ((1, -38), (2, -30))
    )


def _triplet(
    slot: BassSlot, pitch: int, after: int, tempos: tuple[int, int]
) -> tuple[Ornament, ...] | None:
    """A triplet that leads on: the note again, dead, and a step before the next one."""
    if tempos[1] < tempos[0]:
        return None
    third, beat = TICKS // 3, slot.end - TICKS
    led = _between(slot, pitch, after)
    return (
        Ornament(beat + third, 5, pitch, -34, "rake", False, tempos),
        Ornament(beat + 2 * third, third - 2, led, -14, "skip", False, tempos),
    )


def _between(slot: BassSlot, pitch: int, after: int) -> int:
    """A passing note on the way to the next one, else one a half step from it."""
    kinds = slot.harmony.kinds
    way = range(min(pitch, after) + 1, max(pitch, after))
    options = [p for p in way if abs(p - after) <= 2]
    plain = [p for p in options if kinds[p - LOWEST] != CHROMATIC]
    if plain or options:
        return (plain or options)[0]
    above = after + 1 if pitch > after + 1 else after - 1
    return max(LOWEST, above if pitch != after - 1 else after + 1)
