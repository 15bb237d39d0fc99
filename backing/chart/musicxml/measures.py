"""The measures of one part of a MusicXML file, as far as a tune needs them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element

from backing.chart.harmony import Chord
from backing.chart.musicxml.harmony import FUNCTIONS, chord_of
from backing.chart.musicxml.report import Report
from backing.chart.pitch import Interval
from backing.chart.text.bar_line import MOST_PASSES
from backing.errors import UserError, quoted

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
FERMATA = "fermata"
"""The word for its sign."""
JUMPS = ("segno", "coda", "tocoda", "fine", "dacapo", "dalsegno")
_JUMP_WORDS = (
    ("fine", re.compile(r"fine")),
    ("tocoda", re.compile(r"(?:to|al(?:la)?) coda|to the coda|\W*to\W*")),
    ("dacapo", re.compile(r"d\. ?c\.?(?: al .*)?|da capo(?: al .*)?")),
    ("dalsegno", re.compile(r"d\. ?s\.?(?: al .*)?|dal segno(?: al .*)?")),
    ("coda", re.compile(r"coda")),
)
"""Jumps in words, of files that say them in no other way."""
_SHORTEST_SHARE = Fraction(1)
"""Quarters that each of several chords over one note has at least."""


@dataclass(slots=True)
class Measure:
    """A measure; times in quarter notes from its start.

    ``length`` is what its notes fill. ``chords``: where each chord of it stands (None: N.C.).
    ``fifths`` and ``mode``, ``meter`` (upper and lower number), ``tempo`` (quarters a minute) and
    ``transpose`` (from what is written to what sounds) are None where nothing changes. ``jumps``:
    of JUMPS those at this measure. ``words``: what stands in words, and where. ``again``: it is so
    many measures before again (0: it is itself).
    """

    number: str
    length: Fraction = Fraction(0)
    chords: list[tuple[Fraction, Chord | None]] = field(default_factory=list)
    opens: bool = False
    ending: tuple[int, ...] = ()
    closes: int = 0
    fifths: int | None = None
    mode: str | None = None
    meter: tuple[int, int] | None = None
    tempo: Fraction | None = None
    transpose: Interval | None = None
    rehearsal: str = ""
    words: list[tuple[Fraction, str]] = field(default_factory=list)
    jumps: set[str] = field(default_factory=set)
    again: int = 0


def read_measures(part: Element, report: Report) -> list[Measure]:
    """The measures of a ``part`` element, in order; what cannot be read is told in ``report``."""
    reader = _MeasureReader(report)
    return [reader.measure(element) for element in part.findall("measure")]


class _MeasureReader:
    """Walks through measures; ``divisions`` of a quarter last until they are changed.

    ``waiting``: the chords before the next note.
    """

    def __init__(self, report: Report) -> None:
        self.report = report
        self.divisions = 1
        self.now = Fraction(0)
        self.meter = (4, 4)
        self.waiting: list[Chord | None] = []
        self.again = 0
        self.earlier: list[Measure] = []

    def measure(self, element: Element) -> Measure:
        found = Measure(element.get("number", ""))
        self.now = Fraction(0)
        for child in element:
            try:
                self._take(child, found)
            except (UserError, ValueError, OverflowError) as error:
                cause = error.cause if isinstance(error, UserError) else str(error)
                cure = getattr(error, "cure", "") or "Correct the chord there."
                between = " " if cause.startswith("has ") else ": "
                self.report.fault(f"Measure {found.number}{between}{cause}", cure)
            found.length = max(found.length, self.now)
        whole = Fraction(4 * self.meter[0], self.meter[1])
        self._put(Fraction(0) if found.length else whole, found)
        found.meter = found.meter or (self.meter if not self.earlier else None)
        found.again = self.again
        if self.again and not found.chords and len(self.earlier) >= self.again:
            found.chords = list(self.earlier[-self.again].chords)
        self.earlier.append(found)
        return found

    def _put(self, room: Fraction, into: Measure) -> None:
        """Put down the chords that wait, over a note or rest that lasts for ``room``."""
        waiting, self.waiting = self.waiting, []
        count = len(waiting)
        share = room / count if count else Fraction(0)
        if count > 1 and share >= _SHORTEST_SHARE:
            names = ", ".join(str(chord or "N.C.") for chord in waiting)
            self.report.note(f"Measure {into.number}: {names} stand over one note and share it.")
        else:
            share = Fraction(0)
        into.chords += [(self.now + n * share, chord) for n, chord in enumerate(waiting)]

    def _take(self, child: Element, into: Measure) -> None:
        match child.tag:
            case "note":
                _fermata(child, into, self.now)
                if child.find("chord") is None and child.find("grace") is None:
                    time = self._time(child.findtext("duration"))
                    self._put(time, into)
                    self.now += time
            case "forward":
                self._put(Fraction(0), into)
                self.now += self._time(child.findtext("duration"))
            case "backup":
                self._put(Fraction(0), into)
                self.now = max(Fraction(0), self.now - self._time(child.findtext("duration")))
            case "attributes":
                self._attributes(child, into)
            case "harmony":
                self._harmony(child, into)
            case "direction" | "sound":
                _direction(child, into, self.now + self._time(child.findtext("offset")))
            case "barline":
                _bar_line(child, into)

    def _harmony(self, element: Element, into: Measure) -> None:
        kind = element.find("kind")
        if kind is not None and not (kind.text or "").strip() and not kind.get("text"):
            root = element.findtext("root/root-step") or "chord"
            self.report.note(f"Measure {into.number}: {root} has no kind, and is read as major.")
        value = (kind.text or "").strip() if kind is not None else ""
        if value == "pedal":
            said = "is a pedal, which is no chord. The one before goes on."
            self.report.note(f"Measure {into.number}: {element.findtext('root/root-step')} {said}")
            return
        if value.lower() in map(str.lower, FUNCTIONS):
            self.report.note(f"Measure {into.number}: {value} is read as {chord_of(element)}.")
        if len(element.findall("kind")) > 1:
            self.report.note(f"Measure {into.number}: of stacked chords the first is read.")
        chord = chord_of(element)
        offset = self._time(element.findtext("offset"))
        if offset:
            into.chords.append((max(Fraction(0), self.now + offset), chord))
        else:
            self.waiting.append(chord)

    def _time(self, text: str | None) -> Fraction:
        return (_decimal(text) or Fraction(0)) / self.divisions

    def _attributes(self, element: Element, into: Measure) -> None:
        divisions = element.findtext("divisions")
        if divisions:
            self.divisions = max(1, _whole(divisions, "divisions"))
        key = element.find("key")
        if key is not None and key.findtext("fifths"):
            into.fifths = _whole(key.findtext("fifths"), "key")
            into.mode = (key.findtext("mode") or "").strip() or None
        time = element.find("time")
        if time is not None and time.find("beats") is not None:
            into.meter = self.meter = _meter(time)
        repeat = element.find("measure-style/measure-repeat")
        if repeat is not None:
            starts = repeat.get("type") == "start"
            self.again = _whole(repeat.text, "repeated measures") if starts else 0
        transpose = element.find("transpose")
        if transpose is not None:
            semitones = _whole(transpose.findtext("chromatic") or "0", "transposition")
            steps = transpose.findtext("diatonic")
            into.transpose = (
                Interval(_whole(steps, "transposition"), semitones)
                if steps
                else Interval.of_semitones(semitones)
            )


def _meter(time: Element) -> tuple[int, int]:
    """Both numbers of a meter; the upper one may be a sum, 3+2."""
    upper, lower = time.findtext("beats") or "", (time.findtext("beat-type") or "").strip()
    parts = upper.replace(" ", "").split("+")
    if all(map(_COUNT.fullmatch, [*parts, lower])):
        return sum(map(int, parts)), int(lower)
    raise UserError(
        f"has the meter {upper.strip()}/{lower}, which cannot be read.",
        "Write a simple meter there, such as 4/4.",
    )


def _fermata(note: Element, into: Measure, now: Fraction) -> None:
    if note.find("notations/fermata") is not None and (now, FERMATA) not in into.words:
        into.words.append((now, FERMATA))


def _direction(element: Element, into: Measure, now: Fraction) -> None:
    sounds = [element] if element.tag == "sound" else element.findall("sound")
    for sound in sounds:
        if sound.get("tempo"):
            into.tempo = _number(sound.get("tempo", ""))
        into.jumps |= set(JUMPS) & set(sound.keys())
    for kind in element.iterfind("direction-type/*"):
        text = " ".join((kind.text or "").split())
        if kind.tag == "rehearsal":
            into.rehearsal = text
        elif kind.tag == "words" and text:
            jump = _jump(text)
            if jump and not any(set(JUMPS) & set(sound.keys()) for sound in sounds):
                into.jumps.add(jump)
            if not jump:
                into.words.append((max(now, Fraction(0)), text))
        elif kind.tag == "metronome":
            into.tempo = into.tempo or _metronome(kind)
        elif kind.tag in ("segno", "coda") and not sounds:
            into.jumps.add(kind.tag)


def _jump(text: str) -> str:
    plain = text.lower().strip(" .")
    return next((jump for jump, words in _JUMP_WORDS if words.fullmatch(plain)), "")


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


def _whole(text: str | None, what: str) -> int:
    """A whole number that has to be one: without it nothing after it would be right."""
    number = _decimal(text)
    if number is None:
        raise UserError(
            f"has {quoted(text)} for its {what}, which isn't a number.",
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
    into.jumps |= set(JUMPS[:4]) & set(element.keys())


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
