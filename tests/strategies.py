"""Hypothesis strategies: chords, bars, sections, forms, and the texts of tune files."""

from __future__ import annotations

import string
from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

from backing.chart.bar import PLAYERS, Change, Meter
from backing.chart.cue import (
    Break,
    Center,
    Cue,
    Hits,
    Hold,
    LayOut,
    Pedal,
    Push,
    Rit,
    SectionBar,
    StopTime,
)
from backing.chart.form import Form
from backing.chart.harmony import Chord, parse_chord
from backing.chart.pitch import Interval, Key, PitchName
from backing.chart.section import Pickup, Replacement, Row, Section, SectionUse, WrittenBar
from backing.chart.text.checks import bars_back
from backing.chart.text.header import METERS
from backing.chart.text.tune_file import write
from backing.chart.unfold import section_bars

SUFFIXES = (
    "", "m", "6", "m6", "6/9", "7", "maj7", "m7", "m7b5", "dim7", "ø", "°7", "-7", "△", "9", "m9",
    "13", "7b9", "7#9", "7alt", "7sus", "9sus", "7#11", "maj7#11", "mMaj7", "+7", "7(b9,b13)",
    "7 (b9)", "add9", "sus2",
)  # fmt: skip
ROOTS = [letter + sign for letter in "CDEFGAB" for sign in ("", "b", "#")]
SECTION_NAMES = ("B", "C", "A2", "B2", "intro", "ending", "coda", "tag", "vamp", "Bridge", "D'")
FEELS = ("swing", "two", "ballad", "waltz", "bossa")

words = st.text(string.ascii_letters + "äøßé'!?.-:#|%", min_size=1, max_size=9).filter(
    lambda word: not word.startswith("#")
)
plain_texts = st.lists(words, min_size=1, max_size=4).map(" ".join)
remarks = st.text(
    st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=20
).map(str.strip).filter(bool)  # fmt: skip
intervals = st.integers(-11, 11).map(Interval.of_semitones)
pitch_names = st.sampled_from(ROOTS).map(PitchName.parse)
keys = st.sampled_from(
    [Key.parse(f"{tonic} {mode}") for tonic in ("C", "F", "Bb", "Eb", "D", "E", "F#")
     for mode in ("major", "minor", "dorian")]
)  # fmt: skip


@st.composite
def chords(draw: st.DrawFn) -> Chord:
    """A chord as it is written in a tune."""
    bass = draw(st.sampled_from(["", "", "", "/G", "/Bb", "/F#"]))
    return parse_chord(draw(st.sampled_from(ROOTS)) + draw(st.sampled_from(SUFFIXES)) + bass)


@st.composite
def changes(draw: st.DrawFn, beats: int) -> tuple[Change, ...]:
    """The changes of a bar of so many beats: one on the first, others on any beat."""
    later = draw(st.sets(st.integers(1, beats - 1), max_size=3)) if beats > 1 else set()
    return tuple(
        Change(Fraction(onset), draw(st.one_of(st.none(), chords()) if onset else chords()))
        for onset in sorted({0, *later})
    )


@st.composite
def plain_bars(draw: st.DrawFn, beats: int, back: int) -> WrittenBar:
    """A bar, or a sign for the one or two bars before it where ``back`` bars are there."""
    sign = draw(st.sampled_from(["", "", "%", "%%"]))
    if back >= len(sign) > 0:
        return WrittenBar(sign=sign)
    return WrittenBar(draw(changes(beats)))


@st.composite
def runs(draw: st.DrawFn, beats: int, most: int, back: int = 0) -> list[WrittenBar]:
    """Bars in a row, after ``back`` bars that signs may look back to."""
    bars: list[WrittenBar] = []
    for _ in range(draw(st.integers(1, most))):
        bars.append(draw(plain_bars(beats, back)))
        back += bars[-1].count
    return bars


@st.composite
def repeats(draw: st.DrawFn, beats: int) -> list[WrittenBar]:
    """A repeat with a count, or with endings."""
    bars = draw(runs(beats, 3))
    bars[0] = replace(bars[0], opens=True)
    if draw(st.booleans()):
        bars[-1] = replace(bars[-1], closes=draw(st.integers(2, 5)))
        return bars
    endings = draw(
        st.sampled_from([[(1,), (2,)], [(1, 2), (3,)], [(1,), (2, 3)], [(1,), (2,), (3,)]])
    )
    for passes in endings:
        ending = draw(runs(beats, 2))
        ending[0] = replace(ending[0], ending=passes)
        if passes != endings[-1]:
            ending[-1] = replace(ending[-1], closes=2)
        bars += ending
    return bars


@st.composite
def solo_cells(
    draw: st.DrawFn, beats: int, bars: list[WrittenBar], reaches: list[int]
) -> tuple[WrittenBar | None, ...]:
    """Other bars for soloing under ``bars``; the last of them says something."""
    cells: list[WrittenBar | None] = []
    count, most = 0, sum(bar.count for bar in bars)
    for _ in range(draw(st.integers(0, most))):
        cell = draw(st.one_of(st.none(), plain_bars(beats, reaches[min(count, most - 1)])))
        if cell is not None and count + cell.count > most:
            break
        cells.append(cell)
        count += cell.count if cell else 1
        if count == most:
            break
    while cells and cells[-1] is None:
        cells.pop()
    return tuple(cells)


@st.composite
def rows(draw: st.DrawFn, beats: int) -> tuple[Row, ...]:
    """The bars of a section in lines: runs and repeats, with other bars for soloing."""
    bars: list[WrittenBar] = []
    for _ in range(draw(st.integers(1, 3))):
        part = draw(st.one_of(runs(beats, 4), repeats(beats)))
        # a sign at the start of a later run could look back; runs that start afresh are enough here
        bars += part
    reaches = bars_back(bars)
    cuts = sorted(draw(st.sets(st.integers(1, max(1, len(bars) - 1)), max_size=3)))
    lines = []
    for start, end in zip([0, *cuts], [*cuts, len(bars)], strict=True):
        line = bars[start:end]
        if line:
            before = sum(bar.count for bar in bars[:start])
            lines.append(Row(tuple(line), draw(solo_cells(beats, line, reaches[before:]))))
    return tuple(lines)


@st.composite
def cues(draw: st.DrawFn, meter: Meter, bars: list[SectionBar]) -> Cue:
    """Something the band does in some of the ``bars``."""
    first = draw(st.integers(1, len(bars)))
    last = draw(st.integers(first, min(len(bars), first + 3)))
    parts = (0, Fraction(1, 3), Fraction(2, 3)) if meter.compound else (0, Fraction(1, 2))
    beat = st.builds(
        lambda a, b: Fraction(a) + b, st.integers(0, meter.beats - 1), st.sampled_from(parts)
    )
    beats = tuple(sorted(draw(st.sets(beat, min_size=1, max_size=4))))
    kind = draw(st.sampled_from([Hits, Break, StopTime, Pedal, LayOut, Push, Hold, Rit, Center]))
    if kind is Center:
        return Center(first, last, draw(st.none() | keys))
    if kind is Pedal:
        return Pedal(first, last, draw(pitch_names))
    if kind is Hold:
        return Hold(first, last, Fraction(draw(st.integers(0, meter.beats - 1))))
    if kind is Rit:
        return Rit(first, last, Fraction(draw(st.integers(30, 95)), 100))
    if kind is LayOut:
        return LayOut(first, last, draw(st.frozensets(st.sampled_from(PLAYERS), min_size=1)))
    if kind is Push:
        onset = draw(st.sampled_from([change.onset for change in bars[first - 1].head]))
        eighth = Fraction(1, 2) / meter.beat_quarters
        return Push(first, first, (onset,), draw(st.sampled_from([eighth, -eighth])))
    if kind is Break and draw(st.booleans()):
        beats = ()
    return kind(first, last, beats)


@st.composite
def sections(draw: st.DrawFn, name: str, meter: Meter) -> Section:
    """A section with bars of its own; ``meter`` is the tune's."""
    own = draw(st.one_of(st.none(), st.sampled_from(METERS)))
    section = Section(
        name,
        rows=draw(rows((own or meter).beats)),
        feel=draw(st.one_of(st.none(), st.sampled_from(FEELS))),
        key=draw(st.one_of(st.none(), keys)),
        meter=own,
        tempo_ratio=draw(st.sampled_from([None, Fraction(2), Fraction(1, 2), Fraction(4, 3)])),
        remarks=tuple(draw(st.lists(remarks, max_size=2))),
    )
    bars = section_bars(section, {})
    told = draw(st.lists(cues(own or meter, bars), max_size=3))
    return replace(section, cues=tuple(told))


@st.composite
def derived_sections(draw: st.DrawFn, name: str, base: Section, form: Form) -> Section:
    """A section that is ``base`` but for some of its bars."""
    known = {section.name: section for section in form.sections}
    meter = form.meter_of(base)
    length = len(section_bars(base, known))
    section = Section(name, base=base.name)
    if draw(st.booleans()):
        start = draw(st.integers(1, length))
        section = replace(section, base_bars=(start, draw(st.integers(start, length))))
        length = len(section_bars(section, known))
    for _ in range(draw(st.integers(0, 2))):
        first = draw(st.integers(1, length))
        bars = draw(runs(meter.beats, 2, first - 1))
        last = first - 1 + sum(bar.count for bar in bars)
        if last <= length:
            solos = draw(solo_cells(meter.beats, bars, list(range(first - 1, last))))
            part = Replacement(first, last, Row(tuple(bars), solos))
            section = replace(section, replacements=(*section.replacements, part))
    told = draw(st.lists(cues(meter, section_bars(section, known)), max_size=2))
    return replace(section, cues=tuple(told))


@st.composite
def orders(draw: st.DrawFn, form: Form, first: str | None = None) -> tuple[SectionUse, ...]:
    """Sections in some order, some of them in part; the chorus section A is among them."""
    known = {section.name: section for section in form.sections}
    uses = [SectionUse(first or "A")]
    for name in draw(st.lists(st.sampled_from(list(known)), max_size=5)):
        length = len(section_bars(known[name], known))
        start = draw(st.one_of(st.none(), st.integers(1, length)))
        end = None if start is None else draw(st.integers(start, length))
        uses.append(SectionUse(name, start, end))
    return tuple(uses)


@st.composite
def forms(draw: st.DrawFn) -> Form:
    """A tune with every construct a file can hold."""
    meter = draw(st.sampled_from(METERS))
    form = Form(
        title=draw(plain_texts),
        by=draw(st.one_of(st.just(""), plain_texts)),
        key=draw(keys),
        meter=meter,
        tempo=draw(
            st.sampled_from([Fraction(20), Fraction("132.5"), Fraction(400, 3), Fraction(400)])
        ),
        feel=draw(st.sampled_from(FEELS)),
        occasion=draw(st.sampled_from(["", "lesson", "gig"])),
        sections=(draw(sections("A", meter)),),
        notes=tuple(draw(st.lists(plain_texts, max_size=2))),
        remarks=tuple(draw(st.lists(remarks, max_size=2))),
    )
    for name in draw(st.lists(st.sampled_from(SECTION_NAMES), max_size=3, unique=True)):
        base = draw(st.one_of(st.none(), st.sampled_from(form.sections)))
        made = derived_sections(name, base, form) if base else sections(name, meter)
        form = replace(form, sections=(*form.sections, draw(made)))
    optional = st.one_of(st.none(), orders(form))
    form = replace(form, head=draw(optional), solos=draw(optional), out=draw(optional))
    return draw(with_pickup(form)) if draw(st.booleans()) else form


@st.composite
def with_pickup(draw: st.DrawFn, form: Form) -> Form:
    """The form with a pickup before its first bar, where that bar is no borrowed one."""
    opening = form.section(form.order("head")[0].name)
    beats = form.meter_of(opening).beats
    length = draw(st.integers(1, beats - 1))
    if opening.base is not None:
        return form
    opened = replace(opening, pickup=Pickup(draw(changes(length)), Fraction(length)))
    known = tuple(opened if section is opening else section for section in form.sections)
    return replace(form, sections=known)


def _closer(line: str, closer: bool) -> str:
    """A line of bars with its chords close to the bar lines."""
    bars = line.split(" ", maxsplit=1)[0] in ("|", "|:", "solos:", "pickup:", "bars")
    return line.replace("| ", "|").replace(" |", "|") if closer and bars else line


@st.composite
def tune_texts(draw: st.DrawFn) -> tuple[str, Form]:
    """A tune file as someone may type it, untidily, and the form it stands for, remarks aside."""
    form = draw(forms())
    lines = []
    for line in write(form).split("\n"):
        indent = draw(st.sampled_from(["", "", " ", "\t"]))
        after = draw(st.sampled_from(["", "", "  ", "  # by hand"]))
        blank = [""] if draw(st.integers(0, 5)) == 0 else []
        lines += [*blank, indent + _closer(line, draw(st.booleans())) + after]
    start = draw(st.sampled_from(["", "\ufeff"]))
    return start + draw(st.sampled_from(["\n", "\r\n"])).join(lines), form
