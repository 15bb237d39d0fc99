"""The bass line: pitches for all slots of a pass, planned as one line and then sampled.

Every slot has weights for its pitches (harmony, register) and every move has a weight (interval,
what is left, where it arrives). From the end backwards the worth of each pitch for all that is
still to come is added up (the backward half of the forward-backward algorithm, Rabiner 1989);
then the line is drawn from its beginning, each pitch by its weight, its worth for the rest, and
what only the past can tell: direction, leaps to be turned back, figures already played. So the
good lines are drawn, the better the more often; the work grows with the number of slots alone.
"""

from __future__ import annotations

import random
from bisect import bisect
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from operator import mul

from backing.combo.bass.harmony import (
    LOWEST,
    PITCHES,
    Emphasis,
    Harmony,
    PitchWeights,
    harmony_of,
    home,
    octaves,
    only,
    reach,
    smooth,
    weighed,
)
from backing.combo.bass.rhythm import TICKS, BassSlot
from backing.combo.bass.style import read_bass_style
from backing.combo.plan import Plan

WIDEST = 12
"""No move is wider than an octave."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A slot's harmony and the weights of its pitches, zero but from ``low`` up to ``high``.

    ``place`` says how moves into it weigh.
    """

    harmony: Harmony
    weights: PitchWeights
    place: Emphasis
    low: int = 0
    high: int = PITCHES


def bass_line(plan: Plan, slots: Sequence[BassSlot], rng: random.Random) -> list[int]:
    """MIDI pitches for ``slots``."""
    if not slots:
        return []
    tones = random.Random(rng.getrandbits(64))
    drawn = _drawn_tones(plan, slots, tones)
    if not plan.careful and read_bass_style(slots[0].bar.feel).vocabulary == "line":
        _delayed(slots, drawn, tones)
    pitches = random.Random(rng.getrandbits(64))
    heights = _heights(plan, pitches)
    choices = [_choice(slots, at, drawn, heights[slot.bar.index]) for at, slot in enumerate(slots)]
    worth = _worth(choices, _goal(plan))
    return _sample(slots, choices, worth, pitches)


def _goal(plan: Plan) -> PitchWeights | None:
    """The first note of the pass that follows, None where nothing does."""
    following = plan.following
    if following is None or following.chord is None:
        return None
    return only(home(harmony_of(following.chord, following.key, following.pedal).bass))


# Which chord tone opens a new chord when it is not the root (WJD: third 5, fifth 8, seventh 3).
_ON_CHANGE = (("fifth", 8), ("third", 6), ("seventh", 2))
# Which one opens another bar of the same chord: an odd bar, an even one. Over one chord the
# root comes about every second bar (WJD: root 31 %, fifth 28 %); some of it is delayed, below.
_ON_BAR = (
    (("root", 74), ("fifth", 17), ("third", 9)),
    (("fifth", 40), ("root", 38), ("third", 15), ("seventh", 7)),
)
_ON_BAR_PLAIN = (("root", 80), ("fifth", 20))


def _drawn_tones(plan: Plan, slots: Sequence[BassSlot], rng: random.Random) -> list[int | None]:
    """The pitch classes of slots that open a chord or a bar: the skeleton of the line.

    They depend on the functions alone, so that transposed changes have the same skeleton.
    """
    drawn: list[int | None] = []
    bars = 0
    for slot in slots:
        bars = 0 if slot.place is Emphasis.CHANGE else bars + (slot.place is Emphasis.BAR)
        drawn.append(_drawn_tone(plan, slot, bars, not drawn, rng))
    return drawn


def _drawn_tone(
    plan: Plan, slot: BassSlot, bars: int, first: bool, rng: random.Random
) -> int | None:
    harmony, style = slot.harmony, read_bass_style(slot.bar.feel)
    options: tuple[tuple[str, int], ...]
    top = plan.plain and slot.bar.section_top and not slot.in_bar
    if harmony.held or slot.accent is not None or first or top:
        return harmony.bass
    if slot.place is Emphasis.CHANGE and style.vocabulary == "root-fifth":
        return harmony.bass
    if slot.place is Emphasis.CHANGE:
        share = _share_of_roots(style.roots, slot)
        if slot.bar.section_top and not slot.in_bar:
            share = max(share, TOPS_ON_ROOT)
        if plan.careful:
            share = 1.0 if plan.plain else min(0.91, max(share, style.roots_careful))
        if rng.random() < share:
            return harmony.bass
        options = _ON_CHANGE
    elif slot.place is Emphasis.BAR:
        options = _ON_BAR[bars % 2] if style.vocabulary == "line" else _ON_BAR_PLAIN
    elif slot.place in (Emphasis.STRONG, Emphasis.HELD) and style.vocabulary == "root-fifth":
        options = (("fifth", 85), ("root", 15))
    else:
        return None
    names = [name for name, _ in options]
    name = rng.choices(names, [weight for _, weight in options])[0]
    tone = harmony.tones.get(name, harmony.bass)
    return harmony.bass if name == "root" else tone


def _share_of_roots(usual: float, slot: BassSlot) -> float:
    """How often a chord begins on its root: the longer it lasts, the more (WJD: of chords of
    two beats .75, of four .84, of eight and more .95)."""
    beats = slot.span.end - slot.span.start
    if slot.harmony.slash:
        return 0.99
    # one note alone should be the root
    more = 0.28 if beats <= 1 or beats >= 8 else 0.22 if beats >= 4 else 0.06
    return min(0.97, usual + more)


TOPS_ON_ROOT = 0.93
"""How often a section begins on the root: there the form is heard (common practice)."""
DELAYED = {Emphasis.CHANGE: 0.2, Emphasis.BAR: 0.22}
"""How often the root of a chord comes on beat 2, after a neighbor on beat 1 (WJD: beat 1 sounds
a chord tone in 74 to 85 of 100 bars)."""


def _delayed(slots: Sequence[BassSlot], drawn: list[int | None], rng: random.Random) -> None:
    """Put neighbors on some first beats, and the roots that were to be there after them."""
    for at, (slot, after) in enumerate(pairwise(slots)):
        opens = slot.place in (Emphasis.CHANGE, Emphasis.BAR) and not slot.in_bar
        root = slot.harmony.bass
        stays = after.harmony is slot.harmony and after.place is Emphasis.WEAK
        stays = stays and not slot.bar.section_top
        if not (opens and stays and drawn[at] == root) or slot.harmony.held or slot.accent:
            continue
        if slot.ticks > TICKS or slot.harmony.slash or rng.random() >= DELAYED[slot.place]:
            continue
        drawn[at], drawn[at + 1] = (root + rng.choice((-1, -1, 1, 2))) % 12, root


# Heights of phrases in MIDI numbers and how often a phrase lies there: half of all notes of the
# WJD bass lines lie from 38 to 45, the middle is 42.
_HEIGHTS = (36, 38, 40, 42, 44, 46)
_HEIGHT_SHARES = (1, 2, 3, 3, 2, 1)
_PHRASE_BARS = 2


def _heights(plan: Plan, rng: random.Random) -> list[int]:
    """The height of each bar: a new one every two bars, approached in between."""
    count = len(plan.bars)
    phrases = count // _PHRASE_BARS + 1
    goals = [40, *rng.choices(_HEIGHTS, _HEIGHT_SHARES, k=phrases)]
    heights = []
    for bar in range(count):
        phrase, within = divmod(bar, _PHRASE_BARS)
        low, high = goals[phrase], goals[phrase + 1]
        heights.append(low + (high - low) * within // _PHRASE_BARS)
    heights[-1] = 40  # near the octave in which a pass begins
    return heights


PEDAL_HEIGHTS = (36, 46)
"""The heights of a pedal at the start of a bar and elsewhere: it leaps by octaves."""


def _choice(slots: Sequence[BassSlot], at: int, drawn: Sequence[int | None], height: int) -> Choice:
    slot, tone = slots[at], drawn[at]
    harmony, style = slot.harmony, read_bass_style(slot.bar.feel)
    if at == 0:
        return Choice(harmony, only(home(harmony.bass)), slot.place)
    if harmony.held:
        opens = slot.place in (Emphasis.CHANGE, Emphasis.BAR) or slot.accent is not None
        height = PEDAL_HEIGHTS[not opens]
        weights = octaves(harmony.bass, height)
    elif tone is not None:
        weights = octaves(tone, height)
    elif style.vocabulary == "root-fifth":
        weights = _narrow(harmony, drawn[at + 1] if at + 1 < len(slots) else None, height)
    else:
        weights = weighed(harmony, slot.place, height, style.chromatic)
    low, high = reach(height)
    return Choice(harmony, weights, slot.place, low, high)


def _narrow(harmony: Harmony, following: int | None, height: int) -> PitchWeights:
    """The fifth or the root, or the tone of the next slot anticipated."""
    root = octaves(harmony.bass, height)
    fifth = octaves(harmony.tones.get("fifth", harmony.bass), height)
    early = octaves(following, height) if following is not None else root
    return tuple(0.3 * r + 0.6 * f + e for r, f, e in zip(root, fifth, early, strict=True))


# The weight of a move by its width in semitones, both ways, when it leaves a chord
# tone. Tuned so that a line has the widths of the WJD bass lines (repeats 14.5 %, 1:
# 23.5, 2: 13.9, 3: 7.5, 4: 7.3, 5: 8.1, 6: 5.6, 7: 7.4, 8: 2.9, 9-11: 5.6, octaves 1.7).
_FROM_TONE = (0.6, 0.95, 0.5, 0.72, 0.65, 0.75, 1.15, 0.65, 0.5, 0.35, 0.3, 0.04, 1.0)
_FROM_SCALE = (0.15, 1.0, 0.6, 0.22, 0.12, 0.12, 0.1, 0.06, 0.02, 0.02, 0.02, 0.005, 0.05)
_FROM_CHROMATIC = (0.02, 1.2, 0.12, 0.04, 0.01, *(0.003,) * 8)
_INSIDE = (_FROM_TONE, _FROM_SCALE, _FROM_CHROMATIC)
# Factors by place and width. A repeated note arrives on a weak beat (WJD: on 2 21 %,
# on 4 16; on 1 10, on 3 11), an octave drops on a strong one, and a step leads over the bar line.
_FITTING = {
    Emphasis.CHANGE: {},
    Emphasis.BAR: {0: 0.4, 1: 1.4, 2: 1.4, 12: 0.5},
    Emphasis.STRONG: {0: 1.0},
    Emphasis.WEAK: {0: 4.0, 12: 0.5},
    Emphasis.HELD: {0: 0.8},
}
# Into a new chord's first note (WJD: 23 % each from a half step below and above, 11 from a
# whole step above, 4 from below, 19 from its fifth, 5 the same, 3 from the tritone).
# A seventh into a chord sounds like a slip.
_INTO_CHANGE_UP = (0.4, 1.7, 0.3, 0.25, 0.25, 0.9, 0.3, 0.1, 0.05, 0.02, 0.002, 0.001, 0.1)
_INTO_CHANGE_DOWN = (0.4, 1.85, 0.7, 0.25, 0.25, 0.25, 0.3, 1.0, 0.05, 0.02, 0.002, 0.001, 0.1)

# Factors by what it leaves (chord tone, scale tone, chromatic), by step and by more than a step.
_APPROACH = ((1.0, 1.0), (0.9, 0.3), (0.6, 0.02))


def _bases(place: Emphasis) -> tuple[PitchWeights, PitchWeights, PitchWeights]:
    """Weights of moves from 27 down to 27 up, by kind of the pitch they leave."""
    bases = []
    for left, widths in enumerate(_INSIDE):
        moves = []
        for move in range(-PITCHES + 1, PITCHES):
            width = abs(move)
            if width > WIDEST:
                moves.append(0.0)
                continue
            weight = widths[width] * _FITTING[place].get(width, 1.0)
            if place is Emphasis.CHANGE:
                into = (_INTO_CHANGE_UP if move > 0 else _INTO_CHANGE_DOWN)[width]
                weight = into * _APPROACH[left][width > 2]
            moves.append(weight)
        bases.append(tuple(moves))
    return bases[0], bases[1], bases[2]


MOVES = tuple(_bases(place) for place in Emphasis)
"""Weights of all moves, by place of arrival and by kind of the pitch they leave."""


def _moves(place: Emphasis, kind: int, pitch: int) -> PitchWeights:
    """The weights of the moves from a pitch (from LOWEST up) to every pitch."""
    return MOVES[place][kind][PITCHES - 1 - pitch : 2 * PITCHES - 1 - pitch]


def _worth(choices: Sequence[Choice], goal: Sequence[float] | None) -> list[list[float]]:
    """The weight of each pitch of each slot times that of all that can follow."""
    worth: list[list[float]] = []
    ahead, low, high = goal, 0, PITCHES
    place = Emphasis.CHANGE
    for choice in reversed(choices):
        values = list(choice.weights)
        if ahead is not None:
            kinds, bases, part = choice.harmony.kinds, MOVES[place], ahead[low:high]
            for pitch in range(choice.low, choice.high):
                if values[pitch]:
                    stay = PITCHES - 1 - pitch
                    row = bases[kinds[pitch]][stay + low : stay + high]
                    values[pitch] *= sum(map(mul, row, part))
        # kept near 1, since a long pass would underflow
        scale = 1 / (max(values) or 1.0)
        ahead = [value * scale for value in values]
        worth.append(ahead)
        place, low, high = choice.place, choice.low, choice.high
    worth.reverse()
    return worth


# By the move before: weights of going on the same way by step, skip (3-4), leap; of repeating;
# of turning back by step, skip, leap. WJD: after a step 56 % turn, after a leap of a fourth or
# more 78 %.
_AFTER = {
    "step": (1.0, 0.85, 0.6, 0.7, 0.5, 0.65, 0.75),
    "skip": (1.0, 0.9, 0.3, 0.7, 0.8, 0.7, 0.5),
    "leap": (0.55, 0.2, 0.05, 0.6, 1.0, 0.9, 0.5),
    "long run": (0.15, 0.1, 0.05, 0.5, 1.0, 1.0, 1.0),
}
_AFTER_REPEAT = (1.0, 1.0, 0.8, 0.15, 1.0, 1.0, 0.8)
# The same inside a chord of two bars and more, where nothing else gives the line a direction: a
# scale or an arpeggio goes on where it was going (common practice, no source).
_AFTER_INSIDE = {
    **_AFTER,
    "step": (1.0, 0.9, 0.4, 0.2, 0.2, 0.3, 0.4),
    "skip": (1.0, 1.1, 0.3, 0.2, 0.5, 0.35, 0.3),
}
LONGEST_RUN = 6
"""After so many moves in one direction the line turns."""
LONG_CHORD = 8
"""From this length in beats a chord has scales and arpeggios."""


def _after(weights: tuple[float, ...], up: bool) -> PitchWeights:
    moves = []
    for move in range(-PITCHES + 1, PITCHES):
        width = abs(move)
        by_width = 0 if width <= 2 else 1 if width <= 4 else 2
        on = (move > 0) == up
        moves.append(weights[3] if not move else weights[by_width if on else 4 + by_width])
    return tuple(moves)


_MEMORY = {
    (inside, name, up): _after(weights, up)
    for inside, after in ((False, _AFTER), (True, _AFTER_INSIDE))
    for name, weights in after.items()
    for up in (False, True)
}
_MEMORY_REPEAT = _after(_AFTER_REPEAT, True)


def _memory(move: int, run: int, slot: BassSlot) -> PitchWeights:
    """The weights of the moves to a slot, by the last move and the length of the run."""
    if not move:
        return _MEMORY_REPEAT
    width = abs(move)
    name = "leap" if width >= 5 else "skip" if width >= 3 else "step"
    inside = slot.place is not Emphasis.CHANGE and slot.span.end - slot.span.start >= LONG_CHORD
    return _MEMORY[inside, "long run" if run >= LONGEST_RUN else name, move > 0]


AGAIN = (1.0, 0.6, 0.4, 0.3)
"""The weight of continuing a bar as before: for the first, second, third time, and later."""


def _sample(
    slots: Sequence[BassSlot],
    choices: Sequence[Choice],
    worth: Sequence[list[float]],
    rng: random.Random,
) -> list[int]:
    """Draw the line from its beginning; pitches from LOWEST up inside, MIDI numbers out."""
    pitches: list[int] = []
    figures: dict[tuple[int, ...], dict[int, int]] = {}
    figure: tuple[int, ...] = ()
    bar, pitch, move, run = -1, 0, 0, 0
    for at, (slot, choice) in enumerate(zip(slots, choices, strict=True)):
        weights = worth[at]
        if slot.bar.index != bar:
            bar, figure = slot.bar.index, ()
        if at:
            row = _moves(choice.place, choices[at - 1].harmony.kinds[pitch], pitch)
            past = _memory(move, run, slot)[PITCHES - 1 - pitch : 2 * PITCHES - 1 - pitch]
            weights = list(map(mul, map(mul, weights, row), past))
            if at + 1 < len(choices) and choices[at + 1].place is not Emphasis.CHANGE:
                weights = list(map(mul, weights, smooth(choice.harmony, pitch)))
            if at > 1 and pitches[-2] != pitch:
                weights[pitches[-2]] *= 0.5
            for degree, times in figures.get(figure, {}).items():
                for option in range((choice.harmony.bass + degree - LOWEST) % 12, PITCHES, 12):
                    weights[option] *= AGAIN[min(times, 3)]
        sums = list(accumulate(weights))
        chosen = min(bisect(sums, rng.random() * sums[-1]), PITCHES - 1)
        if at:
            same = (chosen - pitch) * move > 0
            move = chosen - pitch
            run = run + 1 if same else 1
        pitch = chosen
        pitches.append(pitch)
        degree = (pitch + LOWEST - choice.harmony.bass) % 12
        if len(figure) > 1:
            played = figures.setdefault(figure, {})
            played[degree] = played.get(degree, 0) + 1
        figure = (*figure, degree)
    return [LOWEST + pitch for pitch in pitches]
