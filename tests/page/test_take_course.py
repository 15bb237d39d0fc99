"""What a page holds a take against is what the tracks' program does: bars, chords and the line."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

import backing
from backing.chart.harmony import parse_chord
from backing.chart.printed import printed_symbol
from backing.chart.text.tune_file import read_file
from backing.page import PageMaker
from backing.page.data import Opening
from backing.take.course import make_course
from tests.page.conftest import ROOT
from tests.page.test_data import data_of
from tests.page.test_scripts import run

TUNES = sorted((ROOT / "tunes").glob("*.tune"))
TIMES = 2


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_the_course_is_that_of_the_tracks(tune: Path, maker: PageMaker, tmp_path: Path) -> None:
    form = read_file(tune)
    line = backing.read_line("etude level 2")
    file = tmp_path / "data.json"
    data = data_of(replace(maker, opening=Opening(line=line)).page(form))
    file.write_text(json.dumps(data), "utf-8")
    routine = backing.make_routine(
        form, backing.Request(bars="1-" + last(form), times=TIMES, count_in=0)
    )
    band = backing.Band(line=line)
    wanted = make_course(routine, backing.arrange(routine, band), band)
    position = str(data["neck"]["positions"].index(wanted.position))
    mine = json.loads(run("tests/page/course.js", str(file), str(TIMES), position))
    assert mine["position"] == wanted.position
    assert [bar["label"] for bar in mine["bars"]] == [bar.label for bar in wanted.bars]
    assert [bar["where"] for bar in mine["bars"]] == [bar.where for bar in wanted.bars]
    for name in ("start", "beats", "seconds", "tempo", "swing"):
        theirs = [getattr(bar, name) for bar in wanted.bars]
        assert [bar[name] for bar in mine["bars"]] == pytest.approx(theirs, abs=0.005), name
    end = wanted.bars[-1].end  # what comes after it may be one with the last chord, or apart
    inside = [chord for chord in wanted.chords if chord.start < end]
    for own, other in zip(mine["chords"], inside, strict=False):
        assert own["symbol"] == printed(other.symbol)
        lasts = (own["start"], min(own["end"], end))
        assert lasts == pytest.approx((other.start, min(other.end, end)), abs=1e-6), own
        assert (own["root"], own["tones"]) == (other.root, list(other.tones))
        assert sorted(own["tensions"]) == list(other.tensions)
        assert sorted(own["shape"]) == sorted(other.shape), own["symbol"]
        assert set(own["reach"]) == other.reach, own["symbol"]
        assert (own["degrees"], own["names"]) == (list(other.degrees), list(other.names))
    assert len(mine["chords"]) - len(inside) in (0, 1)
    tones = [(tone["beat"], tone["pitch"]) for tone in mine["line"]]
    assert tones == [(pytest.approx(t.beat, abs=0.01), t.pitch) for t in wanted.line]


def last(form: backing.Form) -> str:
    return str(len(form.played("solos")))


def printed(symbol: str) -> str:
    """A chord symbol as the page has it."""
    found = printed_symbol(parse_chord(symbol))
    bass = f"/{found.bass}{found.bass_accidental}" if found.bass else ""
    return f"{found.root}{found.accidental}{found.suffix}{bass}"
