"""The form of a tune: as written (sections, orders) and as played (bars in a row)."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction

from backing.chart.bar import Meter, PlayedBar
from backing.chart.harmony import Chord
from backing.chart.pitch import Interval, Key
from backing.chart.section import Section, SectionUse, feel_path
from backing.chart.selection import selected
from backing.chart.transposition import transposed_roots
from backing.chart.unfold import section_bars
from backing.glossary import HEAD_OUT

ORDERS = ("head", "solos", "out")
"""The ways through a form: the head, one chorus for soloing, the head out."""


def order_name(order: str) -> str:
    """What players call one of ORDERS: "head", "solos", "head out"."""
    return str(HEAD_OUT) if order == "out" else order


@dataclass(frozen=True, slots=True)
class Form:
    """A tune as written.

    ``tempo`` is in beats a minute. ``head``, ``solos`` and ``out`` are the orders as written,
    None for the usual one. ``notes`` are lines for the player, ``remarks``
    comments in the file. ``occasion``: one of bar.OCCASIONS, "" where the tune
    does not say. ``folder`` is where the file is, and where its feel files are looked for.
    """

    title: str
    by: str
    key: Key
    meter: Meter
    tempo: Fraction
    feel: str
    sections: tuple[Section, ...]
    head: tuple[SectionUse, ...] | None = None
    solos: tuple[SectionUse, ...] | None = None
    out: tuple[SectionUse, ...] | None = None
    notes: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    occasion: str = ""
    folder: str = field(default="", compare=False)

    def section(self, name: str) -> Section:
        """The section of that name. Raises KeyError where there is none."""
        return {section.name: section for section in self.sections}[name]

    def order(self, order: str) -> tuple[SectionUse, ...]:
        """The sections of "head", "solos" or "out", as written or as usual.

        The usual head is all sections but ending, coda and tag; the usual solos are its chorus;
        the usual head out is the head without its intro, then ending, coda and tag.
        """
        written = {"head": self.head, "solos": self.solos, "out": self.out}[order]
        if written is not None:
            return written
        closing = tuple(SectionUse(s.name) for s in self.sections if _closes(s))
        if order == "head":
            return tuple(SectionUse(s.name) for s in self.sections if not _closes(s))
        head = self.order("head")
        if order == "solos":
            return tuple(use for use in head if use.role == "chorus")
        out = tuple(use for use in head if use.role != "intro")
        return out if any(map(_closes, out)) else out + closing

    def played(self, order: str) -> tuple[PlayedBar, ...]:
        """The bars of "head", "solos" (one chorus) or "out" (the head out), in a row.

        A pickup sounds only at the very start of the head: later the bar before has it. Solos go on
        in time; of holds and ritardandos, those that end the head wait for the head out.
        """
        bars = [bar.slowed() for bar in _played(self, order)]
        waits = 0 if order == "solos" else len(bars)
        while order == "head" and waits and not bars[waits - 1].directions.in_time:
            waits -= 1
        return (*bars[:waits], *(bar.in_time() for bar in bars[waits:]))

    def select(self, text: str) -> tuple[PlayedBar, ...]:
        """Bars by number ("13-16", "13") or place ("B", "B:5-8", "intro", "intro:1-2").

        Numbers may go on over the end of the chorus into its top ("31-2", or "30-34" of 32 bars),
        and runs may be joined ("A B", "B A:1-2"). They are looked for in the solos, then in the
        head, then in the head out; of a section that is used several times the use counts that
        stands beside the run it is joined with, else the first.

        Raises:
            SelectionError: there are no such bars; the message says which there are.
        """
        return selected(text, {order: self.played(order) for order in ("solos", "head", "out")})

    def key_of(self, section: Section) -> Key:
        """The key a section sounds in: its own, its base's or the tune's."""
        return next((s.key for s in self._line(section) if s.key), self.key)

    def meter_of(self, section: Section) -> Meter:
        """The meter of a section."""
        return next((s.meter for s in self._line(section) if s.meter), self.meter)

    def feel_of(self, section: Section) -> str:
        """The feel of a section, as the tune names it."""
        return next((s.feel for s in self._line(section) if s.feel), self.feel)

    def feel_place(self, section: Section) -> str:
        """Where the feel of a section is found: its name, or the path of its file."""
        return feel_path(self.feel_of(section), self.folder)

    def feel_places(self) -> tuple[str, ...]:
        """Where all feels of the tune are found, each once."""
        named = (self.feel, *(section.feel for section in self.sections if section.feel))
        return tuple(dict.fromkeys(feel_path(name, self.folder) for name in named))

    def tempo_ratio_of(self, section: Section) -> Fraction:
        """How much faster than the tune a section goes."""
        ratios = (s.tempo_ratio for s in self._line(section) if s.tempo_ratio)
        return next(ratios, Fraction(1))

    def _line(self, section: Section) -> Iterator[Section]:
        """A section, its base, the base of that, and so on."""
        yield section
        while section.base is not None:
            section = self.section(section.base)
            yield section

    def transposed(self, interval: Interval) -> Form:
        """The same tune in another key, its names spelled as the new keys have them; in its own key
        they stay as they are written."""
        if not interval.fifths:
            return self
        runs: defaultdict[Key, list[list[Chord | None]]] = defaultdict(list)
        for section in self.sections:
            runs[self.key_of(section)] += section.runs()
        ways = {key: (key.spelled(interval), key.transposed(interval)) for key in runs}
        roots = {key: transposed_roots(mine, *ways[key]) for key, mine in runs.items()}
        sections = tuple(
            section.transposed(*ways[key], roots[key])
            for section in self.sections
            for key in [self.key_of(section)]
        )
        return replace(self, key=self.key.transposed(interval), sections=sections)


def _closes(part: Section | SectionUse) -> bool:
    return part.role in ("ending", "coda", "tag")


def _played(form: Form, order: str) -> Iterator[PlayedBar]:
    """The bars of an order, counted; see Form.played."""
    sections = {section.name: section for section in form.sections}
    uses = form.order(order)
    unfolded = {use.name: section_bars(sections[use.name], sections) for use in uses}
    numbers: Counter[str] = Counter()
    for index, use in enumerate(uses):
        section, bars = sections[use.name], unfolded[use.name]
        first, last = use.first or 1, use.last or len(bars)
        meter = form.meter_of(section)
        frame = PlayedBar(
            number=0,
            role=section.role,
            section=section.name,
            section_use=index,
            section_bar=0,
            section_bars=last,
            meter=meter,
            length=Fraction(meter.beats),
            key=form.key_of(section),
            feel=form.feel_place(section),
            changes=(),
            tempo_ratio=form.tempo_ratio_of(section),
        )
        if index == 0 and first == 1 and order == "head" and section.pickup:
            yield replace(frame, length=section.pickup.length, changes=section.pickup.changes)
        for at, bar in enumerate(bars[first - 1 : last], first):
            numbers[section.role] += 1
            yield replace(
                frame,
                number=numbers[section.role],
                section_bar=at,
                changes=bar.solos if order == "solos" else bar.head,
                directions=bar.directions,
            )
