"""The comping rhythm: its figures over hundreds of bars, and what it promises on any plan."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.bar import Directions
from backing.chart.pitch import Interval
from backing.combo.comp.rhythm import strokes
from backing.combo.comp.style import read_comp_style
from backing.combo.feel_file import feel_names, load_feel, parse_feel
from backing.combo.instruments import COMPING
from backing.combo.plan import CompStroke, Plan
from backing.errors import FeelError
from tests.benchmarks.figures_comping import (
    TEMPOS,
    attacks_per_bar,
    heard_share,
    longest_run_of_a_figure,
    off_beat_share,
    varied_bars,
    wrong_anticipations,
)
from tests.combo.build import bars, plan_of, transposed
from tests.combo.random_plans import plans

HALF = Fraction(1, 2)


def rhythm(text: str, seed: int = 1, tempo: int = 160, **how: object) -> tuple[CompStroke, ...]:
    """The comping rhythm over typed changes."""
    return strokes(plan_of(bars(text, **how), tempo), random.Random(seed))  # type: ignore[arg-type]


def rhythms(feel: str, tempo: int, meter: str = "4/4") -> list[Plan]:
    """Over 500 bars of plans with their comping rhythm."""
    planned = [plan_of(played, tempo) for played in varied_bars(feel, meter) for _ in range(8)]
    return [replace(p, comping=strokes(p, random.Random(i))) for i, p in enumerate(planned)]


# The bands: one to three chords a bar is what the school figures come to (Charleston 2, ands of
# 2 and 4 2, quarters 4), most of them off the beat; an anticipation belongs to the chord that
# follows (jazzresources.org, first five comping patterns; thejazzchameleon.com, the Charleston).
@pytest.mark.parametrize("tempo", TEMPOS)
def test_swing_figures_lie_in_the_bands(tempo: int) -> None:
    played = rhythms("swing", tempo)
    assert sum(len(plan.bars) for plan in played) >= 500
    assert 0.5 <= sum(map(attacks_per_bar, played)) / len(played) <= 3
    assert sum(map(off_beat_share, played)) / len(played) >= 0.5
    assert max(map(longest_run_of_a_figure, played)) <= 4
    assert sum(map(wrong_anticipations, played)) == 0
    assert sum(map(heard_share, played)) / len(played) >= 0.95


@pytest.mark.parametrize("feel", feel_names())
def test_every_feel_lets_the_chords_be_heard_and_leaves_room(feel: str) -> None:
    meter = load_feel(feel).meters[0]
    played = rhythms(feel, 120, meter)
    four_beats = [4 * len(p.comping) / sum(b.bar.meter.beats for b in p.bars) for p in played]
    # double time counts twice as many beats in a bar (common practice, no source)
    assert 0.5 <= sum(four_beats) / len(four_beats) <= (4 if feel == "doubletime" else 3)
    assert sum(map(heard_share, played)) / len(played) >= 0.94
    if not read_comp_style(load_feel(feel)).ostinato:
        assert max(map(longest_run_of_a_figure, played)) <= 4


def test_a_first_chorus_lets_more_chords_be_heard() -> None:
    def share(chorus: int) -> float:
        shares = []
        for seed in range(30):
            plan = plan_of(bars(" | ".join(["Dm7 G7 | Cmaj7 A7"] * 8), feel="two"), chorus=chorus)
            shares.append(heard_share(replace(plan, comping=strokes(plan, random.Random(seed)))))
        return sum(shares) / len(shares)

    assert share(0) > share(1)


def test_the_bar_fills_up_towards_the_end_of_a_section() -> None:
    first = last = 0
    for seed in range(60):
        plan = plan_of(bars(" | ".join(["Dm7"] * 32)), 140)
        for stroke in strokes(plan, random.Random(seed)):
            bar = plan.bar_at(stroke.onset).bar.section_bar
            first, last = first + (bar <= 2), last + (bar in (3, 4, 7, 8)) / 2
    assert last > first


def test_a_figure_in_a_row_wears_out() -> None:
    """No bar three times running in nine of ten places, and no bar on the beat twice (ours)."""
    runs: list[int] = []
    flat = count = 0
    for plan in rhythms("swing", 160):
        figures = [
            tuple(s.onset - bar.start for s in plan.comping if bar.start <= s.onset < bar.end)
            for bar in plan.bars
        ]
        for before, figure in pairwise(figures):
            same = bool(figure) and figure == before
            runs = [*runs[:-1], runs[-1] + 1] if same and runs else [*runs, 1]
            on_the_beat = len(figure) > 1 and all(onset.denominator == 1 for onset in figure)
            flat += same and on_the_beat
            count += on_the_beat
    assert sum(run >= 3 for run in runs) < len(runs) / 20
    assert flat < count / 5


def test_choruses_differ_and_a_seed_repeats() -> None:
    text = "Dm7 | G7 | Cmaj7 | A7 | Dm7 | G7 | Cmaj7 | %"
    assert rhythm(text, 1) == rhythm(text, 1)
    assert len({rhythm(text, seed) for seed in range(20)}) >= 18


def test_an_anticipation_sounds_the_chord_to_come() -> None:
    found = 0
    for seed in range(40):
        for stroke in rhythm("Dm7 | G7 | Cmaj7 | A7", seed):
            beat = stroke.onset % 4
            bar = int(stroke.onset // 4) + (beat == Fraction(7, 2))
            wanted = ("Dm7", "G7", "Cmaj7", "A7", "Dm7")[bar]
            assert stroke.span.chord is not None
            assert stroke.span.chord.text == wanted
            found += beat == Fraction(7, 2)
    assert found > 20


def test_nobody_strikes_a_push_again() -> None:
    for seed in range(30):
        struck = rhythm("Dm7 | <G7 | <Cmaj7 | A7", seed)
        pushes = [s for s in struck if s.together]
        assert [s.onset for s in pushes] == [Fraction(7, 2), Fraction(15, 2)]
        others = [s.onset for s in struck if not s.together]
        assert not [o for o in others if 3 <= o <= 4 or 7 <= o <= 8]


def test_after_the_push_of_the_next_round_comping_strikes_nothing() -> None:
    for seed in range(30):
        struck = rhythm("<Dm7 | G7 | Cmaj7 | A7", seed)
        assert struck[0].onset == -HALF
        assert struck[0].together
        assert max(s.onset for s in struck) < 15


def test_hits_stand_alone_and_lay_outs_are_kept() -> None:
    told = {
        1: Directions(hits=(Fraction(0), Fraction(3, 2))),
        2: Directions(lay_out=frozenset({"comp"})),
    }
    for seed in range(20):
        struck = rhythm("Dm7 | G7 | Cmaj7 | A7", seed, directions=told)
        assert [s.onset for s in struck if 4 <= s.onset < 8 and s.together] == [4, Fraction(11, 2)]
        plain = [s.onset for s in struck if not s.together]
        assert not [onset for onset in plain if 4 <= onset < 12]


def test_no_chord_is_not_played() -> None:
    assert all(s.span.chord for s in rhythm("Dm7 | N.C. | G7 | N.C.", 3))


def test_compound_time_has_thirds_of_the_beat() -> None:
    for feel in ("bossa", "blues12", "even"):
        struck = [
            s for seed in range(10) for s in rhythm("Cm7 | F7", seed, meter="12/8", feel=feel)
        ]
        assert all((s.onset * 3).denominator == 1 for s in struck)
        assert not [s for s in struck if s.swung and s.onset.denominator != 1]


def test_rhythm_guitar_strikes_every_beat() -> None:
    plan = plan_of(bars("Dm7 | G7"), 180)
    struck = strokes(plan, random.Random(1), "four")
    assert [s.onset for s in struck] == list(range(8))
    assert [s.accent for s in struck] == [-1, 0] * 4


def test_the_rhythm_stays_when_changes_are_transposed() -> None:
    played = bars("Dm7 | G7 | Cmaj7 | A7b9 | Dm7 G7 | Em7 A7")
    there = transposed(played, Interval.of_semitones(3))
    ours, theirs = (strokes(plan_of(p), random.Random(4)) for p in (played, there))
    assert [(s.onset, s.length, s.accent) for s in ours] == [
        (s.onset, s.length, s.accent) for s in theirs
    ]


@settings(max_examples=100)
@given(plans(), st.integers(0, 1000), st.sampled_from(tuple(COMPING)))
def test_any_plan_has_a_rhythm_that_keeps_its_promises(plan: Plan, seed: int, comp: str) -> None:
    struck = strokes(plan, random.Random(seed), comp)
    assert struck == strokes(plan, random.Random(seed), comp)
    assert all(s.span.chord is not None and s.length > 0 for s in struck)
    assert all(s.onset >= 0 or s.together for s in struck)
    assert all(s.onset < plan.length for s in struck)
    assert all(a.onset + a.length <= b.onset for a, b in pairwise(struck))
    together = {s.onset for s in struck if s.together}
    assert together == {a.onset for a in plan.accents if a.span.chord is not None}
    assert not [s for s in struck if plan.resting("comp", s.onset) and not s.together]
    assert wrong_anticipations(replace(plan, comping=struck)) == 0


SOURCE = """
name = "mine"
sentence = "A test."
meters = ["4/4"]
[time]
[bass]
[comp]
cells = [{play = "1 2&"}]
repeat = 0.3
[drums]
"""


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("repeat = 0.3", "repeat = 3", "mine.toml:9: comp.repeat is 3."),
        ("repeat = 0.3", "repaet = 0.3", "mine.toml:9: comp.repaet is not known. Did you mean"),
        ("2&", "9&", '"9&", which is outside the 4 beats'),
        ('cells = [{play = "1 2&"}]', "", "comp.cells are missing."),
        ("repeat = 0.3", 'figures = "same"', 'comp.figures is "same". Write varied or ostinato'),
        (
            "repeat = 0.3",
            'like = "swng"',
            'comp.like is "swng". Did you mean "swing"? Known feels: ',
        ),
    ],
)
def test_a_mistake_in_a_feel_is_named(old: str, new: str, words: str) -> None:
    with pytest.raises(FeelError) as caught:
        read_comp_style(parse_feel(SOURCE.replace(old, new, 1), "mine.toml"))
    assert words in f"{caught.value.cause} {caught.value.cure}"
