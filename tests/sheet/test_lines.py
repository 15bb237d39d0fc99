"""Lines as MusicXML: valid, and the same notes for music21."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import music21
import pytest

from backing.chart.form import Form
from backing.chart.text.tune_file import read, read_file
from backing.combo.plan import plan_of_bars
from backing.errors import PracticeError
from backing.lines.line import RHYTHMS
from backing.lines.player import Line, heard
from backing.neck.fingerboard import make_fingerboard
from backing.sheet.line_block import line_block, line_file, staff_line
from backing.sheet.request import SheetRequest, chosen_position
from backing.sheet.sheet_part import make_sheet_part
from tests.chart.musicxml_schema import problems

TUNES = Path(__file__).parents[2] / "tunes"
PARTS = ("guitar", "C", "Bb", "Eb", "bass")


def onsets(stream: Any) -> list[tuple[Any, tuple[int, ...]]]:
    """Where each pitch is struck, in quarters, tied notes once; rests are left out."""
    struck = [
        (note.getOffsetInHierarchy(stream), tuple(sorted(p.midi for p in note.pitches)))
        for note in stream.recurse().notes
        if not isinstance(note, music21.harmony.ChordSymbol)
        and not (note.tie is not None and note.tie.type in ("stop", "continue"))
    ]
    return sorted(struck)


@pytest.mark.parametrize("reader", PARTS)
@pytest.mark.parametrize("what", ["etude", "guide"])
@pytest.mark.parametrize("tune", ["low-tide-ferry", "kite-string-waltz"])
def test_music21_hears_the_notes_of_the_line(tune: str, what: str, reader: str) -> None:
    form = read_file(TUNES / f"{tune}.tune")
    request = SheetRequest(line=what, part=make_sheet_part(reader))
    text = line_file(form, request)
    assert problems(text) == []
    score = music21.converter.parse(text, format="musicxml")
    line = staff_line(form, request, chosen_position(form, request))
    written = [
        (bar_start + value.onset, tuple(sorted(tone.pitch for tone in value.tones)))
        for bar_start, values in zip(range(0, 10_000, int(line.bars[0].length)), line.values,
                                     strict=False)
        for value in values
        if value.tones and not value.tied[0]
    ]  # fmt: skip
    assert onsets(score.parts[0]) == written


CHANGES = "| Dm7 | G7 C7 | Cmaj7 | A7 |"


def form_in(meter: str) -> Form:
    return read(f"title: T\nkey: C\nmeter: {meter}\ntempo: 100\nsection A\n{CHANGES}\n")


@pytest.mark.parametrize("meter", ["4/4", "3/4", "5/4", "6/8", "12/8"])
@pytest.mark.parametrize("rhythm", RHYTHMS)
def test_music21_counts_every_rhythm_as_it_was_found(rhythm: str, meter: str) -> None:
    form = form_in(meter) if meter != "3/4" else read_file(TUNES / "kite-string-waltz.tune")
    request = SheetRequest(line="etude", position="5", etude=Line(rhythm=rhythm))
    text = line_file(form, request)
    assert problems(text) == []
    part = music21.converter.parse(text, format="musicxml").parts[0]
    line = replace(request.etude, position=(5,), fingerboard=request.board)
    bars = form.played("solos")
    found = heard(plan_of_bars(bars), line)
    quarters = bars[0].meter.beat_quarters
    assert [at for at, _ in onsets(part)] == [note.onset * quarters for note in found]


@pytest.mark.parametrize("tablature", [True, False])
def test_triplets_stand_three_to_a_beat_in_staff_and_tablature(tablature: bool) -> None:
    reader = replace(make_sheet_part("guitar"), tablature=tablature)
    request = SheetRequest(line="etude", etude=Line(rhythm="triplets"), part=reader)
    root = ElementTree.fromstring(line_file(form_in("4/4"), request).partition('dtd">')[2])
    staves = {note.findtext("staff") for note in root.iter("note")}
    assert len(staves) == 1 + tablature
    for staff in staves:
        notes = [note for note in root.iter("note") if note.findtext("staff") == staff]
        assert len(notes) == 4 * 12
        for at, note in enumerate(notes):
            assert note.findtext("time-modification/actual-notes") == "3"
            assert note.findtext("time-modification/normal-notes") == "2"
            marked = note.find("notations/tuplet")
            kind = marked.get("type") if marked is not None else None
            assert kind == ("start", None, "stop")[at % 3]
            assert len(note.findall("notations")) <= 1


@pytest.mark.parametrize("meter", ["4/4", "6/8", "12/8"])
def test_the_second_chord_of_a_bar_stands_over_its_first_note(meter: str) -> None:
    form, images = form_in(meter), {}
    request = SheetRequest(line="etude", position="5", etude=Line(rhythm="quarters"))
    line_block(form, request, chosen_position(form, request), images)
    svg = images["system0.svg"]
    chords = [int(x) for x in re.findall(r'class="harm">\s*<text x="(\d+)"', svg)]
    notes = sorted({int(x) for x in re.findall(r'class="syl">\s*<text x="(\d+)"', svg)})
    beats = form.meter.beats
    second, middle = chords[2], notes[beats + form.meter.groups[0] if beats > 2 else beats + 1]
    assert abs(second - middle) < (notes[-1] - notes[-2]) / 2


def test_the_numbers_of_triplets_keep_clear_of_chord_symbols() -> None:
    form, images = read_file(TUNES / "low-tide-ferry.tune"), {}
    request = SheetRequest(line="etude", position="5", etude=Line(rhythm="triplets"), bars="1-8")
    line_block(form, request, chosen_position(form, request), images)
    for svg in images.values():
        found = re.findall(r'class="harm">\s*<text x="(\d+)" y="(\d+)"', svg)
        symbols = [(int(x), int(y)) for x, y in found]
        found = re.findall(r'class="tupletNum">\s*<use [^>]*translate\((\d+), (\d+)\)', svg)
        numbers = [(int(x), int(y)) for x, y in found]
        assert symbols
        assert len(numbers) == 8
        height = 400  # of a number, in Verovio's units, of which a staff is 720 high
        for x, y in symbols:
            assert all(top - height > y for at, top in numbers if x <= at <= x + 1500)


@pytest.mark.parametrize("reader", ["Bb", "Eb"])
def test_what_is_written_for_a_transposing_instrument_sounds_as_the_line(reader: str) -> None:
    form = read_file(TUNES / "low-tide-ferry.tune")
    concert, moved = (
        music21.converter.parse(
            line_file(form, SheetRequest(line="etude", part=make_sheet_part(name))),
            format="musicxml",
        ).toSoundingPitch()
        for name in ("C", reader)
    )
    here = [pitches[0] % 12 for _, pitches in onsets(concert.parts[0])]
    there = [pitches[0] % 12 for _, pitches in onsets(moved.parts[0])]
    assert here == there


@pytest.mark.parametrize(("reader", "low", "high"), [("C", 55, 86)])
def test_lines_lie_in_the_staff_of_their_reader(reader: str, low: int, high: int) -> None:
    form = read_file(TUNES / "low-tide-ferry.tune")
    request = SheetRequest(line="etude", part=make_sheet_part(reader))
    line = staff_line(form, request, chosen_position(form, request))
    pitches = [tone.pitch for bar in line.values for value in bar for tone in value.tones]
    assert low <= min(pitches)
    assert max(pitches) <= high


@pytest.mark.parametrize("tune", ["low-tide-ferry", "corner-booth", "rain-on-the-awning"])
@pytest.mark.parametrize(
    ("reader", "horns", "high"),
    [("Eb", ["AltoSaxophone", "BaritoneSaxophone"], "F6"), ("Bb", ["TenorSaxophone"], "C6")],
)
def test_a_horn_can_play_what_is_written(
    reader: str, horns: list[str], high: str, tune: str
) -> None:
    """The lowest notes are music21's; the highest are those of orchestration books (from memory),
    of a trumpet in the B flat part. A line changes its octave where it has to, and seldom."""
    form = read_file(TUNES / f"{tune}.tune")
    lowest = max(getattr(music21.instrument, horn)().lowestNote.midi for horn in horns)
    for position, level in ((1, 4), (5, 1), (9, 2), (12, 3)):
        asked = SheetRequest(line="etude", position=str(position), etude=Line(level=level))
        request = replace(asked, part=make_sheet_part(reader))
        line = staff_line(form, request, chosen_position(form, request))
        written = [value.tones[0].pitch for bar in line.values for value in bar
                   if value.tones and not value.tied[0]]  # fmt: skip
        assert lowest <= min(written)
        assert max(written) <= music21.pitch.Pitch(high).midi
        etude = replace(request.etude, position=(position,), fingerboard=request.board)
        heard_notes = heard(plan_of_bars(form.played("solos")), etude)
        moved = [to - note.pitch for to, note in zip(written, heard_notes, strict=True)]
        assert len({each % 12 for each in moved}) == 1
        turns = sum(one != other for one, other in pairwise(moved))
        assert turns <= len(moved) / 10


def test_tablature_and_staff_are_the_same_pitches() -> None:
    form = read_file(TUNES / "last-train-but-one.tune")
    request = SheetRequest(line="etude", position="5", etude=Line(level=3))
    line = staff_line(form, request, chosen_position(form, request))
    tones = [tone for bar in line.values for value in bar for tone in value.tones]
    assert tones
    for tone in tones:
        assert tone.place is not None
        assert request.board.pitch(tone.place) == tone.pitch
        assert tone.name.pitch_class == tone.pitch % 12


def test_guide_tones_say_what_they_are_and_where() -> None:
    form = read_file(TUNES / "low-tide-ferry.tune")
    request = SheetRequest(line="guide", position="5")
    line = staff_line(form, request, chosen_position(form, request))
    tones = [tone for bar in line.values for value in bar for tone in value.tones]
    assert {tone.degree for tone in tones} <= {"3", "♭3", "7", "♭7", "6", "4", "𝄫7", "5"}
    assert all(tone.place and 3 <= tone.place.fret <= 12 for tone in tones)


@pytest.mark.parametrize("tuning", ["standard", "bass"])
def test_guide_tones_have_places_on_any_neck(tuning: str) -> None:
    form = read_file(TUNES / "low-tide-ferry.tune")
    part = make_sheet_part("bass" if tuning == "bass" else "guitar")
    request = SheetRequest(line="guide", part=part, board=make_fingerboard(tuning))
    line = staff_line(form, request, chosen_position(form, request))
    assert all(tone.place for bar in line.values for value in bar for tone in value.tones)


@pytest.mark.parametrize(
    ("asked", "cause"),
    [
        ({"line": "solo"}, '"solo" isn\'t a line'),
        ({"line": "guide", "guide": "fifths"}, '"fifths" isn\'t a guide-tone line'),
        ({"line": "etude", "position": "40"}, "Position 40 is off the neck"),
        ({"line": "etude", "position": "high"}, '"high" isn\'t a position'),
    ],
)
def test_lines_that_cannot_be_had_are_said_so(asked: dict[str, str], cause: str) -> None:
    form = read_file(TUNES / "low-tide-ferry.tune")
    with pytest.raises(PracticeError, match=cause) as caught:
        line_file(form, SheetRequest(**asked))  # type: ignore[arg-type]
    assert caught.value.cure


@pytest.mark.parametrize(
    ("tuning", "sign", "octave"),
    [("standard", "G", "-1"), ("bass", "F", "-1"), ("ukulele", "G", None)],
)
def test_an_instrument_has_its_clef(tuning: str, sign: str, octave: str | None) -> None:
    form = read_file(TUNES / "low-tide-ferry.tune")
    text = line_file(form, SheetRequest(line="guide", guide="3rd", board=make_fingerboard(tuning)))
    assert problems(text) == []
    clef = ElementTree.fromstring(text.partition('dtd">')[2]).find(".//clef")
    assert clef is not None
    assert (clef.findtext("sign"), clef.findtext("clef-octave-change")) == (sign, octave)
