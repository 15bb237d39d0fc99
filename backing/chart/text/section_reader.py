"""Reads the lines under a section's name: bars, solos lines, cues."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from backing.chart.bar import Meter
from backing.chart.cue import Cue
from backing.chart.section import Pickup, Replacement, Row, Section, WrittenBar
from backing.chart.text.bar_line import (
    ReadBar,
    is_chord,
    outside_bars,
    read_pickup,
    read_plain_row,
    read_row,
    refuse_jump,
)
from backing.chart.text.checks import bars_back, check_repeats, check_sign
from backing.chart.text.cue_line import CUE_WORDS, cue_word, read_cue
from backing.chart.text.header import HEADERS, NAME
from backing.chart.text.source import Piece, Source, Statement, suggestion
from backing.chart.unfold import BAR_LIMIT

OPTIONS = ("feel", "key", "meter", "tempo")
"""The options after a section's name."""
LINE_WORDS = ("solos", "pickup", "bars", *CUE_WORDS)
"""What a line under a section's name may begin with, besides its bars."""

_BARE_NAME = re.compile(rf"[\[(]({NAME})[\])]:?|({NAME}):")


@dataclass(slots=True)
class _RowDraft:
    """A line of bars and the solos line under it; ``start`` counts the bars before it."""

    start: int
    bars: tuple[WrittenBar, ...]
    solos: tuple[WrittenBar | None, ...] = ()
    first: int = 0
    last: int = 0

    def row(self) -> Row:
        solos = list(self.solos)
        while solos and solos[-1] is None:
            solos.pop()
        return Row(self.bars, tuple(solos))


class SectionReader:
    """Reads the lines of one section in its ``meter``.

    ``opened`` is the section as its first line gives it. ``broken`` is True afterwards if its signs
    are wrong, so that its bars cannot be counted.
    """

    def __init__(self, source: Source, meter: Meter, opened: Section) -> None:
        self.source = source
        self.meter = meter
        self.opened = opened
        self.broken = False
        self.too_long = False
        self.cells: list[ReadBar] = []
        self.rows: list[_RowDraft] = []
        self.replacements: list[_RowDraft] = []
        self.pickup: Pickup | None = None
        self.cues: list[Cue] = []

    def read(self, statements: list[Statement], *, first: bool) -> Section:
        """Read the section; the ``first`` of a file may begin with a short bar."""
        before = self.source.problems
        for found in statements:
            self._read(found, first)
        if self.opened.base is None and not self.rows:
            self.broken = True
            if self.source.problems == before:
                self._refuse_nothing()
        self._check()
        return replace(
            self.opened,
            rows=tuple(draft.row() for draft in self.rows),
            replacements=tuple(
                Replacement(draft.first, draft.last, draft.row()) for draft in self.replacements
            ),
            pickup=self.pickup,
            cues=tuple(self.cues),
        )

    def _read(self, found: Statement, first: bool) -> None:
        if not found.word and "|" in found.line.text:
            self._read_row(found.line, first)
        elif cue_word(found):
            self._read_cue(found)
        elif found.word == "solos" and "|" in found.rest.text:
            self._read_solos(found)
        elif found.word == "pickup":
            self._read_pickup(found)
        elif found.word == "bars":
            self._read_replacement(found)
        elif found.word in HEADERS:
            self._refuse_header(found)
        else:
            self._refuse(found)

    def _read_row(self, line: Piece, first: bool) -> None:
        if self.opened.base is not None:
            cause = f"Section {self.opened.name} has the bars of {self.opened.base}."
            cure = "Number the bars that differ, such as bars 7-8: | Gm6 | D7 |."
            self.source.problem(line, cause, cure)
            return
        if len(self.cells) > BAR_LIMIT:
            self._refuse_length(line)
            return
        cells = read_row(line, self.meter, self.source, first=first and not self.rows)
        if cells and cells[0].pickup:
            self.pickup = cells.pop(0).pickup
        start = sum(cell.bar.count for cell in self.cells)
        self.cells += cells
        if cells:
            self.rows.append(_RowDraft(start, tuple(cell.bar for cell in cells)))

    def _refuse_length(self, line: Piece) -> None:
        if not self.too_long:
            cause = f"Section {self.opened.name} has over {BAR_LIMIT:,} bars."
            self.source.problem(line, cause, "Write one tune to a file.")
        self.too_long = self.broken = True

    def _read_solos(self, found: Statement) -> None:
        drafts = self.rows or self.replacements
        bars = read_plain_row(found.rest, self.meter, self.source, empty=True)
        if not drafts:
            cause = "There are no bars above this solos line."
            self.source.problem(found.head, cause, "Write it under the bars it changes.")
            return
        draft = drafts[-1]
        above = sum(bar.count for bar in draft.bars)
        count = sum(bar.count if bar else 1 for bar in bars)
        if count > above:
            cause = f"This solos line has {count} bars, under a line of {above}."
            cure = "Write one bar under each, left empty where nothing changes."
            self.source.problem(found.rest, cause, cure)
            return
        if draft.solos:
            cause = "The bars above already have a solos line."
            self.source.problem(found.head, cause, "Keep one of the two.")
        draft.solos = tuple(bars)

    def _read_pickup(self, found: Statement) -> None:
        if self.rows or self.pickup or self.opened.base is not None:
            cause = "A pickup comes once, before the first bar of a section."
            self.source.problem(found.head, cause, "Move it above the bars, or delete it.")
            return
        self.pickup = read_pickup(found.rest, self.meter, self.source)

    def _read_replacement(self, found: Statement) -> None:
        if self.opened.base is None:
            cause = f"Section {self.opened.name} is not derived, so it has no bars to replace."
            cure = "Write section A2 = A, or the bars without numbers."
            self.source.problem(found.head, cause, cure)
            return
        numbers = self._bars(found)
        bars = read_plain_row(found.rest, self.meter, self.source, empty=False)
        if numbers is None:
            return
        count = sum(bar.count for bar in bars if bar)
        first, last = numbers
        if count != last - first + 1:
            cause = f"{count} bars are written for {last - first + 1}."
            self.source.problem(found.rest, cause, "Write as many bars as the line names.")
            return
        kept = tuple(bar for bar in bars if bar)
        self.replacements.append(_RowDraft(first - 1, kept, (), first, last))

    def _read_cue(self, found: Statement) -> None:
        bars = self._bars(found)
        cue = read_cue(found, bars, self.meter, self.source) if bars else None
        if cue is not None:
            self.cues.append(cue)

    def _bars(self, found: Statement) -> tuple[int, int] | None:
        """The numbers of the bars a line is for; None after a problem."""
        if found.bars is None:
            self.source.problem(found.head, *_no_bar_numbers(found.head))
            return None
        first, *rest = map(int, re.findall(r"\d+", found.bars.text))
        last = rest[0] if rest else first
        if not 1 <= first <= last:
            cause = f"Bars {first}-{last} run backwards." if first else "Bars are counted from 1."
            self.source.problem(found.bars, cause, "Count from 1, the smaller number first.")
            return None
        return first, last

    def _refuse_nothing(self) -> None:
        cause = f"Section {self.opened.name} has no bars."
        cure = "Write them under its name, such as | Cm7 | F7 |."
        self.source.problem(self.opened.span or Piece("", 1), cause, cure)

    def _check(self) -> None:
        """Check the signs of the whole section, once it is read."""
        before = self.source.problems
        check_repeats(self.cells, self.source)
        reaches = bars_back([cell.bar for cell in self.cells])
        for draft in self.rows:
            self._check_signs(draft, reaches)
        for draft in self.replacements:
            self._check_signs(draft, list(range(draft.last)))
        self.broken = self.broken or self.source.problems > before

    def _check_signs(self, draft: _RowDraft, reaches: list[int]) -> None:
        for bars in (draft.bars, draft.solos):
            index = draft.start
            for bar in bars:
                if bar is not None:
                    check_sign(bar, reaches[index], self.source)
                index += bar.count if bar else 1

    def _refuse_header(self, found: Statement) -> None:
        cause = f'"{found.head}:" comes under a section, but belongs at the top of the file.'
        cure = "Move it up, before the first section."
        if found.word in OPTIONS:
            beside = f"section {self.opened.name}  {found.word}: ..."
            cure = f"Move it before the first section, or after the section's name ({beside})."
        self.source.problem(found.head, cause, cure)

    def _refuse(self, found: Statement) -> None:
        where = found.head if found.word else found.line.words()[0]
        if refuse_jump(found.line, self.source):
            return
        near = suggestion(where.text, (*LINE_WORDS, "section"))
        cause = f'"{where}" is neither bars nor a cue for the band.'
        cure = f"{near}Bars go between |; a cue begins with {', '.join(CUE_WORDS)}."
        if name := bare_name(found.line):
            cause, cure = no_section(name)
        elif where.text.lower() in CUE_WORDS:
            cause, cure = _no_bar_numbers(where)
        elif not found.word and is_chord(where):
            cause, cure = outside_bars(where)
        self.source.problem(where, cause, cure)


def _no_bar_numbers(cue: Piece) -> tuple[str, str]:
    cure = f"Count them within the section, and write a colon: {cue} 7: or {cue} 1-4:."
    return f'"{cue}" needs bar numbers.', cure


def bare_name(line: Piece) -> str:
    """The section meant by a line such as [A], A: or (B); "" for any other line."""
    match = _BARE_NAME.fullmatch(line.text)
    return "".join(match.groups("")) if match else ""


def no_section(name: str) -> tuple[str, str]:
    """Cause and cure for a section's name without the word section."""
    return "A section begins with the word section.", f"Write section {name} on this line."
