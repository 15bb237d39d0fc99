"""The bass player: rhythm, pitches and touch."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from backing.combo.bass.harmony import LOWEST, TONE, Emphasis
from backing.combo.bass.line import bass_line
from backing.combo.bass.ornaments import Ornament, ornaments
from backing.combo.bass.rhythm import TICKS, BassSlot, slots
from backing.combo.bass.style import read_bass_style
from backing.combo.instruments import ACOUSTIC_BASS
from backing.combo.part import PALETTE, Note, Part
from backing.combo.plan import Plan

TOUCH = 6.0
"""Spread of the velocities, before they go to the palette."""
SHARED_LEAN, OWN_LEAN = 0.85, 0.5
"""How much of the bass's lateness is the band's lean, and how much its own."""
FULL_LEAN_BPM = 200
OFF_BEAT_LATE = (-3.0, 13.0)
"""Bounds of its lateness off the beat, in ms (Hofmann, Wesolowski & Goebl 2017, JNMR 46(4):
asynchronies under 19 ms are preferred)."""
GHOST = -30
"""A ghosted stroke's velocity against a plain one's."""


def play(plan: Plan, rng: random.Random) -> Part:
    """The bass part of a pass.

    Onsets are straight (the clock swings them). The first note is the bass of the first chord in
    its home octave, the last ones lead to that of the chord that follows.
    """
    rhythm, pitch, touch = (random.Random(rng.getrandbits(64)) for _ in range(3))
    places = slots(plan, rhythm)
    pitches = bass_line(plan, places, pitch)
    graced = {} if plan.plain else ornaments(places, pitches, rhythm)
    late = [_late(plan, slot, touch) for slot in places]
    line = _Line(places, pitches, graced, late)
    notes = [note for at in range(len(places)) for note in _struck(line, at, touch)]
    return Part.of("bass", ACOUSTIC_BASS, notes)


@dataclass(frozen=True, slots=True)
class _Line:
    """The slots of a pass with their pitches, ornaments and latenesses (ms)."""

    places: Sequence[BassSlot]
    pitches: Sequence[int]
    graced: dict[int, tuple[Ornament, ...]]
    lates: Sequence[float]


def _struck(line: _Line, at: int, touch: random.Random) -> Iterator[Note]:
    """The note of a slot and its ornaments."""
    places, pitches = line.places, line.pitches
    slot, pitch = places[at], pitches[at]
    style = read_bass_style(slot.bar.feel)
    mine = line.graced.get(at, ())
    following = places[at + 1].tick if at + 1 < len(places) else slot.end
    repeated = following == slot.end and list(pitches[at : at + 2]) == [pitch, pitch]
    limit = mine[0].tick if mine else slot.end
    off_beat = slot.tick % TICKS == TICKS // 2
    # swing shortens an off-beat already
    whole = slot.accent or (off_beat and slot.ticks < TICKS // 2)
    gap = 0 if whole else _gap(style.breath, repeated)
    if off_beat and limit > slot.tick + TICKS // 2:
        limit -= limit % (TICKS // 2)  # before an unswung triplet
    end = limit if mine else limit - min(gap, slot.ticks // 3)
    velocity = _velocity(slot, style.velocity, style.backbeat) + touch.gauss(0, TOUCH)
    late = line.lates[at]
    onset = slot.accent.onset if slot.accent else _beats(slot.tick)
    yield Note(
        onset=onset,
        length=_beats(end) - onset if slot.accent else _beats(end - slot.tick),
        pitch=pitch,
        velocity=PALETTE[max(16, min(120, round(velocity)))],
        swung=off_beat or (_swings(slot.tick) and _swings(limit)),
        lateness_ms=late,
        role=_role(at, places, pitches),
        chord=slot.span.chord,
        together=slot.accent is not None,
    )
    for ornament in mine:
        yield Note(
            onset=_beats(ornament.tick),
            length=_beats(ornament.ticks),
            pitch=ornament.pitch,
            velocity=PALETTE[max(20, min(120, round(velocity + ornament.velocity)))],
            swung=ornament.swung,
            lateness_ms=max(OFF_BEAT_LATE[0], min(OFF_BEAT_LATE[1], late)),
            role=ornament.role,
            chord=slot.span.chord,
            tempos=ornament.tempos,
        )


def _velocity(slot: BassSlot, middle: float, backbeat: float) -> float:
    """Louder with energy, on a new chord, and on 2 and 4 by the feel's backbeat."""
    velocity = middle + 22 * (slot.bar.energy - 0.55)
    if slot.accent is not None:
        return velocity + 10
    if slot.place is Emphasis.CHANGE:
        velocity += 5
    if slot.in_bar // TICKS % 2:
        velocity += backbeat
    if slot.touch < 0:
        return velocity + GHOST
    return velocity + 10 * slot.touch - (6 if slot.ticks < TICKS else 0)


def _late(plan: Plan, slot: BassSlot, touch: random.Random) -> float:
    """By how many ms a note is late: the whole band leans, the bass a little by itself.

    Off the beat it keeps to the others, with whom it would flam; less in fast tempos.
    """
    mean, spread = slot.bar.feel.late("bass")
    drawn = OWN_LEAN * touch.gauss(0, 1) + SHARED_LEAN * plan.leaning(_beats(slot.tick))
    if slot.accent is not None:
        return 0.0
    wide = spread * min(1.0, FULL_LEAN_BPM / float(plan.tempo))
    late = round(2 * (mean + wide * max(-2.0, min(2.0, drawn)))) / 2
    if slot.tick % TICKS:
        late = max(OFF_BEAT_LATE[0], min(OFF_BEAT_LATE[1], late))
    return late


def _role(at: int, places: Sequence[BassSlot], pitches: Sequence[int]) -> str:
    """The role of a note: its degree in the chord, or an approach to the next chord."""
    slot, pitch = places[at], pitches[at]
    after = places[at + 1] if at + 1 < len(places) else None
    if after is not None and after.place is Emphasis.CHANGE and slot.place is Emphasis.WEAK:
        if (pitches[at + 1] - pitch) % 12 == 0 and slot.harmony.kinds[pitch - LOWEST] != TONE:
            return "anticipation"
        if 0 < abs(pitches[at + 1] - pitch) <= 2:
            return "approach"
    return slot.harmony.roles[pitch - LOWEST]


def _swings(tick: int) -> bool:
    """Whether a tick moves with the swing: triplets do not."""
    return tick % (TICKS // 2) == 0


@lru_cache(maxsize=64)
def _gap(breath: float, repeated: bool) -> int:
    return round(breath * TICKS * (2 if repeated else 1))


@lru_cache(maxsize=1 << 14)
def _beats(ticks: int) -> Fraction:
    return Fraction(ticks, TICKS)
