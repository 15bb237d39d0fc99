"""One spelling: in 12 keys, for every reader, header, chord symbols and staff do not contradict.

That a signature and the names in it use one kind of accidental is common practice (Gould, "Behind
Bars", from memory).
"""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

from backing.chart.form import Form
from backing.chart.pitch import Key, PitchName
from backing.chart.text.tune_file import read, read_file
from backing.cli.tunes import in_key
from backing.combo.plan import plan_of_bars
from backing.lines.player import Line
from backing.neck.parent_scales import key_centers
from backing.sheet.grids import shapes_block
from backing.sheet.line_block import staff_line
from backing.sheet.request import SheetRequest, chord_interval, chosen_position
from backing.sheet.sheet_part import PARTS, make_sheet_part
from backing.sheet.sheets import tune_sheet

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.tune"))
KEYS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B", "C#", "Gb")
DIATONIC = read("title: T\nkey: C\n| Cmaj7 | Dm7 | Em7 | Fmaj7 |\n| G7 | Am7 | Bm7b5 | Cmaj7 |")


def roots(form: Form) -> list[tuple[PitchName, Key]]:
    bars = form.played("head")
    return [(c.chord.root, bar.key) for bar in bars for c in bar.changes if c.chord]


@pytest.mark.parametrize("reader", PARTS)
@pytest.mark.parametrize("key", KEYS)
def test_diatonic_chords_have_the_names_of_the_signature(key: str, reader: str) -> None:
    form = in_key(DIATONIC, key).transposed(chord_interval(make_sheet_part(reader)))
    for root, here in roots(form):
        assert root in here.scale


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_no_name_is_against_its_signature(tune: Path) -> None:
    form = read_file(tune)
    for key, reader in product(KEYS, PARTS):
        if form.key.mode != "major":
            key = {"Gb": "F#", "Db": "C#"}.get(key, key)  # noqa: PLW2901 - no such minor keys
        written = in_key(form, key).transposed(chord_interval(make_sheet_part(reader)))
        for root, here in roots(written):
            away = root.fifths - here.fifths
            assert -7 < away < 12, f"{root} in {here}"
            assert not (here.fifths <= -4 and root.alter > 0), f"{root} in {here}"
            assert not (here.fifths >= 4 and root.alter < 0), f"{root} in {here}"
            assert abs(root.alter) < 2


@pytest.mark.parametrize("reader", ["C", "Bb", "Eb"])
@pytest.mark.parametrize("key", ["Db", "E", "F#", "B", "C#"])
def test_staff_and_symbols_have_one_spelling(key: str, reader: str) -> None:
    form = in_key(read_file(TUNES[0]), key)
    request = SheetRequest(line="etude", part=make_sheet_part(reader), etude=Line(level=1))
    line = staff_line(form, request, chosen_position(form, request))
    for bar, values in zip(line.bars, line.values, strict=True):
        for value in values:
            for tone in value.tones:
                at = [c for c in bar.changes if c.onset * bar.meter.beat_quarters <= value.onset]
                chord = at[-1].chord if at else None
                degree = chord.name_of(tone.name.pitch_class) if chord else None
                if chord is None or degree is None or abs(chord.spelled(degree).alter) > 1:
                    continue
                assert tone.name.pitch_class == tone.pitch % 12
                assert tone.name.simplified(bar.key) == chord.spelled(degree).simplified(bar.key)


@pytest.mark.parametrize("key", KEYS)
def test_nothing_printed_has_a_b_for_a_flat(key: str) -> None:
    sheet = tune_sheet(in_key(read_file(TUNES[0]), key), SheetRequest())

    def texts(value: object) -> list[str]:
        if isinstance(value, dict):
            return [t for k, v in value.items() if k != "made" for t in texts(v)]
        if isinstance(value, list | tuple):
            return [t for v in value for t in texts(v)]
        return [value] if isinstance(value, str) else []

    words = [word for text in texts(sheet.content) for word in text.split()]
    assert not [word for word in words if word in {f"{letter}b" for letter in "ABCDEFG"}]


def test_neighbors_are_spelled_by_letter() -> None:
    form = read("title: T\nkey: Ab\n| Bbm7 | Eb7 | Abmaj7 | % |")
    for number in range(1, 30):
        request = SheetRequest(line="etude", etude=Line(level=3, number=number, position=4))
        line = staff_line(form, request, chosen_position(form, request))
        tones = [v.tones[0] for bar in line.values for v in bar if v.tones and not v.tied[0]]
        assert not [tone for tone in tones if str(tone.name) in ("A#", "D#", "E#")]


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
@pytest.mark.parametrize("key", KEYS)
def test_key_centers_and_shapes_are_spelled_as_their_chords(tune: Path, key: str) -> None:
    """A center whose tonic sounds has its name; shapes in print have the names of the tune."""
    form = read_file(tune)
    form = form.transposed(form.key.tonic.interval_to(PitchName.parse(key)))
    plan = plan_of_bars(form.played("solos"))
    for center in key_centers(plan.spans):
        names = {each.span.chord.root for each in center.functions if each.span.chord}
        pitch = center.tonic.pitch_class
        assert {name for name in names if name.pitch_class == pitch} <= {center.tonic}
        assert center.name.startswith(center.tonic.pretty)
    request = SheetRequest(position="5")
    block = shapes_block(form, request, chosen_position(form, request), {})
    printed = {cell["chord"]["root"] + cell["chord"]["accidental"] for cell in block["cells"]}
    written = {span.chord.root.pretty for span in plan.spans if span.chord}
    assert printed == written
