"""Voicings: grips as data, those an instrument can play, and smooth voice leading through a pass.

A grip names its voices from the bottom up by what they do in the chord; each voice goes to the
nearest place above the one below it. References:

- rootless A and B forms, 3 5 7 9 and 7 9 3 5, 13 for 5 in dominants: textbook definitions
- drop 2 and drop 3: the second (third) voice from the top of a close position an octave down
- low-interval limits: the table at sweetwater.com/insync/low-interval-limit (its C3 is MIDI 60);
  its tritone, an octave out of line there, takes the fourth's value
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations, product

from backing.combo.comp.tensions import Colors, colors_of
from backing.combo.plan import CompStroke, Plan

LOW_LIMITS = {
    1: 52, 2: 51, 3: 48, 4: 47, 5: 45, 6: 45, 7: 37, 8: 41, 9: 41, 10: 41, 11: 41
}  # fmt: skip
"""Interval in semitones -> the lowest MIDI number its lower note may have."""

ROOTED = frozenset({"half-diminished", "diminished", "augmented", "power"})
"""Families voiced with their root: they have no ninth to replace it."""

GRIPS = """
A       3 5 7 9      0    | A       3 13 7 9     0    | B       7 9 3 5      0
B       7 9 3 13     0    | open    3 7 9 5      0.2  | open    7 3 5 9      0.2
open    3 7 9 13     0.3  | quartal 7 3 13 9     0.2  | three   3 7 9        0.4
three   7 3 5        0.4  | three   7 3 13       0.4  | three   7 3 9        0.5
three   3 5 7        0.5  | three   7 9 3        0.5  | quartal 11 7 3       0.6
quartal 1 11 7 3     0.6  | so-what 1 11 7 3 5   0.8  | quartal 3 13 9 5     0.8
eleven  3 11 7 9     0.4  | eleven  7 9 3 11     0.4  | eleven  3 7 9 11     0.4
eleven  7 3 11       0.6  | five    3 5 7 9 11   0.9  | five    7 9 3 11 13  0.9
five    3 13 7 9 11  0.9  | five    3 11 13 7 9  0.9  | five    7 9 3 11 5   0.9
upper   7 3 5 1 9    0.7  | upper   7 3 13 9 5   0.8  | spread  5 1 3 7      0.5
rooted  1 3 5 7      0.4  | rooted  3 5 7 1      0.2  | rooted  5 7 1 3      0.2
rooted  7 1 3 5      0.2  | rooted  1 5 7 3      0.4  | rooted  3 7 1 5      0.2
rooted  5 1 3 7      0.2  | rooted  7 3 5 1      0.2  | rooted  1 3 7 9      0.7
triad   1 3 5        0.6  | triad   3 5 1        0.5  | triad   5 1 3        0.5
triad   3 1 5        0.6  | triad   5 3 1        0.6  | added   3 5 9        0.5
added   9 3 5        0.5  | added   5 9 3        0.5  | added   5 1 9 3      0.6
added   1 3 11 5     0.7  | fifth   1 5          0.9  | fifth   5 1          0.9
"""
"""Name, voices from the bottom up, and cost (0: first choice)."""

CHORDS = ("9 3 5 7", "9 3 13 7", "9 3 11 7", "1 3 5 7", "1 3 13 7", "1 3 5", "9 3 5", "1 5")
"""Close positions that a guitarist inverts and drops: four voices (three in triads)."""

STRINGS = (40, 45, 50, 55, 59, 64)
"""A guitar's open strings, low to high (E A D G B E)."""
STRING_SETS = {"drop-2": ((2, 3, 4, 5), (1, 2, 3, 4)), "drop-3": ((0, 2, 3, 4), (1, 3, 4, 5))}
SHELL_STRINGS = ((0, 2, 3), (1, 2, 3))
SHELLS = ("1 7 3", "1 3 7", "5 7 3", "5 3 7", "1 3 5", "5 1 3", "1 5")
"""Rhythm guitar: three voices on the low strings."""
FRETS, REACH = 13, 4
"""The highest fret in use, and how many frets lie between the fingers at most."""

SEMITONES_IN_STEP = 2
BLUE = 3
"""A #9, in semitones above the root."""
CANDIDATES, BEAM = 16, 4


@dataclass(frozen=True, slots=True)
class Leading:
    """The cost of motion.

    ``still``: none; ``top``: the top voice stays while others move; ``step``: each semitone;
    ``leap``: each beyond a whole step. ``taste`` is the weight of chance, so that choruses differ.
    """

    still: float
    top: float
    step: float
    leap: float
    taste: float


LEADING = (
    Leading(0.6, 0.5, 0.02, 0.06, 1.7),
    Leading(0.3, 0.3, 0.1, 1.5, 0.9),
    Leading(0.3, 0.3, 0.04, 0.3, 0.9),
)
"""Under the same chord, from chord to chord, after a rest."""


@dataclass(frozen=True, slots=True)
class Hands:
    """What a player can hold: MIDI range, number of voices, the middle, the cost by size."""

    low: int
    high: int
    center: float
    sizes: tuple[float, ...]
    grips: str = "keys"


HANDS = {
    "piano": Hands(50, 76, 64.0, (9, 9, 2.0, 0.3, 0.0, 0.3)),
    "organ": Hands(52, 72, 62.0, (9, 9, 2.0, 0.1, 0.0, 9)),
    "vibes": Hands(55, 79, 67.0, (9, 9, 1.0, 0.0, 0.0, 9)),
    "guitar": Hands(48, 74, 61.0, (9, 9, 2.0, 0.5, 0.0, 9), "dropped"),
    "four": Hands(40, 64, 52.0, (9, 9, 2.0, 0.0, 9, 9), "shells"),
}
"""By name of the player; ``sizes`` is the cost of 0, 1, 2 ... voices."""
HANDS |= {
    f"{name} below": replace(hands, low=max(40, hands.low - 4), high=65, center=hands.center - 5)
    for name, hands in HANDS.items()
}
"""The same, leaving room above for a guide-tone line."""
HANDS |= {
    "piano open": Hands(54, 81, 69.0, (9, 9, 2.0, 0.2, 0.0, 0.2)),
    "vibes open": Hands(57, 82, 70.0, (9, 9, 1.0, 0.0, 0.0, 9)),
    "organ open": Hands(54, 78, 66.0, (9, 9, 2.0, 0.1, 0.0, 9)),
}
"""The same at the height of a tune."""
ROOM = 2
"""So many semitones below a guide tone that is heard the voices end."""
MASKED = 0.8
"""The cost of a voice that would mask a guide tone."""


@dataclass(frozen=True, slots=True, eq=False)
class Voicing:
    """Pitches (MIDI) from the bottom up, the grip they come from, and its cost in its place.

    ``heard``: how many of the color tones that the symbol writes are in it.
    """

    pitches: tuple[int, ...]
    grip: str
    cost: float
    heard: int

    @property
    def top(self) -> int:
        """The highest voice, which the ear follows."""
        return self.pitches[-1]


@dataclass(frozen=True, slots=True, eq=False)
class Choices:
    """Voicings to choose from, their costs, and their costs where one in the middle is wanted."""

    voicings: tuple[Voicing, ...]
    costs: tuple[float, ...]
    central: tuple[float, ...]


def voice_chords(
    plan: Plan,
    strokes: Sequence[CompStroke],
    hands: Sequence[str],
    rng: random.Random,
    guides: Sequence[frozenset[int]] = (),
) -> tuple[Voicing, ...]:
    """A voicing for each stroke, none of which is N.C.: smooth voice leading, with some chance.

    The first stroke of a chord has all tones of its symbol. ``hands``: for each stroke a
    name of HANDS. ``guides``: the guide tones (MIDI) heard at each stroke, to be left in the clear.
    """
    by_start = colors_of(plan)
    ways: list[_Way] = []
    for index, stroke in enumerate(strokes):
        before = strokes[index - 1] if index else None
        first = before is None or before.span is not stroke.span
        full, free = voicings(by_start[stroke.span.start], hands[index])
        choices = full if first else free
        # so that passes, which are voiced one by one, join smoothly
        joint = before is None or stroke.span is plan.following
        costs = choices.central if joint else choices.costs
        if guides:
            costs = _in_the_clear(choices, costs, guides[index])
        gap = before is not None and float(stroke.onset) - float(before.onset) > 8
        ways = _extended(ways, choices, costs, 2 if gap else int(first), rng)
    walked = _walked(ways[0] if ways else None)
    return tuple(map(_left_room, walked, guides)) if guides else walked


def masks(pitch: int, guides: frozenset[int]) -> bool:
    """Whether a voice masks a guide tone: beside or above it, or a minor ninth away."""
    return any(pitch >= guide - ROOM or guide - pitch == 13 for guide in guides)


def _in_the_clear(
    choices: Choices, costs: Sequence[float], guides: frozenset[int]
) -> tuple[float, ...]:
    masked = [sum([masks(pitch, guides) for pitch in v.pitches]) for v in choices.voicings]
    return tuple(cost + MASKED * count for cost, count in zip(costs, masked, strict=True))


def _left_room(voicing: Voicing, guides: frozenset[int]) -> Voicing:
    """The voicing without the voices that mask a guide tone; its lowest one is always there."""
    clear = tuple(pitch for pitch in voicing.pitches if not masks(pitch, guides))
    return replace(voicing, pitches=clear or voicing.pitches[:1])


@dataclass(frozen=True, slots=True, eq=False)
class _Way:
    """A way through the pass so far: its cost, its last voicing, the way before that."""

    cost: float
    voicing: Voicing
    before: _Way | None


def _extended(
    ways: Sequence[_Way], choices: Choices, costs: Sequence[float], kind: int, rng: random.Random
) -> list[_Way]:
    """The best ways that end in one of the choices."""
    rows = [[way.cost + m for m in _motions(way.voicing, choices, kind)] for way in ways]
    reached = list(map(min, *rows)) if len(rows) > 1 else rows[0] if rows else [0.0] * len(costs)
    chance, taste = rng.random, LEADING[kind].taste
    total = [r + c + taste * chance() for r, c in zip(reached, costs, strict=True)]
    found = []
    for at in sorted(range(len(total)), key=total.__getitem__)[:BEAM]:
        before = next(
            (w for w, row in zip(ways, rows, strict=True) if row[at] == reached[at]), None
        )
        found.append(_Way(total[at], choices.voicings[at], before))
    return found


def _walked(way: _Way | None) -> tuple[Voicing, ...]:
    voicings = []
    while way is not None:
        voicings.append(way.voicing)
        way = way.before
    return tuple(reversed(voicings))


@lru_cache(maxsize=1 << 15)
def _motions(before: Voicing, choices: Choices, kind: int) -> tuple[float, ...]:
    """The cost of going to each choice: ``kind`` 0 under the same chord, 1 from chord to chord,
    2 after a rest."""
    leading = LEADING[kind]
    return tuple(_motion(before.pitches, v.pitches, leading) for v in choices.voicings)


def _motion(before: tuple[int, ...], after: tuple[int, ...], leading: Leading) -> float:
    if before == after:
        return leading.still
    moves = voice_moves(before, after)
    top = abs(after[-1] - before[-1])
    cost = leading.top if top == 0 else 0.0 if top <= 2 else 0.15 * (top - 1)
    beyond = sum([move - SEMITONES_IN_STEP for move in moves if move > SEMITONES_IN_STEP])
    return cost + leading.step * sum(moves) + leading.leap * beyond


def voice_moves(before: Sequence[int], after: Sequence[int]) -> list[int]:
    """By how many semitones each voice moves.

    Voices of equal voicings go in order; of unequal ones each of the smaller takes its nearest.
    """
    if len(before) == len(after):
        return [abs(a - b) for a, b in zip(before, after, strict=True)]
    few, many = sorted((before, after), key=len)
    return [min([abs(one - other) for other in many]) for one in few]


@lru_cache(maxsize=4096)
def voicings(colors: Colors, comp: str) -> tuple[Choices, Choices]:
    """Voicings with all written tones, and all voicings, the cheapest first.

    Never empty: where no grip fits, chord tones are stacked.
    """
    hands = HANDS[comp]
    source = {"keys": _keys, "dropped": _dropped, "shells": _shells}[hands.grips]
    found = [v for v in source(colors, hands) if is_clear(v.pitches, colors)]
    if not found:
        found = list(_stacked(colors, hands))
    found.sort(key=lambda v: v.cost)
    wanted = 2 if colors.altered else len(colors.written)
    most = min(wanted, max(v.heard for v in found))
    return _choices([v for v in found if v.heard >= most], hands), _choices(found, hands)


def _choices(found: Sequence[Voicing], hands: Hands) -> Choices:
    kept = tuple(found[:CANDIDATES])
    central = (v.cost + 0.3 * abs(sum(v.pitches) / len(v.pitches) - hands.center) for v in kept)
    return Choices(kept, tuple(v.cost for v in kept), tuple(central))


def is_clear(pitches: Sequence[int], colors: Colors) -> bool:
    """Whether a voicing sounds clear.

    No interval lies below its limit, no voices are a minor ninth apart (but a b9 over the root),
    the top two voices are no half step apart, and nothing is right below a major third.
    """
    if len(pitches) > 2 and pitches[-1] - pitches[-2] == 1:
        return False
    for low, high in combinations(pitches, 2):
        interval = high - low
        if low < LOW_LIMITS.get(interval, 0):
            return False
        if interval == 1 and (high - colors.root) % 12 == 4:
            return False  # a #9 stands above the third
        if interval > 12 and interval % 12 == 1 and low % 12 != colors.root:
            return False
    return True


def _keys(colors: Colors, hands: Hands) -> Iterator[Voicing]:
    for name, words, cost in _grips():
        for tones in _tones(colors, words):
            if _suits(name, colors):
                steps = _close(tones)
                for pitches in _placed(steps, colors.root, hands):
                    yield _voicing(pitches, name, cost, colors, hands)


def _suits(name: str, colors: Colors) -> bool:
    """Whether players would use a grip for the chord."""
    rootless = bool(colors.ninths) and colors.family not in ROOTED
    if name == "rooted" and rootless and colors.family != "sus":
        return False
    if name in ("triad", "added", "fifth"):
        return not colors.sevenths or (name == "triad" and not colors.thirds)
    if name == "so-what":
        return colors.family == "minor"
    return True


@lru_cache(maxsize=1)
def _grips() -> tuple[tuple[str, tuple[str, ...], float], ...]:
    rows = [cell.split() for line in GRIPS.strip().splitlines() for cell in line.split("|")]
    return tuple((row[0], tuple(row[1:-1]), float(row[-1])) for row in rows)


def _tones(colors: Colors, words: Sequence[str]) -> Iterator[tuple[int, ...]]:
    """What the voices of a grip may be in a chord, in semitones above the root; no tone twice."""
    options = {
        "1": (0,),
        "3": colors.thirds,
        "5": colors.fifths,
        "7": colors.sevenths,
        "9": colors.ninths,
        "11": colors.elevenths,
        "13": colors.thirteenths,
    }
    for tones in product(*(options[word] for word in words)):
        if len(set(tones)) == len(tones):
            yield tones


def _close(tones: Sequence[int]) -> tuple[int, ...]:
    """Each tone at its nearest place above the one before."""
    steps = [tones[0]]
    for tone in tones[1:]:
        steps.append(steps[-1] + (tone - steps[-1]) % 12)
    return tuple(steps)


def _placed(steps: Sequence[int], root: int, hands: Hands) -> Iterator[tuple[int, ...]]:
    """The same shape in every octave in which the hands can hold it."""
    for octave in range(2, 7):
        pitches = tuple(12 * octave + root + step for step in steps)
        if pitches[0] >= hands.low and pitches[-1] <= hands.high:
            yield pitches


def _voicing(
    pitches: tuple[int, ...], grip: str, cost: float, colors: Colors, hands: Hands
) -> Voicing:
    tones = {(pitch - colors.root) % 12 for pitch in pitches}
    away = abs(sum(pitches) / len(pitches) - hands.center)
    missed = 0.4 * (bool(colors.written) and not tones & colors.written)
    missed += 0.6 * (colors.ninths == (1,) and 1 not in tones)  # the b9 of a V leads home
    # an eleventh that is not written is a spice
    spice = 0.4 * bool(tones.intersection(colors.elevenths) - colors.written)
    spice += 0.3 * (BLUE in tones and BLUE in colors.ninths and BLUE not in colors.written)
    cost += 0.07 * away + hands.sizes[len(pitches)] + missed + spice
    return Voicing(pitches, grip, cost, len(tones & colors.written))


def drop(close: Sequence[int], voice: int) -> tuple[int, ...]:
    """A close position with its ``voice``-th note from the top an octave lower (2: drop 2)."""
    moved = close[-voice] - 12
    rest = [pitch for index, pitch in enumerate(close) if index != len(close) - voice]
    return tuple(sorted([moved, *rest]))


def _dropped(colors: Colors, hands: Hands) -> Iterator[Voicing]:
    """Drop-2 and drop-3 voicings that lie on four neighboring strings under one hand."""
    for words in CHORDS:
        for tones in _tones(colors, words.split()):
            if not _suits("triad" if len(tones) < 4 else "", colors):
                continue
            rooted = 0.5 if 0 in tones and colors.ninths and colors.family not in ROOTED else 0.0
            for name, steps in _inversions(tones):
                for pitches in _placed(steps, colors.root, hands):
                    if is_playable(pitches, name):
                        yield _voicing(pitches, name, rooted, colors, hands)


def _inversions(tones: Sequence[int]) -> Iterator[tuple[str, tuple[int, ...]]]:
    """All inversions of a chord, dropped; three voices and fewer stay close."""
    ordered = sorted(tones)
    for first in range(len(ordered)):
        close = _close([*ordered[first:], *ordered[:first]])
        if len(close) < 4:
            yield "close", close
        else:
            yield "drop-2", drop(close, 2)
            yield "drop-3", drop(close, 3)


def is_playable(pitches: Sequence[int], name: str) -> bool:
    """Whether a guitarist can hold the pitches: a string each, the frets under one hand."""
    sets = STRING_SETS.get(name) or tuple(
        tuple(range(first, first + len(pitches))) for first in range(1, 7 - len(pitches))
    )
    return any(_under_hand(pitches, strings) for strings in sets)


def _under_hand(pitches: Sequence[int], strings: Sequence[int]) -> bool:
    frets = [pitch - STRINGS[string] for pitch, string in zip(pitches, strings, strict=False)]
    return min(frets) >= 0 and max(frets) <= FRETS and max(frets) - min(frets) <= REACH


def _shells(colors: Colors, hands: Hands) -> Iterator[Voicing]:
    """Three voices on the low strings, root or fifth at the bottom."""
    for rank, words in enumerate(SHELLS):
        if colors.thirds and colors.sevenths and "7" not in words:
            continue
        for tones in _tones(colors, words.split()):
            for pitches in _placed(_close(tones), colors.root, hands):
                sets = SHELL_STRINGS if len(pitches) == 3 else ((0, 1), (1, 2))
                if any(_under_hand(pitches, strings) for strings in sets):
                    yield _voicing(pitches, "shell", 0.15 * rank, colors, hands)


def _stacked(colors: Colors, hands: Hands) -> Iterator[Voicing]:
    """Chord tones in close position, whatever the limits: the last resort."""
    tones = [*colors.core, *(tone for tone in colors.written if tone not in colors.core)][:4]
    ordered = sorted(tones)
    for first in range(len(ordered)):
        steps = _close([*ordered[first:], *ordered[:first]])
        for pitches in _placed(steps, colors.root, hands):
            yield _voicing(pitches, "stack", 0.0, colors, hands)
