"""Hits of the head are touched in solos, and played where the tune has solos of its own."""

from __future__ import annotations

from fractions import Fraction

from backing.chart.text.tune_file import read
from backing.combo.band import Band
from backing.routine import Purpose
from backing.routine.request import Request
from tests.benchmarks.heard import Heard, take

TUNE = """\
title: Door Bell
key: C

section A
| Dm7 | G7 | Cmaj7 | A7 |
| Dm7 | G7 | C6 | % |
hits 3: 1 2& 4
"""
HITS = (Fraction(8), Fraction(19, 2), Fraction(11))


def passes(text: str) -> dict[Purpose, Heard]:
    heard = take(read(text), Request(choruses=4), Band(seed=3))
    return {each.plan.purpose: each for each in heard}


def struck(heard: Heard, player: str) -> set[Fraction]:
    return {n.onset for n in heard.part(player).notes if 8 <= n.onset < 12}


def test_the_head_is_hit_by_all_and_the_solo_touched() -> None:
    played = passes(TUNE)
    head, solo = played[Purpose.HEAD], played[Purpose.SOLO]
    assert struck(head, "bass") == struck(head, "comp") == set(HITS)
    assert struck(solo, "comp") == set(HITS)
    assert len(struck(solo, "bass")) >= 3
    assert struck(solo, "bass") != set(HITS)
    assert set(HITS) <= struck(solo, "drums")
    assert not any(n.together for n in solo.part("comp").notes)


def test_solos_of_its_own_are_played_as_written() -> None:
    solo = passes(TUNE.replace("key: C\n", "key: C\nsolos: A\n"))[Purpose.SOLO]
    assert struck(solo, "bass") == struck(solo, "comp") == set(HITS)
