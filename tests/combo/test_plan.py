"""What the band agrees on: chords and pushes, strokes of all, rests, fills, energy, feels."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.bar import RHYTHM_SECTION, Directions, Meter
from backing.chart.form import Form
from backing.chart.pitch import PitchName
from backing.combo.feel_file import feel_names
from backing.combo.plan import Accent, Plan, feel_of, make_plan
from backing.errors import FeelError
from backing.routine import Pass, Purpose
from tests.combo.build import bars, plan_of
from tests.combo.random_plans import plans
from tests.strategies import forms

HALF = Fraction(1, 2)


def chorus(form: Form) -> Pass:
    """One chorus for soloing, the second of three."""
    played = form.played("solos")
    return Pass(Purpose.SOLO, played, form.tempo, chorus=1, choruses=3, leads_to=played[0])


def told(text: str, directions: Directions, at: int = 1) -> Plan:
    """Bars in swing, one of which has directions."""
    return plan_of(bars(text, directions={at: directions}))


def exact(*rows: tuple[str | float, ...]) -> list[tuple[object, ...]]:
    """Rows whose numbers are beats."""
    return [tuple(v if isinstance(v, str) else Fraction(v) for v in row) for row in rows]


# ---- chords


def test_equal_chords_in_a_row_are_one_span() -> None:
    plan = plan_of(bars("Dm7 | % | Dm7 G7 | Cmaj7"))
    assert [(str(s.chord), s.start, s.end) for s in plan.spans] == exact(
        ("Dm7", 0, 10), ("G7", 10, 12), ("Cmaj7", 12, 16)
    )


def test_an_early_chord_comes_before_it_is_written_and_a_late_one_after() -> None:
    plan = plan_of(bars("Dm7 | <G7 | >Cmaj7 | A7"))
    assert [(s.start, s.written) for s in plan.spans] == exact((0, 0), (3.5, 4), (8.5, 8), (12, 12))
    assert [(a.kind, a.onset) for a in plan.accents] == exact(("push", 3.5), ("push", 8.5))


def test_a_pedal_parts_what_would_be_one_chord() -> None:
    pedal = Directions(pedal=PitchName.parse("D"))
    plan = told("Dm7 | Dm7 | Dm7", pedal)
    assert [str(s.pedal) for s in plan.spans] == ["None", "D", "None"]
    assert plan.after(plan.spans[0]) == plan.spans[1]


def test_what_follows_is_known_with_its_push() -> None:
    plan = plan_of(bars("<Dm7 | G7"))
    assert plan.following is not None
    assert plan.following.start == plan.length - HALF
    assert plan.spans[-1].end == plan.following.start
    assert plan.span_at(plan.length) == plan.following
    assert plan.spans[0].start == -HALF
    assert plan.accents[0] == Accent(-HALF, Fraction(3, 2), "push", plan.spans[0])


def test_a_push_beyond_the_end_is_dropped() -> None:
    plan = plan_of(bars("<Dm7 | G7"), final=True)
    assert plan.following is None
    assert plan.spans[-1].end == plan.length
    assert plan.after(plan.spans[-1]) is None


@given(forms())
@settings(max_examples=60)
def test_spans_cover_any_form_without_a_gap(form: Form) -> None:
    plan = make_plan(chorus(form))
    assert all(a.end == b.start for a, b in pairwise(plan.spans))
    assert all(span.end >= span.start for span in plan.spans)
    assert plan.length == sum(bar.bar.length for bar in plan.bars)
    end = plan.following.start if plan.following else plan.length
    assert not plan.spans or plan.spans[-1].end == end
    assert all(plan.bar_at(bar.start) == bar for bar in plan.bars)
    written = {bar.start + c.onset for bar in plan.bars for c in bar.bar.changes}
    assert {span.written for span in plan.spans} <= written


# ---- strokes of the whole band


def test_hits_stops_and_the_last_chord_are_accents() -> None:
    hits = told("Dm7 | G7 | C6", Directions(hits=(Fraction(0), Fraction(3, 2))))
    assert [(a.kind, a.onset) for a in hits.accents] == exact(("hit", 4), ("hit", 5.5))
    stops = told("Dm7 | G7 | C6", Directions(only=(Fraction(0),)))
    assert [(a.kind, a.onset) for a in stops.accents] == exact(("stop", 4))
    held = bars("Dm7 | G7 | C6")
    last = plan_of((*held[:-1], replace(held[-1], final="held")), circular=False).accents
    assert [(a.kind, a.onset, a.length) for a in last] == exact(("last", 8, 4))


@pytest.mark.parametrize(("sign", "onset"), [("<", 7.5), (">", 8.5)])
@pytest.mark.parametrize("final", ["held", "short"])
def test_a_push_into_the_last_bar_is_the_last_stroke(sign: str, onset: float, final: str) -> None:
    played = bars(f"Dm7 | G7 | {sign}C6")
    plan = plan_of((*played[:-1], replace(played[-1], final=final)), circular=False)
    length = 12 - onset if final == "held" else 0.5
    assert [(a.kind, a.onset, a.length) for a in plan.accents] == exact(("last", onset, length))


def test_strokes_of_the_band_do_not_overlap() -> None:
    beats = tuple(Fraction(n, 4) for n in range(8))
    plan = told("Dm7 | <G7 | <C6", Directions(hits=beats))
    assert all(a.onset + a.length <= b.onset for a, b in pairwise(plan.accents))


@given(plans())
@settings(max_examples=80)
def test_accents_of_any_plan(plan: Plan) -> None:
    onsets = [accent.onset for accent in plan.accents]
    assert onsets == sorted(set(onsets))
    assert all(-plan.bars[0].bar.length < onset < plan.length for onset in onsets)
    assert all(a.length > 0 and a.span in plan.spans for a in plan.accents)


# ---- who rests


def test_stop_time_silences_the_band_and_hits_the_harmony() -> None:
    stops = told("Dm7 | G7 | C6", Directions(only=(Fraction(0),)))
    assert all(stops.resting(player, Fraction(5)) for player in RHYTHM_SECTION)
    assert not stops.resting("guide", Fraction(5))
    hits = told("Dm7 | G7 | C6", Directions(hits=(Fraction(0),)))
    assert hits.resting("bass", Fraction(5))
    assert not hits.resting("drums", Fraction(5))
    assert not hits.resting("bass", Fraction(8))


def test_who_lays_out_rests_in_his_bars_only() -> None:
    plan = told("Dm7 | G7 | C6", Directions(lay_out=frozenset({"comp"})))
    assert plan.resting("comp", Fraction(4))
    assert not plan.resting("comp", Fraction(7, 2))
    assert not plan.resting("bass", Fraction(4))


def test_in_a_breath_only_the_foot_plays() -> None:
    silent = tuple(replace(bar, changes=()) for bar in bars("C | C"))
    plan = make_plan(Pass(Purpose.REST_BAR, silent, Fraction(120)))
    assert all(plan.resting(player, Fraction(1)) for player in ("bass", "comp", "kit"))
    assert not plan.resting("drums", Fraction(1))
    counted = make_plan(Pass(Purpose.COUNT_IN, silent, Fraction(120)))
    assert counted.resting("drums", Fraction(1))
    assert not counted.resting("click", Fraction(1))


# ---- the way through the form


def test_energy_grows_over_the_choruses_and_towards_the_end_of_a_section() -> None:
    played = bars("Dm7 | G7 | C6 | A7")
    choruses = [plan_of(played, chorus=n, choruses=7, circular=False) for n in (1, 2, 3)]
    first, second, third = (plan.bars[0].energy for plan in choruses)
    assert first < second < third <= 1
    for plan in choruses:
        section = [bar.energy for bar in plan.bars]
        assert section == sorted(section)
    head = plan_of(played, purpose=Purpose.HEAD, chorus=0, choruses=4, circular=False)
    assert first < head.bars[0].energy < third  # the first solo is sparse


def test_a_fill_leads_into_the_next_section_and_a_set_up_into_the_next_phrase() -> None:
    plan = plan_of(bars(" | ".join(["Dm7"] * 16)), circular=False)
    assert [bar.index for bar in plan.bars if bar.fill] == [7]
    assert [bar.index for bar in plan.bars if bar.set_up] == [3, 11]
    longer = plan_of(bars(" | ".join(["Dm7"] * 16)))
    assert [bar.index for bar in longer.bars if bar.fill] == [7, 15]
    short = plan_of(bars("Dm7 | G7 | C6 | A7"))
    assert [bar.fill for bar in short.bars] == [0, 0, 0, 0]
    assert [bar.set_up for bar in short.bars] == [False, False, False, True]


def test_a_change_of_feel_is_led_into_by_a_whole_bar() -> None:
    plan = plan_of((*bars("Dm7 | G7", feel="bossa"), *bars("C6 | C6")), circular=False)
    assert [bar.fill for bar in plan.bars[:2]] == [0, 4]


@pytest.mark.parametrize(("chorus", "feel"), [(0, "two"), (1, "swing")])
def test_the_first_of_several_choruses_is_in_two(chorus: int, feel: str) -> None:
    plan = plan_of(bars("Dm7 | G7 | C6 | A7"), chorus=chorus, choruses=3)
    assert {bar.feel.name for bar in plan.bars} == {feel}
    # the last bar leads into a chorus in four
    assert plan.bars[-1].fill == (4 if chorus == 0 else 0)


def test_loops_and_single_choruses_are_in_four() -> None:
    for choruses in (0, 1):
        plan = plan_of(bars("Dm7 | G7"), chorus=0, choruses=choruses)
        assert {bar.feel.name for bar in plan.bars} == {"swing"}


def test_the_bass_is_careful_where_a_form_is_new_or_short() -> None:
    long = bars(" | ".join(["Dm7 | G7"] * 8))
    played = Pass(Purpose.TIME, long, Fraction(120), circular=True, leads_to=long[0])
    assert make_plan(played).careful
    assert not make_plan(replace(played, take=1)).careful
    assert make_plan(replace(played, take=1, bars=long[:8])).careful
    whole = replace(played, purpose=Purpose.SOLO, take=1, chorus=1, choruses=3, circular=False)
    assert not make_plan(whole).careful
    assert make_plan(replace(whole, take=0, chorus=0)).careful


def test_the_playing_is_thought_out_for_the_goal() -> None:
    played = Pass(Purpose.TIME, bars("Dm7 | G7"), Fraction(80))
    assert make_plan(played).tempo == 80
    assert make_plan(replace(played, reference_tempo=Fraction(160))).tempo == 160


# ---- feels


@pytest.mark.parametrize(
    ("feel", "meter", "found"),
    [
        ("swing", Meter(3, 4), "waltz"), ("swing", Meter(5, 4), "five"),
        ("waltz", Meter(4, 4), "swing"), ("swing", Meter(12, 8), "blues12"),
        ("bossa", Meter(3, 4), "bossa"), ("ballad", Meter(4, 4), "ballad"),
        ("ballad", Meter(3, 4), "ballad"), ("ballad", Meter(5, 4), "five"),
        ("swing", Meter(7, 4), "swing"),
    ],
)  # fmt: skip
def test_a_feel_in_another_meter_is_its_nearest_relative(
    feel: str, meter: Meter, found: str
) -> None:
    assert feel_of(feel, meter).name == found


def test_a_feel_that_is_asked_for_overrides_the_tune() -> None:
    played = Pass(Purpose.TIME, bars("Dm7 | G7", feel="bossa"), Fraction(120))
    assert {bar.feel.name for bar in make_plan(played, "swing").bars} == {"swing"}
    with pytest.raises(FeelError, match="swng"):
        make_plan(played, "swng")


@given(form=forms(), feel=st.sampled_from([None, *feel_names()]))
@settings(max_examples=60)
def test_any_form_is_planned_the_same_way_twice(form: Form, feel: str | None) -> None:
    plan = make_plan(chorus(form), feel)
    assert plan == make_plan(chorus(form), feel)
    assert all(0 <= bar.energy <= 1 for bar in plan.bars)
    assert all(0 <= bar.fill <= bar.bar.length for bar in plan.bars)
    assert not any(bar.fill and bar.set_up for bar in plan.bars)
