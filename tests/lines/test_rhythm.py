"""When the notes of a line fall, in every meter; what they are, over tunes and any changes."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import groupby, pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.bar import Meter, PlayedBar
from backing.chart.form import Form
from backing.chart.text.tune_file import read_file
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.drums import drummer
from backing.combo.feel import Clock, ride_ratio
from backing.combo.instruments import RIDE
from backing.combo.performance import Performance, PlayedPass
from backing.combo.plan import Plan, PlanBar, make_plan, plan_of_bars
from backing.errors import PracticeError
from backing.lines.etude import etude
from backing.lines.line import IDEAS, RHYTHMS, SLOW, LineNote
from backing.lines.player import Line, play
from backing.neck.arpeggio import arpeggio
from backing.neck.path import best_position
from backing.routine import Pass, Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine
from backing.routine.subdivisions import VALUES, onsets, values_in
from tests.benchmarks.etude_report import step_apart
from tests.combo.build import bars, plan_of
from tests.combo.random_plans import plans
from tests.lines.first import first_pitch
from tests.strategies import forms

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.tune"))
CHANGES = "Dm7 | G7 | Cmaj7 | A7"
HALF, THIRD = Fraction(1, 2), Fraction(1, 3)

COUNTS = {
    "2/4": (1, 1, 2, 4, 6),
    "3/4": (1, 1, 3, 6, 9),
    "4/4": (1, 2, 4, 8, 12),
    "5/4": (1, 2, 5, 10, 15),
    "7/4": (1, 2, 7, 14, 21),
    "6/8": (1, 1, 2, 6, 6),
    "9/8": (1, 1, 3, 9, 9),
    "12/8": (1, 2, 4, 12, 12),
}
"""Notes a bar in wholes, halves, quarters, eighths and triplets (arithmetic)."""
RUNGS = {
    "2/4": "wholes quarters eighths triplets",
    "3/4": "wholes quarters eighths triplets",
    "4/4": "wholes halves quarters eighths triplets",
    "5/4": "wholes halves quarters eighths triplets",
    "6/8": "wholes quarters eighths",
    "12/8": "wholes halves quarters eighths",
}


def meter_of(text: str) -> Meter:
    upper, lower = map(int, text.split("/"))
    return Meter(upper, lower)


def notes_of(text: str, rhythm: str, meter: str = "4/4", seed: int = 1) -> tuple[LineNote, ...]:
    return etude(plan_of(bars(text, meter)), Line(rhythm=rhythm, position=5), random.Random(seed))


@pytest.mark.parametrize("meter", COUNTS)
def test_so_many_notes_a_bar_evenly(meter: str) -> None:
    beats = meter_of(meter).beats
    for value, count in zip(VALUES, COUNTS[meter], strict=True):
        places = onsets(value, meter_of(meter))
        assert len(places) == count
        notes = notes_of(CHANGES, value, meter)
        assert [note.onset for note in notes] == [n * beats + at for n in range(4) for at in places]
        assert all(a.end == b.onset for a, b in pairwise(notes))
        assert notes[-1].end == 4 * beats


def test_the_places_in_a_bar_are_exact() -> None:
    assert onsets("halves", meter_of("5/4")) == (0, 3)
    assert onsets("eighths", meter_of("3/4")) == tuple(n * HALF for n in range(6))
    assert onsets("triplets", meter_of("3/4")) == tuple(n * THIRD for n in range(9))
    assert onsets("eighths", meter_of("6/8")) == tuple(n * THIRD for n in range(6))


@pytest.mark.parametrize("meter", RUNGS)
def test_a_ladder_has_only_rungs_that_differ(meter: str) -> None:
    assert " ".join(values_in([meter_of(meter)])) == RUNGS[meter]


def test_a_rung_that_differs_in_one_of_the_meters_is_there() -> None:
    assert "halves" in values_in([meter_of("3/4"), meter_of("4/4")])
    assert "triplets" in values_in([meter_of("12/8"), meter_of("4/4")])


def test_a_chord_in_the_middle_of_a_bar_has_a_whole_of_its_own() -> None:
    notes = notes_of("Dm7 G7 | Cmaj7 | <A7 | Dm7", "wholes")
    assert [note.onset for note in notes] == [0, 2, 4, Fraction(15, 2), 12]
    assert [str(note.chord) for note in notes] == ["Dm7", "G7", "Cmaj7", "A7", "Dm7"]


# --- off-beats ---------------------------------------------------------------------------------


@pytest.mark.parametrize("meter", ["3/4", "4/4", "5/4", "6/8", "12/8"])
def test_off_beats_and_nothing_else(meter: str) -> None:
    beats = 4 * meter_of(meter).beats
    off = Fraction(2, 3) if meter_of(meter).compound else HALF
    notes = notes_of(CHANGES, "off-beats", meter)
    assert [note.onset for note in notes] == [beat + off for beat in range(beats)]
    assert {note.length for note in notes} == {1 - off}


def test_an_off_beat_before_a_change_is_of_the_chord_that_comes() -> None:
    notes = notes_of("Dm7 G7 | Cmaj7 | A7 | Dm7", "off-beats")
    heard = ["Dm7", "G7", "G7", "Cmaj7", *["Cmaj7"] * 3, *["A7"] * 4, *["Dm7"] * 5]
    assert [str(note.chord) for note in notes] == heard  # the last leads round to the first
    before_a_push = notes_of("Dm7 | <G7 | Cmaj7 | A7", "off-beats")
    assert [str(note.chord) for note in before_a_push[:5]] == [*["Dm7"] * 3, "G7", "G7"]


@pytest.mark.parametrize("meter", ["6/8", "12/8"])
def test_in_compound_meters_the_last_eighth_anticipates(meter: str) -> None:
    notes = notes_of(CHANGES, "off-beats", meter)
    beats = meter_of(meter).beats
    assert [str(n.chord) for n in notes[beats - 1 :: beats]] == ["G7", "Cmaj7", "A7", "Dm7"]


@pytest.mark.parametrize("tempo", [60, 100, 150, 200, 280])
def test_off_beats_lie_with_the_ride(tempo: int) -> None:
    """Within the 20 ms in which one off-beat is shared, as all that is played off the beat."""
    played = bars(CHANGES)
    plan = plan_of(played, tempo)
    ratio = Fraction(ride_ratio(tempo)).limit_denominator(1000)
    clock = Clock([(bar.length, Fraction(tempo), ratio) for bar in played])
    parts = (
        play(plan, Line(rhythm="off-beats", position=5)),
        drummer.play(plan, random.Random(1)),
    )
    whole = Pass(Purpose.TIME, played, Fraction(tempo))
    performance = Performance("", (PlayedPass(whole, Fraction(0), parts),), clock)
    line = [note.onset for note in performance.notes("line")]
    ride = [
        note.onset
        for note in performance.notes("drums")
        if note.note.pitch == RIDE and note.note.onset % 1 == HALF
    ]
    assert len(line) == 16
    assert ride
    for stroke in ride:
        assert min(abs(stroke - onset) for onset in line) < Fraction(20, 1000)


# --- calls -------------------------------------------------------------------------------------

STARTS = {
    "3/4": {"1": 0, "1&": HALF, "2": 1, "3": 2},
    "4/4": {"1": 0, "1&": HALF, "2": 1, "3": 2},
    "5/4": {"1": 0, "1&": HALF, "2": 1, "3": 2},
    "6/8": {"1": 0, "1&": Fraction(2, 3), "2": 1},
    "12/8": {"1": 0, "1&": Fraction(2, 3), "2": 1, "3": 2},
}
"""Where a call starts, in beats from its bar line."""


def calls_of(plan: Plan, call_on: str, seed: int = 1) -> dict[int, list[LineNote]]:
    """The notes of each call by the number of its bar, from 0."""
    notes = etude(plan, Line(rhythm="call", call_on=call_on, position=5), random.Random(seed))
    bar = plan.bars[0].bar.length
    return {
        at: [note for note in notes if at * bar <= note.onset < (at + 2) * bar]
        for at in range(0, len(plan.bars), 2)
    }


@pytest.mark.parametrize("meter", STARTS)
def test_a_call_starts_where_it_is_told_and_leaves_its_space(meter: str) -> None:
    plan = plan_of(bars(f"{CHANGES} | {CHANGES}", meter))
    beats = meter_of(meter).beats
    for call_on, start in STARTS[meter].items():
        for seed in range(20):
            calls = calls_of(plan, call_on, seed)
            for bar in (0, 4):
                assert calls[bar][0].onset == bar * beats + start
                assert calls[bar][-1].end <= (bar + 2) * beats - 2
            assert calls[2] == calls[6] == []


@pytest.mark.parametrize("meter", STARTS)
def test_calls_start_in_turn_from_round_to_round(meter: str) -> None:
    expected = list(STARTS[meter].values())
    played = bars(f"{CHANGES} | {CHANGES}", meter)
    found = []
    for take in range(len(expected)):
        plan = replace(plan_of(played), take=take)
        calls = calls_of(plan, "turn", seed=take)
        found += [calls[bar][0].onset - plan.bars[bar].start for bar in (0, 4)]
    assert found == expected * 2


def test_a_call_of_one_bar_keeps_its_space() -> None:
    """In turn only where the bar leaves a beat free; where it is told, it comes all the same."""
    played = bars("Dm7 | G7", "3/4")
    starts = set()
    for take in range(6):
        (call, *_) = calls_of(replace(plan_of(played), take=take), "turn").values()
        assert call[-1].end <= 2
        starts.add(call[0].onset)
    assert starts == {0, HALF, 1}
    assert calls_of(plan_of(played), "3")[0][0].onset == 2


@pytest.mark.parametrize(("meter", "call_on"), [("6/8", "3"), ("2/4", "3"), ("7/8", "1&")])
def test_a_beat_that_is_not_in_the_meter_is_said(meter: str, call_on: str) -> None:
    with pytest.raises(PracticeError, match=f"A bar of {meter} has no {call_on}") as caught:
        calls_of(plan_of(bars(CHANGES, meter)), call_on)
    assert "turn" in caught.value.cure


@pytest.mark.parametrize("count", range(2, 15))
@pytest.mark.parametrize("section_bars", [2, 5, 6, 8])
def test_no_call_follows_a_call(count: int, section_bars: int) -> None:
    """Whatever the bars and sections, and round to the next pass: as many bars for the answer."""
    plan = plan_of(bars(" | ".join(["Dm7", "G7"] * 7)[: 5 * count], section_bars=section_bars))
    size = 2 if count >= 4 else 1
    for seed in range(5):
        notes = etude(plan, Line(rhythm="call", position=5), random.Random(seed))
        called = sorted({int(note.onset // 4) for note in notes})
        starts = [bar for bar in called if bar - 1 not in called]
        assert starts
        for start, following in pairwise([*starts, starts[0] + len(plan.bars)]):
            sounding = [bar for bar in called if start <= bar < following]
            assert len(sounding) <= size
            assert following - sounding[-1] > len(sounding)


def test_calls_close_at_different_places_but_leave_their_space() -> None:
    plan = plan_of(bars(f"{CHANGES} | {CHANGES}"))
    closings = set()
    for seed in range(30):
        for bar, call in calls_of(plan, "1", seed).items():
            if call:
                beats = call[-1].onset - 4 * bar
                assert beats < 6
                assert beats >= 3  # no call is a stroke or two
                closings.add(int(beats))
    assert closings == {3, 4, 5}


@pytest.mark.parametrize("rhythm", IDEAS)
def test_a_line_in_ideas_begins_on_any_chord_tone(rhythm: str) -> None:
    plan = plan_of(bars(CHANGES))
    first = [etude(plan, Line(rhythm=rhythm, position=5), random.Random(n))[0] for n in range(200)]
    shares = Counter(note.degree.number for note in first if note.degree)
    assert set(shares) == {1, 3, 5, 7}
    assert max(shares.values()) < 100
    assert len({note.pitch for note in first}) > 4


@pytest.mark.parametrize("role", [1, 3, 5, 7])
def test_calls_begin_on_the_tone_that_is_asked_for(role: int) -> None:
    plan = plan_of(bars(f"{CHANGES} | {CHANGES}"))
    for seed in range(20):
        line = Line(rhythm="call", start=role, position=5)
        notes = etude(plan, line, random.Random(seed))
        for bar in (0, 4):
            first = next(note for note in notes if note.onset >= 4 * bar)
            assert first.degree is not None
            assert first.degree.number == role


@pytest.mark.parametrize("rhythm", IDEAS)
def test_ideas_close_on_chord_tones_at_every_level(rhythm: str) -> None:
    plan = plan_of(bars(f"{CHANGES} | {CHANGES}"))
    passing = 0
    for seed in range(60):
        notes = etude(plan, Line(rhythm=rhythm, level=4, position=5), random.Random(seed))
        passing += sum(note.kind == "passing" for note in notes)
        for note, after in pairwise([*notes, None]):
            if note is not None and (after is None or after.onset - note.end >= 1):
                assert note.kind == "tone"
    assert passing > 50


def test_a_phrase_in_a_bar_left_over_breathes_too() -> None:
    plan = plan_of(bars(" | ".join([CHANGES, "Dm7 | G7 | Cmaj7"]), section_bars=7))
    for seed in range(20):
        notes = etude(plan, Line(rhythm="phrases", position=5), random.Random(seed))
        assert notes[-1].end <= plan.length - 1


# --- triplets ----------------------------------------------------------------------------------


@pytest.mark.parametrize("tempo", [60, 100, 150, 200, 280])
@pytest.mark.parametrize("ratio", [1, 2, 3, 4])
def test_triplets_are_even_and_whole_whatever_the_swing(tempo: int, ratio: int) -> None:
    played = bars(CHANGES)
    part = play(plan_of(played, tempo), Line(rhythm="triplets", position=5))
    clock = Clock([(bar.length, Fraction(tempo), Fraction(ratio)) for bar in played])
    whole = Pass(Purpose.TIME, played, Fraction(tempo))
    notes = list(Performance("", (PlayedPass(whole, Fraction(0), (part,)),), clock).notes("line"))
    assert [note.onset for note in notes] == [Fraction(20 * n, tempo) for n in range(48)]
    assert all(note.end - note.onset == Fraction(20, tempo) for note in notes)


def test_triplets_follow_a_push_from_the_third_of_its_beat() -> None:
    notes = notes_of("Dm7 | <G7 | Cmaj7 | A7", "triplets")
    assert next(n.onset for n in notes if str(n.chord) == "G7") == 4 - THIRD
    assert {note.length for note in notes} == {THIRD}


def test_triplets_do_not_go_in_circles() -> None:
    """A beat seldom has the three notes of the one before."""
    beats: list[bool] = []
    for tune in TUNES:
        plan = plan_of_bars(read_file(tune).played("solos"))
        notes = etude(plan, Line(rhythm="triplets", position=5), random.Random(1))
        figures = [
            tuple(note.pitch for note in notes[at : at + 3]) for at in range(0, len(notes), 3)
        ]
        beats += [before == figure for before, figure in pairwise(figures)]
    assert len(beats) > 1000
    assert sum(beats) / len(beats) < 0.01


def test_the_levels_lead_into_changes_in_triplets_too() -> None:
    plan = plan_of(bars("Dm7 | G7 | Cmaj7 | Fmaj7"))
    for level, kinds in ((2, ["tone", "approach"]), (3, ["enclosure", "enclosure"])):
        notes = etude(plan, Line(rhythm="triplets", level=level, position=5), random.Random(1))
        assert [note.kind for note in notes if note.onset in (4 - 2 * THIRD, 4 - THIRD)] == kinds


# --- what every value promises -----------------------------------------------------------------


@given(plans(), st.sampled_from(RHYTHMS), st.integers(0, 99))
@settings(max_examples=60)
def test_chord_tones_in_order_over_any_changes(plan: Plan, rhythm: str, seed: int) -> None:
    try:
        notes = etude(plan, Line(rhythm=rhythm, position=5), random.Random(seed))
    except PracticeError:
        assert _bare(plan)
        return
    assert notes == etude(plan, Line(rhythm=rhythm, position=5), random.Random(seed))
    assert all(note.degree in arpeggio(note.chord.quality).tones for note in notes)
    assert all(a.end <= b.onset for a, b in pairwise(notes))
    assert all(0 <= note.onset < plan.length for note in notes)


@given(forms(), st.integers(0, 4))
@settings(max_examples=25)
def test_any_form_has_a_ladder(form: Form, lead_in: int) -> None:
    """Every rung in its turn, its notes in the places of its value or on a change; or no chords."""
    lead_in = min(lead_in, len(form.played("solos")))
    routine = make_routine(form, Request(subdivisions=True, times=1, rest_bars=1, lead_in=lead_in))
    rounds = [each for each in routine.passes if each.purpose is Purpose.TIME]
    assert tuple(each.value for each in rounds) == values_in(bar.meter for bar in rounds[0].bars)
    band = Band(players="line", line=Line(rhythm="subdivisions", position=5))
    try:
        performance = arrange(routine, band)
    except PracticeError:
        assert any(change.chord is None for bar in rounds[0].bars for change in bar.changes)
        return
    for played in performance.passes:
        if played.routine_pass.purpose is not Purpose.TIME:
            continue
        plan = make_plan(played.routine_pass)
        changes = {span.start for span in plan.spans}
        for note in (note for part in played.parts for note in part.notes):
            bar = plan.bar_at(note.onset)
            inside = note.onset - bar.start in onsets(plan.value, bar.bar.meter)
            assert inside or (note.onset in changes and plan.value in SLOW)


def _bare(plan: Plan) -> bool:
    """Whether there are fewer than two bars, or bars that have no chord throughout."""
    return len(plan.bars) < 2 or any(_silent(plan, bar) for bar in plan.bars)


def _silent(plan: Plan, bar: PlanBar) -> bool:
    return any(
        span.chord is None and span.start < bar.end and span.end > bar.start for span in plan.spans
    )


@pytest.mark.parametrize("rhythm", SLOW)
def test_a_tone_that_stays_seldom_stays_again(rhythm: str) -> None:
    """Two chords may share a tone; one that sounds on and on does not show the changes."""
    held: Counter[int] = Counter()
    for tune in TUNES:
        plan = plan_of_bars(read_file(tune).played("solos"))
        for seed in range(5):
            pitches = (
                note.pitch
                for note in etude(plan, Line(rhythm=rhythm, position=5), random.Random(seed))
            )
            held.update(len(list(group)) for _, group in groupby(pitches))
    assert held[2] > 20
    assert max(held) <= 4
    assert sum(held[n] for n in held if n > 2) / held.total() < 0.03


@cache
def in_place(tune: Path) -> tuple[tuple[PlayedBar, ...], int]:
    """The chorus of a tune, and the position that suits it best."""
    played = read_file(tune).played("solos")
    return played, best_position(played, Line().fingerboard).path.position


@pytest.mark.parametrize("rhythm", [*VALUES, "off-beats"])
def test_every_change_of_the_tunes_is_crossed_by_step(rhythm: str) -> None:
    """Over all demo tunes: by a half or whole step, in slow values by a common tone too; the
    nearest tone only between chords that have no tones a step apart under the hand."""
    joints = steps = 0
    for tune in TUNES:
        played, position = in_place(tune)
        line = Line(rhythm=rhythm, position=(position,))
        for seed in range(3):
            notes = etude(plan_of_bars(played), line, random.Random(seed))
            assert notes[0].pitch == first_pitch(notes[0].chord, line)
            for a, b in pairwise([*notes, notes[0]]):  # round to the first again
                if a.chord == b.chord or not step_apart(a.chord, b.chord):
                    continue
                joints += 1
                moves = range(3) if rhythm in SLOW else range(1, 3)
                steps += abs(b.pitch - a.pitch) in moves
    assert joints > 500
    assert steps / joints > 0.99
