"""The search for a line: a chain of pitches over the whole form, drawn by its weights.

Every slot offers pitches; a joint weighs each pair of neighbors, and a turn each three in a row.
Backward from the end each pair gets the total weight of all that can follow; then the line is
drawn forward, note by note, by its weight times that outlook, so that no draw runs into a dead end.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

FORBIDDEN = 1e-6
"""The weight of a last resort, so that there is always a line."""
WIDEST = 12
"""No leap beyond an octave, unless the hand has nothing nearer."""
MOVES = (1e-6, 1.0, 1.0, 1.0, 1.0, 0.8, 0.35, 0.35, 0.12, 0.1, 0.05, 0.03, 0.05)
"""The weight of a move by its size in semitones."""
SLOW_REPEAT = 0.6
"""In slow notes a tone that two chords share may stay."""
HELD_ON = 0.1
"""A tone that stays for a third chord."""
AGAINST = 0.22
"""A move against the way the contour goes."""
STRUCK_AGAIN = 0.06
"""In lines with ideas a tone may come twice."""
NOT_ASKED = 0.02
"""A change that is crossed by another move than the one asked for."""
NEAR, ALIKE, NEARLY = 1, 12.0, 6.0
"""An answer takes the move of its idea, or one a semitone larger or smaller."""
STRING_SKIPPED = 0.5
LEAP, TURNED, RUN_ON = 6, 1.6, 0.15
"""After a leap of so many semitones the line turns back; seldom does it run on."""
RETURN = 0.1
"""A note that goes back to the one before the last."""
NEIGHBOR, LEANING = 0.6, 0.5
"""A scale tone beside a chord tone that turns back by another step, or that is leapt to."""
ROUND_AGAIN = 0.05
"""In triplets, a second note in a row that is the same as a beat before."""
FALL_BACK = 7
"""Where runs go one way only, a leap of so many semitones the other way starts another."""


class Joint(StrEnum):
    """How two neighboring notes are joined."""

    WITHIN = "within a chord"
    CHANGE = "across a change"
    SLOW_CHANGE = "across a change, in slow notes"
    APPROACH = "from a half step away"
    BELOW = "from a half step below"
    INTO = "to a foreign tone that leads on"
    AROUND = "from the scale step above to the half step below"
    FREE = "after a rest"


@dataclass(frozen=True)
class Offer:
    """What a slot offers: ``pitches``, the ``weights`` of each, the ``strings`` they lie on.

    ``passing``: pitches that only lead from one neighbor on to the other. ``above``: for a
    pitch a half step below a target, the scale step above that target.
    """

    pitches: tuple[int, ...]
    weights: tuple[float, ...]
    strings: tuple[int, ...]
    passing: frozenset[int] = frozenset()
    above: tuple[tuple[int, int], ...] = ()

    def __hash__(self) -> int:
        return hash((self.pitches, self.weights))


@dataclass(frozen=True, slots=True)
class Link:
    """The joint from a slot to the next; ``way``: 1 where the contour goes up, -1 down; ``strict``:
    runs go that way only. ``sizes``: the moves in semitones by which a change is to be crossed, in
    place of a step. ``like``: the move of the idea that is answered here. ``free``: a tone may be
    struck again."""

    joint: Joint
    way: int
    strict: bool = False
    sizes: tuple[int, ...] = ()
    like: int | None = None
    free: bool = False


Row = tuple[tuple[int, float], ...]


@lru_cache(maxsize=8192)
def weights(before: Offer, after: Offer, link: Link) -> Mapping[int, Row]:
    """For each pitch of a slot the pitches that may follow, and the weight of each step."""
    above = dict(after.above)
    rows: dict[int, Row] = {}
    for pitch, string in zip(before.pitches, before.strings, strict=True):
        row = [
            (to, own * _joined(to - pitch, link) * _skipped(string, over))
            for to, own, over in zip(after.pitches, after.weights, after.strings, strict=True)
        ]
        if link.joint is Joint.AROUND:
            row = [(to, w if above.get(to) == pitch else w * FORBIDDEN) for to, w in row]
        rows[pitch] = tuple(row)
    return rows


def _skipped(string: int, over: int) -> float:
    return STRING_SKIPPED ** max(0, abs(string - over) - 1)


def _joined(move: int, link: Link) -> float:
    weight = _plainly_joined(move, link)
    if link.like is not None and abs(move - link.like) <= NEAR:
        return weight * (ALIKE if move == link.like else NEARLY)
    return weight


def _plainly_joined(move: int, link: Link) -> float:
    size = abs(move)
    match link.joint:
        case Joint.FREE:
            return 1.0 if size <= WIDEST else FORBIDDEN
        case Joint.APPROACH:
            return 1.0 if size == 1 else FORBIDDEN
        case Joint.BELOW:
            return 1.0 if move == 1 else FORBIDDEN
        case Joint.AROUND:
            return 1.0
        case Joint.CHANGE | Joint.SLOW_CHANGE:
            return _changed(move, link)
    if size > WIDEST:
        return FORBIDDEN / size
    weight = STRUCK_AGAIN if link.free and not size else MOVES[size]
    if link.joint is Joint.INTO or move * link.way >= 0:
        return weight
    if link.strict:
        return 0.3 if size >= FALL_BACK else 0.02 * weight
    return AGAINST * weight


def _changed(move: int, link: Link) -> float:
    """Across a change by a half or whole step; where none can be had, by the next larger."""
    size = abs(move)
    if link.sizes:
        return 1.0 if size in link.sizes else NOT_ASKED if 1 <= size <= LEAP else FORBIDDEN
    if size == 0:
        return SLOW_REPEAT if link.joint is Joint.SLOW_CHANGE else FORBIDDEN**2
    if size > 2:
        return FORBIDDEN * 0.1 ** (size - 3)
    return 1.0 if move * link.way > 0 else 0.6


_OFF = 64


def _turn(a: int, b: int) -> float:
    """How natural a move of ``b`` semitones is after one of ``a``."""
    weight = 1.0
    if a == b == 0:
        weight = HELD_ON
    if a and a == -b:
        weight = RETURN
    if abs(a) >= LEAP and b:
        weight *= TURNED if a * b < 0 else RUN_ON
    if abs(b) >= LEAP and a * b > 0 and abs(a) > 2:
        weight *= RUN_ON
    return weight


def _passes(a: int, b: int) -> float:
    """How natural a scale tone is that is come to by ``a`` semitones and left by ``b``: by step, as
    it passes or turns; seldom from a leap, to which the step after it is the answer."""
    if not a or not 1 <= abs(b) <= 2 or abs(a) > LEAP:
        return FORBIDDEN
    if abs(a) > 2:
        return LEANING if a * b < 0 else FORBIDDEN
    if a == -b:
        return RETURN
    return 1.0 if a * b > 0 else NEIGHBOR


def _table(rule: Callable[[int, int], float]) -> list[list[float]]:
    moves = range(-_OFF, _OFF + 1)
    return [[rule(a, b) for b in moves] for a in moves]


TURNS = _table(_turn)
PASSES = _table(_passes)


def search(
    offers: Sequence[Offer], links: Sequence[Link], rng: random.Random, circle: int = 0
) -> tuple[int, ...]:
    """A line: a pitch for each offer. ``links[t]`` joins ``offers[t]`` to the next one.

    One ``rng`` gives one line. Offers with a single pitch fix it. ``circle``: avoid repeating a
    figure of so many notes (0: any).
    """
    outlook = _outlook(offers, links)
    first = offers[0]
    drawn = [_draw(rng, list(zip(first.pitches, first.weights, strict=True)), outlook[0], None)]
    for at, link in enumerate(links):
        here, before = drawn[-1], drawn[-2] if at else None
        row = list(weights(offers[at], offers[at + 1], link)[here])
        if before is not None:
            turns = _turned(offers[at], here)[here - before + _OFF]
            row = [(to, weight * turns[to - here + _OFF]) for to, weight in row]
        if circle and at >= circle and here == drawn[-1 - circle]:
            again = drawn[-circle]
            row = [(to, weight * ROUND_AGAIN if to == again else weight) for to, weight in row]
        drawn.append(_draw(rng, row, outlook[at + 1], here))
    return tuple(drawn)


def _draw(
    rng: random.Random,
    row: list[tuple[int, float]],
    outlook: Mapping[tuple[int | None, int], float],
    here: int | None,
) -> int:
    shares = [weight * outlook[here, to] for to, weight in row]
    if not any(shares):  # all underflowed
        shares = [outlook[here, to] or 1e-300 for to, _ in row]
    return rng.choices([to for to, _ in row], shares)[0]


def _turned(offer: Offer, pitch: int) -> list[list[float]]:
    return PASSES if pitch in offer.passing else TURNS


def _outlook(
    offers: Sequence[Offer], links: Sequence[Link]
) -> list[dict[tuple[int | None, int], float]]:
    """For each slot and each pair (the pitch before, the pitch here) the weight of what follows."""
    last = len(offers) - 1
    found: list[dict[tuple[int | None, int], float]] = [{} for _ in offers]
    for at in range(last, -1, -1):
        befores: tuple[int | None, ...] = offers[at - 1].pitches if at else (None,)
        here = found[at]
        if at == last:
            here.update({(b, p): 1.0 for b in befores for p in offers[at].pitches})
            continue
        after = found[at + 1]
        for pitch, row in weights(offers[at], offers[at + 1], links[at]).items():
            ahead = [(to - pitch + _OFF, weight * after[pitch, to]) for to, weight in row]
            turned = _turned(offers[at], pitch)
            for before in befores:
                if before is None:
                    here[before, pitch] = sum(weight for _, weight in ahead)
                else:
                    turns = turned[pitch - before + _OFF]
                    here[before, pitch] = sum([weight * turns[move] for move, weight in ahead])
        top = max(here.values()) or 1.0
        for pair in here:
            here[pair] /= top
    return found
