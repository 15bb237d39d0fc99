"""A notated line as MusicXML: staff and tablature, chord symbols, degrees under the notes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from backing.chart.bar import PlayedBar
from backing.chart.harmony import Chord
from backing.chart.musicxml.document import (
    DIVISIONS,
    duration,
    key_element,
    rehearsal,
    right_bar_line,
    score,
    time_element,
)
from backing.chart.musicxml.harmony import harmony_element
from backing.chart.pitch import Interval, PitchName
from backing.neck.fingerboard import Fingerboard
from backing.sheet.notation import VALUES, StaffPitch, Value, octave_of
from backing.sheet.sheet_part import SheetPart

STAFF, TABLATURE = "1", "2"
_SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_CLEFS = {"treble": ("G", "2", ""), "octave-treble": ("G", "2", "-1"), "bass": ("F", "4", ""),
          "octave-bass": ("F", "4", "-1")}  # fmt: skip
MARK = "@"
"""Stands before the number of a chord in text that ``engraving`` puts its symbol in place of."""


@dataclass(frozen=True, slots=True)
class StaffLine:
    """A line in written pitch, ready to be put down.

    ``bars`` as written (transposed for the part), ``values`` for each of them; ``interval``
    leads from the sound to what is written; ``board`` is drawn where there is tablature.
    """

    title: str
    by: str
    bars: tuple[PlayedBar, ...]
    values: tuple[tuple[Value, ...], ...]
    part: SheetPart
    interval: Interval
    board: Fingerboard

    @property
    def voices(self) -> int:
        """How many notes sound together at most."""
        return max((len(value.tones) for bar in self.values for value in bar), default=1) or 1


def line_musicxml(line: StaffLine) -> str:
    """The text of a MusicXML 4.0 file, for notation programs."""
    return score(line.title, line.by, line.title, list(_measures(line, None)))


def line_for_engraving(line: StaffLine, bars_a_system: int) -> str:
    """The same with a page for each system, and numbers in place of chord symbols."""
    return score("", "", "", list(_measures(line, bars_a_system)))


def _measures(line: StaffLine, bars_a_system: int | None) -> Iterator[Element]:
    chords = 0
    for index, (bar, values) in enumerate(zip(line.bars, line.values, strict=True)):
        measure = Element("measure", number=str(bar.number))
        if bars_a_system and index and index % bars_a_system == 0:
            SubElement(measure, "print", {"new-page": "yes"})
        attributes = _attributes(line, index)
        if attributes is not None:
            measure.append(attributes)
        if bar.section_bar == 1:
            number = f"{MARK}{bar.number}" if bars_a_system and index else ""
            measure.append(rehearsal(bar.section + number))
        numbered = chords if bars_a_system else None
        _fill(measure, line, bar, values, numbered)
        chords += len(bar.changes)
        if index == len(line.bars) - 1:
            end = right_bar_line(0, (), style="light-heavy")
        elif line.bars[index + 1].section_bar == 1:
            end = right_bar_line(0, (), style="light-light")
        else:
            end = None
        if end is not None:
            measure.append(end)
        yield measure


def _attributes(line: StaffLine, index: int) -> Element | None:
    bar, before = line.bars[index], line.bars[index - 1] if index else None
    if before and (before.key, before.meter) == (bar.key, bar.meter):
        return None
    attributes = Element("attributes")
    if before is None:
        SubElement(attributes, "divisions").text = str(DIVISIONS)
    if before is None or before.key != bar.key:
        attributes.append(key_element(bar.key))
    if before is None or before.meter != bar.meter:
        time = time_element(bar.meter)
        if line.part.tablature:
            time.set("number", STAFF)
        attributes.append(time)
    if before is None:
        _clefs(attributes, line)
    return attributes


def _clefs(attributes: Element, line: StaffLine) -> None:
    if line.part.tablature:
        SubElement(attributes, "staves").text = "2"
    sign, on_line, octave = _CLEFS[line.part.clef]
    clef = SubElement(attributes, "clef", number=STAFF)
    SubElement(clef, "sign").text, SubElement(clef, "line").text = sign, on_line
    if octave:
        SubElement(clef, "clef-octave-change").text = octave
    if line.part.tablature:
        _tablature(attributes, line.board)
    if line.interval.semitones:
        transpose = SubElement(attributes, "transpose")
        SubElement(transpose, "diatonic").text = str(-line.interval.steps)
        SubElement(transpose, "chromatic").text = str(-line.interval.semitones)


def _tablature(attributes: Element, board: Fingerboard) -> None:
    clef = SubElement(attributes, "clef", number=TABLATURE)
    SubElement(clef, "sign").text = "TAB"
    SubElement(clef, "line").text = str((len(board.strings) + 1) // 2 + 1)
    details = SubElement(attributes, "staff-details", number=TABLATURE)
    SubElement(details, "staff-lines").text = str(len(board.strings))
    for at, (pitch, name) in enumerate(zip(board.strings, board.names, strict=True), 1):
        tuning = SubElement(details, "staff-tuning", line=str(at))
        SubElement(tuning, "tuning-step").text = name.letter
        if name.alter:
            SubElement(tuning, "tuning-alter").text = str(name.alter)
        SubElement(tuning, "tuning-octave").text = str(octave_of(pitch, name))


def _fill(
    measure: Element,
    line: StaffLine,
    bar: PlayedBar,
    values: Sequence[Value],
    chords: int | None,
) -> None:
    """Chord symbols and notes of a bar; the tablature repeats the notes on its own staff."""
    for index, change in enumerate(bar.changes):
        harmony = harmony_element(change.chord)
        offset = duration(change.onset, bar.meter)
        if chords is not None:
            wide = any(value.triplet for value in values)
            harmony = _numbered(chords + index, change.chord if wide else None)
            offset = offset * 4 // bar.meter.lower  # Verovio counts it in the meter's lower value
        if offset:
            SubElement(harmony, "offset").text = str(offset)
        SubElement(harmony, "staff").text = STAFF
        measure.append(harmony)
    whole_rest = len(values) == 1
    for value in values:
        measure.extend(_notes(value, tablature=False, whole_rest=whole_rest))
    if line.part.tablature:
        backup = SubElement(measure, "backup")
        SubElement(backup, "duration").text = str(duration(bar.length, bar.meter))
        for value in values:
            measure.extend(_notes(value, tablature=True, whole_rest=whole_rest))


def _numbered(number: int, chord: Chord | None) -> Element:
    """A number in place of a chord symbol, as wide as ``chord``: a triplet's 3 keeps clear."""
    width = "m" * len(chord.text) if chord else ""
    harmony = Element("harmony")
    SubElement(SubElement(harmony, "root"), "root-step").text = "C"
    SubElement(harmony, "kind", text=f"{MARK}{number}{width}").text = "major"
    return harmony


def _notes(value: Value, *, tablature: bool, whole_rest: bool) -> Iterator[Element]:
    """A note for each tone of a value; in tablature a tied one is not struck again.

    ``whole_rest``: a rest is that of the whole bar.
    """
    silent = tablature and value.tied[0]
    for index, tone in enumerate(value.tones or (None,)):
        note = Element("note")
        if silent or (tone is None and tablature):
            note.set("print-object", "no")
        if index:
            SubElement(note, "chord")
        if tone is None or silent:
            rest = SubElement(note, "rest")
            if whole_rest and tone is None:
                rest.set("measure", "yes")
        else:
            _pitch(note, tone)
        _time(note, value, tablature=tablature, tied=not silent)
        if tablature:
            SubElement(note, "stem").text = "none"
        elif tone is not None and value.accidentals[index] is not None:
            sign = value.accidentals[index]
            assert sign is not None
            note.insert(_after_type(note), _text("accidental", _SIGNS[sign]))
        SubElement(note, "staff").text = TABLATURE if tablature else STAFF
        if value.beam and not tablature and tone is not None and not index:
            SubElement(note, "beam", number="1").text = value.beam
        shown = value if not index else replace(value, tuplet="")
        _notations(note, shown, None if silent else tone, tablature=tablature)
        if tone is not None and tone.degree and not tablature and not value.tied[0]:
            _lyric(note, tone.degree, len(value.tones) - index)
        yield note
        if silent:
            return


def _pitch(note: Element, tone: StaffPitch) -> None:
    pitch = SubElement(note, "pitch")
    SubElement(pitch, "step").text = tone.name.letter
    if tone.name.alter:
        SubElement(pitch, "alter").text = str(tone.name.alter)
    SubElement(pitch, "octave").text = str(octave_of(tone.pitch, tone.name))


def _time(note: Element, value: Value, *, tablature: bool, tied: bool) -> None:
    SubElement(note, "duration").text = str(int(value.length * DIVISIONS))
    if value.tones and tied:
        for is_tied, kind in zip(value.tied, ("stop", "start"), strict=True):
            if is_tied and (not tablature):
                SubElement(note, "tie", type=kind)
    SubElement(note, "voice").text = "2" if tablature else "1"
    if value.length in VALUES:
        kind, dots = VALUES[value.length]
        SubElement(note, "type").text = kind
        for _ in range(dots):
            SubElement(note, "dot")
    if value.triplet:
        modification = SubElement(note, "time-modification")
        SubElement(modification, "actual-notes").text = "3"
        SubElement(modification, "normal-notes").text = "2"


def _after_type(note: Element) -> int:
    """Where an accidental stands: after type and dots, before a time modification."""
    tags = [child.tag for child in note]
    return max(i for i, tag in enumerate(tags) if tag in ("type", "dot")) + 1


def _notations(note: Element, value: Value, tone: StaffPitch | None, *, tablature: bool) -> None:
    notations = Element("notations")
    if not tablature and tone is not None:
        for is_tied, kind in zip(value.tied, ("stop", "start"), strict=True):
            if is_tied:
                SubElement(notations, "tied", type=kind)
    if value.tuplet:
        tuplet = SubElement(notations, "tuplet", type=value.tuplet)
        if tablature and value.tuplet == "start":  # counted as the staff counts, not shown
            tuplet.set("bracket", "no")
            tuplet.set("show-number", "none")
    if tablature and tone is not None and tone.place is not None:
        technical = SubElement(notations, "technical")
        SubElement(technical, "string").text = str(tone.place.string)
        SubElement(technical, "fret").text = str(tone.place.fret)
    if len(notations):
        note.append(notations)


def _lyric(note: Element, degree: str, verse: int) -> None:
    lyric = SubElement(note, "lyric", number=str(verse))
    SubElement(lyric, "syllabic").text = "single"
    SubElement(lyric, "text").text = degree


def _text(tag: str, text: str) -> Element:
    element = Element(tag)
    element.text = text
    return element


def written_tones(tones: Sequence[StaffPitch], interval: Interval) -> tuple[StaffPitch, ...]:
    """The tones in the pitch in which they are written, without double accidentals."""
    return tuple(
        StaffPitch(
            tone.pitch + interval.semitones,
            _readable(tone.name.transposed(interval)),
            tone.degree,
            tone.place,
        )
        for tone in tones
    )


def _readable(name: PitchName) -> PitchName:
    """The name without a double accidental, as players read it most easily."""
    return name.simplified() if abs(name.alter) > 1 else name


def whole_octaves(tones: Sequence[StaffPitch], part: SheetPart) -> Interval:
    """The octaves that bring a line to where it lies well in a part."""
    if part.middle is None or not tones:
        return Interval(0, 0)
    mean = Fraction(sum(tone.pitch for tone in tones), len(tones))
    octaves = round((part.middle - mean) / 12)
    return Interval(7 * octaves, 12 * octaves)
