"""The measures of one part of a MusicXML file, as far as a tune needs them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element

from backing.chart.bar import Meter
from backing.chart.harmony import Chord
from backing.chart.musicxml.harmony import chord_of
from backing.chart.pitch import Interval
from backing.chart.text.bar_line import MOST_PASSES
from backing.errors import ChordError, UserError, quoted

_DIGITS_AND_COMMAS = "0123456789,"
# decimals of the schema, but for those too long to be meant
_DECIMAL = re.compile(r"[+-]?[0-9]{1,9}(?:\.[0-9]{0,9})?")
_COUNT = re.compile(r"[1-9][0-9]?")
_UNITS = {
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
}
"""Beat units of metronome marks, in quarters."""


@dataclass(slots=True)
class Measure:
    """A measure; times in quarter notes from its start.

    ``length`` is what its notes fill. ``chords``: where each chord of it stands (None: N.C.).
    ``fifths`` and ``mode``, ``meter``, ``tempo`` (quarters a minute) and ``transpose`` (from what
    is written to what sounds) are None where nothing changes. ``jumps``: "segno", "coda",
    "tocoda", "fine", "dacapo", "dalsegno" at this measure.
    """

    number: str
    length: Fraction = Fraction(0)
    chords: list[tuple[Fraction, Chord | None]] = field(default_factory=list)
    opens: bool = False
    ending: tuple[int, ...] = ()
    closes: int = 0
    fifths: int | None = None
    mode: str | None = None
    meter: Meter | None = None
    tempo: Fraction | None = None
    transpose: Interval | None = None
    rehearsal: str = ""
    words: list[str] = field(default_factory=list)
    jumps: set[str] = field(default_factory=set)


def read_measures(part: Element) -> list[Measure]:
    """The measures of a ``part`` element, in order.

    Raises UserError, naming the measure, for a chord or a meter that cannot be read.
    """
    reader = _MeasureReader()
    return [reader.measure(element) for element in part.findall("measure")]


class _MeasureReader:
    """Walks through measures; ``divisions`` of a quarter last until they are changed."""

    def __init__(self) -> None:
        self.divisions = 1
        self.now = Fraction(0)

    def measure(self, element: Element) -> Measure:
        found = Measure(element.get("number", ""))
        self.now = Fraction(0)
        for child in element:
            self._take(child, found)
            found.length = max(found.length, self.now)
        return found

    def _take(self, child: Element, into: Measure) -> None:
        match child.tag:
            case "note":
                if child.find("chord") is None and child.find("grace") is None:
                    self.now += self._time(child.findtext("duration"))
            case "forward":
                self.now += self._time(child.findtext("duration"))
            case "backup":
                self.now = max(Fraction(0), self.now - self._time(child.findtext("duration")))
            case "attributes":
                self._attributes(child, into)
            case "harmony":
                at = self.now + self._time(child.findtext("offset"))
                into.chords.append((max(Fraction(0), at), _chord(child, into)))
            case "direction" | "sound":
                _direction(child, into)
            case "barline":
                _bar_line(child, into)

    def _time(self, text: str | None) -> Fraction:
        return (_decimal(text) or Fraction(0)) / self.divisions

    def _attributes(self, element: Element, into: Measure) -> None:
        divisions = element.findtext("divisions")
        if divisions:
            self.divisions = max(1, _whole(divisions, "divisions", into))
        key = element.find("key")
        if key is not None and key.findtext("fifths"):
            into.fifths = _whole(key.findtext("fifths"), "key", into)
            into.mode = (key.findtext("mode") or "").strip() or None
        time = element.find("time")
        if time is not None and time.find("beats") is not None:
            into.meter = _meter(time, into)
        transpose = element.find("transpose")
        if transpose is not None:
            semitones = _whole(transpose.findtext("chromatic") or "0", "transposition", into)
            steps = transpose.findtext("diatonic")
            usual = Interval.of_semitones(semitones)
            into.transpose = (
                Interval(_whole(steps, "transposition", into), semitones) if steps else usual
            )


def _meter(time: Element, into: Measure) -> Meter:
    upper, lower = time.findtext("beats") or "", time.findtext("beat-type") or ""
    upper, lower = upper.strip(), lower.strip()
    if _COUNT.fullmatch(upper) and _COUNT.fullmatch(lower):
        return Meter(int(upper), int(lower))
    raise UserError(
        f"Measure {into.number} has the meter {upper}/{lower}, which cannot be read.",
        "Write a simple meter there, such as 4/4.",
    )


def _chord(harmony: Element, into: Measure) -> Chord | None:
    try:
        return chord_of(harmony)
    except (ChordError, ValueError, OverflowError) as error:
        raise UserError(f"Measure {into.number}: {error}", "Correct the chord there.") from None


def _direction(element: Element, into: Measure) -> None:
    sounds = [element] if element.tag == "sound" else element.findall("sound")
    for sound in sounds:
        if sound.get("tempo"):
            into.tempo = _number(sound.get("tempo", ""))
        into.jumps |= {"segno", "coda", "tocoda", "fine", "dacapo", "dalsegno"} & set(sound.keys())
    for kind in element.iterfind("direction-type/*"):
        text = " ".join((kind.text or "").split())
        if kind.tag == "rehearsal":
            into.rehearsal = text
        elif kind.tag == "words" and text:
            into.words.append(text)
        elif kind.tag == "metronome":
            into.tempo = into.tempo or _metronome(kind)
        elif kind.tag in ("segno", "coda") and not sounds:
            into.jumps.add(kind.tag)


def _metronome(element: Element) -> Fraction | None:
    """Quarters a minute of a mark such as "dotted quarter = 80"."""
    unit = _UNITS.get(element.findtext("beat-unit") or "", Fraction(1))
    if element.find("beat-unit-dot") is not None:
        unit = unit * 3 / 2
    number = _number(element.findtext("per-minute") or "")
    return number and number * unit


def _number(text: str) -> Fraction | None:
    number = _decimal(text)
    return number.limit_denominator(100) if number and number > 0 else None


def _decimal(text: str | None) -> Fraction | None:
    """A decimal of the file; None where it is none."""
    plain = (text or "").strip()
    return Fraction(plain) if _DECIMAL.fullmatch(plain) else None


def _whole(text: str | None, what: str, into: Measure) -> int:
    """A whole number that has to be one: without it nothing after it would be right."""
    number = _decimal(text)
    if number is None:
        raise UserError(
            f"Measure {into.number} has {quoted(text)} for its {what}, which isn't a number.",
            "Save the file again from a notation program.",
        )
    return int(number)


def _bar_line(element: Element, into: Measure) -> None:
    ending = element.find("ending")
    if ending is not None and ending.get("type") == "start":
        into.ending = tuple(_passes(ending.get("number", "")))
    repeat = element.find("repeat")
    if repeat is not None and repeat.get("direction") == "forward":
        into.opens = True
    elif repeat is not None:
        into.closes = max(2, _times(repeat.get("times", "2").strip(), into))
    into.jumps |= {"segno", "coda", "tocoda", "fine"} & set(element.keys())


def _times(text: str, into: Measure) -> int:
    if text.isascii() and text.isdecimal() and len(text) < 4 and int(text) <= MOST_PASSES:
        return int(text)
    raise UserError(
        f"Measure {into.number} is repeated {quoted(text)} times.",
        f"Correct the repeat there: it can be played {MOST_PASSES} times at most.",
    )


def _passes(text: str) -> Iterator[int]:
    plain = "".join(c for c in text.replace(" ", ",") if c in _DIGITS_AND_COMMAS)
    return (int(number) for number in plain.split(",") if _COUNT.fullmatch(number))
