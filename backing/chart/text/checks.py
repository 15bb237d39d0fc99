"""Checks of a tune as a whole: repeats can be played, named bars exist, orders fit together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set

from backing.chart.cue import Cue, Push, SectionBar
from backing.chart.form import ORDERS, Form, order_name
from backing.chart.section import Section, SectionUse, WrittenBar
from backing.chart.text.bar_line import ReadBar
from backing.chart.text.cue_line import beat_text
from backing.chart.text.header import Header
from backing.chart.text.source import Piece, Source, suggestion
from backing.chart.unfold import BAR_LIMIT, section_bars
from backing.errors import Span


def check_repeats(cells: Sequence[ReadBar], source: Source) -> None:
    """Report repeats that are not closed, and endings that are missing or never reached."""
    opened: Piece | None = None
    endings: list[ReadBar] = []
    closed = False
    for cell in cells:
        if cell.bar.opens:
            if not endings:
                _check_closed(opened, source)
            _check_endings(endings, closed, source)
            opened, endings, closed = cell.left, [], False
        _check_step(cell, endings, closed, source)
        if cell.bar.ending:
            endings.append(cell)
            closed = False
        if cell.bar.closes:
            opened, closed = None, True
    if not endings:
        _check_closed(opened, source)
    _check_endings(endings, closed, source)


def _check_step(cell: ReadBar, endings: Sequence[ReadBar], closed: bool, source: Source) -> None:
    """Report an ending that does not follow the one before it as it should."""
    if cell.bar.ending and endings and not closed:
        cause = "The ending before this one has no :|."
        source.problem(cell.mark, cause, "Write :| where it ends.")
    if not cell.bar.ending and endings and closed:
        turn = max(endings[-1].bar.ending, default=0) + 1
        cause = f"Ending {turn} should begin here, where the one before it ends."
        source.problem(
            cell.bar.span or cell.left, cause, f"Write [{turn}] at the start of this bar."
        )
    if cell.bar.closes not in (0, 2) and (endings or cell.bar.ending):
        cause = "Endings already say how often the repeat is played."
        source.problem(cell.right, cause, "Delete the count or the endings.")


def _check_closed(opened: Piece | None, source: Source) -> None:
    if opened is not None:
        source.problem(
            opened, "This repeat is not closed.", "Write :| where it ends, in the same section."
        )


def _check_endings(endings: Sequence[ReadBar], closed: bool, source: Source) -> None:
    """Report endings of a repeat that skip a number, repeat one, or are out of order."""
    if not endings:
        return
    passes = [turn for cell in endings for turn in cell.bar.ending]
    missing = next((n for n in range(1, max(passes, default=0) + 2) if n not in passes), 1)
    last = endings[-1].mark
    if passes != sorted(set(passes)):
        cause = "These endings repeat a number, or are out of order."
        source.problem(last, cause, "Write each number once, such as [1,2] and then [3].")
    elif missing < max(passes) or passes == [1]:
        source.problem(last, f"Ending {missing} is missing.", f"Write [{missing}] where it begins.")
    elif closed and len(endings) > 0:
        source.problem(
            last,
            "The last ending is not repeated.",
            "Delete its :|, or add an ending.",
        )


def bars_back(bars: Sequence[WrittenBar]) -> list[int]:
    """How many bars % may look back from each bar: to the start of its section, repeat or ending.

    Counts bars, so a ``%%`` has two entries.
    """
    reaches: list[int] = []
    back = 0
    for bar in bars:
        if bar.opens or bar.ending:
            back = 0
        for _ in range(bar.count):
            reaches.append(back)
            back += 1
    return reaches


def check_sign(bar: WrittenBar, back: int, source: Source) -> None:
    """Report a % with too few bars (``back``) before it to repeat."""
    needed = {"%": 1, "%%": 2}.get(bar.sign, 0)
    if needed > back and bar.span is not None:
        bars = "a bar" if needed == 1 else "two bars"
        cause = f"{bar.sign} repeats {bars} before it, but a section, repeat or ending begins here."
        source.problem(bar.span, cause, "Write the chords out.")


class FormCheck:
    """Checks the sections of a tune and the orders they are played in.

    Sections that are ``broken``, and those derived from them, are skipped: their bars cannot
    be counted.
    """

    def __init__(self, source: Source, sections: tuple[Section, ...], broken: Set[str]) -> None:
        self.source = source
        self.sections = {section.name: section for section in sections}
        self.broken = set(broken)
        self.lengths: dict[str, int] = {}

    def check_sections(self) -> None:
        """Report replacements and cues for bars that are not there."""
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
        """Whether the base of a section, ``length`` bars, has the bars that are taken of it."""
        span = section.span or Span(1, 1)
        if section.base_bars is not None:
            use = SectionUse(str(section.base), *section.base_bars, span)
            if not self._inside(use, length):
                return False
            length = section.base_bars[1] - section.base_bars[0] + 1
        for part in section.replacements:
            if part.last > length:
                bars = SectionUse(str(section.base), *(section.base_bars or ()))
                cause = f"There is no bar {part.last} in {bars}, which has {_count(length)}."
                cure = f"Name bars from 1 to {length}."
                self.source.problem(part.row.bars[0].span or span, cause, cure)
                return False
        return True

    def _check_cue(self, cue: Cue, bars: list[SectionBar]) -> None:
        span = cue.span or Span(1, 1)
        if cue.last > len(bars):
            cause = f"There is no bar {cue.last} in this section, which has {_count(len(bars))}."
            self.source.problem(span, cause, f"Name bars from 1 to {len(bars)}.")
        elif isinstance(cue, Push):
            for index in range(cue.first - 1, cue.last):
                if not self._check_push(cue, span, bars[index], index + 1):
                    return

    def _check_push(self, cue: Push, span: Span, bar: SectionBar, number: int) -> bool:
        """Whether every beat of a push has a chord, with room before or after it."""
        heads = [change.onset for change in bar.head]
        pushed = cue.early > 0
        for beat in cue.beats:
            if beat not in heads + [change.onset for change in bar.solos]:
                cause = f"No chord is written on beat {beat_text(beat)} of bar {number}."
                there = ", ".join(map(beat_text, heads))
                cure = f"The bar has chords on {there}."
            elif any(0 < abs(beat - o) <= abs(cue.early) and (o < beat) == pushed for o in heads):
                other = "one before" if pushed else "next one"
                cause = f"So far off its beat, the chord of bar {number} replaces the {other}."
                cure = "Move it by an eighth, or write the chords on other beats."
            else:
                continue
            self.source.problem(span, cause, cure)
            return False
        return True

    def check_orders(self, header: Header) -> None:
        """Report sections and bars that are named in the orders but are not there."""
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
        if length is not None:
            self._inside(use, length)

    def _inside(self, use: SectionUse, length: int) -> bool:
        """Whether the bars of a use are those of a section of ``length`` bars."""
        if use.first is None or use.last is None:
            return True
        span = use.span or Span(1, 1)
        if use.first > use.last or use.first < 1:
            cause = f"{use} runs backwards." if use.first else "Bars are counted from 1."
            self.source.problem(span, cause, "Count from 1, the smaller number first.")
        elif use.last > length:
            cause = f"There is no {use}: section {use.name} has {_count(length)} as played."
            self.source.problem(span, cause, f"Name bars from 1 to {length}.")
        else:
            return True
        return False

    def _apart(self, text: str) -> str:
        """AABA as A A B A, where each letter is a section."""
        apart = len(text) > 1 and all(letter in self.sections for letter in text)
        return " ".join(text) if apart else ""

    def check_played(self, form: Form, lines: Mapping[str, Piece]) -> None:
        """Report orders that are too long or empty, and a pickup that would never sound."""
        first = form.sections[0].span or Span(1, 1)
        for order in ORDERS:
            name = order_name(order)
            where = lines[name].span if name in lines else first
            uses = form.order(order)
            bars = sum(self._use_length(use) for use in uses)
            if bars > BAR_LIMIT:
                cause = f"There are over {BAR_LIMIT:,} bars in the {name}, more than can be played."
                self.source.problem(where, cause, "Write fewer bars, or fewer repeats.")
                return
            if order == "solos" and not any(use.role == "chorus" for use in uses):
                cause = "There is no chorus to solo on: every section is an intro, vamp or ending."
                self.source.problem(where, cause, "Give the chorus a name such as section A.")
        opening = form.order("head")[0].name if form.order("head") else ""
        for section in form.sections:
            if section.pickup and section.pickup.span and section.name != opening:
                cause = f"This pickup would never sound: the head begins with {opening}."
                cure = "Write it into the bar before, or begin the head with its section."
                self.source.problem(section.pickup.span, cause, cure)

    def _use_length(self, use: SectionUse) -> int:
        if use.first is not None and use.last is not None:
            return use.last - use.first + 1
        return self.lengths[use.name]


def _count(bars: int) -> str:
    return f"{bars} bar{'s' * (bars != 1)}"
