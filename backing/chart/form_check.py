"""Whether the parts of a tune fit together: bars that are named exist, orders can be played."""

from __future__ import annotations

from collections.abc import Mapping, Set

from backing.chart.cue import Cue, Push, SectionBar
from backing.chart.form import ORDERS, Form
from backing.chart.section import Section, SectionUse
from backing.chart.text.cue_line import beat_text
from backing.chart.text.header import Header
from backing.chart.text.source import Piece, Source, suggestion
from backing.chart.unfold import BAR_LIMIT, section_bars
from backing.errors import Span


class FormCheck:
    """Checks the sections of a tune and the orders they are played in.

    Sections that are ``broken``, and those derived from them, are passed over: their bars cannot
    be counted.
    """

    def __init__(self, source: Source, sections: tuple[Section, ...], broken: Set[str]) -> None:
        self.source = source
        self.sections = {section.name: section for section in sections}
        self.broken = set(broken)
        self.lengths: dict[str, int] = {}

    def check_sections(self) -> None:
        """Note bars that are replaced or given a cue but are not there."""
        for section in self.sections.values():
            self._length(section)

    def _length(self, section: Section) -> int | None:
        """The bars of a section as played, None where they cannot be counted."""
        if section.name in self.broken:
            return None
        if section.name not in self.lengths:
            base = self.sections.get(section.base) if section.base else None
            if base is not None:
                length = self._length(base)
                if length is None or not self._fits(section, length):
                    self.broken.add(section.name)
                    return None
            bars = section_bars(section, self.sections)
            self.lengths[section.name] = len(bars)
            for cue in section.cues:
                self._check_cue(cue, bars)
        return self.lengths[section.name]

    def _fits(self, section: Section, length: int) -> bool:
        for part in section.replacements:
            if part.last > length:
                cause = f"There is no bar {part.last} in {section.base}: it has {_range(length)}."
                span = part.row.bars[0].span or section.span or Span(1, 1)
                self.source.problem(span, cause, f"Name bars from 1 to {length}.")
                return False
        return True

    def _check_cue(self, cue: Cue, bars: list[SectionBar]) -> None:
        span = cue.span or Span(1, 1)
        if cue.last > len(bars):
            cause = (
                f"There is no bar {cue.last} in this section: it has {_range(len(bars))} as played."
            )
            self.source.problem(span, cause, f"Name bars from 1 to {len(bars)}.")
        elif isinstance(cue, Push):
            for index in range(cue.first - 1, cue.last):
                if not self._check_push(cue, span, bars[index], index + 1):
                    return

    def _check_push(self, cue: Push, span: Span, bar: SectionBar, number: int) -> bool:
        """Whether a chord stands on every beat of a push, with room before or after it."""
        heads = [change.onset for change in bar.head]
        word, other = ("early", "before") if cue.early > 0 else ("late", "after")
        for beat in cue.beats:
            if beat not in heads + [change.onset for change in bar.solos]:
                cause = f"No chord stands on beat {beat_text(beat)} of bar {number}."
                there = ", ".join(map(beat_text, heads))
                cure = f"The bar has chords on {there}."
            elif any(
                0 < abs(beat - o) <= abs(cue.early) and (o < beat) == (cue.early > 0) for o in heads
            ):
                cause = f"So {word} the chord of bar {number} leaves none for the one {other} it."
                cure = "Let it come by an eighth, or write the chords on other beats."
            else:
                continue
            self.source.problem(span, cause, cure)
            return False
        return True

    def check_orders(self, header: Header) -> None:
        """Note sections and bars that are named in the orders but are not there."""
        for uses in (header.head, header.solos, header.out):
            for use in uses or ():
                self._check_use(use)

    def _check_use(self, use: SectionUse) -> None:
        span = use.span or Span(1, 1)
        if use.name not in self.sections:
            names = ", ".join(self.sections) or "none"
            cure = f"{suggestion(use.name, self.sections)}The sections are: {names}."
            letters = self._apart(use.name)
            cure = f"Write {letters}, with spaces between." if letters else cure
            self.source.problem(span, f"There is no section {use.name}.", cure)
            return
        length = self.lengths.get(use.name)
        if length is None or use.first is None or use.last is None:
            return
        if use.first > use.last or use.first < 1:
            cause = f"{use} runs backwards." if use.first else "Bars are counted from 1."
            self.source.problem(span, cause, "Write the smaller number first, from 1 on.")
        elif use.last > length:
            cause = f"{use} is not there: section {use.name} has {_range(length)} as played."
            self.source.problem(span, cause, f"Name bars from 1 to {length}.")

    def _apart(self, text: str) -> str:
        """AABA as A A B A, where each letter is a section."""
        apart = len(text) > 1 and all(letter in self.sections for letter in text)
        return " ".join(text) if apart else ""

    def check_played(self, form: Form, lines: Mapping[str, Piece]) -> None:
        """Note orders that are too long or empty, and a pickup that would never sound."""
        first = form.sections[0].span or Span(1, 1)
        for order in ORDERS:
            where = lines[order].span if order in lines else first
            uses = form.order(order)
            bars = sum(self._use_length(use) for use in uses)
            if bars > BAR_LIMIT:
                cause = f"The {order} has more bars than can be played: over {BAR_LIMIT:,}."
                self.source.problem(where, cause, "Write fewer bars, or fewer repeats.")
                return
            if order == "solos" and not any(use.role == "chorus" for use in uses):
                cause = "There is no chorus to solo on: every section is an intro or an ending."
                self.source.problem(where, cause, "Give the chorus a name such as section A.")
        opening = form.order("head")[0].name if form.order("head") else ""
        for section in form.sections:
            if section.pickup and section.pickup.span and section.name != opening:
                cause = f"This pickup would never sound: the head begins with {opening}."
                cure = "Write it into the bar before, or let its section begin the head."
                self.source.problem(section.pickup.span, cause, cure)

    def _use_length(self, use: SectionUse) -> int:
        if use.first is not None and use.last is not None:
            return use.last - use.first + 1
        return self.lengths[use.name]


def _range(length: int) -> str:
    return f"bars 1-{length}" if length > 1 else "1 bar"
