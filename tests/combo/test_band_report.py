"""The band beside measured players, over fewer bars than the report plays; see there for sources.

``python -m tests.benchmarks.band_report`` prints the whole table.
"""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from backing.chart.text.tune_file import read
from tests.benchmarks.band_report import (
    AGREEMENT,
    FEELS,
    FORM,
    GROUPS,
    TEMPOS,
    TIME,
    Line,
    Material,
    Row,
    feel_rows,
    outside,
    print_lines,
)
from tests.benchmarks.changes import GRAMMAR, chords_a_bar, random_form, tune

BARS = 500


@pytest.fixture(scope="module", params=[120, 240])
def material(request: pytest.FixtureRequest) -> Material:
    return Material(request.param, BARS)


def lines(group: str, rows: tuple[Row, ...], material: Material) -> list[Line]:
    return [(group, row, {material.tempo: row.measure(material)}) for row in rows]


@pytest.mark.parametrize("group", GROUPS)
def test_every_figure_lies_in_its_band(group: str, material: Material) -> None:
    assert material.bars >= BARS
    assert not outside(lines(group, GROUPS[group], material))


@pytest.fixture(scope="module")
def any_tune() -> Material:
    return Material(160, 1)


@pytest.mark.parametrize("row", FORM, ids=lambda row: row.figure)
def test_the_form_is_kept(row: Row, any_tune: Material) -> None:
    assert not outside(lines("form", (row,), any_tune))


@pytest.mark.parametrize("feel", FEELS)
def test_other_feels_are_played_as_players_expect(feel: str) -> None:
    material = Material(FEELS[feel], 64, feel)
    assert not outside(lines(feel, feel_rows(feel), material))


def test_a_band_out_of_time_would_be_seen() -> None:
    """An even ride at 120 bpm lies outside what any drummer plays."""
    even = Material(120, 60, swing=Fraction(1))
    assert any("ride, long : short" in line for line in outside(lines("time", TIME, even)))
    late = lines("one off-beat", AGREEMENT, even)
    assert not outside([("", row, dict.fromkeys(found, 0.0)) for _, row, found in late])
    assert outside([("", row, dict.fromkeys(found, 99.0)) for _, row, found in late])


def test_the_table_marks_what_lies_outside(capsys: pytest.CaptureFixture[str]) -> None:
    row = TIME[0]
    assert print_lines([("time", row, {120: 2.5, 300: 2.5})]) == 1
    out = capsys.readouterr().out
    assert "2.50!" in out
    assert row.source in out
    assert out.count("!") == 1


# ---- the changes themselves


def test_the_grammar_is_as_dense_as_jazz_tunes_are() -> None:
    """JAAH, 113 recordings: one chord in 71 % of bars, two in 26 %, four in 3 %."""
    shares = [chords_a_bar(random_form(number)) for number in range(60)]
    one, two, three, four = (
        float(sum(column)) / len(shares) for column in zip(*shares, strict=True)
    )
    assert one == pytest.approx(0.71, abs=0.06)
    assert two == pytest.approx(0.26, abs=0.07)
    assert four == pytest.approx(0.03, abs=0.03)
    assert three > 0


def test_the_grammar_goes_through_all_keys_and_comes_again_with_its_seed() -> None:
    keys = {random_form(number).key.tonic.pitch_class for number in range(12)}
    assert keys == set(range(12))
    assert tune(random.Random(5)) == tune(random.Random(5))
    assert tune(random.Random(5)) != tune(random.Random(6))
    for meter in ("3/4", "5/4", "12/8"):
        form = random_form(7, meter=meter)
        assert len(form.played("solos")) == 32
        assert str(form.meter) == meter


def test_every_phrase_of_the_grammar_reads() -> None:
    dice = random.Random(1)
    for number in range(300):
        read(tune(dice, cues=number % 2 == 0))
    assert len(GRAMMAR) > 10
    assert len(TEMPOS) == 6
