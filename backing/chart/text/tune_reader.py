"""Reads a tune file into a form and records every mistake on the way."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import PurePath

from backing.chart.bar import Meter
from backing.chart.form import Form
from backing.chart.section import Section, feel_path
from backing.chart.text.bar_line import is_chord, outside_bars
from backing.chart.text.checks import FormCheck
from backing.chart.text.cue_line import cue_word
from backing.chart.text.header import (
    HEADERS,
    NAME,
    Header,
    read_bars,
    read_feel,
    read_key,
    read_meter,
    read_ratio,
)
from backing.chart.text.section_reader import OPTIONS, SectionReader, bare_name, no_section
from backing.chart.text.source import Piece, Source, Statement, suggestion, title_of
from backing.errors import UserError
from backing.reading import DERIVED, LINE_CHARACTERS, TUNE_LINES

DEFAULT_METER = Meter(4, 4)
DEFAULT_TEMPO = Fraction(120)
DEFAULT_FEEL = "swing"

_SECTION = re.compile(
    rf"(?i:section)\s+(?P<name>{NAME})\s*:?"
    rf"(?:\s*=\s*(?P<base>{NAME})(?::(?P<bars>\S*))?)?(?P<options>(?:\s.*)?)"
)
_OPTION = re.compile(r"(?<!\w)(?P<word>[^\W\d]+)\s*:\s*(?P<value>.*?)(?=\s+[^\W\d]+\s*:|\s*$)")
_FIRST_NAME = "A"
_BEFORE_SECTIONS = ("solos", "pickup")


FeelFaults = Callable[[str], Iterable[UserError]]
"""The mistakes in the feel of a name or path (see ``feel_path``)."""


@dataclass(slots=True)
class _SectionDraft:
    """The lines of a section before its bars are read."""

    name: str
    line: Piece
    base: Piece | None = None
    base_bars: tuple[int, int] | None = None
    options: dict[str, Piece] = field(default_factory=dict)
    statements: list[Statement] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    @property
    def unnamed(self) -> bool:
        """Whether its bars came before any section's name."""
        return not self.line.text


class TuneReader:
    """Reads one text: first its lines, then its header, then the bars of its sections.

    ``folder`` is where feel files are looked for, ``feel_faults`` finds the mistakes in a feel.
    """

    def __init__(self, text: str, file: str, folder: str, feel_faults: FeelFaults) -> None:
        self.source = Source(text, file)
        self.folder = folder
        self.feel_faults = feel_faults
        self.header = Header()
        self.drafts: list[_SectionDraft] = []
        self.remarks: list[str] = []
        self.header_lines: dict[str, Piece] = {}
        self.broken: set[str] = set()

    def form(self) -> Form:
        """The form the text describes. Raises TuneError with every problem in it."""
        self._read_lines()
        self._check_feels()
        drafts = self._distinct()
        if "key" not in self.header_lines and (self.drafts or self.header_lines):
            cause, cure = "No key is given.", "Write a line such as key: G minor at the top."
            self.source.problem(Piece("", 1), cause, cure)
        sections = tuple(self._section(draft, drafts) for draft in drafts.values())
        check = FormCheck(self.source, sections, self.broken)
        check.check_sections()
        check.check_orders(self.header)
        self._refuse_nothing()
        self.source.finish()
        form = self._form(sections)
        check.check_played(form, self.header_lines)
        self.source.finish()
        return form

    def _form(self, sections: tuple[Section, ...]) -> Form:
        header = self.header
        assert header.key is not None, "a missing key is a problem, and problems were raised"
        return Form(
            title=header.title or title_of(PurePath(self.source.file).stem.replace("_", " ")),
            by=header.by,
            key=header.key,
            meter=self._meter,
            tempo=self._tempo,
            feel=header.feel or DEFAULT_FEEL,
            occasion=header.occasion or "",
            sections=sections,
            head=header.head,
            solos=header.solos,
            out=header.out,
            notes=header.notes,
            remarks=tuple(self.remarks),
            folder=self.folder,
        )

    @property
    def _meter(self) -> Meter:
        return self.header.meter or DEFAULT_METER

    @property
    def _tempo(self) -> Fraction:
        return self.header.tempo or DEFAULT_TEMPO

    # lines

    def _read_lines(self) -> None:
        """Sort every line: notes to the reader, header, sections and what stands under them."""
        waiting: list[str] = []
        for whole in self._lines():
            line, remark = whole.without_note()
            if remark:
                waiting.append(remark)
            if not line.text:
                continue
            if _is_section(line):
                self._begin_section(line)
            elif self.drafts or self._begins_bars(line):
                self._add_statement(line)
            else:
                self._add_header(line)
            self._place_remarks(waiting)
        self._place_remarks(waiting)

    def _lines(self) -> Iterator[Piece]:
        """The lines, up to the bounds of a tune."""
        for line in self.source.pieces():
            if line.line > TUNE_LINES:
                cause = f"This file has more than {TUNE_LINES:,} lines."
                self.source.problem(line, cause, "Write one tune to a file.")
                return
            if len(line.text) > LINE_CHARACTERS:
                cause = f"This line is longer than {LINE_CHARACTERS:,} characters."
                self.source.problem(line.cut(0, 1), cause, "Break it into several lines.")
            else:
                yield line

    def _place_remarks(self, waiting: list[str]) -> None:
        (self.drafts[-1].remarks if self.drafts else self.remarks).extend(waiting)
        waiting.clear()

    def _begins_bars(self, line: Piece) -> bool:
        """Whether a line opens a section without a name: the bars of a tune that needs none."""
        found = Statement.of(line)
        if not found.word:
            return "|" in line.text
        return found.word in _BEFORE_SECTIONS and found.rest.text.startswith("|")

    def _add_statement(self, line: Piece) -> None:
        if not self.drafts:
            self.drafts.append(_SectionDraft(_FIRST_NAME, line.cut(0, 0)))
        self.drafts[-1].statements.append(Statement.of(line))

    def _add_header(self, line: Piece) -> None:
        found = Statement.of(line)
        word = found.word
        if word not in HEADERS or found.bars is not None:
            self._refuse_header(line, found)
        elif word in self.header_lines and word != "notes":
            before = self.header_lines[word].line
            cause = f'"{word}" is already on line {before}.'
            self.source.problem(line, cause, "Keep one of the two.")
        elif not found.rest.text and word != "by":
            cause = f'Nothing follows "{word}:".'
            self.source.problem(line, cause, "Write it on this line, or delete the line.")
            self.header_lines.setdefault(word, line)
        else:
            self.header_lines.setdefault(word, line)
            self.header = self.header.with_line(word, found.rest, self.source)

    def _refuse_header(self, line: Piece, found: Statement) -> None:
        word = found.head if found.word else line.words()[0]
        if cue_word(found):
            cause = f'"{word}" comes before any section.'
            self.source.problem(word, cause, "Write it under the bars of a section.")
            return
        near = suggestion(word.text, (*HEADERS, "section"))
        cause = f'"{word}" isn\'t a line of a tune file.'
        cure = f"{near}Lines at the top are {', '.join(HEADERS)}; then come sections and bars."
        if word.text.lower() in HEADERS and not found.word:
            cause = f'A colon is missing after "{word}".'
            cure = f"Write {word.text.lower()}: and what it is."
        elif name := bare_name(line):
            cause, cure = no_section(name)
        elif not found.word and is_chord(word):
            cause, cure = outside_bars(word)
        self.source.problem(word, cause, cure)

    def _check_feels(self) -> None:
        """Report mistakes in the feels that the header and the sections name."""
        named = [draft.options["feel"] for draft in self.drafts if "feel" in draft.options]
        if "feel" in self.header_lines:
            named.append(Statement.of(self.header_lines["feel"]).rest)
        for piece in named:
            if piece.text:
                for fault in self.feel_faults(feel_path(read_feel(piece), self.folder)):
                    self.source.problem(piece, fault.cause, fault.cure)

    # sections

    def _begin_section(self, line: Piece) -> None:
        match = _SECTION.fullmatch(line.text)
        if match is None:
            cause = "This section needs a name."
            cure = "Write a letter, then letters or digits: section A, section B2 = B."
            self.source.problem(line, cause, cure)
            self.drafts.append(_SectionDraft("", line))
            return
        base = line.group(match, "base") if match["base"] else None
        name = line.group(match, "name")
        bars = line.group(match, "bars") if match["bars"] is not None else None
        draft = _SectionDraft(name.text, name, base, read_bars(bars, self.source))
        self._take_pickup(draft)
        draft.options = self._options(line.group(match, "options"))
        self.drafts.append(draft)

    def _take_pickup(self, draft: _SectionDraft) -> None:
        """Give the first section the pickup written above its name."""
        above = self.drafts[0] if len(self.drafts) == 1 else None
        if above and above.unnamed and all(s.word == "pickup" for s in above.statements):
            draft.statements += above.statements
            draft.remarks += above.remarks
            self.drafts.clear()

    def _options(self, rest: Piece) -> dict[str, Piece]:
        options: dict[str, Piece] = {}
        end = 0
        for match in _OPTION.finditer(rest.text):
            word = rest.group(match, "word")
            if rest.text[end : match.start()].strip():
                break
            end = match.end()
            if word.text.lower() in OPTIONS:
                options[word.text.lower()] = rest.group(match, "value")
            else:
                near = suggestion(word.text, OPTIONS)
                cause = f'A section has no "{word}".'
                self.source.problem(word, cause, f"{near}It may have {', '.join(OPTIONS)}.")
        left = rest.cut(end).strip()
        if left.text:
            cause = f'"{left}" does not belong after a section\'s name.'
            cure = "Write section B, section B2 = B:1-4, or section B  feel: two  tempo: x2."
            self.source.problem(left, cause, cure)
        return options

    def _distinct(self) -> dict[str, _SectionDraft]:
        """The drafts by name, without those that have none or one already taken."""
        drafts: dict[str, _SectionDraft] = {}
        for draft in self.drafts:
            if draft.name in drafts:
                before = drafts[draft.name]
                cause = f"Section {draft.name} is already defined on line {before.line.line}."
                cure = "Give this one another name."
                if before.unnamed:
                    cause = f"Line {before.line.line} begins a section without a name, which is A."
                    cure = "Give this one another name, or name that one too."
                self.source.problem(draft.line, cause, cure)
            elif draft.name:
                drafts[draft.name] = draft
        for draft in drafts.values():
            self._check_base(draft, drafts)
        return drafts

    def _check_base(self, draft: _SectionDraft, drafts: dict[str, _SectionDraft]) -> None:
        if draft.base is None:
            return
        if draft.base.text not in drafts:
            near = suggestion(draft.base.text, drafts)
            cause = f"Section {draft.name} copies section {draft.base}, but there is none."
            others = ", ".join(name for name in drafts if name != draft.name)
            self.source.problem(draft.base, cause, f"{near}The others are: {others or 'none'}.")
            self.broken.add(draft.name)
            return
        line = [d.name for d in _ancestors(draft, drafts)]
        if draft.name in line:
            path = " = ".join([draft.name, *line[: line.index(draft.name) + 1]])
            cause = f"Section {draft.name} copies itself: {path}."
            self.source.problem(draft.base, cause, "Write out the bars of one of them.")
            self.broken.add(draft.name)
        elif len(line) > DERIVED:
            if len(line) == DERIVED + 1:
                cause = f"Section {draft.name} is derived through more than {DERIVED} others."
                self.source.problem(draft.base, cause, "Write out the bars of one of them.")
            self.broken.add(draft.name)

    def _section(self, draft: _SectionDraft, drafts: dict[str, _SectionDraft]) -> Section:
        line = [draft, *_ancestors(draft, drafts)]
        sounding = [d.options["meter"] for d in line if "meter" in d.options]
        # read again without recording its problems, which its own section records
        meter = read_meter(sounding[-1], Source(self.source.text, "")) if sounding else None
        reader = SectionReader(self.source, meter or self._meter, self._opened(draft))
        section = reader.read(draft.statements, first=draft is self.drafts[0])
        if reader.broken:
            self.broken.add(section.name)
        return section

    def _opened(self, draft: _SectionDraft) -> Section:
        """The section without its bars: its first line."""
        options, source = draft.options, self.source
        for word, value in options.items():
            if not value.text:
                source.problem(
                    value, f'Nothing follows "{word}:".', "Write it, or delete the word."
                )
        options = {word: value for word, value in options.items() if value.text}
        if draft.base is not None and "meter" in options:
            cause = f"A derived section has the meter of its base, {draft.base}."
            source.problem(options["meter"], cause, "Delete the meter, or write a new section.")
        feel = options.get("feel")
        return Section(
            name=draft.name,
            base=draft.base.text if draft.base else None,
            base_bars=draft.base_bars,
            feel=read_feel(feel) if feel else None,
            key=read_key(options["key"], source) if "key" in options else None,
            meter=read_meter(options["meter"], source) if "meter" in options else None,
            tempo_ratio=(
                read_ratio(options["tempo"], self._tempo, source) if "tempo" in options else None
            ),
            remarks=tuple(draft.remarks),
            span=draft.line.span,
        )

    def _refuse_nothing(self) -> None:
        if not self.drafts:
            where = Piece(self.source.lines[-1], len(self.source.lines))
            cure = "Write them between bar lines, such as | Cm7 | F7 | Bbmaj7 | % |."
            if not self.header_lines:
                cure = "Write a line such as key: F, and under it the bars: | Gm7 | C7 | F6 | % |."
            self.source.problem(where.strip(), "This tune has no bars.", cure)


def _is_section(line: Piece) -> bool:
    return re.match(r"(?i:section)(\s|$)", line.text) is not None


def _ancestors(draft: _SectionDraft, drafts: dict[str, _SectionDraft]) -> Iterator[_SectionDraft]:
    """The bases of a draft, the nearest first; each once where they form a circle."""
    seen: set[str] = set()
    while draft.base is not None and draft.base.text in drafts and draft.base.text not in seen:
        seen.add(draft.base.text)
        draft = drafts[draft.base.text]
        yield draft
