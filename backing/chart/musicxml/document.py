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


Child = Element | tuple[str, object] | None


def element(tag: str, *children: Child, **attributes: str) -> Element:
    """An element; a child that holds text alone is (its tag, the text), None stands for no child.

    Underscores in names of ``attributes`` are hyphens.
    """
    made = Element(tag, {name.replace("_", "-"): value for name, value in attributes.items()})
    for child in children:
        if isinstance(child, tuple):
            SubElement(made, child[0]).text = str(child[1])
        elif child is not None:
            made.append(child)
    return made


def score(
    title: str, by: str, part_name: str, measures: Sequence[Element], *, recipe: str = ""
) -> str:
    """The text of a file with one part of these measures; ``recipe``: the command that made it."""
    command = element("miscellaneous-field", name="command")
    command.text = recipe
    identification = element(
        "identification",
        element("encoding", ("software", f"backing {__version__}")),
        element("miscellaneous", command) if recipe else None,
    )
    if by:
        creator = element("creator", type="composer")
        creator.text = by
        identification.insert(0, creator)
    part = Element("part", id=PART)
    part.extend(measures)
    root = element(
        "score-partwise",
        element("work", ("work-title", title)),
        identification,
        element("part-list", element("score-part", ("part-name", part_name), id=PART)),
        part,
        version="4.0",
    )
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
    return element("key", ("fifths", key.fifths), ("mode", key.mode))


def time_element(meter: Meter, **attributes: str) -> Element:
    """The ``time`` element of a meter."""
    return element("time", ("beats", meter.upper), ("beat-type", meter.lower), **attributes)


def words(text: str, *, placement: str = "above", offset: int = 0) -> Element:
    """A direction in words, ``offset`` divisions after its place."""
    return element(
        "direction",
        element("direction-type", ("words", text)),
        ("offset", offset) if offset else None,
        placement=placement,
    )


def rehearsal(text: str) -> Element:
    """A rehearsal mark."""
    return element("direction", element("direction-type", ("rehearsal", text)), placement="above")


def tempo(beats_a_minute: Fraction, meter: Meter) -> Element:
    """A metronome mark, with the tempo that programs play."""
    eighths = meter.lower == 8 and not meter.compound
    mark = element(
        "metronome",
        ("beat-unit", "eighth" if eighths else "quarter"),
        Element("beat-unit-dot") if meter.compound else None,
        ("per-minute", f"{float(beats_a_minute):g}"),
    )
    quarters = beats_a_minute * meter.beat_quarters
    sound = Element("sound", tempo=f"{float(quarters):g}")
    return element("direction", element("direction-type", mark), sound, placement="above")


def left_bar_line(opens: bool, ending: Sequence[int]) -> Element | None:
    """The bar line before a measure; None where it is a plain one."""
    if not opens and not ending:
        return None
    return element(
        "barline",
        ("bar-style", "heavy-light") if opens else None,
        _ending(ending, "start") if ending else None,
        Element("repeat", direction="forward") if opens else None,
        location="left",
    )


def right_bar_line(
    closes: int, ending: Sequence[int], *, ends: str = "", style: str = ""
) -> Element | None:
    """The bar line after a measure; None where it is a plain one.

    ``closes``: how often the repeat that ends here is played in all; ``ends``: how the bracket of
    an ``ending`` ends, "stop" or "discontinue"; ``style``: "light-light" or "light-heavy".
    """
    if not closes and not ends and not style:
        return None
    times = {"times": str(closes)} if closes > 2 else {}
    return element(
        "barline",
        ("bar-style", "light-heavy" if closes else style) if closes or style else None,
        _ending(ending, ends) if ends else None,
        Element("repeat", {"direction": "backward"} | times) if closes else None,
        location="right",
    )


def _ending(passes: Sequence[int], kind: str) -> Element:
    ending = Element("ending", number=",".join(map(str, passes)), type=kind)
    if kind == "start":
        ending.text = ", ".join(f"{n}." for n in passes)
    return ending
