"""What the band plays at: in a lesson a learner never loses the form, a gig has all of it."""

from __future__ import annotations

from fractions import Fraction
from statistics import fmean

import pytest

from backing.chart.bar import OCCASIONS, RHYTHM_SECTION
from backing.chart.text.tune_file import read
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.plan import Plan
from backing.errors import SelectionError, TuneError
from backing.routine import Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine
from tests.benchmarks.changes import random_form
from tests.benchmarks.heard import Heard, take


def played(occasion: str, tempo: int = 140, forms: int = 6, **asked: object) -> list[Heard]:
    found: list[Heard] = []
    for number in range(forms):
        band = Band(RHYTHM_SECTION, number, occasion=occasion)
        form = random_form(number, tempo=tempo)
        found += take(form, Request(**({"choruses": 4} | asked)), band)  # type: ignore[arg-type]
    return [heard for heard in found if heard.plan.purpose is not Purpose.COUNT_IN]


def roots(heard: Heard) -> list[bool]:
    """For each chord, whether its first note is its root, or what is written under it."""
    struck = {note.onset: note for note in heard.part("bass").notes}
    return [
        struck[span.start].pitch % 12 == span.chord.bass_pitch_class
        for span in heard.plan.spans
        if span.chord is not None and span.start in struck
    ]


def tops_on_the_root(plan: Plan, heard: Heard) -> list[bool]:
    struck = {note.onset: note.pitch for note in heard.part("bass").notes}
    tops = [bar.start for bar in plan.bars if bar.section_top and bar.start in struck]
    spans = [(top, plan.span_at(top)) for top in tops]
    return [
        struck[top] % 12 == span.chord.bass_pitch_class
        for top, span in spans
        if span is not None and span.chord is not None
    ]


def test_a_learner_hears_every_root_and_plain_fours() -> None:
    for heard in played("lesson"):
        assert all(roots(heard))
        assert all(tops_on_the_root(heard.plan, heard))
        if heard.feel == "swing":
            for bar in heard.plan.bars:
                if not bar.bar.final and not heard.plan.resting("bass", bar.start):
                    notes = heard.part("bass").notes
                    onsets = [n.onset - bar.start for n in notes if bar.start <= n.onset < bar.end]
                    changes = {c.onset for c in bar.bar.changes}
                    assert set(onsets) == set(map(Fraction, range(4))) | changes


def test_a_learner_has_few_chords_on_the_beat_and_clear_drums() -> None:
    learner, gig = played("lesson"), played("gig")

    def strokes(passes: list[Heard]) -> float:
        return fmean(len(h.plan.comping) / len(h.plan.bars) for h in passes)

    def on_the_beat(passes: list[Heard]) -> float:
        onsets = [s.onset for h in passes for s in h.plan.comping]
        return fmean(onset.denominator == 1 for onset in onsets)

    assert strokes(learner) <= strokes(gig)
    assert on_the_beat(learner) > 0.6
    assert on_the_beat(gig) < 0.45
    said = {n.role for h in learner for n in h.part("drums").notes}
    assert not said & {"comment", "ghost"}
    feet = [
        {n.onset - bar.start for n in h.part("drums").notes
         if n.role == "foot" and bar.start <= n.onset < bar.end}
        for h in learner if h.feel == "swing"
        for bar in h.plan.bars if not bar.bar.final
    ]  # fmt: skip
    assert fmean(foot == {1, 3} for foot in feet) > 0.98


def test_a_gig_has_its_liberties_in_short_loops_too() -> None:
    loop = {"bars": "1-8", "choruses": None, "times": 3}
    heard = {
        occasion: [hit for h in played(occasion, **loop) for hit in roots(h)]
        for occasion in OCCASIONS
    }
    learner, rehearsal, gig = (fmean(heard[occasion]) for occasion in OCCASIONS)
    assert learner == 1
    assert rehearsal > gig


def test_a_learners_loop_is_plain_too() -> None:
    for heard in played("lesson", bars="1-16", choruses=None, times=2):
        assert heard.plan.plain
        assert all(roots(heard))


def test_an_occasion_there_is_not_is_refused() -> None:
    with pytest.raises(SelectionError, match="lessn"):
        Band(occasion="lessn")


TUNE = "title: T\nkey: C\noccasion: lesson\n\nsection A\n| Dm7 | G7 | Em7 A7 | Dm7 G7 |\n"


def test_a_tune_says_its_occasion_and_the_band_may_say_otherwise() -> None:
    form = read(TUNE)
    routine = make_routine(form, Request(bars="1-4", times=4))
    parts = {
        occasion: arrange(routine, Band(occasion=occasion)).passes
        for occasion in (None, "lesson", "gig")
    }
    assert parts[None] == parts["lesson"] != parts["gig"]


def test_a_tune_with_another_occasion_is_refused() -> None:
    with pytest.raises(TuneError, match="Write one of lesson, rehearsal, gig"):
        read(TUNE.replace("lesson", "party"))
