"""The whole form on the page and on a track: every note in time, where the time bends too."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page

import backing
from backing.chart.form import Form
from backing.chart.text.tune_file import read, read_file
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.performance import Performance, PlayedPass
from backing.page import PageMaker
from backing.routine.request import Request
from backing.routine.routine import make_routine
from tests.page.conftest import ROOT, opened
from tests.page.test_sound import FIRST, SCRIPT

BENT = """
title: Slow Door
key: F
tempo: 126
head: intro A B
head out: A B coda

section intro  tempo: x1/2
| Gm7 C7 | F6 |

section A
| Fmaj7 | Dm7 | Gm7 | C7 |
| Am7 | D7b9 | Gm7 C7 | F6 |
rit 6-7: to 70%
hold 8: 3

section B  meter: 3/4
| Bbmaj7 | Bbm6 | Am7 | D7b9 |
hold 4: 2
push 3: 1

section coda
| Gm7 | C7 | F6 | F6 |
rit 1-3: to 60%
"""
"""Half time, a ritardando, fermatas, three beats to a bar, a coda that slows down."""
PICKUP = "section A\npickup: | C7 / |"
TUNES = sorted((ROOT / "tunes").glob("*.tune"))
NEAR_S = 0.001
EDGE_S = 1.0
"""Where a solo chorus comes or goes the page leads to what follows there, and the track to what it
has there: its solos are other takes."""
BANDS = {
    "bass": Band(), "comp": Band(), "drums": Band(),
    "third": Band(players="guide", guide_line="3rd"),
    "seventh": Band(players="guide", guide_line="7th"),
    "etude": Band(players="line", line=backing.read_line("etude level 2")),
    "click all": Band(players="click", click="all"),
}  # fmt: skip
OWN_NAMES = {"third": "guide", "seventh": "guide", "etude": "line", "click all": "click"}


def track(form: Form, part: str, ending: str, count: int | None) -> tuple[Performance, list[float]]:
    """A track of three choruses with the solos of a page; where its sides begin and end (s)."""
    band = BANDS[part]
    asked = Request(choruses=3, count_in=count, ending=ending)
    whole = arrange(make_routine(form, asked), band)
    rounds = arrange(make_routine(form, Request(times=3, count_in=0)), band)
    *count_in, head, solos, out = whole.passes
    solos = PlayedPass(solos.routine_pass, solos.start, rounds.passes[0].parts)
    sides = [float(whole.clock.seconds(each.start)) for each in (head, solos, out)]
    passes = (*count_in, head, solos, out)
    return replace(whole, passes=passes), [*sides, float(whole.clock.length_seconds)]


def check(form: Form, struck: list[dict[str, Any]], ending: str, count: int | None) -> None:
    for part in BANDS:
        performance, sides = track(form, part, ending, count)
        names = [OWN_NAMES.get(part, part), *(["count"] if part == "drums" else [])]
        notes = (note for name in names for note in performance.notes(name))
        wanted = np.array(sorted(float(note.onset) for note in notes))
        mine = (part, "count") if part == "drums" else (part,)
        heard = np.array(sorted(row["when"] - FIRST for row in struck if row["part"] in mine))
        inner = sides[1:-1]
        for times, others in ((wanted, heard), (heard, wanted)):
            inside = times[np.abs(times[:, None] - inner).min(axis=1) > EDGE_S]
            assert len(inside) > 5, part
            apart = np.abs(inside[:, None] - others).min(axis=1)
            at = int(apart.argmax())
            assert apart[at] < NEAR_S, (
                f"{part} at {inside[at]:.4f} s: {apart[at] * 1000:.1f} ms off"
            )


Play = Callable[..., None]


@pytest.fixture
def bent(tab: Page, maker: PageMaker, tmp_path: Path) -> Play:
    def play(form: Form, ending: str, count: int | None = 0) -> None:
        session = {"choruses": "3", "ending": ending}  # a tag is there where it is asked for
        opening = backing.page.Opening(BANDS["etude"].line, session=session)
        file = tmp_path / "form.html"
        file.write_bytes(replace(maker, opening=opening).page(form))
        opened(tab, file)
        seconds = track(form, "bass", ending, count)[1][-1]
        head = tab.evaluate("practice.data.form.head[0]")
        routine = {"whole": True, "choruses": 3, "ending": ending, "countIn": count is None}
        asked = {"seconds": seconds + 1, "bar": head, "routine": routine, "counted": count is None}
        check(form, tab.evaluate(SCRIPT, asked)["struck"], ending, count)

    return play


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_every_note_of_a_form_that_ends_slowly_is_where_the_track_has_it(
    tune: Path, bent: Play
) -> None:
    bent(read_file(tune), "slow")


def test_a_tag_is_played_where_the_file_opens_with_it(bent: Play) -> None:
    bent(read_file(ROOT / "tunes" / "paper-route-blues.tune"), "tag")


@pytest.mark.parametrize("ending", ["held", "short", "slow"])
def test_fermatas_and_ritardandos_bend_the_page_beat_by_beat(ending: str, bent: Play) -> None:
    bent(read(BENT), ending)


def test_a_pickup_sounds_inside_the_count(bent: Play) -> None:
    bent(
        read(BENT.replace("head: intro A B", "head: A B intro").replace("section A", PICKUP)),
        "held",
        None,
    )


SHOW_FORM = """
  const loops = document.getElementById("loop-of");
  loops.value = "form";
  loops.dispatchEvent(new Event("change", { bubbles: true }));
"""
HELD_AT_ONCE = """
key: F
section A
| Fmaj7 | Dm7 | Gm7 | C7 |
rit 1-4: to 50%
hold 4: 1

section B
| Fmaj7 | Dm7 | Gm7 | C7 |
hold 2: 1
rit 4: to 30%
"""


@pytest.mark.parametrize(
    "text",
    [
        BENT,
        BENT.replace("head: intro A B", "head: A B intro").replace("section A", PICKUP),
        HELD_AT_ONCE,
    ],
)
def test_the_chart_says_where_the_time_bends(
    text: str, tab: Page, maker: PageMaker, tmp_path: Path
) -> None:
    """The head and the last head: the bars that slow down, and the fermatas over their beats."""
    form = read(text)
    file = tmp_path / "form.html"
    file.write_bytes(maker.page(form))
    opened(tab, file)
    tab.evaluate(SHOW_FORM)
    said = tab.locator(".measure .unseen").all_inner_texts()
    bars = form.played("head")
    assert len(said) == len(bars)
    fermatas, lines = 0, 0
    for before, bar, words in zip([None, *bars], bars, said, strict=False):
        hold, slows = bar.directions.hold, bar.slows_to is not None
        assert ("rit." in words) == slows, words
        assert [w for w in words.split(", ") if w.startswith("hold")] == (
            [] if hold is None else [f"hold {hold + 1}"]
        )
        begins = before is None or before.slows_to is None or before.section != bar.section
        fermatas, lines = fermatas + (hold is not None), lines + (slows and begins)
    assert tab.locator(".chart .fermata").count() == fermatas
    assert tab.locator(".chart text.rit").count() == lines


def test_a_pickup_has_no_section_mark_and_no_guide_tones(
    tab: Page, maker: PageMaker, tmp_path: Path
) -> None:
    form = read("key: F\nsection A\npickup: | C7 / |\n| Fmaj7 | Dm7 | Gm7 | C7 |")
    file = tmp_path / "form.html"
    file.write_bytes(maker.page(form))
    opened(tab, file)
    tab.evaluate(SHOW_FORM)
    rows = tab.locator(".chart .row")
    assert tab.locator(".chart .section").all_inner_texts() == ["A"]
    assert rows.nth(1).locator(".section").count() == 1
    assert rows.nth(0).locator(".guide-line").count() == 0
    assert tab.locator("#lead .tone").count() == 0  # the stage, at the pickup
    # every chord that is led to has its tone
    numbers = tab.evaluate(
        "practice.data.spans.filter(([bar, , , chord]) => chord >= 0"
        " && practice.data.bars[bar].label !== '0').length"
    )
    assert numbers == len(tab.evaluate("practice.data.guide_lines[0]"))
