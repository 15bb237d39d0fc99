"""What is played, in which order."""

import itertools
from dataclasses import replace
from fractions import Fraction

import pytest

from backing.chart.form import Form
from backing.chart.pitch import Key
from backing.chart.text.tune_file import read
from backing.errors import RoutineError, SelectionError, UserError
from backing.routine.keys import Keys
from backing.routine.passes import Pass, Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine, separated

TUNE = """\
title: Lantern Street
key:   G minor
meter: 4/4
tempo: 120
head:  intro A A B A

section intro
| D7 | D7 |

section A
| Gm6   | C7   | Ebmaj7     | Cm7      |
| Am7b5 | D7b9 | Gm6        | Am7b5 D7 |

section B
| Gm7 | C7 | Fmaj7 | % |
| Fm7 | Bb7 | Am7b5 | D7 |
"""


@pytest.fixture(scope="module")
def form() -> Form:
    return read(TUNE)


def kinds(passes: tuple[Pass, ...]) -> list[str]:
    return [str(p.purpose) for p in passes]


def chords(bars: object) -> list[str]:
    return [" ".join(c.chord.text if c.chord else "N.C." for c in bar.changes) for bar in bars]  # type: ignore[attr-defined]


def test_choruses_are_head_solos_and_out(form: Form) -> None:
    passes = make_routine(form, Request(choruses=4)).passes
    assert kinds(passes) == ["count-in", "head", "solo", "solo", "head out"]
    assert [len(p.bars) for p in passes] == [2, 34, 32, 32, 33]
    assert [p.chorus for p in passes[1:]] == [0, 1, 2, 3]
    for one, following in itertools.pairwise(passes):
        assert one.leads_to == following.bars[0]
    assert passes[-1].leads_to is None


def test_the_turnaround_is_not_played_at_the_end(form: Form) -> None:
    out = make_routine(form, Request(choruses=2)).passes[-1]
    assert chords(out.bars[-4:]) == ["D7b9", "Gm6", "Gm6", "Gm6/9"]
    assert out.bars[-1].final == "held"
    assert not any(bar.final for bar in out.bars[:-1])


def test_a_tag_is_the_last_four_bars_three_times(form: Form) -> None:
    plain = make_routine(form, Request(choruses=2)).passes[-1]
    tagged = make_routine(form, Request(choruses=2, ending="tag")).passes[-1]
    assert len(tagged.bars) == len(plain.bars) + 8
    four = ["Am7b5", "D7b9", "Gm6", "Am7b5 D7"]
    assert chords(tagged.bars[-13:-1]) == four + four + ["Am7b5", "D7b9", "Gm6", "Gm6"]


def test_only_an_ending_asked_to_slow_down_slows_down(form: Form) -> None:
    held = make_routine(form, Request()).passes[-1]
    slow = make_routine(form, Request(ending="slow")).passes[-1]
    assert {bar.tempo_ratio for bar in held.bars} == {1}
    ratios = [bar.tempo_ratio for bar in slow.bars]
    assert ratios[:-3] == [1] * (len(ratios) - 3)
    assert ratios[-3:] == sorted(ratios[-3:], reverse=True)
    assert slow.bars[-1].final == "held"


def test_one_chorus_has_the_intro_and_the_end(form: Form) -> None:
    passes = make_routine(form, Request(choruses=1)).passes
    assert kinds(passes) == ["count-in", "head out"]
    assert [bar.role for bar in passes[1].bars[:3]] == ["intro", "intro", "chorus"]
    assert passes[1].bars[-1].final


def test_a_blues_rests_on_its_seventh() -> None:
    blues = read(
        "title: B\nkey: F major\nmeter: 4/4\ntempo: 140\nsection A\n"
        "| F7 | Bb7 | F7 | % |\n| Bb7 | % | F7 | D7 |\n| Gm7 | C7 | F7 D7 | Gm7 C7 |\n"
    )
    out = make_routine(blues, Request(choruses=2)).passes[-1]
    assert chords(out.bars[-4:]) == ["C7", "F7", "F7", "F7"]


def test_a_loop_is_a_circle(form: Form) -> None:
    passes = make_routine(form, Request(bars="13-16", times=4, lead_in=2)).passes
    assert kinds(passes) == ["count-in", "lead-in", *["time"] * 4]
    assert [bar.number for bar in passes[1].bars] == [11, 12]
    for each in passes[2:]:
        assert [bar.number for bar in each.bars] == [13, 14, 15, 16]
        assert each.leads_to == each.bars[0]
        assert each.circular
    assert passes[1].leads_to == passes[2].bars[0]
    assert [p.take for p in passes[2:]] == [0, 1, 2, 3]


def test_the_same_accompaniment_in_every_round(form: Form) -> None:
    passes = make_routine(form, Request(bars="13-16", times=4, same=True)).passes
    assert {p.take for p in passes if p.purpose is Purpose.TIME} == {0}


def test_nothing_but_rounds_is_seamless(form: Form) -> None:
    assert make_routine(form, Request(bars="B", count_in=0)).seamless
    assert not make_routine(form, Request(bars="B")).seamless
    assert not make_routine(form, Request(bars="B", count_in=0, lead_in=1)).seamless
    assert not make_routine(form, Request(count_in=0)).seamless


def test_a_lead_in_before_bar_one_goes_round_the_chorus(form: Form) -> None:
    lead = make_routine(form, Request(bars="1-4", lead_in=2)).passes[1]
    assert [bar.number for bar in lead.bars] == [31, 32]


def test_every_rung_of_a_climb_is_counted_in_and_played_alike(form: Form) -> None:
    passes = make_routine(form, Request(bars="29-32", times=2, climb="80-120:20")).passes
    assert kinds(passes) == ["count-in", "time", "time"] * 3
    rungs = [passes[n + 1 : n + 3] for n in (0, 3, 6)]
    at_one_tempo = [[replace(p, tempo=Fraction(1)) for p in rung] for rung in rungs]
    assert at_one_tempo[0] == at_one_tempo[1] == at_one_tempo[2]
    assert {p.reference_tempo for rung in rungs for p in rung} == {120}


def test_a_loop_lasts_a_minute_or_eight_rounds(form: Form) -> None:
    def rounds(**asked: object) -> int:
        passes = make_routine(form, Request(**asked)).passes  # type: ignore[arg-type]
        return kinds(passes).count("time")

    assert rounds(bars="13-16") == 8  # eight seconds each
    assert rounds(bars="1-32") == 1  # 64 seconds
    assert rounds(bars="1-16") == 2  # 32 seconds


def test_a_breath_between_rounds(form: Form) -> None:
    passes = make_routine(form, Request(bars="13-16", times=3, rest_bars=1)).passes
    assert kinds(passes) == ["count-in", "time", "rest bar", "time", "rest bar", "time"]
    assert all(not bar.changes for bar in passes[2].bars)


def test_a_loop_grown_backwards(form: Form) -> None:
    passes = make_routine(form, Request(bars="13-16", times=1, grow=True)).passes
    rounds = [[bar.number for bar in p.bars] for p in passes if p.purpose is Purpose.TIME]
    assert rounds == [[16], [15, 16], [13, 14, 15, 16]]


def test_a_ladder_goes_through_the_values_at_each_tempo(form: Form) -> None:
    asked = Request(bars="13-16", times=1, subdivisions=True, climb="80-100:20")
    passes = make_routine(form, asked).passes
    assert kinds(passes) == ["count-in", *["time"] * 5] * 2
    assert [p.value for p in passes[1:6]] == ["wholes", "halves", "quarters", "eighths", "triplets"]
    assert [p.value for p in passes[7:]] == [p.value for p in passes[1:6]]
    assert [p.take for p in passes[1:6]] == [0, 1, 2, 3, 4]
    assert all(p.leads_to == p.bars[0] for p in passes[1:6])
    same = make_routine(form, replace(asked, same=True)).passes
    assert {p.take for p in same} == {0}


def test_a_ladder_has_two_rounds_of_each_value_or_one_of_a_minute(form: Form) -> None:
    def rounds(**asked: object) -> int:
        passes = make_routine(form, Request(subdivisions=True, **asked)).passes  # type: ignore[arg-type]
        return kinds(passes).count("time")

    assert rounds(bars="13-16") == rounds(bars="1-16") == 2 * 5
    assert rounds() == 5  # a chorus of 64 seconds
    assert Request(subdivisions=True).loops


def test_a_ladder_is_seamless_and_breathes_between_values(form: Form) -> None:
    routine = make_routine(form, Request(bars="13-16", subdivisions=True, times=1, count_in=0))
    assert routine.seamless
    assert routine.passes[-1].leads_to == routine.passes[0].bars[0]
    led = make_routine(
        form, Request(bars="13-16", subdivisions=True, times=1, rest_bars=1, lead_in=2, count_in=0)
    ).passes
    assert kinds(led) == ["lead-in", *["time", "rest bar"] * 4, "time"]
    assert led[0].value == "wholes"


def test_the_band_lays_out_at_the_end_of_each_chorus(form: Form) -> None:
    solo = make_routine(form, Request(lay_out=8)).passes[2]
    resting = ["kit" in bar.directions.lay_out for bar in solo.bars]
    assert resting == [False] * 24 + [True] * 8


def test_all_keys_by_fourths_without_a_stop(form: Form) -> None:
    keys = Keys.of("fourths").in_tune(form.key)
    assert [str(key.tonic) for key in keys] == [
        "G", "C", "F", "Bb", "Eb", "G#", "C#", "F#", "B", "E", "A", "D",
    ]  # fmt: skip
    passes = make_routine(form, Request(bars="1-8", times=1, key="fourths")).passes
    assert kinds(passes) == ["count-in", *["time"] * 12]
    for one, following in itertools.pairwise(passes):
        assert one.leads_to == following.bars[0]
    assert chords(passes[2].bars[:1]) == ["Cm6"]


def test_a_key_keeps_the_mode_of_the_tune() -> None:
    minor = Key.parse("G minor")
    assert Keys.of("Bb").in_tune(minor) == (Key.parse("Bb minor"),)
    assert Keys.of("F#m").in_tune(minor) == (Key.parse("F# minor"),)
    for wrong in ("H", "C major", "green", ""):
        with pytest.raises(UserError) as caught:
            Keys.of(wrong).in_tune(minor)
        assert caught.value.cure


def test_a_pickup_sounds_inside_the_count() -> None:
    tune = read(
        "title: P\nkey: C\nmeter: 4/4\ntempo: 120\nsection A\npickup: | G7 |\n|: C6 | Dm7 G7 :|\n"
    )
    head = tune.played("head")
    assert head[0].pickup
    passes = make_routine(tune, Request(choruses=2)).passes
    counted = sum((bar.length for bar in passes[0].bars), Fraction(0))
    assert counted + head[0].length == 8


@pytest.mark.parametrize(
    ("asked", "error"),
    [
        ({"bars": "33-36"}, SelectionError),
        ({"bars": "Z"}, SelectionError),
        ({"bars": "1-4", "lead_in": 99}, RoutineError),
        ({"choruses": 0}, RoutineError),
        ({"times": 100000, "bars": "1"}, RoutineError),
        ({"times": 1000, "bars": "1-32"}, RoutineError),
    ],
)
def test_what_cannot_be_played_is_said(
    form: Form, asked: dict[str, object], error: type[Exception]
) -> None:
    with pytest.raises(error):
        make_routine(form, Request(**asked))  # type: ignore[arg-type]


def test_a_file_for_each_tempo_or_key(form: Form) -> None:
    asked = Request(bars="1-4", climb="80-100:20", key="C F")
    names = [name for name, _ in separated(form, asked)]
    assert names == ["01 Cm 80 bpm", "02 Cm 100 bpm", "03 Fm 80 bpm", "04 Fm 100 bpm"]
    alone = [make_routine(form, one) for _, one in separated(form, asked)]
    assert [r.tempos for r in alone] == [(80,), (100,), (80,), (100,)]
    assert {p.reference_tempo for r in alone for p in r.passes if p.circular} == {100}
    whole = separated(form, Request(climb="80-100:20"))
    assert all(one.loops for _, one in whole)


@pytest.mark.parametrize(
    "asked",
    [
        {"lead_in": 2},
        {"rest_bars": 1},
        {"trade": "4 with piano"},
        {"trade": 4, "choruses": 2},
        {"lay_out": 32},
        {"bars": "1-4", "lay_out": 4},
        {"bars": "1-4", "times": 0},
    ],
)
def test_what_would_be_ignored_is_refused(form: Form, asked: dict[str, object]) -> None:
    with pytest.raises(RoutineError) as caught:
        make_routine(form, Request(**asked))  # type: ignore[arg-type]
    assert caught.value.cure
