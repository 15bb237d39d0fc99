"""The schedule beside exact arithmetic: at most a sample apart, and hardly ever that."""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.text.tune_file import read
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.feel import Clock
from backing.combo.instruments import ACOUSTIC_BASS
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass
from backing.mixdown.schedule import _struck, sample_of
from backing.routine.climb import Climb
from backing.routine.passes import Pass, Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine
from backing.routine.tempo import Tempo

RATE = 44100
TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.tune"))


Rows = list[tuple[int, int, int, int]]
"""Onset, hold, pitch and velocity of notes."""


def exactly(performance: Performance, part: str, rate: int) -> Rows:
    """The notes of a part by fractions alone."""
    return [
        (
            sample_of(each.onset, rate),
            sample_of(each.end - each.onset, rate),
            each.note.pitch,
            each.note.velocity,
        )
        for each in performance.notes(part)
    ]


def assert_together(performance: Performance, part: str, rate: int) -> int:
    """Compare the notes by arrays with those by fractions; returns how many there are."""
    ours = list(zip(*_struck(performance, part, rate).tolist(), strict=True))
    exact = exactly(performance, part, rate)
    assert [row[2:] for row in ours] == [row[2:] for row in exact]
    apart = [
        abs(mine - theirs)
        # notes struck together are one chance to round otherwise
        for one, other in {(tuple(a[:2]), tuple(b[:2])) for a, b in zip(ours, exact, strict=True)}
        for mine, theirs in zip(one, other, strict=True)
    ]
    assert max(apart, default=0) <= 1
    assert sum(apart) <= 3 + len(apart) // 1000
    return len(ours)


@pytest.mark.parametrize("tune", TUNES, ids=lambda tune: tune.stem)
def test_tunes_at_any_tempo(tune):
    form = read(tune.read_text(encoding="utf-8"), tune.name)
    requests = [
        Request(ending="slow"),
        Request(
            bars="1-4",
            times=2,
            climb=Climb(Tempo(Fraction(57)), Tempo(Fraction(503, 3)), Tempo(Fraction(63))),
        ),
    ]
    count = 0
    for request in requests:
        performance = arrange(make_routine(form, request), Band(players=frozenset(
            {"bass", "comp", "drums", "guide", "click"}
        )))  # fmt: skip
        for part in performance.part_names:
            count += assert_together(performance, part, RATE)
    assert count > 200


beats = st.fractions(-1, 30, max_denominator=48)
notes = st.builds(
    Note,
    onset=beats,
    length=st.fractions(0, 6, max_denominator=24),
    pitch=st.integers(30, 60),
    velocity=st.just(64),
    swung=st.booleans(),
    lateness_ms=st.integers(-60, 60).map(lambda half: half / 2) | st.floats(-30, 30),
    tempos=st.none() | st.tuples(st.integers(40, 150), st.integers(100, 300)),
    melodic=st.booleans(),
)
runs = st.lists(
    st.tuples(
        st.sampled_from([Fraction(1), Fraction(2), Fraction(4), Fraction(5, 2), Fraction(3, 2)]),
        st.fractions(40, 300, max_denominator=7),
        st.sampled_from([Fraction(1), Fraction(3, 2), Fraction(2), Fraction(221, 100)]),
    ),
    min_size=1,
    max_size=8,
)


@given(st.lists(notes, max_size=30), runs, st.sampled_from([44100, 48000, 22050]))
@settings(max_examples=150, deadline=None)
def test_any_notes_on_any_clock(written, stretches, rate):
    clock = Clock(stretches)
    part = Part.of("bass", ACOUSTIC_BASS, written)
    start = Fraction(0)
    passes = []
    for _ in range(2):
        passes.append(PlayedPass(Pass(Purpose.TIME, (), Fraction(120)), start, (part,)))
        start += clock.length_beats / 2
    performance = Performance("Any", tuple(passes), clock)
    assert_together(performance, "bass", rate)


def test_moments_half_way_between_two_samples_go_to_the_later():
    # 60 bpm: beat n / 88200 lies half-way between samples for every odd n
    places = [Fraction(n, 88200) for n in range(1, 4001, 2)]
    part = Part.of("bass", ACOUSTIC_BASS, [
        Note(place, Fraction(1), 40, 64, swung=False) for place in places
    ])  # fmt: skip
    clock = Clock([(Fraction(4), Fraction(60), Fraction(1))])
    one = PlayedPass(Pass(Purpose.TIME, (), Fraction(60)), Fraction(0), (part,))
    onset, *_ = _struck(Performance("Half", (one,), clock), "bass", RATE)
    assert onset.tolist() == [(n + 1) // 2 for n in range(1, 4001, 2)]


def test_nine_hours_in_nothing_is_two_samples_off():
    rng = random.Random(9)
    bars = [
        (Fraction(rng.choice([2, 3, 4])), Fraction(rng.randint(280, 2100), 7), Fraction(9, 4))
        for _ in range(24_000)
    ]
    clock = Clock(bars)
    assert clock.length_seconds > 9 * 3600
    part = Part.of("bass", ACOUSTIC_BASS, [
        Note(Fraction(rng.randint(0, 9600), 48), Fraction(rng.randint(0, 96), 24), 40, 64,
             swung=rng.random() < 0.6, lateness_ms=rng.randint(-80, 80) / 2)
        for _ in range(1000)
    ])  # fmt: skip
    late = Fraction(int(clock.length_beats) - 210)
    one = PlayedPass(Pass(Purpose.TIME, (), Fraction(120)), late, (part,))
    performance = Performance("Long", (one,), clock)
    assert_together(performance, "bass", 48000)
