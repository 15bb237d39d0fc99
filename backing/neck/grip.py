"""The fingering of a chord's tones in a position, found by search.

A grip gives every tone one place. Most tones have one place only; a pitch that lies between two
strings' home frets can be had by stretching up on the lower string or down on the higher one, and
those choices are searched. Rules (common practice, no source): never both stretches on one
string; at most one stretch of the opened hand below fret 5; no pitch twice; no finger jumps from
fret to fret between neighboring tones; as few rolls of one finger over two strings as can be.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise, product

from backing.neck.fingerboard import SPAN, Fingerboard, Hand, StringFret, hand

HOLE = 1_000_000
"""The cost of a missing tone inside the shape, in tenths of a stretch, as are the others."""
SECOND_LOW_STRETCH = 2_000
JUMP = 300
SECOND_ROLL = 50
OUTER_TONE_LEFT_OUT = 30
STRETCH = 10
ROLL = 1
MOST_CHOICES = 4096
"""The most fingerings searched; odd tunings with many unisons have more."""
KEPT = 32
"""The best grips of a chord that are kept."""


@dataclass(frozen=True, slots=True)
class Grip:
    """Places of the tones from the lowest pitch up, and what they cost the hand.

    ``missing``: pitches between its lowest and highest tone that the hand cannot play.
    """

    places: tuple[StringFret, ...]
    cost: int
    missing: tuple[int, ...] = ()


@lru_cache(maxsize=4096)
def grips(
    fingerboard: Fingerboard, position: int, pitch_classes: frozenset[int]
) -> tuple[Grip, ...]:
    """The grips for all tones of these pitch classes in a position, the easiest first.

    Empty where the hand reaches none of them. Raises PracticeError for a position off the neck.
    """
    here = hand(fingerboard, position)
    pitches = [pitch for pitch in here.reach if pitch % 12 in pitch_classes]
    found = {grip.places: grip for grip in _searched(here, pitches, pitch_classes) if grip.places}
    # of equal grips the one that stretches the little finger up, which leaves the index home
    ranked = sorted(found.values(), key=lambda g: (g.cost, [-place.fret for place in g.places]))
    return tuple(ranked[:KEPT])


def _searched(here: Hand, pitches: list[int], pitch_classes: frozenset[int]) -> Iterator[Grip]:
    low, high = here.extent
    choices: list[tuple[StringFret | None, ...]] = []
    count = 1
    for pitch in pitches:
        places: tuple[StringFret | None, ...] = here.reach[pitch]
        if here.stretched(here.reach[pitch][0]):
            places = (*places, None)
        if count * len(places) > MOST_CHOICES:
            places = places[:1]
        count *= len(places)
        choices.append(places)
    lost = [p for p in range(low, high + 1) if p % 12 in pitch_classes and p not in here.reach]
    for taken in product(*choices):
        grip = _grip(here, pitches, taken, lost)
        if grip is not None:
            yield grip


def _grip(
    here: Hand, pitches: list[int], taken: tuple[StringFret | None, ...], lost: list[int]
) -> Grip | None:
    """The grip, or None where a rule forbids it."""
    places = tuple(place for place in taken if place is not None)
    stretches = [place for place in places if here.stretched(place)]
    if _both_ways(here, stretches) or sum(p.fret < 5 for p in stretches) > 1:
        return None
    low, high = here.extent
    left_out = [pitch for pitch, place in zip(pitches, taken, strict=True) if place is None]
    missing = tuple(sorted([p for p in left_out if low <= p <= high] + lost))
    rolls, jumps = rolls_and_jumps(here, places)
    cost = (
        HOLE * len(missing)
        + OUTER_TONE_LEFT_OUT * (len(left_out) + len(lost) - len(missing))
        + SECOND_LOW_STRETCH * max(0, sum(map(here.low, stretches)) - 1)
        + JUMP * jumps
        + ROLL * rolls
        + SECOND_ROLL * max(0, rolls - 1)
        + STRETCH * len(stretches)
    )
    return Grip(places, cost, missing)


def _both_ways(here: Hand, stretches: list[StringFret]) -> bool:
    down = {place.string for place in stretches if place.fret < here.position}
    return any(p.string in down for p in stretches if p.fret >= here.position + SPAN)


def rolls_and_jumps(here: Hand, places: tuple[StringFret, ...]) -> tuple[int, int]:
    """How often one finger takes two tones in a row: on one fret of neighboring strings (a roll),
    or on two frets (a jump)."""
    rolls = jumps = 0
    for a, b in pairwise(places):
        finger = here.finger(a)
        if not finger or finger != here.finger(b) or abs(a.string - b.string) > 1:
            continue
        if a.fret == b.fret:
            rolls += 1
        else:
            jumps += 1
    return rolls, jumps


def chosen(
    options: tuple[Grip, ...], preferred: Mapping[int, StringFret], board: Fingerboard
) -> Grip:
    """The easiest grip that departs least from preferred places.

    ``preferred``: MIDI pitch -> place. A missing tone costs more than a departure, a jump of a
    finger less.
    """

    def cost(grip: Grip) -> int:
        places = {board.pitch(place): place for place in grip.places}
        astray = sum(places[pitch] != preferred[pitch] for pitch in places.keys() & preferred)
        return grip.cost + (JUMP + STRETCH) * astray

    return min(options, key=cost)
