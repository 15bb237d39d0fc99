"""Loops that go over the end of the form into its top, and sections in a row.

The seam into the top is where players crash, so the band must play it as it is: the chord before
and the chord after, the top of a section, the numbers of the bars (common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from backing.chart.form import Form
from backing.chart.text.tune_file import read, read_file
from backing.combo.arrangement import arrange, plan_pass
from backing.combo.band import Band
from backing.combo.markers import markers
from backing.lines.player import Line
from backing.midi import to_bytes
from backing.routine import Pass, Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.tune"))
MIXED = read("""
title: Mixed
key: F
head: A B A
head out: A B A coda
section A
pickup: | C7 / |
| F6 | Gm7 C7 |
push 1: 1
section B  meter: 3/4  feel: waltz
| Bbmaj7 | Am7 | Gm7 |
section coda
| F6 |
""")


def chorus_of(form: Form) -> list[str]:
    """The chords of a chorus, bar by bar."""
    bars = [bar for bar in form.played("solos") if bar.role == "chorus"]
    return [" ".join(str(c.chord) for c in bar.changes) for bar in bars]


def times(form: Form, request: Request) -> list[Pass]:
    return [p for p in make_routine(form, request).passes if p.purpose is Purpose.TIME]


@pytest.mark.parametrize("tune", TUNES, ids=lambda tune: tune.stem)
@pytest.mark.parametrize("wraps", [False, True])
def test_a_loop_over_the_top_has_the_chords_of_the_seam(tune: Path, wraps: bool) -> None:
    form = read_file(tune)
    chords = chorus_of(form)
    count = len(chords)
    bars = f"{count - 1}-2" if wraps else f"{count - 1}-{count + 2}"
    first, second = times(form, Request(bars=bars, times=2))
    assert [bar.label for bar in first.bars] == [str(n) for n in (count - 1, count, 1, 2)]
    heard = [" ".join(str(c.chord) for c in bar.changes) for bar in first.bars]
    assert heard == [*chords[-2:], *chords[:2]]
    assert first.leads_to == second.bars[0]
    assert second.leads_to == first.bars[0]
    plan = plan_pass(first, Band())
    top = plan.bars[2]
    assert top.section_top
    assert top.chorus_top
    assert plan.bars[1].section_end
    at = plan.span_at(top.start)
    assert at is not None
    assert str(at.chord) == chords[0].split()[0]


@pytest.mark.parametrize("tune", TUNES, ids=lambda tune: tune.stem)
def test_everybody_plays_over_the_top(tune: Path) -> None:
    form = read_file(tune)
    count = len(chorus_of(form))
    routine = make_routine(
        form, Request(bars=f"{count - 1}-2", times=2, lead_in=2, rest_bars=1, key="Bb F")
        if form.key.mode == "major" else Request(bars=f"{count - 1}-2", times=2, lead_in=2)
    )  # fmt: skip
    band = Band(guide_line="both", click="all", line=Line(level=3))
    performance = arrange(routine, band)
    assert set(performance.part_names) == {"count", *band.players}
    assert to_bytes(performance) == to_bytes(arrange(routine, band))
    lead = next(p for p in routine.passes if p.purpose is Purpose.LEAD_IN)
    assert [bar.number for bar in lead.bars] == [count - 3, count - 2]


def test_a_tune_of_mixed_meters_with_a_pickup_and_a_coda() -> None:
    (over,) = times(MIXED, Request(bars="6-2", times=1))
    assert [bar.number for bar in over.bars] == [6, 7, 1, 2]
    assert not any(bar.pickup for bar in over.bars)
    (joined,) = times(MIXED, Request(bars="A B", times=1))
    assert [str(bar.meter) for bar in joined.bars] == ["4/4"] * 2 + ["3/4"] * 3
    assert joined.leads_to == joined.bars[0]
    plan = plan_pass(joined, Band())
    assert [bar.feel.name for bar in plan.bars] == ["swing"] * 2 + ["waltz"] * 3
    assert [bar.section_top for bar in plan.bars] == [True, False, True, False, False]
    # the push into bar 1 comes before the seam, in the last bar of the loop that leads there
    assert plan.following is not None
    assert plan.following.start < plan.length
    (waltz_first,) = times(MIXED, Request(bars="B A", times=1, count_in=1))
    assert [bar.number for bar in waltz_first.bars] == [3, 4, 5, 6, 7]
    (ends,) = times(MIXED, Request(bars="A:2 coda", times=1))
    assert [bar.label for bar in ends.bars] == ["2", "coda:1"]


def test_marks_stand_where_a_section_starts_again() -> None:
    blues = read("key: F\n| F7 | Bb7 | F7 | C7 |")
    routine = make_routine(blues, Request(bars="3-2", times=2, count_in=0, rest_bars=1))
    found = [(float(beat), text) for beat, text in markers(arrange(routine, Band()))]
    assert found == [
        (0, "A:3, 1st time"),
        (8, "A, 1st time"),
        (16, "rest bar"),
        (20, "A:3, 2nd time"),
        (28, "A, 2nd time"),
    ]
    whole = make_routine(blues, Request(bars="A A", times=1, count_in=0))
    assert [float(beat) for beat, _ in markers(arrange(whole, Band()))] == [0, 16]


def test_marks_of_choruses_tempos_keys_and_subdivisions() -> None:
    form = read("key: F\nhead: intro A B A\nsection intro\n| C7 |\n"
                "section A\n| F7 | Bb7 |\nsection B\n| C7 | Bb7 |")  # fmt: skip

    def texts(**asked: object) -> list[str]:
        line = Line(rhythm="subdivisions") if asked.get("subdivisions") else None
        routine = make_routine(form, Request(count_in=1, **asked))  # type: ignore[arg-type]
        return [text for _, text in markers(arrange(routine, Band(line=line)))]

    assert texts() == [
        "count-in", "intro", "A", "B", "A", "A, chorus 2", "B, chorus 2", "A, chorus 2",
        "A, head out", "B, head out", "A, head out",
    ]  # fmt: skip
    assert texts(bars="B", times=1, climb="80-120:40", key="F Bb") == [
        "count-in, 80 bpm", "B, 1st time, F", "count-in, 120 bpm", "B, 1st time",
        "count-in, 80 bpm", "B, 1st time, Bb", "count-in, 120 bpm", "B, 1st time",
    ]  # fmt: skip
    subdivided = texts(bars="B", times=2, subdivisions=True)
    assert subdivided[1:4] == ["B in wholes, 1st time", "B in wholes, 2nd time",
                               "B in halves, 1st time"]  # fmt: skip
    many = texts(bars="B", times=23)
    assert [many[n].rpartition(", ")[2] for n in (3, 11, 12, 21, 22, 23)] == [
        "3rd time", "11th time", "12th time", "21st time", "22nd time", "23rd time",
    ]  # fmt: skip
