"""The search for a line: a chain of pitches over the whole form, drawn by its weights.

Every slot offers pitches; a joint weighs each pair of neighbors, and a turn each three in a row.
Backward from the end each pair gets the total weight of all that can follow; then the line is
drawn forward, note by note, by its weight times that outlook, so that no draw runs into a dead end.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

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


Table = NDArray[np.float64]


@lru_cache(maxsize=8192)
def weights(before: Offer, after: Offer, link: Link) -> Table:
    """The weight of each step from a pitch of a slot (a row) to one of the next (a column)."""
    above = dict(after.above)
    rows = []
    for pitch, string in zip(before.pitches, before.strings, strict=True):
        row = [
            own * _joined(to - pitch, link) * _skipped(string, over)
            for to, own, over in zip(after.pitches, after.weights, after.strings, strict=True)
        ]
        if link.joint is Joint.AROUND:
            called = (above.get(to) == pitch for to in after.pitches)
            row = [w if mine else w * FORBIDDEN for w, mine in zip(row, called, strict=True)]
        rows.append(row)
    return np.array(rows)


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


def _table(rule: Callable[[int, int], float]) -> Table:
    moves = range(-_OFF, _OFF + 1)
    return np.array([[rule(a, b) for b in moves] for a in moves])


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
    at_first = _draw(rng, np.array(offers[0].weights), outlook[0][0])
    drawn, places = [offers[0].pitches[at_first]], [at_first]
    for at, link in enumerate(links):
        offer, place = offers[at + 1], places[-1]
        row = weights(offers[at], offer, link)[place]
        if at:
            row = row * turns((drawn[-2],), (drawn[-1],), offers[at], offer)[0, 0]
        if circle and at >= circle and drawn[-1] == drawn[-1 - circle]:
            again = [ROUND_AGAIN if to == drawn[-circle] else 1.0 for to in offer.pitches]
            row = row * np.array(again)
        places.append(_draw(rng, row, outlook[at + 1][place]))
        drawn.append(offer.pitches[places[-1]])
    return tuple(drawn)


def _draw(rng: random.Random, row: Table, outlook: Table) -> int:
    """The place of the pitch that is taken, by its weight times what can follow."""
    shares = row * outlook
    if not shares.any():  # all underflowed
        shares = np.where(outlook > 0, outlook, 1e-300)
    return rng.choices(range(len(shares)), shares.tolist())[0]


@lru_cache(maxsize=8192)
def turns(befores: tuple[int, ...], pitches: tuple[int, ...], here: Offer, after: Offer) -> Table:
    """How natural three notes in a row are: by the one before, the one here, the one to come."""
    low, own, to = (np.array(each) for each in (befores, pitches, after.pitches))
    first = own[None, :, None] - low[:, None, None] + _OFF
    second = to[None, None, :] - own[None, :, None] + _OFF
    found: Table = TURNS[first, second]
    if here.passing:
        leads = np.array([pitch in here.passing for pitch in pitches])
        found[:, leads] = PASSES[first[:, leads], second[:, leads]]
    return found


def _outlook(offers: Sequence[Offer], links: Sequence[Link]) -> list[Table]:
    """For each slot the weight of what follows, by the pitch before (a row) and the one here.

    The first slot has one row.
    """
    last = len(offers) - 1
    befores = [1, *(len(offer.pitches) for offer in offers[:-1])]
    found = [np.ones((befores[last], len(offers[last].pitches)))]
    for at in range(last - 1, -1, -1):
        ahead = weights(offers[at], offers[at + 1], links[at]) * found[-1]
        if at:
            natural = turns(offers[at - 1].pitches, offers[at].pitches, offers[at], offers[at + 1])
            here = (natural * ahead).sum(axis=2)
        else:
            here = ahead.sum(axis=1)[None]
        found.append(here / (here.max() or 1.0))
    return found[::-1]
