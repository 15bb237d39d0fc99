"""The page's data: its schema, what it says of a tune, that nothing is lost or doubled."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from jsonschema import Draft202012Validator

from backing.chart.form import Form
from backing.chart.lead_sheet import lead_sheet
from backing.chart.text.tune_file import read, read_file
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.page import PageMaker
from backing.page.data import TICKS
from backing.page.score import BELOW, TAKES, make_score
from backing.routine.request import Request
from backing.routine.routine import make_routine
from backing.sheet.ribbon import section_ribbons
from tests.page.conftest import ROOT
from tests.strategies import forms

OURS = {"comping": "comp"}
"""Parts of the page -> the band's own names."""
SCHEMA = json.loads((files("backing.page") / "page.schema.json").read_text("utf-8"))


def data_of(page: bytes) -> dict[str, Any]:
    found = re.search(rb'id="data"[^>]*>(.*?)</script>', page)
    assert found is not None
    data: dict[str, Any] = json.loads(found[1])
    return data


@pytest.fixture(scope="session")
def long_data(long_file: Path) -> dict[str, Any]:
    return data_of(long_file.read_bytes())


@pytest.mark.parametrize(
    "tune", sorted((ROOT / "tunes").glob("*.tune")), ids=lambda path: path.stem
)
def test_every_demo_tune_has_a_page_in_its_budget(tune: Path, maker: PageMaker) -> None:
    page = maker.page(read_file(tune))
    assert len(page) < 5_000_000
    Draft202012Validator(SCHEMA).validate(data_of(page))


def test_the_schema_is_one_and_refuses_what_is_wrong(long_data: dict[str, Any]) -> None:
    Draft202012Validator.check_schema(SCHEMA)
    check = Draft202012Validator(SCHEMA)
    assert check.is_valid(long_data)
    assert not check.is_valid(long_data | {"tempo": 0})
    assert not check.is_valid(long_data | {"more": 1})


def test_chords_are_named_in_every_key(long_data: dict[str, Any]) -> None:
    by_name = {key["name"]: key for key in long_data["keys"]}
    assert len(by_name) == 12
    home = next(key for key in long_data["keys"] if key["semitones"] == 0)
    assert home["name"] == "F major"
    assert home["symbols"][:3] == [["F", "maj7", ""], ["A", "m7♭5", ""], ["D", "7♭9", ""]]
    # F major to A flat: a minor third up; the third of its tonic is C
    flat = by_name["A♭ major"]
    assert flat["symbols"][0] == ["A♭", "maj7", ""]
    assert flat["names"][0][4] == "C"


def test_guide_tone_lines_go_by_step(long_data: dict[str, Any]) -> None:
    upper, lower = long_data["guide_lines"]
    # F major seventh, A half diminished, D seven: A G F sharp over E C C, each by the nearest step
    assert [(knot[2] % 12, knot[3]) for knot in upper[:3]] == [(9, "3"), (7, "♭7"), (6, "3")]
    assert [(knot[2] % 12, knot[3]) for knot in lower[:3]] == [(4, "7"), (0, "♭3"), (0, "♭7")]


@pytest.mark.parametrize("tune", ["corner-booth", "kite-string-waltz", "paper-route-blues"])
def test_the_lines_on_the_page_are_those_on_the_sheet_and_those_heard(
    tune: str, maker: PageMaker
) -> None:
    form = read_file(ROOT / "tunes" / f"{tune}.tune")
    data = data_of(maker.page(form))
    parts = {part["id"]: part["takes"][0] for part in data["parts"] if part["takes"]}
    printed: dict[bool, set[tuple[int, float, int, str]]] = {False: set(), True: set()}
    for section, ribbons in zip(lead_sheet(form), section_ribbons(form), strict=True):
        for bar, pieces in zip(section.bars, ribbons, strict=True):
            for piece in pieces:
                if piece.degree and section.role == "chorus":
                    at = float(piece.start * bar.length)
                    printed[piece.dashed].add((bar.numbers[0], at, piece.pitch, piece.degree))
    for dashed, name in enumerate(("third", "seventh")):
        drawn = data["guide_lines"][dashed]
        shown = {(bar + 1, tick / TICKS, pitch, degree) for bar, tick, pitch, degree, _ in drawn}
        assert printed[bool(dashed)], section.role
        assert printed[bool(dashed)] <= shown
        for at, notes in enumerate(parts[name]):
            for onset, _, pitch, *_ in notes:
                # what comes before the bar line belongs to the bar it leads to
                place = (at, max(onset, 0))
                assert pitch == [tone[2] for tone in drawn if (tone[0], tone[1]) <= place][-1]


def test_the_shapes_hold_the_chords_under_the_hand(long_data: dict[str, Any]) -> None:
    neck = long_data["neck"]
    sounding = [chord for *_, chord in long_data["spans"] if chord >= 0]
    for key, position in product((0, 6), (0, 4, 11)):
        semitones = long_data["keys"][key]["semitones"]
        path = neck["paths"][key][position]
        for chord, at in zip(sounding, neck["order"], strict=True):
            number = path[at]
            for string, fret, above, _ in re.findall(
                "(.)(.)(.)(.)", neck["shapes"][number].replace(" ", "")
            ):
                pitch = neck["strings"][int(string) - 1] + int(fret, 36)
                root = long_data["chords"][chord]["root"] + semitones
                assert (pitch - root) % 12 == int(above, 36)


@given(form=forms())
@settings(max_examples=8)
def test_bars_hold_every_note_of_the_takes_once(form: Form) -> None:
    score = make_score(form, Band())
    performance = arrange(make_routine(form, Request(times=TAKES, count_in=0)), Band())
    for line in score.lines[:3]:
        for take, played in zip(line.takes, performance.passes, strict=True):
            mine = next(
                (
                    part.notes
                    for part in played.parts
                    if part.name == OURS.get(line.name, line.name)
                ),
                (),
            )
            bars = [bar for each in zip(score.plan.bars, take, strict=True) for bar in [each]]
            length = score.plan.length
            told = sorted(
                ((planned.start + note.onset) % length, note.pitch, note.length)
                for planned, notes in bars
                for note in notes
            )
            assert told == sorted((note.onset % length, note.pitch, note.length) for note in mine)


@pytest.mark.parametrize("tune", ["corner-booth", "open-water"])
def test_below_guide_tones_the_comp_plays_what_it_plays_on_a_track(tune: str) -> None:
    form = read_file(ROOT / "tunes" / f"{tune}.tune")
    band = Band(players=frozenset({"comp", "guide"}), guide_line="both")
    track = arrange(make_routine(form, Request(times=TAKES, count_in=0)), band)
    below = next(line for line in make_score(form, Band()).lines if line.name == BELOW)
    for take, played in zip(below.takes, track.passes, strict=True):
        notes = next(part.notes for part in played.parts if part.name == "comp")
        mine = sorted((note.pitch, note.length, note.velocity) for bar in take for note in bar)
        assert mine == sorted((note.pitch, note.length, note.velocity) for note in notes)


def test_an_anticipation_belongs_to_the_bar_it_leads_to() -> None:
    form = read("key: C\n\nsection A\n| Dm7 | G7 | Cmaj7 | A7 |\npush 3: 1\n")
    score = make_score(form, Band())
    bass = next(line for line in score.lines if line.name == "bass")
    for take in bass.takes:
        assert take[2][0].onset == pytest.approx(-0.5)  # by an eighth
        assert take[2][0].pitch % 12 == 0
        assert not [note for note in take[1] if note.onset >= 3.5]


def test_the_rest_bar_is_the_hi_hat_foot_alone(blues: Form) -> None:
    score = make_score(blues, Band())
    # General MIDI percussion key map (MMA RP-003): 44 is the pedal hi-hat; on 2 and 4
    assert [(note.pitch, note.onset) for note in score.rest_bars["4/4"]] == [(44, 1), (44, 3)]


def test_a_tune_without_a_chord_has_a_page_without_a_neck(maker: PageMaker) -> None:
    data = data_of(maker.page(read("key: C\n\nsection A\n| N.C. | N.C. |\n")))
    assert data["neck"] is None
    Draft202012Validator(SCHEMA).validate(data)


def test_the_same_tune_has_the_same_page(font: Any, blues: Form, blues_file: Path) -> None:
    """Also from a maker that has made no other page before."""
    assert PageMaker(font).page(blues) == blues_file.read_bytes()
