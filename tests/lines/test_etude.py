"""Lines through the changes: what an etude promises, by statistics and by property."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import groupby, pairwise
from statistics import mean

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.form import Form
from backing.combo.plan import Plan, make_plan
from backing.errors import PracticeError
from backing.lines.etude import etude
from backing.lines.line import RHYTHMS, LineNote
from backing.lines.player import Line, heard, play
from backing.neck.arpeggio import arpeggio
from backing.neck.fingerboard import make_fingerboard
from backing.routine import Purpose
from backing.routine.ending import ENDINGS
from backing.routine.request import Request
from backing.routine.routine import make_routine
from tests.combo.build import bars, plan_of
from tests.lines.first import first_pitch
from tests.strategies import forms

TUNE = "Dm7 | G7 | Cmaj7 | A7b9 | Dm7 G7 | Em7 A7 | Fm7 Bb7 | Cmaj7 A7alt"
roots = st.sampled_from(["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"])
sevenths = st.builds(str.__add__, roots, st.sampled_from(["maj7", "7", "m7", "m7b5", "m6", "9"]))
tunes = st.lists(sevenths, min_size=2, max_size=12)


def line_of(text: str, seed: int = 1, **asked: object) -> tuple[LineNote, ...]:
    return etude(plan_of(bars(text)), Line(**asked), random.Random(seed))  # type: ignore[arg-type]


def joints(notes: Sequence[LineNote]) -> list[tuple[LineNote, LineNote]]:
    """The last note of each chord and the first of the next."""
    return [(a, b) for a, b in pairwise(notes) if a.chord != b.chord]


@given(tunes, st.integers(0, 9999), st.integers(1, 12))
@settings(max_examples=60)
def test_an_etude_keeps_its_promises(chords: list[str], seed: int, position: int) -> None:
    notes = line_of(" | ".join(chords), seed, position=(position,))
    # unbroken eighths
    assert [note.onset for note in notes] == [Fraction(n, 2) for n in range(8 * len(chords))]
    assert {note.length for note in notes} == {Fraction(1, 2)}
    board = make_fingerboard()
    for note in notes:
        # chord tones only, under the hand
        figure = arpeggio(note.chord.quality)
        assert note.degree in figure.tones
        assert (note.pitch - note.chord.root.pitch_class - note.degree.pitch_class) % 12 == 0
        assert note.kind == "tone"
        assert note.name == note.chord.spelled(note.degree)
        assert position - 1 <= note.place.fret <= position + 4
        assert board.pitch(note.place) == note.pitch
    # no note twice in a row, no leap beyond an octave
    assert all(0 < abs(b.pitch - a.pitch) <= 12 for a, b in pairwise(notes))


@given(tunes, st.integers(0, 9999), st.integers(1, 12))
@settings(max_examples=60)
def test_every_change_is_crossed_by_step(chords: list[str], seed: int, position: int) -> None:
    """A different pitch one or two semitones away, wherever the two shapes have such a pair."""
    notes = line_of(" | ".join(chords), seed, position=(position,))
    for before, after in joints(notes):
        assert 1 <= abs(after.pitch - before.pitch) <= 2


def test_changes_without_a_step_between_them_take_the_nearest_tone() -> None:
    notes = line_of("Bdim7 | Ddim7 | Bdim7 | Fdim7")
    assert all(abs(b.pitch - a.pitch) == 3 for a, b in joints(notes))


def test_another_bass_is_a_change_too() -> None:
    for seed in range(10):
        for before, after in joints(line_of("Cmaj7 | Cmaj7/B | Am7 | Am7/G", seed)):
            assert 1 <= abs(after.pitch - before.pitch) <= 2


def test_a_loop_is_a_circle() -> None:
    plan = plan_of(bars(TUNE))
    for seed in range(40):
        notes = etude(plan, Line(position=5), random.Random(seed))
        assert notes[0].pitch == first_pitch(notes[0].chord, Line(position=5))
        assert 1 <= abs(notes[0].pitch - notes[-1].pitch) <= 2


def test_seeds_differ_and_repeat() -> None:
    lines = {tuple(note.pitch for note in line_of(TUNE, seed)) for seed in range(12)}
    assert len(lines) == 12
    assert line_of(TUNE, 5) == line_of(TUNE, 5)


def test_the_tempo_does_not_change_the_notes() -> None:
    slow, fast = (plan_of(bars(TUNE), tempo) for tempo in (60, 240))
    assert etude(slow, Line(position=5), random.Random(1)) == etude(
        fast, Line(position=5), random.Random(1)
    )


def test_lines_turn_after_leaps_and_do_not_get_stuck() -> None:
    turned = leaps = returns = triples = 0
    for seed in range(40):
        pitches = [note.pitch for note in line_of(TUNE, seed)]
        for a, b, c in zip(pitches, pitches[1:], pitches[2:], strict=False):
            triples += 1
            returns += a == c
            if abs(b - a) >= 7:
                leaps += 1
                turned += (b - a) * (c - b) < 0
        for start in range(0, len(pitches) - 16, 8):
            assert pitches[start : start + 8] != pitches[start + 8 : start + 16]
    assert turned / leaps > 0.8
    assert returns / triples < 0.12


@pytest.mark.parametrize("role", [1, 3, 5, 7])
def test_the_first_note_is_the_one_asked_for(role: int) -> None:
    note = line_of(TUNE, start=role)[0]
    assert note.degree is not None
    assert note.degree.number == role


@pytest.mark.parametrize(("direction", "sign"), [("up", 1), ("down", -1)])
def test_runs_go_the_way_asked_for(direction: str, sign: int) -> None:
    notes = line_of("Cmaj7 | % | % | %", direction=direction)
    moves = [b.pitch - a.pitch for a, b in pairwise(notes)]
    along = [move for move in moves if move * sign > 0]
    back = [move for move in moves if move * sign < 0]
    assert len(along) > 2 * len(back)
    assert sum(abs(move) for move in back) / len(back) > 6  # one leap makes room for the next run


def test_from_the_third_to_the_ninth() -> None:
    numbers = {note.degree.number for note in line_of("Dm7 | G7 | Cmaj7 | %", way="3-9")
               if note.degree}  # fmt: skip
    assert numbers == {3, 5, 7, 9}


def test_landing_on_thirds() -> None:
    for seed in range(10):
        notes = line_of("Dm7 | G7 | Cmaj7 | Fmaj7", seed, thirds=True)
        landed = [b.degree for _, b in joints(notes)]
        assert all(degree is not None and degree.number == 3 for degree in landed)


def test_arriving_an_eighth_early() -> None:
    notes = line_of("Dm7 | G7 | Cmaj7 | A7", anticipate=True)
    assert [b.onset for _, b in joints(notes)] == [
        Fraction(n) - Fraction(1, 2) for n in (4, 8, 12, 16)
    ]
    assert notes[-1].chord == notes[0].chord


def test_top_strings_only() -> None:
    for strings in (2, 3, 4):
        notes = line_of("Dm7 | G7 | Cmaj7 | A7", top_strings=strings)
        assert max(note.place.string for note in notes) == strings


def test_another_position_each_chorus() -> None:
    line = Line(position=(5, 8))
    first, second = (
        etude(plan_of(bars(TUNE), circular=False, chorus=n), line, random.Random(1)) for n in (0, 1)
    )
    assert {4, 5, 6, 7, 8, 9} >= {note.place.fret for note in first}
    assert {7, 8, 9, 10, 11, 12} >= {note.place.fret for note in second}


@pytest.mark.parametrize(("rhythm", "length"), [("quarters", 1), ("halves", 2)])
def test_slow_lines_may_keep_a_common_tone(rhythm: str, length: int) -> None:
    kept = 0
    for seed in range(10):
        notes = line_of("Dm7 | G7 | Cmaj7 | A7b9", seed, rhythm=rhythm)
        assert [note.onset for note in notes] == list(range(0, 16, length))
        assert all(abs(b.pitch - a.pitch) <= 2 for a, b in joints(notes))
        kept += sum(a.pitch == b.pitch for a, b in joints(notes))
    assert kept


def test_from_level_two_on_changes_are_crossed_as_soloists_cross_them() -> None:
    # Weimar Jazz Database, 456 solos (Pfleiderer et al. 2017): half steps 33 %, steps 58 %
    moves = [
        abs(after.pitch - before.pitch)
        for level in (2, 3, 4)
        for seed in range(40)
        for before, after in joints(line_of(TUNE, seed, level=level))
    ]
    shares = {size: sum(move == size for move in moves) / len(moves) for size in range(8)}
    assert 0.25 < shares[1] < 0.5
    assert 0.45 < shares[1] + shares[2] < 0.75
    assert 0.08 < shares[3] + shares[4] < 0.3
    assert 0.02 < shares[0] < 0.15


def test_level_two_approaches_are_half_steps() -> None:
    approaches = 0
    for seed in range(20):
        notes = line_of(TUNE, seed, level=2)
        for before, after in pairwise(notes):
            if before.kind == "approach":
                approaches += 1
                assert abs(after.pitch - before.pitch) == 1
        assert {note.kind for note in notes} <= {"tone", "approach"}
    assert approaches > 20


def test_level_three_encloses_targets_on_one() -> None:
    enclosed = 0
    for seed in range(20):
        notes = line_of("Dm7 | G7 | Cmaj7 | Fmaj7", seed, level=3)
        for at in (8, 16, 24, 32):
            above, below, target = (*notes, notes[0])[at - 2 : at + 1]
            if not above.kind == below.kind == "enclosure":
                continue
            enclosed += 1
            assert above.onset % 4 == 3
            assert target.pitch - below.pitch == 1
            assert 1 <= above.pitch - target.pitch <= 2
            assert above.pitch % 12 in target.chord.scale_pitch_classes
            assert below.name.letter != target.name.letter
    assert enclosed > 15


def test_targets_are_thirds_and_sevenths_more_often_than_not() -> None:
    landed = [
        after.degree.number
        for seed in range(40)
        for _, after in joints(line_of(TUNE, seed, level=2))
        if after.degree
    ]
    assert sum(number in (3, 7) for number in landed) / len(landed) > 0.5


def test_ideas_are_answered_with_their_own_moves() -> None:
    def alike(level: int) -> float:
        found = []
        for seed in range(30):
            pitches = [note.pitch for note in line_of("Dm7 | G7 | Em7 | A7", seed, level=level)]
            moves = [b - a for a, b in pairwise(pitches)]
            found += [abs(a - b) <= 1 for a, b in zip(moves[1:14], moves[17:30], strict=True)]
        return sum(found) / len(found)

    assert alike(2) > 0.5
    assert alike(1) < 0.35


def test_level_four_has_the_parent_scale_between_and_beside_chord_tones() -> None:
    white = {0, 2, 4, 5, 7, 9, 11}
    passing = share = 0
    for seed in range(10):
        notes = line_of("Dm7 | G7 | Em7 | Am7", seed, level=4)
        for before, note, after in zip(notes, notes[1:], notes[2:], strict=False):
            if note.kind == "passing":
                passing += 1
                assert note.onset % 4
                assert note.pitch % 12 in white  # also over Em7, which is no dorian here
                come, left = note.pitch - before.pitch, after.pitch - note.pitch
                assert 1 <= abs(left) <= 2
                assert 0 < abs(come) <= 2 or come * left < 0  # a leap is answered by a step back
        share += mean(note.pitch % 12 in note.chord.core_pitch_classes for note in notes) / 10
    assert passing > 20
    # half of the soloists have more than .51 chord tones, one in twenty more than .63 (Weimar Jazz
    # Database, 456 solos)
    assert 0.51 <= share <= 0.7


def test_level_four_begins_ideas_late() -> None:
    """On 3 as well, from where they go on over the bar line."""
    starts = {
        group[0]
        for seed in range(20)
        for group in phrases(line_of(TUNE, seed, rhythm="phrases", level=4))
    }
    assert starts >= {0, 1, 2}
    assert all(
        group[-1] >= 4
        for seed in range(20)
        for group in phrases(line_of(TUNE, seed, rhythm="phrases", level=4))
        if group[0] == 2
    )


def phrases(notes: Sequence[LineNote]) -> list[list[Fraction]]:
    by_idea = groupby(notes, key=lambda note: note.onset // 8)
    return [[note.onset % 8 for note in group] for _, group in by_idea]


def test_ideas_and_answers_share_a_rhythm_and_leave_space() -> None:
    for seed in range(10):
        notes = line_of(TUNE, seed, rhythm="phrases")
        first, answer, second, again = phrases(notes)
        assert first == answer
        assert second == again
        assert all(note.end % 8 <= 6 for note in notes)
        assert all(note.kind == "tone" for note in notes)


def test_a_call_leaves_as_much_space_for_the_answer() -> None:
    for seed in range(10):
        notes = line_of(TUNE, seed, rhythm="call")
        assert {note.onset // 8 for note in notes} == {0, 2}
        assert all(note.end % 16 <= 6 for note in notes)


def test_a_short_loop_has_a_call_of_one_bar() -> None:
    assert {note.onset // 4 for note in line_of("Dm7 | G7", rhythm="call")} == {0}


def test_bars_too_few_are_said() -> None:
    with pytest.raises(PracticeError, match="need at least two bars"):
        line_of("Dm7", rhythm="call")
    assert line_of("Dm7", rhythm="phrases")[-1].end <= 3  # a phrase may stand alone
    with pytest.raises(PracticeError, match="no chord"):
        line_of("N.C. | N.C.")


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"rhythm": "sixteenths"}, '"sixteenths" isn\'t a rhythm of a line'),
        ({"level": 5}, '"5" isn\'t a level of a line'),
        ({"call_on": "4"}, '"4" isn\'t a start of a call'),
        ({"start": 2}, '"2" isn\'t a tone to begin on'),
        ({"direction": "sideways"}, '"sideways" isn\'t a direction of a line'),
        ({"way": "2-8"}, '"2-8" isn\'t a way of a line'),
        ({"position": (25,)}, "Position 25 is off the neck"),
        ({"position": ""}, "isn't a position"),
        ({"top_strings": 1}, "a number from 2 to 6"),
    ],
)
def test_what_cannot_be_had_is_said(asked: dict[str, object], said: str) -> None:
    with pytest.raises(PracticeError) as caught:
        Line(**asked)  # type: ignore[arg-type]
    assert said in str(caught.value)


def test_no_chord_is_a_rest_and_a_push_is_followed() -> None:
    notes = line_of("Dm7 | N.C. | <Cmaj7 | A7")
    silent = [note for note in notes if 4 <= note.onset < Fraction(15, 2)]
    assert not silent
    assert str(next(note for note in notes if note.onset == Fraction(15, 2)).chord) == "Cmaj7"


@pytest.mark.parametrize("meter", ["3/4", "5/4", "6/8", "12/8", "7/8", "2/2"])
@pytest.mark.parametrize("rhythm", RHYTHMS)
def test_every_meter_has_its_lines(meter: str, rhythm: str) -> None:
    plan = plan_of(bars("Dm7 | G7 | Cmaj7 | A7", meter))
    notes = etude(plan, Line(rhythm=rhythm, position=5), random.Random(1))
    eighths = int(sum(bar.bar.length * bar.bar.meter.beat_quarters for bar in plan.bars) * 2)
    if rhythm == "eighths":
        assert len(notes) == eighths
    assert all(a.end <= b.onset for a, b in pairwise(notes))
    assert notes[-1].end <= plan.length


def test_the_last_bar_is_one_note_at_rest() -> None:
    plan = plan_of(bars("Dm7 | G7 | Cmaj7 | Cmaj7"), final=True)
    notes = etude(plan, Line(), random.Random(1))
    assert [note.onset for note in notes if note.onset >= 12] == [12]
    assert notes[-1].degree is not None
    assert notes[-1].degree.number in (1, 3, 5)


def melody(plan: Plan, line: Line | None = None) -> list[tuple[Fraction, int]]:
    return [(note.onset, note.pitch) for note in play(plan, line).notes]


def test_the_melody_part_plays_the_etude() -> None:
    plan = plan_of(bars(TUNE))
    part = play(plan)
    assert part.name == "line"
    assert part.instrument.name == "jazz guitar"
    assert melody(plan) == [(n.onset, n.pitch) for n in heard(plan, Line())]
    assert all(note.melodic and note.swung for note in part.notes)
    assert all(a.end <= b.onset for a, b in pairwise(part.notes))
    assert {note.role for note in part.notes} <= {"1", "b3", "3", "5", "b7", "7", "b9", "b13", "#9"}


def test_where_the_melody_lays_out_it_is_silent() -> None:
    played = list(bars("Dm7 | G7 | Cmaj7 | A7"))
    quiet = replace(played[1].directions, lay_out=frozenset({"line"}))
    played[1] = replace(played[1], directions=quiet)
    onsets = [onset for onset, _ in melody(plan_of(tuple(played)))]
    assert not [onset for onset in onsets if 4 <= onset < 8]
    played = [replace(bar, directions=quiet) for bar in played]
    assert melody(plan_of(tuple(played))) == []


def _silenced(plan: Plan) -> bool:
    """Whether what is N.C. or laid out leaves hardly a place for a line."""
    free = [
        bar
        for bar in plan.bars
        if not plan.resting("line", bar.start)
        and (span := plan.span_at(bar.start)) is not None
        and span.chord is not None
    ]
    return len(free) < len(plan.bars)


@given(forms(), st.sampled_from(RHYTHMS), st.integers(1, 4), st.sampled_from(ENDINGS))
@settings(max_examples=25)
def test_any_form_has_a_line_or_says_why(form: Form, rhythm: str, level: int, ending: str) -> None:
    line = Line(rhythm=rhythm, level=level, position=(5, 7))
    passes = make_routine(form, Request(choruses=2, ending=ending)).passes
    for plan in (make_plan(each) for each in passes if each.purpose is not Purpose.COUNT_IN):
        chords = [bar for bar in plan.bars if bar.bar.changes and not bar.bar.pickup]
        sounding = any(span.chord for span in plan.spans)
        try:
            notes = etude(plan, line, random.Random(1))
        except PracticeError:
            assert len(chords) < 2 or not sounding or _silenced(plan)
            continue
        assert all(a.end <= b.onset for a, b in pairwise(notes))
        assert all(not plan.resting("line", n.onset) or plan.ends for n in notes)
        assert all(n.onset < plan.length for n in notes)
