"""The frame of a MusicXML file: its head, its one part, and the elements of a measure."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from backing import __version__
from backing.chart.bar import Meter
from backing.chart.pitch import Key

DIVISIONS = 12
"""Of a quarter: eighths, triplets and sixteenths are whole numbers of them."""
PART = "P1"
DOCTYPE = (
    '<?xml version="1.0" encoding="UTF-8" standalone="no"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)


def score(title: str, by: str, part_name: str, measures: Sequence[Element]) -> str:
    """The text of a file with one part of these measures."""
    root = Element("score-partwise", version="4.0")
    SubElement(SubElement(root, "work"), "work-title").text = title
    identification = SubElement(root, "identification")
    if by:
        SubElement(identification, "creator", type="composer").text = by
    encoding = SubElement(identification, "encoding")
    SubElement(encoding, "software").text = f"backing {__version__}"
    listed = SubElement(SubElement(root, "part-list"), "score-part", id=PART)
    SubElement(listed, "part-name").text = part_name
    SubElement(root, "part", id=PART).extend(measures)
    indent(root, " ")
    return DOCTYPE + tostring(root, encoding="unicode") + "\n"


def duration(beats: Fraction, meter: Meter) -> int:
    """Beats of a meter as divisions. Raises ValueError if they are not whole."""
    length = beats * meter.beat_quarters * DIVISIONS
    if length.denominator != 1:
        raise ValueError(f"{beats} beats of {meter} are no whole number of divisions")
    return int(length)


def key_element(key: Key) -> Element:
    """The ``key`` element of a key."""
    element = Element("key")
    SubElement(element, "fifths").text = str(key.fifths)
    SubElement(element, "mode").text = key.mode
    return element


def time_element(meter: Meter) -> Element:
    """The ``time`` element of a meter."""
    element = Element("time")
    SubElement(element, "beats").text = str(meter.upper)
    SubElement(element, "beat-type").text = str(meter.lower)
    return element


def words(text: str, *, placement: str = "above", offset: int = 0) -> Element:
    """A direction in words, ``offset`` divisions after its place."""
    direction = Element("direction", placement=placement)
    SubElement(SubElement(direction, "direction-type"), "words").text = text
    if offset:
        SubElement(direction, "offset").text = str(offset)
    return direction


def rehearsal(text: str) -> Element:
    """A rehearsal mark."""
    direction = Element("direction", placement="above")
    SubElement(SubElement(direction, "direction-type"), "rehearsal").text = text
    return direction


def tempo(beats_a_minute: Fraction, meter: Meter) -> Element:
    """A metronome mark, with the tempo that programs play."""
    direction = Element("direction", placement="above")
    metronome = SubElement(SubElement(direction, "direction-type"), "metronome")
    SubElement(metronome, "beat-unit").text = "eighth" if _beat_is_eighth(meter) else "quarter"
    if meter.compound:
        SubElement(metronome, "beat-unit-dot")
    SubElement(metronome, "per-minute").text = f"{float(beats_a_minute):g}"
    quarters = beats_a_minute * meter.beat_quarters
    SubElement(direction, "sound", tempo=f"{float(quarters):g}")
    return direction


def _beat_is_eighth(meter: Meter) -> bool:
    return meter.lower == 8 and not meter.compound


def left_bar_line(opens: bool, ending: Sequence[int]) -> Element | None:
    """The bar line before a measure; None where it is a plain one."""
    if not opens and not ending:
        return None
    line = Element("barline", location="left")
    if opens:
        SubElement(line, "bar-style").text = "heavy-light"
    if ending:
        _ending(line, ending, "start")
    if opens:
        SubElement(line, "repeat", direction="forward")
    return line


def right_bar_line(
    closes: int, ending: Sequence[int], *, ends: str = "", style: str = ""
) -> Element | None:
    """The bar line after a measure; None where it is a plain one.

    ``closes``: how often the repeat that ends here is played in all; ``ends``: how the bracket of
    an ``ending`` ends, "stop" or "discontinue"; ``style``: "light-light" or "light-heavy".
    """
    if not closes and not ends and not style:
        return None
    line = Element("barline", location="right")
    if closes or style:
        SubElement(line, "bar-style").text = "light-heavy" if closes else style
    if ends:
        _ending(line, ending, ends)
    if closes:
        repeat = SubElement(line, "repeat", direction="backward")
        if closes > 2:
            repeat.set("times", str(closes))
    return line


def _ending(line: Element, passes: Sequence[int], kind: str) -> None:
    number = ",".join(map(str, passes))
    element = SubElement(line, "ending", number=number, type=kind)
    if kind == "start":
        element.text = ", ".join(f"{n}." for n in passes)
