"""Lead sheets in MusicXML: valid, read by music21 as they are meant, and read back by us."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import music21
import pytest
from hypothesis import given, settings

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.harmony import Chord, parse_chord
from backing.chart.lead_sheet import lead_sheet
from backing.chart.musicxml import read, write
from backing.chart.musicxml.harmony import KINDS, chord_of, harmony_element
from backing.chart.quality import QUALITIES
from backing.chart.text.tune_file import read as read_tune
from backing.chart.text.tune_file import read_file
from tests.chart.musicxml_schema import problems
from tests.strategies import forms

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.tune"))
CHORDS = [
    f"{root}{'(b5)' if quality.symbol == '(b5)' else quality.symbol}"
    for root in ("C", "Bb", "F#")
    for quality in QUALITIES.values()
]


def sounding(bars: Sequence[PlayedBar]) -> list[Any]:
    """Lengths and chords of bars, whatever their spelling."""

    def tones(chord: Chord | None) -> Any:
        bass = chord and chord.bass_pitch_class
        return chord and (chord.root, chord.quality, bass)

    return [(bar.length, bar.meter, [(c.onset, tones(c.chord)) for c in bar.changes])
            for bar in bars]  # fmt: skip


def outside(use: Any) -> bool:
    return use.role in ("coda", "ending", "tag")


@settings(max_examples=60)
@given(forms())
def test_any_form_is_valid_and_comes_back(form: Form) -> None:
    text = write(form)
    assert problems(text) == []
    if any(map(outside, form.order("head"))):
        return  # what ends a tune is moved to its end
    here, back = sounding(form.played("head")), sounding(read(text).played("head"))
    assert back[: len(here)] == here  # sections that are played only in solos follow


def test_the_schema_does_find_mistakes() -> None:
    broken = write(read_file(TUNES[0])).replace("<root>", "<roots>").replace("</root>", "</roots>")
    assert problems(broken)


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_music21_reads_the_chords_of_a_tune(tune: Path) -> None:
    form = read_file(tune)
    score = music21.converter.parse(write(form), format="musicxml")
    symbols = score.recurse().getElementsByClass(music21.harmony.ChordSymbol)
    found = [(s.root().pitchClass, {p.pitchClass for p in s.pitches})
             for s in symbols if not isinstance(s, music21.harmony.NoChord)]  # fmt: skip
    ours = [
        (c.chord.root.pitch_class, {*c.chord.pitch_classes, c.chord.bass_pitch_class})
        for section in lead_sheet(form)
        for bar in section.bars
        for c in bar.changes
        if c.chord
    ]
    assert [root for root, _ in found] == [root for root, _ in ours]
    for (_, theirs), (_, mine) in zip(found, ours, strict=True):
        assert theirs == mine


def test_music21_follows_the_repeats() -> None:
    form = read_tune("key: C\nsection A\n|: C6 | [1,2] Dm7 :| [3] G7 | C6 |\n")
    score = music21.converter.parse(write(form), format="musicxml")
    played = music21.repeat.Expander(score.parts[0]).process()
    symbols = played.recurse().getElementsByClass(music21.harmony.ChordSymbol)
    assert [s.root().name for s in symbols] == ["C", "D", "C", "D", "C", "G", "C"]


@pytest.mark.parametrize("symbol", CHORDS)
def test_every_quality_comes_back_as_it_was_spelled(symbol: str) -> None:
    chord = parse_chord(f"{symbol}/G")
    assert chord_of(harmony_element(chord)) == chord


@pytest.mark.parametrize("symbol", CHORDS)
def test_kind_and_degrees_alone_say_every_quality(symbol: str) -> None:
    chord = parse_chord(symbol)
    element = harmony_element(chord)
    kind = element.find("kind")
    assert kind is not None
    kind.attrib.clear()
    back = chord_of(element)
    assert back is not None
    assert (back.root, back.quality) == (chord.root, chord.quality)


def test_kinds_are_those_of_the_schema_and_of_music21() -> None:
    # music21's table, after the schema's comments; its eleventh chords and ours agree too
    theirs = music21.harmony.CHORD_TYPES
    for name, tones in KINDS.items():
        known = theirs.get(name) or theirs.get({"major-minor": "minor-major-seventh"}.get(name, ""))
        if known is None:
            continue
        chord = music21.harmony.ChordSymbol(root="C", kind=name)
        assert {p.pitchClass for p in chord.pitches} == {d.pitch_class for d in tones}, name
    assert set(KINDS) & set(theirs)


def test_no_chord_is_kind_none() -> None:
    element = harmony_element(None)
    assert element.findtext("kind") == "none"
    assert chord_of(element) is None


def test_head_keys_meters_and_words_are_there() -> None:
    text = "title: Ärger & Co\nkey: Bb minor\nmeter: 6/8\ntempo: 80\n| Bbm6 | Eb7 |\nhits 2: 1 2"
    root = ElementTree.fromstring(write(read_tune(text)).partition('dtd">')[2])
    assert root.findtext("work/work-title") == "Ärger & Co"
    assert root.findtext(".//fifths") == "-5"
    assert root.findtext(".//mode") == "minor"
    assert (root.findtext(".//beats"), root.findtext(".//beat-type")) == ("6", "8")
    assert root.find(".//sound[@tempo='120']") is not None  # eighty dotted quarters
    assert "hits 1 2" in [words.text for words in root.iter("words")]
