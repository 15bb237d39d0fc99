"""Form to MusicXML: a lead sheet of chord symbols over slashes, with repeats as written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from xml.etree.ElementTree import Element, SubElement

from backing.chart.bar import Change, Directions, Meter
from backing.chart.form import Form
from backing.chart.lead_sheet import SheetBar, SheetSection, endings_over, lead_sheet
from backing.chart.musicxml.document import (
    DIVISIONS,
    duration,
    element,
    key_element,
    left_bar_line,
    rehearsal,
    right_bar_line,
    score,
    tempo,
    time_element,
    words,
)
from backing.chart.musicxml.harmony import harmony_element
from backing.chart.musicxml.told import ORDER_WORDS, SOLOS, ordinal
from backing.chart.outline import directions as in_words
from backing.chart.outline import stop_time
from backing.chart.section import Section, SectionUse
from backing.chart.text.cue_line import NO_CENTER
from backing.chart.text.writer import bar_text
from backing.chart.unfold import section_bars

_TYPES = {1: "eighth", 2: "quarter", 3: "quarter", 4: "half"}
"""Note types by their length in eighths; 3 is dotted."""


def write(form: Form) -> str:
    """The text of a MusicXML 4.0 file: the sections of ``form`` on paper, one part of slashes.

    Bars that repeat others (``%``) are written out. Changes for soloing and what the whole band
    does stand in words.
    """
    sections = lead_sheet(form)
    measures: list[Element] = []
    before: SheetSection | None = None
    for section in sections:
        measures += _section(form, section, before)
        before = section
    style = measures[-1].find("barline[@location='right']/bar-style")
    if style is not None:
        style.text = "light-heavy"
    return score(form.title, form.by, "Chords", measures)


def _section(form: Form, section: SheetSection, before: SheetSection | None) -> Iterator[Element]:
    endings = list(_brackets(section.bars))
    start = not section.bars[0].numbers
    stops = stop_time([bar.directions for bar in section.bars])
    for index, bar in enumerate(section.bars):
        attributes = _attributes(section, before) if index == 0 else None
        heading = _heading(form, section, before) if index == int(start) else []
        ending, ends = endings[index]
        style = "light-light" if index == len(section.bars) - 1 else ""
        right = right_bar_line(bar.closes, ending, ends=ends, style="" if ends else style)
        yield element(
            "measure",
            left_bar_line(bar.opens, bar.ending),
            attributes,
            *heading,
            *_directions(bar, section.meter, stops=stops[index]),
            *_beats(bar, section.meter),
            right,
            number=str(bar.numbers[0]) if bar.numbers else "0",
            **({} if bar.numbers else {"implicit": "yes"}),
        )


def _brackets(bars: Sequence[SheetBar]) -> Iterator[tuple[tuple[int, ...], str]]:
    """For each bar the ending whose bracket ends there, and how.

    An ending that is not repeated has no bar where it ends: its bracket stays open over its first.
    """
    for bar, (ending, last) in zip(bars, endings_over(bars), strict=True):
        if ending and bar.closes:
            yield ending, "stop"
        elif bar.ending and last:
            yield ending, "discontinue"
        else:
            yield (), ""


def _attributes(section: SheetSection, before: SheetSection | None) -> Element | None:
    key, meter = section.key, section.meter
    if before and (before.key, before.meter) == (key, meter):
        return None
    clef = element("clef", ("sign", "G"), ("line", 2))
    return element(
        "attributes",
        None if before else ("divisions", DIVISIONS),
        key_element(key) if before is None or before.key != key else None,
        time_element(meter) if before is None or before.meter != meter else None,
        None if before else clef,
    )


def _heading(form: Form, section: SheetSection, before: SheetSection | None) -> list[Element]:
    heading = [rehearsal(_mark(form, section))]
    tempo_now = form.tempo * section.tempo_ratio
    tempo_before = before and form.tempo * before.tempo_ratio
    if tempo_now != tempo_before or (before and before.meter != section.meter):
        heading.append(tempo(tempo_now, section.meter))
    if before is None or before.feel != section.feel:
        heading.append(words(section.feel))
    if before is None:
        heading += [words(text) for text in _orders(form)]
    return heading


def _mark(form: Form, section: SheetSection) -> str:
    """The name of a section, and its bars where they are not all of it."""
    places = [place for bar in section.bars for place in bar.places]
    if len(places) == len(section_bars(form.section(section.name), _by_name(form))):
        return section.name
    return str(SectionUse(section.name, min(places), max(places)))


def _orders(form: Form) -> Iterator[str]:
    """The orders in words, where the order on paper does not say them."""
    head, names = form.order("head"), {section.name for section in form.sections}
    closing = any(use.role in ("coda", "ending", "tag") for use in head)
    if form.solos or form.out or closing or names - {use.name for use in head}:
        for word, order in ORDER_WORDS.items():
            if word != SOLOS and (order == "head" or getattr(form, order) is not None):
                yield f"{word}: {' '.join(map(str, form.order(order)))}"


def _by_name(form: Form) -> dict[str, Section]:
    return {section.name: section for section in form.sections}


def _directions(bar: SheetBar, meter: Meter, *, stops: bool) -> Iterator[Element]:
    said = _in_words(bar.in_words, stops=stops)
    if bar.later:
        said = [f"1st time: {text}" for text in said]
        for turn, later in enumerate(bar.later, 2):
            said += [f"{ordinal(turn)} time: {text}" for text in _in_words(later, stops=stops)]
    if said:
        yield words("; ".join(said), placement="below")
    for change in bar.changes:
        if change.early:
            where = max(duration(change.onset, meter), 0)
            by = " by a quarter" if abs(change.early) * meter.beat_quarters == 1 else ""
            word = "push" if change.early > 0 else "late"
            yield words(word + by, placement="below", offset=where)
    if bar.solos:
        yield words(f"{SOLOS}: {bar_text(bar.solos, meter)}", placement="below")


def _in_words(said: Directions, *, stops: bool) -> list[str]:
    """What the band does in a bar, and the key center that its player has written."""
    if said.centers is None:
        return in_words(said, stops=stops)
    center = " ".join(str(key) for key in said.centers) or NO_CENTER
    return [*in_words(said, stops=stops), f"center {center}"]


def _beats(bar: SheetBar, meter: Meter) -> Iterator[Element]:
    """A slash on every beat, each chord before the slash it arrives with."""
    waiting = sorted(bar.changes, key=lambda change: change.onset)
    whole, rest = divmod(bar.length, 1)
    lengths = [Fraction(1)] * int(whole) + ([rest] if rest else [])
    onset = Fraction(0)
    for length in lengths:
        here = [change for change in waiting if onset <= change.onset < onset + length]
        yield from _harmonies(here, onset, meter)
        yield _slash(length, meter, held=bar.hold == onset)
        onset += length


def _harmonies(changes: Sequence[Change], onset: Fraction, meter: Meter) -> Iterator[Element]:
    for before, change in pairwise([None, *changes]):
        assert change is not None
        element = harmony_element(change.chord)
        if before is not None or change.onset != onset:
            SubElement(element, "offset").text = str(duration(change.onset - onset, meter))
        yield element


def _slash(length: Fraction, meter: Meter, *, held: bool) -> Element:
    eighths = int(length * meter.beat_quarters * 2)
    return element(
        "note",
        element("pitch", ("step", "B"), ("octave", 4)),  # the middle line
        ("duration", duration(length, meter)),
        ("voice", 1),
        ("type", _TYPES.get(eighths, "quarter")),
        Element("dot") if eighths == 3 else None,
        ("stem", "none"),
        ("notehead", "slash"),
        element("notations", Element("fermata")) if held else None,
    )
