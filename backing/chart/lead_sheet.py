"""A tune on paper: its sections one after another, with their signs and bar numbers.

The sections of the head come in order, each use written out with its own bar numbers; then those
that are played only when soloing or to end the tune. Repeats and endings stay as written, so a
bar inside a repeat has a number for each time it is played.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import takewhile

from backing.chart.bar import Change, Directions, Meter
from backing.chart.cue import SectionBar
from backing.chart.form import ORDERS, Form
from backing.chart.pitch import Key
from backing.chart.section import Section, SectionUse, WrittenBar
from backing.chart.unfold import playing_order, section_bars, single_bars


@dataclass(frozen=True, slots=True)
class SheetBar:
    """A bar on paper.

    ``numbers``: those it has in the chorus as played, one for each time (empty: a pickup);
    ``places``: the same counted within its section. ``changes`` are what sounds in it the first
    time, whatever its ``sign``: "%" and, in the two bars of a ``%%``, "%%" and "%%2".
    ``solos``: other changes for soloing, None where they are the same. ``opens``, ``ending`` and
    ``closes``: see WrittenBar. ``later`` are directions that differ when it is repeated.
    """

    numbers: tuple[int, ...]
    places: tuple[int, ...]
    length: Fraction
    changes: tuple[Change, ...]
    sign: str = ""
    opens: bool = False
    ending: tuple[int, ...] = ()
    closes: int = 0
    directions: Directions = Directions()  # noqa: RUF009 - a frozen value
    later: tuple[Directions, ...] = ()
    solos: tuple[Change, ...] | None = None

    @property
    def hold(self) -> Fraction | None:
        """The beat under a fermata; where that differs when it is repeated, words say it."""
        return None if self.later else self.directions.hold

    @property
    def in_words(self) -> Directions:
        """What of its directions words say."""
        return self.directions if self.later else replace(self.directions, hold=None)


@dataclass(frozen=True, slots=True)
class SheetSection:
    """A use of a section on paper; ``order`` is the first of ORDERS that plays it."""

    name: str
    role: str
    order: str
    key: Key
    meter: Meter
    feel: str
    tempo_ratio: Fraction
    bars: tuple[SheetBar, ...]


def lead_sheet(form: Form) -> tuple[SheetSection, ...]:
    """The sections of a form as a lead sheet shows them."""
    sheet: list[SheetSection] = []
    seen: set[str] = set()
    for order in ORDERS:
        numbers: dict[str, int] = {}
        for index, use in enumerate(form.order(order)):
            section = form.section(use.name)
            first = numbers.get(use.role, 0) + 1
            pickup = order == "head" and index == 0
            bars = tuple(_bars(form, section, use, first, pickup=pickup))
            numbers[use.role] = max((n for bar in bars for n in bar.numbers), default=first - 1)
            if order == "head" or use.name not in seen:
                own = form.key_of(section), form.meter_of(section), form.feel_of(section)
                ratio = form.tempo_ratio_of(section)
                sheet.append(SheetSection(use.name, section.role, order, *own, ratio, bars))
        seen |= {use.name for use in form.order(order)}
    return tuple(sheet)


def endings_over(bars: Sequence[SheetBar]) -> Iterator[tuple[tuple[int, ...], bool]]:
    """For each bar the times of the ending over it, and whether its bracket goes no further.

    An ending that no repeat ends has its bracket over its first bar alone.
    """
    times: tuple[int, ...] = ()
    for at, bar in enumerate(bars):
        times = bar.ending or times
        rest = takewhile(lambda later: not later.ending, bars[at + 1 :])
        last = bool(bar.closes) or not any(later.closes for later in rest)
        yield times, last
        if last:
            times = ()


def _bars(
    form: Form, section: Section, use: SectionUse, first: int, *, pickup: bool
) -> Iterator[SheetBar]:
    length = Fraction(form.meter_of(section).beats)
    if pickup and section.pickup and (use.first or 1) == 1:
        yield SheetBar((), (), section.pickup.length, section.pickup.changes)
    played = section_bars(section, {each.name: each for each in form.sections})
    written = _written(section)
    if use.first is not None:
        part = range(use.first, (use.last or use.first) + 1)
        for number, place in enumerate(part, first):
            yield _plain(played[place - 1], number, place, length)
    elif written is None:
        for place, bar in enumerate(played, 1):
            yield _plain(bar, first + place - 1, place, length)
    else:
        yield from _signed(written, played, first, length)


def _plain(bar: SectionBar, number: int, place: int, length: Fraction) -> SheetBar:
    solos = None if bar.head == bar.solos else bar.solos
    return SheetBar((number,), (place,), length, bar.head, directions=bar.directions, solos=solos)


def _signed(
    written: Sequence[tuple[WrittenBar, str]],
    played: Sequence[SectionBar],
    first: int,
    length: Fraction,
) -> Iterator[SheetBar]:
    """The bars as written, each with what is played there."""
    order = playing_order([bar for bar, _ in written])
    for index, (bar, sign) in enumerate(written):
        places = tuple(place for place, at in enumerate(order, 1) if at == index)
        if not places:
            continue
        plain = _plain(played[places[0] - 1], first + places[0] - 1, places[0], length)
        later = tuple(played[place - 1].directions for place in places[1:])
        yield replace(
            plain,
            numbers=tuple(first + place - 1 for place in places),
            places=places,
            sign=sign,
            opens=bar.opens,
            ending=bar.ending,
            closes=bar.closes,
            later=later if set(later) - {plain.directions} else (),
        )


def _written(section: Section) -> list[tuple[WrittenBar, str]] | None:
    """The bars of a section and the sign each shows; ``%%`` is two. None in a derived section."""
    if section.base is not None:
        return None
    bars: list[tuple[WrittenBar, str]] = []
    for bar in (bar for row in section.rows for bar in row.bars):
        signs = (bar.sign,) if bar.count == 1 else ("%%", "%%2")
        bars += zip(single_bars(bar), signs, strict=True)
    return bars
