"""The account of a take: the table of cases (tests/cases/takes.json), which the page answers too,
and takes of our own études, in which there is nothing to find."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from statistics import mean
from typing import Any

import pytest

import backing
from backing.chart.harmony import parse_chord
from backing.combo.plan import plan_of_bars
from backing.lines.etude import etude
from backing.take import log
from backing.take.account import Account, account
from backing.take.advice import Advice, advise
from backing.take.course import (
    Course,
    CourseBar,
    CourseChord,
    LineTone,
    course_chord,
    make_course,
)
from backing.take.grid import counted
from backing.take.heard import Heard, HeardNote
from backing.take.report import figures as figures_of
from backing.take.table import take_table
from tests.benchmarks.etude_report import figures
from tests.take.playing import ROOT, performed, take_of

Case = dict[str, Any]
TABLE: Case = json.loads((Path(__file__).parents[1] / "cases" / "takes.json").read_text("utf-8"))


def course_of(case: Case) -> Course:
    bars, seconds = [], 0.0
    for label, start, beats, tempo, swing, yours, *where in case["bars"]:
        bars.append(CourseBar(label, "".join(where), start, beats, seconds, tempo, swing, yours))
        seconds += beats * 60 / tempo
    under = case.get("shapes", {})
    chords = tuple(_chord(*row, **under.get(row[2], {})) for row in case["chords"])
    plain = Course("Case", tuple(bars), chords, position=case.get("position"))
    tones = (LineTone(beat, float(plain.seconds_at(beat)), n) for beat, n in case.get("line", ()))
    kind, unbroken = case.get("kind", ""), case.get("unbroken", False)
    return replace(plain, line=tuple(tones), kind=kind, unbroken=unbroken)


def _chord(
    start: float, end: float, symbol: str, shape: Sequence[int] = (), reach: Sequence[int] = ()
) -> CourseChord:
    chord = course_chord(parse_chord(symbol))
    return replace(chord, start=start, end=end, shape=frozenset(shape), reach=frozenset(reach))


def told_of(case: Case) -> tuple[Course, Account, Advice]:
    course = course_of(case)
    notes = [
        HeardNote(*map(float, course.seconds_at([beat, beat + length])), pitch, level)
        for beat, length, pitch, level in case["notes"]
    ]
    how = {"exact": True} | case.get("heard", {})
    heard = Heard(tuple(notes), course.seconds, **how | {"doubts": tuple(how.get("doubts", ()))})
    told = account(course, heard, 0.0)
    return course, told, advise(course, told)


def said(course: Course, told: Account, advice: Advice) -> Case:
    """All that a case may name."""
    labels = [bar.label for bar in course.bars]
    return {
        "notes": len(told.notes),
        "kinds": [str(note.kind) for note in told.notes],
        "tones": told.tones, "tones_on": told.tones_on, "tones_off": told.tones_off,
        "degrees": list(told.degrees),
        "in_shape": told.in_shape,
        "shape": dict(figures_of(course, told)).get("in the shape"),
        "outside": [
            [labels[n.bar], n.beat, n.name, n.chord, n.nearest, str(n.kind), n.goes_to]
            for n in told.outside
        ],
        "changes": [[c.way, c.size, c.left, c.reached] for c in told.crossings],
        "slips": [[[labels[bar] for bar in s.bars], s.by, s.swapped] for s in told.slips],
        "shifts": [[labels[s.bar], round(s.ms)] for s in told.timing.shifts],
        "swing": told.timing.swing, "swing_pairs": told.timing.pairs,
        "accent": told.timing.accent,
        "longest_run": told.phrases.longest.notes if told.phrases.longest else 0,
        "breaks": [[labels[b.bar], counted(b.eighth, course.bars[b.bar])]
                   for b in told.phrases.breaks],
        "phrases": told.phrases.count, "echoes": told.phrases.echoes, "space": told.phrases.space,
        "drift": told.timing.drift_ms, "unclear": told.unclear,
        "line": told.along and [
            told.along.notes, told.along.right,
            [[labels[d.bar], counted(d.eighth, course.bars[d.bar]), d.wanted, d.played]
             for d in told.along.departures],
        ],
        "answers": [[labels[a.bar], a.strokes, a.taken_up] for a in told.answers],
        "tempos": [[t.tempo, t.notes, t.outside] for t in told.tempos],
        "faults": [fault.topic for fault in advice.faults],
        "sentences": list(advice.sentences), "loop": advice.loop,
    }  # fmt: skip


@pytest.mark.parametrize("case", TABLE["cases"], ids=lambda case: case["name"])
def test_what_is_said_of_a_take(case: Case) -> None:
    mine = said(*told_of(case))
    for name, wanted in case["said"].items():
        if isinstance(wanted, float) or (name in ("swing", "accent") and wanted is not None):
            assert mine[name] == pytest.approx(wanted, abs=0.01), name
        else:
            assert mine[name] == wanted, name


def test_the_table_has_the_chords_of_the_library() -> None:
    for symbol, wanted in TABLE["symbols"].items():
        chord = course_chord(parse_chord(symbol))
        mine = asdict(chord)
        assert {name: mine[name] for name in wanted} == {
            name: tuple(value) if isinstance(value, list) else value
            for name, value in wanted.items()
        }


@pytest.mark.parametrize("case", TABLE["logs"], ids=lambda case: case["name"])
def test_what_the_plot_of_a_log_has(case: Case) -> None:
    found = {name: [list(p) for p in points] for name, points in log.series(case["takes"]).items()}
    assert found == {
        name: [[day, pytest.approx(value)] for day, value in points]
        for name, points in case["series"].items()
    }
    drawn = log.plot(case["takes"])
    assert case["title"] in drawn
    assert drawn.count("<circle") == sum(map(len, found.values()))


def test_the_page_is_given_the_bounds_and_words_of_the_program() -> None:
    assert TABLE["table"] == take_table()


@pytest.mark.parametrize(
    ("tune", "line"),
    [
        ("corner-booth", "etude level 4"),
        ("corner-booth", "etude anticipate"),
        ("kite-string-waltz", "etude level 3"),
        ("last-train-but-one", "etude off-beats"),
        ("rain-on-the-awning", "phrases level 4"),
        ("seven-stairs", "etude level 2"),
        ("stairwell-study", "etude triplets"),
    ],
)
def test_a_take_of_an_etude_has_no_fault(tune: str, line: str) -> None:
    """Played by a human who keeps within some 10 ms: the étude follows the rules by which notes
    are judged, so whatever is found would be a false claim."""
    course, heard = take_of(performed(tune, 150, line, "1-14"), line)
    told = account(course, heard, 0.0)
    advice = advise(course, told)
    assert advice.faults == ()
    assert len(advice.sentences) == 3
    assert told.along is not None
    assert told.along.right == told.along.notes == len(heard.notes)


def test_figures_agree_with_those_of_the_etude_report() -> None:
    """The counts of tests/benchmarks/etude_report.py, which are those of the Weimar Jazz Database
    (Pfleiderer et al. 2017, Inside the Jazzomat): chord tones are 1 3 5 and 7 or 6, a step is one
    or two half steps."""
    form = backing.read_file(ROOT / "tunes" / "corner-booth.tune")
    routine = backing.make_routine(form, backing.Request(bars="A B", times=1, count_in=0))
    band = backing.Band()
    performance = backing.arrange(routine, band)
    course = make_course(routine, performance, band)
    line = backing.read_line("etude level 2")
    etudes = [etude(plan_of_bars(form.select("A B")), line, random.Random(n)) for n in range(6)]
    wanted = figures(etudes)
    tones, steps = [], []
    for notes in etudes:
        clock = performance.clock
        times = [(clock.seconds(clock.played(n.onset)), clock.seconds(clock.played(n.end)))
                 for n in notes]  # fmt: skip
        heard = [
            HeardNote(float(on), float(off), n.pitch, 80)
            for (on, off), n in zip(times, notes, strict=True)
        ]
        told = account(course, Heard(tuple(heard), course.seconds, exact=True), 0.0)
        assert told.tones is not None
        tones.append(told.tones)
        steps.append(told.crossed("step") / (len(told.crossings) - told.crossed("rest")))
    assert mean(tones) == pytest.approx(wanted.tones, abs=0.01)
    # a tone in the last eighth that is of the next chord is counted there, unlike in the report
    assert mean(steps) == pytest.approx(wanted.steps_in, abs=0.03)
