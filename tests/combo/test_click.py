"""The click and the count-in (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.combo import click
from backing.combo.instruments import HIGH_WOOD_BLOCK, SIDE_STICK
from backing.combo.plan import Plan, make_plan
from backing.routine.count_in import count_in
from tests.combo.build import bars, plan_of


def counted(meter: str, tempo: int, how_many: int | None = None, pickup: str = "") -> list[float]:
    """The beats of the sticks before a tune in ``meter``, its pickup so long."""
    first = bars("C6 | C6", meter)[0]
    if pickup:
        first = replace(first, number=0, length=Fraction(pickup))
    count = count_in(first, Fraction(tempo), how_many)
    assert count is not None
    part = click.count_in(make_plan(count), Fraction(tempo))
    assert part.name == "count"
    assert {n.pitch for n in part.notes} == {SIDE_STICK}
    return [float(n.onset) for n in part.notes]


@pytest.mark.parametrize(
    ("meter", "tempo", "beats"),
    [
        ("4/4", 140, [0, 2, 4, 5, 6, 7]),
        ("4/4", 240, [0, 2, 4, 5, 6, 7]),
        ("4/4", 60, [0, 1, 2, 3]),
        ("3/4", 140, [0, 3, 4, 5]),
        ("5/4", 140, [0, 1, 2, 3, 4]),
        ("2/4", 140, [0, 2, 3]),
    ],
)
def test_the_band_is_counted_in(meter: str, tempo: int, beats: list[int]) -> None:
    assert counted(meter, tempo) == beats


def test_a_long_count_is_slow_at_first_where_it_is_fast() -> None:
    assert counted("4/4", 260, 4) == [0, 4, 8, 10, 12, 13, 14, 15]
    assert counted("4/4", 140, 3) == [0, 2, 4, 6, 8, 9, 10, 11]


@pytest.mark.parametrize("pickup", ["1/2", "1", "3/2", "3"])
def test_the_count_goes_on_through_a_pickup(pickup: str) -> None:
    assert counted("4/4", 140, pickup=pickup) == [0, 2, 4, 5, 6, 7]


def clicked(plan: Plan, beats: str) -> list[float]:
    return [float(n.onset) for n in click.play(plan, beats).notes]


@pytest.mark.parametrize(
    ("beats", "four", "three", "five"),
    [
        ("all", [0, 1, 2, 3], [0, 1, 2], [0, 1, 2, 3, 4]),
        ("2 and 4", [1, 3], [1], [1, 4]),
        ("4", [3], [2], [4]),
        ("sparse", [0], [0], [0]),
    ],
)
def test_where_the_click_falls(
    beats: str, four: list[int], three: list[int], five: list[int]
) -> None:
    for meter, expected in (("4/4", four), ("3/4", three), ("5/4", five)):
        assert clicked(plan_of(bars("C6", meter)), beats) == expected


def test_a_sparse_click_leaves_every_second_bar_empty() -> None:
    assert clicked(plan_of(bars("C6 | C6 | C6 | C6")), "sparse") == [0, 8]


def test_only_a_click_on_all_beats_marks_the_one() -> None:
    plan = plan_of(bars("C6 | C6"))
    high = [n.onset for n in click.play(plan, "all").notes if n.pitch == HIGH_WOOD_BLOCK]
    assert high == [0, 4]
    for beats in ("2 and 4", "4", "sparse"):
        assert HIGH_WOOD_BLOCK not in {n.pitch for n in click.play(plan, beats).notes}


def test_a_pickup_is_the_end_of_its_bar() -> None:
    first, *rest = bars("C6 | C6")
    plan = plan_of((replace(first, number=0, length=Fraction(3, 2)), *rest))
    assert clicked(plan, "all") == [0.5, 1.5, 2.5, 3.5, 4.5]
    assert clicked(plan, "2 and 4") == [0.5, 2.5, 4.5]


@given(
    meter=st.sampled_from(["2/4", "3/4", "4/4", "5/4", "6/4", "7/4", "6/8", "12/8"]),
    beats=st.sampled_from(sorted(click.BEATS)),
)
@settings(max_examples=50)
def test_clicks_lie_on_beats_inside_the_pass(meter: str, beats: str) -> None:
    plan = plan_of(bars("C6 | F6 | C6", meter))
    part = click.play(plan, beats)
    assert part.notes
    assert all(n.onset.denominator == 1 and 0 <= n.onset < plan.length for n in part.notes)
    assert not any(n.swung or n.lateness_ms for n in part.notes)
