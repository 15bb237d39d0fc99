"""The band plays a routine: who plays when, all together where they should, and always alike."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import chain, combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.bar import RHYTHM_SECTION
from backing.chart.form import Form
from backing.chart.pitch import Interval
from backing.chart.text.tune_file import read
from backing.combo import instruments as kit
from backing.combo.arrangement import arrange, plan_pass
from backing.combo.band import Band
from backing.combo.bass import walking
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass
from backing.combo.plan import Plan
from backing.errors import SelectionError
from backing.routine import Pass, Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine
from backing.routine.trading import Trade
from tests.benchmarks.changes import random_form
from tests.combo.build import bar_lines
from tests.strategies import forms

PLAYERS = ("bass", "comp", "drums", "guide", "click")
EVERYBODY = frozenset(PLAYERS)
TUNE = """\
title: Tin Roof
key: C major
tempo: 140

section A
| Dm7 | G7 | Cmaj7 | A7 |
| Dm7 | N.C. | C6 | % |
"""


def played(text: str, band: Band | None = None, **asked: object) -> Performance:
    """What the band plays of a tune."""
    return arrange(make_routine(read(text), Request(**asked)), band or Band())  # type: ignore[arg-type]


def rounds(performance: Performance) -> list[PlayedPass]:
    """The passes in which the band plays."""
    return [each for each in performance.passes if each.parts and each.routine_pass.bars[0].changes]


def part(each: PlayedPass, name: str) -> Part:
    """The part of a player."""
    return next(p for p in each.parts if p.name == name)


def inside(each: PlayedPass, name: str, start: Fraction | int, end: Fraction | int) -> list[Note]:
    """What a player strikes from one beat to another."""
    found = [p for p in each.parts if p.name == name]
    return [note for p in found for note in p.notes if start <= note.onset < end]


# ---- once, and always alike


def test_a_climb_is_arranged_once(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[Plan] = []
    bass = walking.play

    def counted(plan: Plan, rng: object) -> Part:
        calls.append(plan)
        return bass(plan, rng)  # type: ignore[arg-type]

    monkeypatch.setattr(walking, "play", counted)
    climb = played(TUNE, climb="80-160:10", bars="1-8", times=2, same=True)
    assert len(calls) == 1
    takes = played(TUNE, climb="80-160:10", bars="1-8", times=2)
    assert len(calls) == 3  # two more: every round of a tempo is another take
    for performance in (climb, takes):
        notes = [each.parts for each in rounds(performance)]
        assert notes[:2] == notes[2:4] == notes[-2:]


def test_who_stays_at_home_changes_nothing_for_the_others() -> None:
    routine = make_routine(random_form(1), Request(choruses=2))
    # guide tones are asked for, and the comp leaves them room: who plays with them, who without
    guided, unguided = (arrange(routine, Band(who)) for who in (EVERYBODY, EVERYBODY - {"guide"}))
    subsets = chain.from_iterable(combinations(PLAYERS, n) for n in range(1, len(PLAYERS)))
    for players in subsets:
        some = arrange(routine, Band(frozenset(players)))
        whole = guided if "guide" in players else unguided
        assert some.clock.length_seconds == whole.clock.length_seconds
        for mine, theirs in zip(rounds(some), rounds(whole), strict=False):
            kept = tuple(p for p in theirs.parts if p.name in players)
            assert mine.parts == kept


def test_equal_seeds_play_alike_and_others_do_not() -> None:
    routine = make_routine(random_form(2), Request(choruses=4))
    one, same, other = (arrange(routine, Band(seed=seed)) for seed in (7, 7, 8))
    assert one.passes == same.passes
    for name in sorted(RHYTHM_SECTION):
        mine, theirs = ([part(e, name).notes for e in rounds(p)] for p in (one, other))
        assert all(a != b for a, b in zip(mine, theirs, strict=True))
        assert mine[1] != mine[2]  # one solo chorus and the next


@pytest.mark.parametrize("semitones", [1, 5, 11])
def test_in_another_key_the_music_is_the_same(semitones: int) -> None:
    form = random_form(3, cues=True)
    higher = form.transposed(Interval.of_semitones(semitones))
    home, away = (arrange(make_routine(f, Request(choruses=3)), Band()) for f in (form, higher))
    assert home.clock.length_seconds == away.clock.length_seconds
    for mine, theirs in zip(rounds(home), rounds(away), strict=True):
        assert part(mine, "drums") == part(theirs, "drums")
        for name in ("bass", "comp"):
            assert _rhythm(part(mine, name)) == _rhythm(part(theirs, name))
        # on the way between, hands and strings decide; where a chord comes in, its bass does not
        here, there = (
            {n.onset: n.pitch for n in part(each, "bass").notes} for each in (mine, theirs)
        )
        spans = plan_pass(mine.routine_pass, Band()).spans
        starts = [span.start for span in spans if span.start in here]
        assert len(starts) > 30
        assert all((there[start] - here[start] - semitones) % 12 == 0 for start in starts)


def _rhythm(line: Part) -> list[tuple[Fraction, bool, tuple[int, int] | None]]:
    return sorted({(n.onset, n.together, n.tempos) for n in line.notes}, key=str)


def test_players_are_known_by_name() -> None:
    with pytest.raises(SelectionError, match="trombone"):
        Band(frozenset({"trombone"}))


# ---- all together


def test_hits_and_pushes_are_struck_by_all_at_one_time() -> None:
    """Within 15 ms, in seconds; on the beat a chord was pushed from nobody strikes it again."""
    struck = 0
    for number in range(6):
        routine = make_routine(random_form(number, cues=True), Request(choruses=2))
        performance = arrange(routine, Band(EVERYBODY))
        times: dict[Fraction, dict[str, list[Fraction]]] = defaultdict(lambda: defaultdict(list))
        for name, onset, seconds in _together(performance):
            times[onset][name].append(seconds)
        for players in times.values():
            assert set(players) >= RHYTHM_SECTION
            every = [s for seconds in players.values() for s in seconds]
            assert max(every) - min(every) <= Fraction(15, 1000)
            struck += 1
        for each in rounds(performance):
            _nobody_strikes_again(plan_pass(each.routine_pass, Band(EVERYBODY)), each)
    assert struck > 30


def _together(performance: Performance) -> Iterator[tuple[str, Fraction, Fraction]]:
    for each in performance.passes:
        alone = replace(performance, passes=(each,))
        for name in ("bass", "comp", "drums", "guide"):
            for note in alone.notes(name):
                if note.note.together:
                    yield name, each.start + note.note.onset, note.onset


def _nobody_strikes_again(plan: Plan, each: PlayedPass) -> None:
    for accent in plan.accents:
        if accent.kind == "push" and accent.span.early > 0:
            for name in ("bass", "comp"):
                between = accent.onset, accent.span.written
                again = [n for n in part(each, name).notes if between[0] < n.onset <= between[1]]
                assert not [n for n in again if not n.together]


def test_a_push_of_the_first_bar_sounds_in_the_count_in_and_at_the_end_of_every_round() -> None:
    performance = played(TUNE + "push 1: 1\n", bars="1-4", times=3)
    starts = [each.start for each in rounds(performance)]
    for name in sorted(RHYTHM_SECTION):
        struck = {n.onset for n in performance.notes(name) if n.note.together}
        half = Fraction(1, 2)
        clock = performance.clock
        assert struck == {clock.seconds(clock.played(start - half)) for start in starts}
        assert min(struck) > 0


# ---- who rests


@given(form=forms(), seed=st.integers(0, 9))
@settings(max_examples=40)
def test_any_form_is_played_and_its_rests_are_kept(form: Form, seed: int) -> None:
    band = Band(EVERYBODY, seed)
    performance = arrange(make_routine(form, Request(choruses=2)), band)
    for each in performance.passes:
        plan = plan_pass(each.routine_pass, band)
        pushes = {accent.onset for accent in plan.accents}
        for mine in each.parts:
            for note in mine.notes:
                first = -each.routine_pass.bars[0].length
                assert 0 <= note.onset < plan.length or note.onset in pushes or note.role == "count"
                assert note.onset > first
                if not note.together and note.role != "count":
                    assert not plan.resting(mine.name, note.onset)
    lines = bar_lines(performance)
    assert all(a < b for a, b in pairwise(lines))
    assert lines[-1] == performance.clock.length_seconds
    for name in performance.part_names:
        assert all(note.end >= note.onset for note in performance.notes(name))


def test_stop_time_and_breaks_are_silent_between_the_strokes() -> None:
    for cue, strokes in (("stop-time 3-4: 1 3", {8, 10, 12, 14}), ("break 3-4: 1", {8})):
        for each in rounds(played(f"{TUNE}{cue}\n", choruses=3)):
            for name in sorted(RHYTHM_SECTION):
                assert {n.onset for n in inside(each, name, 8, 16)} == strokes, (cue, name)
            ringing = [n for p in each.parts for n in p.notes if n.onset < 8 < n.end]
            assert not ringing


def test_who_lays_out_is_silent_in_his_bars() -> None:
    for each in rounds(played(TUNE + "lay out 3-4: bass, drums\n", choruses=3)):
        assert not inside(each, "bass", 8, 16)
        assert not inside(each, "drums", 8, 16)
        assert inside(each, "comp", 8, 16)
        assert not [n for n in part(each, "bass").notes if n.onset < 8 < n.end]


def test_the_bass_stays_on_a_pedal() -> None:
    for each in rounds(played(TUNE + "pedal 1-4: G\n", bars="1-4", times=4)):
        ones = [n.pitch % 12 for n in part(each, "bass").notes if n.onset % 4 == 0]
        assert ones == [7, 7, 7, 7]


def test_without_a_chord_only_time_goes_on() -> None:
    for each in rounds(played(TUNE, choruses=3)):
        assert not inside(each, "bass", 20, 24)
        assert not inside(each, "comp", 20, 23)
        roles = {n.role for n in inside(each, "drums", 20, 24)}
        assert roles & {"foot", "ride"}  # in two the hand is on the hi-hat, and the foot holds it
        assert not roles & {"fill", "comment", "ghost"}


@pytest.mark.parametrize("first", [0, 4])
def test_trading_leaves_the_drums_alone(first: int) -> None:
    performance = played(TUNE, choruses=3, trade=Trade(4, partner_first=first == 0))
    solo = next(e for e in performance.passes if e.routine_pass.purpose is Purpose.SOLO)
    start, end = 4 * first, 4 * first + 16
    assert not inside(solo, "bass", start, end)
    assert not inside(solo, "comp", start, end - 1)
    alone = inside(solo, "drums", start, end)
    assert sum(n.role == "fill" for n in alone) >= 12
    assert {n.onset for n in alone if n.pitch == kit.PEDAL_HAT} >= set(range(start + 1, end, 2))
    assert inside(solo, "bass", 16 - start, 32 - start)


def test_in_a_breath_the_foot_keeps_time_alone() -> None:
    performance = played(TUNE + "push 1: 1\n", bars="1-4", times=3, rest_bars=2)
    rest_bars = [e for e in performance.passes if e.routine_pass.purpose is Purpose.REST_BAR]
    assert len(rest_bars) == 2
    for each in rest_bars:
        assert [p.name for p in each.parts] == ["drums"]
        struck = [(n.pitch, n.onset) for n in each.parts[0].notes]
        assert struck == [(kit.PEDAL_HAT, Fraction(beat)) for beat in (1, 3, 5, 7)]
    # the push of bar 1 falls at the end of the breath, so the round before plays to its end
    first, *_, last = rounds(performance)
    ends = [max(n.end for n in part(e, "bass").notes) for e in (first, last)]
    assert all(end > 15 for end in ends)


# ---- beginnings and ends


def test_sticks_count_the_band_in() -> None:
    performance = played(TUNE)
    count = performance.passes[0]
    assert [p.name for p in count.parts] == ["count"]
    assert [n.onset for n in count.parts[0].notes] == [0, 2, 4, 5, 6, 7]
    assert performance.passes[1].start == 8
    assert rounds(played(TUNE, count_in=0))[0].start == 0


def test_a_pickup_sounds_inside_the_count() -> None:
    text = TUNE.replace("section A\n", "section A\npickup: | G7 / |\n")
    performance = played(text)
    count, head = performance.passes[0], performance.passes[1]
    assert sum(bar.length for bar in count.routine_pass.bars) == 6
    assert head.routine_pass.bars[0].length == 2
    assert [n.onset for n in count.parts[0].notes] == [0, 2, 4, 5, 6, 7]
    assert not [n for p in head.parts for n in p.notes if 0 <= n.onset < 2]


@pytest.mark.parametrize("ending", ["held", "short", "tag", "slow"])
def test_a_routine_knows_how_long_it_will_be_played(ending: str) -> None:
    slows = f"{TUNE}rit 5-7: to 60%\nhold 8: 3\n"
    for asked in ({"ending": ending}, {"bars": "5-8", "times": 3}):
        for text in (TUNE, slows):
            routine = make_routine(read(text), Request(**asked))  # type: ignore[arg-type]
            performance = arrange(routine, Band())
            assert routine.seconds == performance.clock.length_seconds
            assert routine.tail == performance.tail


@pytest.mark.parametrize(("ending", "length"), [("held", 4), ("short", Fraction(1, 2))])
def test_the_last_chord_is_the_last(ending: str, length: Fraction) -> None:
    performance = played(TUNE, Band(EVERYBODY - {"click"}), ending=ending)
    out = performance.passes[-1]
    start = out.routine_pass.length_beats - 4
    for name in ("bass", "comp", "drums"):
        assert {n.onset for n in inside(out, name, start, start + 99)} == {start}
    chord = inside(out, "comp", start, start + 1)
    assert {n.length for n in chord} == {length}
    assert performance.tail > 0
    assert not performance.circular


def test_a_loop_without_a_count_repeats_without_a_seam() -> None:
    performance = played(TUNE, bars="1-4", times=2, count_in=0)
    assert performance.circular
    assert performance.tail == 0
    assert performance.clock.length_beats == 32
    lengths = [b - a for a, b in pairwise(bar_lines(performance))]
    assert set(lengths) == {Fraction(4 * 60, 140)}


# ---- time


def test_a_swing_ratio_that_is_asked_for_moves_what_swings() -> None:
    for feel, ratio in (("swing", Fraction(3)), ("bossa", Fraction(1))):
        performance = played(TUNE, Band(feel=feel, swing=Fraction(3)), bars="1-4")
        assert {s.ratio for s in performance.clock.stretches} == {ratio}


def test_what_the_band_agrees_on_is_what_it_plays() -> None:
    performance = played(TUNE, bars="1-8", times=2)
    for each in rounds(performance):
        plan = plan_pass(each.routine_pass, Band())
        assert {s.onset for s in plan.comping} == {n.onset for n in part(each, "comp").notes}
    counted = performance.passes[0].routine_pass
    assert isinstance(counted, Pass)
    assert plan_pass(counted, Band()).comping == ()
