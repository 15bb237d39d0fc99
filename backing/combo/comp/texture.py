"""How many voices a stroke of the comping has: single notes, shells, three voices, the whole grip.

Pianists comp thinly: of the strokes in clips of 20 of them 44 % are single notes, 24 % have two,
and the fewest are whole chords (computed; a small sample). How thin depends on the energy, on the
length of a stroke, and on whether its chord has been heard already.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import combinations

from backing.combo.comp.tensions import Colors, colors_of
from backing.combo.comp.voicing import Voicing
from backing.combo.plan import CompStroke, Plan

SIZES = (1, 2, 3, 4)
WEIGHTS = (0.8, 0.36, 0.15, 0.06)
"""How often a stroke has so many voices at a middling energy; 4 is the whole grip."""
FULLER = (0.35, 0.8, 1.9, 4.0)
"""By how much each is wanted more often at the most energy than at a middling one."""
LONG = Fraction(3, 2)
"""Strokes held for so many beats carry a chord."""
SHELL = 3
"""The two voices of a shell lie so many semitones apart at least."""
THINNED = frozenset({"piano", "vibes", "organ", "guitar"})


def thinned(
    plan: Plan,
    strokes: Sequence[CompStroke],
    voicings: Sequence[Voicing],
    energies: Sequence[float],
    dice: random.Random,
) -> Iterator[Voicing]:
    """The voicings with as many voices as their places ask for."""
    by_start = colors_of(plan)
    before, top = None, 0
    for stroke, voicing, energy in zip(strokes, voicings, energies, strict=True):
        drawn = dice.random(), dice.random()
        colors, first = by_start[stroke.span.start], stroke.span is not before
        before = stroke.span
        needed = _needed(colors) if first else frozenset()
        size = _size(stroke, energy, drawn[0], first=first, careful=plan.careful)
        size = max(size, len(needed) + 1) if needed else size
        struck = voicing
        if not stroke.together:
            struck = _of_size(voicing, size, colors, (top, needed), drawn[1])
        top = struck.top
        yield struck


def _needed(colors: Colors) -> frozenset[int]:
    """The tones that have to be heard, in semitones above the root: written ones, the b9 of a V."""
    return colors.written | ({1} if colors.ninths == (1,) else frozenset())


def _size(stroke: CompStroke, energy: float, drawn: float, *, first: bool, careful: bool) -> int:
    more = 2 * (energy - 0.6)
    weights = [w * by**more for w, by in zip(WEIGHTS, FULLER, strict=True)]
    if stroke.length >= LONG or careful:
        weights[0] *= 0.45
        weights[3] *= 2
    if first:
        weights[0] *= 0.8
    total = drawn * sum(weights)
    for size, weight in zip(SIZES, weights, strict=True):
        total -= weight
        if total < 0:
            return size
    return SIZES[-1]


def _of_size(
    voicing: Voicing, size: int, colors: Colors, asked: tuple[int, frozenset[int]], drawn: float
) -> Voicing:
    """The voicing with ``size`` of its voices.

    ``asked``: the top voice before, near which the line goes on, and the tones that are needed.
    """
    top, needed = asked
    if size >= min(4, len(voicing.pitches)):
        return voicing
    guides = {*colors.thirds, *colors.sevenths}

    def cost(voices: tuple[int, ...]) -> float:
        missing = len(guides & {(v - colors.root) % 12 for v in voices})
        close = len(voices) > 1 and voices[-1] - voices[-2] < (SHELL if size == 2 else 2)
        way = abs(voices[-1] - top) if top else 0
        stays = 1.5 * (way == 0)  # a line goes somewhere
        return stays + 0.8 * max(0, way - 2) - 0.9 * missing + 4 * close

    needed &= {(pitch - colors.root) % 12 for pitch in voicing.pitches}
    options = [
        voices
        for voices in sorted(combinations(voicing.pitches, size), key=cost)
        if needed <= {(v - colors.root) % 12 for v in voices}
    ]
    if not options:
        return voicing
    chosen = options[int(drawn * drawn * min(2, len(options)))]
    return replace(voicing, pitches=chosen, grip=("single", "shell", "three")[size - 1])
