"""A notated line as MusicXML: staff and tablature, chord symbols, degrees under the notes."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from backing.chart.bar import PlayedBar
from backing.chart.harmony import Chord
from backing.chart.musicxml.document import (
    DIVISIONS,
    Child,
    duration,
    element,
    key_element,
    rehearsal,
    score,
    tempo,
    time_element,
)
from backing.chart.musicxml.harmony import harmony_element
from backing.chart.pitch import Interval, PitchName
from backing.chart.printed import printed_symbol
from backing.neck.fingerboard import Fingerboard
from backing.sheet.notation import VALUES, StaffPitch, Value, octave_of
from backing.sheet.room import MARK, marked, narrow, syllables, value_width
from backing.sheet.sheet_part import SheetPart

STAFF, TABLATURE = "1", "2"
_SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_CLEFS = {"treble": ("G", "2", ""), "octave-treble": ("G", "2", "-1"), "bass": ("F", "4", ""),
          "octave-bass": ("F", "4", "-1")}  # fmt: skip
FINEST_SWING = 20
"""The largest second number of a swing ratio in a file: 1.65 is 33:20."""


@dataclass(frozen=True, slots=True)
class StaffLine:
    """A line in written pitch, ready to be put down.

    ``bars`` as written (transposed for the part), ``values`` for each of them; ``interval``
    leads from the sound to what is written; ``board`` is drawn where there is tablature.
    ``tempo`` in beats a minute; ``swing``: how much longer the first eighth of a beat is;
    ``recipe``: the command that makes the line again.
    """

    title: str
    by: str
    bars: tuple[PlayedBar, ...]
    values: tuple[tuple[Value, ...], ...]
    part: SheetPart
    interval: Interval
    board: Fingerboard
    tempo: Fraction = Fraction(120)
    swing: Fraction = Fraction(1)
    recipe: str = ""

    @property
    def voices(self) -> int:
        """How many notes sound together at most."""
        return max((len(value.tones) for bar in self.values for value in bar), default=1) or 1


def line_musicxml(line: StaffLine) -> str:
    """The text of a MusicXML 4.0 file, for notation programs."""
    measures = list(_measures(line, None))
    mark = tempo(line.tempo, line.bars[0].meter)
    if line.swing != 1:
        ratio = line.swing.limit_denominator(FINEST_SWING)
        mark[-1].append(
            element(
                "swing",
                ("first", ratio.numerator),
                ("second", ratio.denominator),
                ("swing-type", "eighth"),
            )
        )
    first = measures[0]
    first.insert(next((i for i, e in enumerate(first) if e.tag == "attributes"), -1) + 1, mark)
    return score(line.title, line.by, line.title, measures, recipe=line.recipe)


def line_for_engraving(line: StaffLine, starts: Collection[int]) -> str:
    """The same with a page for each system, and numbers in place of chord symbols.

    ``starts``: the indexes of the bars that begin a system.
    """
    return score("", "", "", list(_measures(line, starts)))


def _measures(line: StaffLine, starts: Collection[int] | None) -> Iterator[Element]:
    chords = 0
    for index, (bar, values) in enumerate(zip(line.bars, line.values, strict=True)):
        measure = Element("measure", number=str(bar.number))
        if starts and index and index in starts:
            SubElement(measure, "print", {"new-page": "yes"})
        attributes = _attributes(line, index)
        if attributes is not None:
            measure.append(attributes)
        if bar.section_bar == 1:
            number = f"{MARK}{bar.number}" if starts and index else ""
            measure.append(rehearsal(bar.section + number))
        numbered = chords if starts else None
        _fill(measure, line, bar, values, numbered)
        chords += len(bar.changes)
        last = index == len(line.bars) - 1
        if last or line.bars[index + 1].section_bar == 1:
            style = "light-heavy" if last else "light-light"
            measure.append(element("barline", ("bar-style", style), location="right"))
        yield measure


def _attributes(line: StaffLine, index: int) -> Element | None:
    bar, before = line.bars[index], line.bars[index - 1] if index else None
    if before and (before.key, before.meter) == (bar.key, bar.meter):
        return None
    on_staff = {"number": STAFF} if line.part.tablature else {}
    key = before is None or before.key != bar.key
    meter = before is None or before.meter != bar.meter
    return element(
        "attributes",
        None if before else ("divisions", DIVISIONS),
        key_element(bar.key) if key else None,
        time_element(bar.meter, **on_staff) if meter else None,
        *(() if before else _clefs(line)),
    )


def _clefs(line: StaffLine) -> Iterator[Child]:
    tablature = line.part.tablature
    sign, on_line, octave = _CLEFS[line.part.clef]
    change = ("clef-octave-change", octave) if octave else None
    yield ("staves", 2) if tablature else None
    yield element("clef", ("sign", sign), ("line", on_line), change, number=STAFF)
    if tablature:
        middle = (len(line.board.strings) + 1) // 2 + 1
        yield element("clef", ("sign", "TAB"), ("line", middle), number=TABLATURE)
        yield element(
            "staff-details",
            ("staff-lines", len(line.board.strings)),
            *_tuning(line.board),
            number=TABLATURE,
        )
    if moved := line.interval.semitones:
        yield element("transpose", ("diatonic", -line.interval.steps), ("chromatic", -moved))


def _tuning(board: Fingerboard) -> Iterator[Element]:
    for at, (pitch, name) in enumerate(zip(board.strings, board.names, strict=True), 1):
        yield element(
            "staff-tuning",
            ("tuning-step", name.letter),
            ("tuning-alter", name.alter) if name.alter else None,
            ("tuning-octave", octave_of(pitch, name)),
            line=str(at),
        )


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
            harmony = _numbered(chords + index, change.chord)
            offset = offset * 4 // bar.meter.lower  # Verovio counts it in the meter's lower value
        if offset:
            SubElement(harmony, "offset").text = str(offset)
        SubElement(harmony, "staff").text = STAFF
        measure.append(harmony)
    whole_rest = len(values) == 1
    tablature = line.part.tablature
    widths = [value_width(value, tablature=tablature) for value in values]
    room = [None] * len(values) if chords is None else [*syllables(widths)]
    for value, letters in zip(values, room, strict=True):
        measure.extend(_notes(value, tablature=False, whole_rest=whole_rest, letters=letters))
    if tablature:
        measure.append(element("backup", ("duration", duration(bar.length, bar.meter))))
        for value in values:
            measure.extend(_notes(value, tablature=True, whole_rest=whole_rest))


def _numbered(number: int, chord: Chord | None) -> Element:
    """A number in place of a chord symbol, with the room that it takes."""
    kind = element("kind", text=marked(number, printed_symbol(chord)))
    kind.text = "major"
    return element("harmony", element("root", ("root-step", "C")), kind)


def _notes(
    value: Value, *, tablature: bool, whole_rest: bool, letters: int | None = None
) -> Iterator[Element]:
    """A note for each tone of a value; in tablature a tied one is not struck again.

    ``whole_rest``: a rest is that of the whole bar. ``letters``: in how many narrow ones degrees
    are written for engraving.
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
        sign = None if tablature or tone is None else value.accidentals[index]
        _time(note, value, sign, tablature=tablature, tied=not silent)
        if tablature:
            SubElement(note, "stem").text = "none"
        SubElement(note, "staff").text = TABLATURE if tablature else STAFF
        if value.beam and not tablature and tone is not None and not index:
            SubElement(note, "beam", number="1").text = value.beam
        shown = value if not index else replace(value, tuplet="")
        _notations(note, shown, None if silent else tone, tablature=tablature)
        if tone is not None and not tablature and not value.tied[0]:
            degree = tone.degree if letters is None else narrow(tone.degree, letters)
            if degree:
                _lyric(note, degree, len(value.tones) - index)
        yield note
        if silent:
            return


def _pitch(note: Element, tone: StaffPitch) -> None:
    name = tone.name
    alter = ("alter", name.alter) if name.alter else None
    octave = octave_of(tone.pitch, name)
    note.append(element("pitch", ("step", name.letter), alter, ("octave", octave)))


def _time(note: Element, value: Value, sign: int | None, *, tablature: bool, tied: bool) -> None:
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
    if sign is not None:
        SubElement(note, "accidental").text = _SIGNS[sign]
    if value.triplet:
        note.append(element("time-modification", ("actual-notes", 3), ("normal-notes", 2)))


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
        place = (("string", tone.place.string), ("fret", tone.place.fret))
        notations.append(element("technical", *place))
    if len(notations):
        note.append(notations)


def _lyric(note: Element, degree: str, verse: int) -> None:
    note.append(element("lyric", ("syllabic", "single"), ("text", degree), number=str(verse)))


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
