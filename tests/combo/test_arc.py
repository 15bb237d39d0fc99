"""The arc over the choruses: how they build and come down, and that each is its own."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from functools import cache
from itertools import pairwise
from math import sqrt
from statistics import fmean

import pytest

from backing.combo.arc import ENOUGH_SOLOS, chapter
from backing.routine import Pass, Purpose
from backing.routine.request import Request
from tests.benchmarks.changes import random_form
from tests.benchmarks.heard import Heard, band, take
from tests.benchmarks.spread import answers

TEN = 12
"""Choruses: a head, ten solos, a head out."""


@cache
def solos(seed: int, tempo: int = 160) -> tuple[Heard, ...]:
    form = random_form(seed, tempo=tempo)
    heard = take(form, Request(choruses=TEN), band(seed, players="bass comp drums"))
    return tuple(h for h in heard if h.plan.purpose is Purpose.SOLO)


def strokes_a_bar(heard: Heard) -> float:
    return len({n.onset for n in heard.part("comp").notes}) / len(heard.plan.bars)


def chapters(seed: int, count: int = TEN) -> list[tuple[float, ...]]:
    order = [Purpose.HEAD, *[Purpose.SOLO] * (count - 2), Purpose.HEAD_OUT]
    passes = [
        Pass(purpose, (), Fraction(120), take=n, chorus=n, choruses=count)
        for n, purpose in enumerate(order)
    ]
    return [chapter(each, seed).levels for each in passes]


@pytest.mark.parametrize("count", [5, 8, 12])
@pytest.mark.parametrize("seed", range(6))
def test_the_solos_build_to_a_height_before_the_last_one_ends(count: int, seed: int) -> None:
    mine = chapters(seed, count)[1:-1]
    tops = [max(levels) for levels in mine]
    assert mine[0][0] == min(min(levels) for levels in mine)
    assert max(tops) - mine[0][0] >= 0.5
    assert mine[-1][-1] < max(tops)  # and comes down
    assert tops.index(max(tops)) >= len(tops) - 2
    assert all(a[-1] == pytest.approx(b[0]) for a, b in pairwise(mine))


def test_density_builds() -> None:
    """Strokes of the comp a bar, from about 1 to about 3.5 (ours)."""
    by_chorus = list(zip(*(map(strokes_a_bar, solos(seed)) for seed in range(8)), strict=True))
    middle = [fmean(values) for values in by_chorus]
    every = [value for values in by_chorus for value in values]
    assert middle[0] < 1.6
    assert max(middle[-3:]) > 2.8
    assert min(every) <= 1.1
    assert max(every) >= 3.4


def test_touch_and_register_build() -> None:
    for seed in range(4):
        first, *_, height, _ = solos(seed)
        for player in ("bass", "drums", "comp"):
            early, late = (fmean(n.velocity for n in h.part(player).notes) for h in (first, height))
            assert late > early + 4, player
        low, high = (max(n.pitch for n in h.part("comp").notes) for h in (first, height))
        assert high >= 76 > low - 4


def figures(heard: Heard, start: int) -> Counter[tuple[object, ...]]:
    """The figures of every second bar: the comp's, and the comments of the drums."""
    found: Counter[tuple[object, ...]] = Counter()
    for bar in heard.plan.bars[start::2]:
        for player, roles in (("comp", ()), ("drums", ("comment", "ghost", "ride", "skip"))):
            notes = heard.part(player).notes
            inside = [n for n in notes if bar.start <= n.onset < bar.end]
            told = [n for n in inside if not roles or n.role in roles]
            figure = tuple(sorted({(n.onset - bar.start, n.role if roles else "") for n in told}))
            found[player, figure] += 1
    return found


def likeness(one: Counter[tuple[object, ...]], other: Counter[tuple[object, ...]]) -> float:
    shared = sum(one[key] * other[key] for key in one)
    return shared / sqrt(sum(v * v for v in one.values()) * sum(v * v for v in other.values()))


def test_a_chorus_is_told_from_any_other_by_its_figures() -> None:
    """Half of its bars are more like its other half than any other chorus: by chance 1 in 10."""
    told = 0
    for seed in range(4):
        halves = [[figures(heard, start) for heard in solos(seed)] for start in (0, 1)]
        for at, half in enumerate(halves[0]):
            near = [likeness(half, other) for other in halves[1]]
            told += near.index(max(near)) == at
    assert told >= 14  # of 40


def test_the_drums_answer_the_comp_more_often_than_by_chance() -> None:
    rate, by_chance = answers([h for seed in range(4) for h in solos(seed)[3:]])
    assert rate > 2 * by_chance
    assert rate > 0.06


def test_textures_come_where_there_is_room_and_nothing_is_written() -> None:
    few = [
        chapter(Pass(Purpose.SOLO, (), Fraction(120), chorus=c, choruses=4), seed).texture
        for c in (1, 2)
        for seed in range(20)
    ]
    assert ENOUGH_SOLOS > 2
    assert not any(few)
    found: Counter[str] = Counter()
    for seed in range(8):
        for heard in solos(seed):
            opening = heard.plan.bars[0].bar.directions
            found["stroll"] += "comp" in opening.lay_out
            found["stop-time"] += opening.only is not None
            found["pedal"] += opening.pedal is not None
    assert min(found.values()) >= 1
    assert sum(found.values()) <= 8 * 3
