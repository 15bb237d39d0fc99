"""The clock and the swing, against the published ratios."""

from __future__ import annotations

import random
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.combo.feel import (
    SHORTEST_OFF_BEAT_MS,
    Clock,
    lateness,
    melodic_lateness_ms,
    ride_ratio,
    swing_place,
)

FRIBERG_2002 = {tempo: 4.9396 - 0.0124 * tempo for tempo in range(80, 301, 20)}
"""Column A: drums, a line credited to Friberg & Sundström 2002 in the KTH performance rules."""
FRIBERG_2020 = {tempo: min(3.1019, 4.1019 - 0.010 * tempo) for tempo in range(80, 301, 20)}
"""Column B: the later line of the same source."""
JTD_MODEL = {tempo: 2 ** (0.466 + 0.443 - (0.140 + 0.101) * (tempo - 194) / 47)
             for tempo in range(80, 301, 20)}  # fmt: skip
"""Column C: the drums of Cheston, Schlichting, Cross & Harrison 2024, mixed model."""
JTD_HAND = {tempo: 2 ** (1.765 - 0.00428 * tempo) for tempo in range(80, 301, 20)}
"""Column D: a line through the same authors' hand-annotated tracks."""
JTD_MEDIANS = {125: 2.36, 155: 2.27, 185: 2.10, 215: 1.79, 245: 1.52, 280: 1.36}
"""Median drum ratios of the Jazz Trio Database, at the middle of each bin of tempos."""

beats = st.fractions(min_value=0, max_value=40, max_denominator=12)
runs = st.lists(
    st.tuples(
        st.sampled_from([Fraction(n) for n in (2, 3, 4, 5)]),
        st.integers(40, 320).map(Fraction),
        st.sampled_from([Fraction(1), Fraction(3, 2), Fraction(2), Fraction(253, 100)]),
    ),
    min_size=1,
    max_size=6,
)


@pytest.mark.parametrize("tempo", range(100, 301, 20))
def test_the_ride_lies_between_the_published_lines(tempo: int) -> None:
    columns = [c[tempo] for c in (FRIBERG_2002, FRIBERG_2020, JTD_MODEL, JTD_HAND)]
    assert min(columns) - 0.01 <= ride_ratio(tempo) <= max(columns) + 0.01


@pytest.mark.parametrize(("tempo", "ratio"), JTD_MEDIANS.items())
def test_the_ride_lies_by_the_medians_of_drummers(tempo: int, ratio: float) -> None:
    assert ride_ratio(tempo) == pytest.approx(ratio, abs=0.11)


def test_slow_tempos_lie_near_the_triplet() -> None:
    """Common practice, no source."""
    assert all(2.0 <= ride_ratio(tempo) <= 2.5 for tempo in range(30, 81))


@given(st.floats(30, 374))
def test_the_short_note_is_never_too_short(tempo: float) -> None:
    """Friberg & Sundström 2002: about 100 ms, hardly shorter; faster than that it is even."""
    short = 60_000 / tempo / (ride_ratio(tempo) + 1)
    assert short >= SHORTEST_OFF_BEAT_MS - 1e-6
    assert ride_ratio(tempo) >= 1


def test_from_100_bpm_up_the_ratio_only_falls() -> None:
    ratios = [ride_ratio(tempo) for tempo in range(100, 420)]
    assert ratios == sorted(ratios, reverse=True)
    assert ratios[-1] == 1


@pytest.mark.parametrize(
    ("beat", "ratio", "place"),
    [("1/2", "2", "2/3"), ("1/2", "3", "3/4"), ("5/2", "1", "5/2"), ("1/4", "2", "1/3"),
     ("3/4", "2", "5/6"), ("3", "2", "3"), ("-1/2", "2", "-1/3")],
)  # fmt: skip
def test_swing_moves_the_off_beat(beat: str, ratio: str, place: str) -> None:
    assert swing_place(Fraction(beat), Fraction(ratio)) == Fraction(place)


@given(runs)
def test_bar_lines_are_exact_sums(bars: list[tuple[Fraction, Fraction, Fraction]]) -> None:
    clock = Clock(bars)
    beat, time = Fraction(0), Fraction(0)
    for length, tempo, _ in bars:
        assert clock.played(beat) == beat
        assert clock.seconds(beat) == time
        beat, time = beat + length, time + length * 60 / tempo
    assert (clock.length_beats, clock.length_seconds) == (beat, time)
    assert clock.seconds(beat) == time


@given(runs, st.lists(beats, min_size=2, max_size=8, unique=True))
def test_time_goes_forward(
    bars: list[tuple[Fraction, Fraction, Fraction]], written: list[Fraction]
) -> None:
    clock = Clock(bars)
    times = [clock.seconds(clock.played(beat)) for beat in sorted(written)]
    assert all(a < b for a, b in pairwise(times))


@given(runs, st.fractions(min_value=-2, max_value=40, max_denominator=960))
def test_beats_and_seconds_are_inverse(
    bars: list[tuple[Fraction, Fraction, Fraction]], beat: Fraction
) -> None:
    clock = Clock(bars)
    assert clock.beat(clock.seconds(beat)) == beat


@given(runs, st.fractions(min_value=0, max_value=30, max_denominator=3))
def test_what_is_not_swung_stays(
    bars: list[tuple[Fraction, Fraction, Fraction]], beat: Fraction
) -> None:
    assert Clock(bars).played(beat, swung=False) == beat


SWING = (Fraction(120), Fraction(2))


@given(st.sampled_from(["1/2", "1", "3/2", "5/2"]), st.booleans(), st.integers(0, 11))
@settings(max_examples=60)
def test_swing_counts_from_the_bar_line_around_a_pickup(
    pickup: str, counted: bool, at: int
) -> None:
    """A pickup of any length: beats stay, off-beats go to the triplet, before and after it."""
    short = Fraction(pickup)
    count = [(Fraction(4), *SWING), (4 - short, *SWING)] if counted else []
    clock = Clock([*count, (short, *SWING), (Fraction(4), *SWING), (Fraction(4), *SWING)])
    bar_one = (8 if counted else 0) + (0 if counted else short)
    beat = bar_one + Fraction(at, 2) - (Fraction(4) if counted else short.__floor__())
    expected = beat + (Fraction(1, 6) if at % 2 else 0)
    assert clock.played(beat) == expected


def test_a_push_into_another_swing_is_played_in_the_bar_it_lies_in() -> None:
    clock = Clock(
        [(Fraction(4), Fraction(120), Fraction(2)), (Fraction(4), Fraction(120), Fraction(1))]
    )
    assert clock.played(Fraction(7, 2)) == Fraction(11, 3)
    assert clock.played(Fraction(9, 2)) == Fraction(9, 2)


def test_equal_bars_are_one_stretch() -> None:
    bar = (Fraction(4), Fraction(132), Fraction(2))
    assert len(Clock([bar] * 64).stretches) == 1
    assert len(Clock([bar, (Fraction(4), Fraction(140), Fraction(2)), bar]).stretches) == 3


def test_lateness_is_clipped_and_in_half_ms() -> None:
    dice = random.Random(1)
    drawn = [lateness(dice, 6, 4) for _ in range(500)]
    assert all(-2 <= late <= 14 and (2 * late).is_integer() for late in drawn)
    assert sum(drawn) / len(drawn) == pytest.approx(6, abs=0.6)
    assert lateness(dice, -3, 0) == -3


@pytest.mark.parametrize("tempo", [80, 100, 150, 240])
def test_a_line_is_late_by_the_tempo_it_is_played_at(tempo: int) -> None:
    """One arrangement serves every tempo of a climb, so the clock says how late a line is."""
    clock = Clock([(Fraction(4), Fraction(tempo), Fraction(2))])
    for beat, on_beat in ((Fraction(1), True), (Fraction(3, 2), False)):
        late = clock.at(beat).melodic_late(beat) * 60_000 / tempo
        assert float(late) == pytest.approx(melodic_lateness_ms(tempo, on_beat, 2.0))
