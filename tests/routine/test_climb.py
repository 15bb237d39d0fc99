"""Tempos that step up."""

import itertools
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backing.errors import RoutineError
from backing.routine.climb import Climb
from backing.routine.tempo import FASTEST, SLOWEST, Tempo

GOAL = Fraction(132)


def test_a_climb_in_bpm_lands_on_its_goal() -> None:
    assert Climb.of("80-160:8").tempos(GOAL) == tuple(range(80, 161, 8))
    assert Climb.of("80-100:8").tempos(GOAL) == (80, 88, 96, 100)


@pytest.mark.parametrize(
    ("text", "shape", "tempos"),
    [
        ("85%", "up", (102, 108, 114, 120, 126, 120)),
        ("100", "up", (100, 106, 112, 118, 124, 126, 120)),
        ("90%:10", "up", (108, 118, 126, 120)),
        ("90%", "up-and-back", (108, 114, 120, 126, 120, 114, 108)),
        ("90%", "two-up-one-down", (108, 114, 120, 114, 120, 126, 120)),
        ("90%", "slow-and-goal", (108, 120, 114, 120)),
    ],
)
def test_a_climb_from_a_tempo_ends_at_the_goal(
    text: str, shape: str, tempos: tuple[int, ...]
) -> None:
    assert Climb.of(f"{text} {shape}").tempos(Fraction(120)) == tempos


def test_a_climb_from_the_tempo_of_the_tune_goes_nowhere() -> None:
    with pytest.raises(RoutineError, match="does not go up"):
        Climb.of("100%").tempos(Fraction(120))


def test_a_climb_in_percent_is_of_the_tune() -> None:
    tempos = Climb.of("60%-105%:5%").tempos(Fraction(120))
    # the steps for a goal of 120 (design arithmetic): 72, 78, ... 126
    assert tempos == (72, 78, 84, 90, 96, 102, 108, 114, 120, 126)


def test_without_a_step_it_is_five_percent_of_the_tune() -> None:
    assert Climb.of("90%-100%").tempos(Fraction(120)) == (108, 114, 120)


@pytest.mark.parametrize(
    ("shape", "tempos"),
    [
        ("up-and-back", (80, 90, 100, 110, 100, 90, 80)),
        ("slow-and-goal", (80, 110, 90, 110, 100, 110)),
        ("two-up-one-down", (80, 90, 100, 90, 100, 110)),
    ],
)
def test_the_shapes_of_a_climb(shape: str, tempos: tuple[int, ...]) -> None:
    assert Climb.of(f"{shape} 80-110:10").tempos(GOAL) == tempos


@given(
    low=st.integers(20, 300), rise=st.integers(1, 100), step=st.integers(1, 60),
    shape=st.sampled_from(["up", "up-and-back", "two-up-one-down", "slow-and-goal"]),
)  # fmt: skip
def test_every_climb_keeps_its_bounds_and_meets_its_goal(
    low: int, rise: int, step: int, shape: str
) -> None:
    tempos = Climb.of(f"{low}-{low + rise}:{step} {shape}").tempos(GOAL)
    assert min(tempos) == low
    assert max(tempos) == low + rise
    assert all(a != b for a, b in itertools.pairwise(tempos))


@pytest.mark.parametrize(
    "text",
    ["", "fast", "160-80:8", "80-80:8", "80-160:0", "80-160:0.01", "10-160:8", "80-500:10", "80:"],
)
def test_what_is_no_climb_is_refused_with_a_cure(text: str) -> None:
    with pytest.raises(RoutineError) as caught:
        Climb.of(text).tempos(GOAL)
    assert caught.value.cure


def test_tempos_in_bpm_and_of_the_tune() -> None:
    assert Tempo.of("132.5").bpm(GOAL) == Fraction("132.5")
    assert Tempo.of("50%").bpm(GOAL) == 66
    for wrong in ("0", "5000", "-3", "quick", "1%"):
        with pytest.raises(RoutineError, match=r"tempo"):
            Tempo.of(wrong).bpm(GOAL)
    assert Tempo.of(str(SLOWEST)).bpm(GOAL) == SLOWEST
    assert Tempo.of(str(FASTEST)).bpm(GOAL) == FASTEST
