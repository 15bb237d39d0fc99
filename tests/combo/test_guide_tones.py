"""Guide-tone lines: the table of their motion, their range, rhythm and time."""

from __future__ import annotations

import random
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.pitch import Interval
from backing.combo.band import GUIDE_LINES
from backing.combo.feel import melodic_lateness_ms, ride_ratio
from backing.combo.guide_tones import HIGH, LOW, SUNK, lines, play
from backing.combo.part import VELOCITIES, Part
from backing.combo.plan import Plan
from tests.combo.build import bars, plan_of, transposed
from tests.combo.random_plans import plans


def guide(text: str, line: str = "both", **how: object) -> Part:
    """The guide tones over typed changes."""
    plan = plan_of(bars(text, **how), 150)  # type: ignore[arg-type]
    return play(plan, random.Random(1), line)


# musictheorymanual.com/voice-leading-with-guide-tones and arithmetic: how third and seventh of a
# chord (in this order) move into the next one.
MOTION = {
    "Dm7 | G7": (0, -1),
    "G7 | Cmaj7": (0, -1),
    "G7 | C6": (-2, -1),
    "G7 | Cm6": (-2, -2),
    "A7 | D7": (-1, -1),
    "D7 | G7": (-1, -1),
    "G7 | Db7": (0, 0),
    "G7sus | G7": (-1, 0),
}


@pytest.mark.parametrize("text", MOTION)
@pytest.mark.parametrize("semitones", range(12))
def test_guide_tones_move_as_the_table_says(text: str, semitones: int) -> None:
    there = Interval.of_semitones(semitones)
    played = transposed(bars(text), there)
    upper, lower = lines(plan_of(played))
    moves = tuple(line[1].pitch - line[0].pitch for line in (upper, lower))
    assert tuple((move + 6) % 12 - 6 for move in moves) == MOTION[text]
    assert all(abs(move) <= 2 for move in moves)


def test_each_line_starts_on_its_tone_and_the_lines_trade() -> None:
    assert [n.role for n in guide("Dm7 | G7 | Cmaj7 | C6", "3rd").notes] == [
        "b3",
        "b7",
        "3",
        "3",
    ]
    assert [n.role for n in guide("Dm7 | G7 | Cmaj7 | C6", "7th").notes] == [
        "b7",
        "3",
        "7",
        "6",
    ]
    both = guide("Dm7 | G7 | Cmaj7 | C6")
    assert sorted(both.notes, key=repr) == sorted(
        guide("Dm7 | G7 | Cmaj7 | C6", "3rd").notes + guide("Dm7 | G7 | Cmaj7 | C6", "7th").notes,
        key=repr,
    )


@pytest.mark.parametrize(
    ("text", "moves"),
    [("Fmaj7 | Am7b5", (-2, -4)), ("Gm7 | Bbm7", (-2, -4)), ("Cm7 | Am7b5", (2, 4))],
)
def test_a_line_goes_by_step_where_it_can(text: str, moves: tuple[int, int]) -> None:
    """Where roots go up or down a third one line steps, and the other leaps."""
    upper, lower = lines(plan_of(bars(text)))
    assert sorted(line[1].pitch - line[0].pitch for line in (upper, lower)) == sorted(moves)


def test_guide_tones_of_chords_without_third_or_seventh() -> None:
    roles = [n.role for n in guide("G7sus | Bdim7 | C | Am6").notes]
    pairs = [set(roles[at : at + 2]) for at in range(0, 8, 2)]
    assert pairs == [{"4", "b7"}, {"b3", "bb7"}, {"3", "5"}, {"b3", "6"}]


def test_a_sunken_line_starts_again_at_a_section() -> None:
    text = " | ".join(["Dm7 | G7 | Cm7 | F7 | Bbm7 | Eb7 | Abm7 | Db7"] * 4)
    upper, _ = lines(plan_of(bars(text)))
    tops = [tone.pitch for tone in upper if tone.span.start % 32 == 0]
    assert min(tops) >= SUNK
    rises = [(b.span.start, b.pitch) for a, b in pairwise(upper) if b.pitch - a.pitch > 6]
    at_tops = [start for start, _ in rises if start % 32 == 0]
    assert len(at_tops) >= 2


TWO_FIVE_ONES = "Dm7 | G7 | Cmaj7 | % | Cm7 | F7 | Bbmaj7 | % | Bbm7 | Eb7 | Abmaj7 | % "
OTHERS = ("Fm7b5 Bb7 | Ebm6 | Abm7 Db7 | Gbmaj7", "Am7 D7 | Gmaj7 | Gm7 C7 | Fmaj7 | %", "E7")


@pytest.mark.parametrize("section_bars", [4, 8, 16, 64])
@pytest.mark.parametrize("semitones", range(12))
def test_no_line_leaps_inside_a_cadence(section_bars: int, semitones: int) -> None:
    """However long a section sinks, the octave comes between two cadences."""
    text = " | ".join([TWO_FIVE_ONES, *OTHERS] * 3)
    there = Interval.of_semitones(semitones)
    plan = plan_of(transposed(bars(text, section_bars=section_bars), there))
    tops = {bar.start for bar in plan.bars if bar.section_top}
    leaps = 0
    for line in lines(plan):
        for before, after in pairwise(line):
            one, two = before.span.chord, after.span.chord
            assert one is not None
            assert two is not None
            fifth = (one.root.pitch_class - two.root.pitch_class) % 12 == 7
            leap = abs(after.pitch - before.pitch) > 6
            assert not (leap and fifth and after.span.start not in tops)
            leaps += leap
    assert leaps


def test_a_chord_that_lasts_is_played_again_every_second_bar() -> None:
    whole = [n.onset for n in guide("Dm7 | G7 | Cmaj7 | % | % | A7", "3rd").notes]
    assert whole == [0, 4, 8, 16, 20]


# The KTH rules give a soloist's beats 63 ms at 120 bpm and 41 at 200 (Friberg & Sundström 2002);
# Nelias et al. 2022 about 30 ms at 150; medians of 456 solos (WJD) 26 ms at 110-170, 17 at
# 170-200, 14 at 200-230, 8 at 230-260.
@pytest.mark.parametrize(
    ("tempo", "low", "high"),
    [(100, 44, 52), (120, 35, 63), (150, 28, 36), (185, 15, 25), (215, 12, 20), (245, 7, 14)],
)
def test_a_line_is_late_on_the_beat_by_the_published_figures(
    tempo: int, low: float, high: float
) -> None:
    assert low <= melodic_lateness_ms(tempo, True) <= high
    assert melodic_lateness_ms(tempo, False) == 0.0


# facts of soloists' ratios: 2.0483 - 0.0031 bpm (column G of the table, KTH swing.lsp)
@pytest.mark.parametrize(("tempo", "ratio"), [(100, 1.74), (160, 1.55), (200, 1.43), (240, 1.30)])
def test_late_beats_give_the_soloists_ratio(tempo: int, ratio: float) -> None:
    beat = 60_000 / tempo
    off = beat * ride_ratio(tempo) / (ride_ratio(tempo) + 1)
    late = melodic_lateness_ms(tempo, True)
    assert (off - late) / (beat - off + late) == pytest.approx(ratio, abs=0.02)


def test_even_feels_have_no_late_beats() -> None:
    assert melodic_lateness_ms(140, True, 1.0) == 0.0


def test_a_pushed_chord_is_struck_with_the_band() -> None:
    notes = guide("Dm7 | <G7 | Cmaj7", "3rd").notes
    assert (notes[1].onset, notes[1].together, notes[1].melodic) == (Fraction(7, 2), True, False)


@settings(max_examples=100)
@given(plans(), st.integers(0, 100), st.sampled_from(GUIDE_LINES))
def test_any_plan_has_its_guide_tones(plan: Plan, seed: int, line: str) -> None:
    part = play(plan, random.Random(seed), line)
    assert part == play(plan, random.Random(seed), line)
    assert list(part.notes) == sorted(part.notes, key=lambda n: (n.onset, n.pitch))
    for note in part.notes:
        assert note.chord is not None
        assert note.pitch % 12 in note.chord.sounding.guide_pitch_classes
        assert LOW <= note.pitch <= HIGH
        assert note.length > 0
        assert note.velocity in VELOCITIES
        assert note.onset < plan.length
    onsets = sorted({(n.onset, n.end) for n in part.notes})
    assert all(end <= onset for (_, end), (onset, _) in pairwise(onsets))
    spans = {n.chord for n in part.notes}
    assert spans == {s.chord for s in plan.spans if s.chord is not None}


def test_a_chord_is_held_into_the_next_pass_that_begins_late_and_not_struck_there() -> None:
    notes = guide(">C | Dm7 | %", "3rd", meter="2/4").notes
    assert [note.onset for note in notes] == [Fraction(1, 2), 2]
    assert notes[-1].end == Fraction(
        13, 2
    )  # the next pass begins on 6, its chord comes half a beat late
