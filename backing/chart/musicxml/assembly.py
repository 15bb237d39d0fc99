"""Bars to sections: where a section begins, what it is called, in which order they come."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

from backing.chart.cue import Cue, Push
from backing.chart.form import ORDERS, Form
from backing.chart.musicxml.measures import Measure
from backing.chart.musicxml.placing import TWO, Bar, placed_bars
from backing.chart.musicxml.report import MOST_TOLD, Report
from backing.chart.musicxml.told import Listener, Told, cues_of
from backing.chart.section import ROLES, Pickup, Row, Section, SectionUse, WrittenBar
from backing.chart.text.header import FASTEST, SLOWEST
from backing.chart.unfold import playing_order
from backing.errors import UserError, quoted

_DEFAULT_TEMPO = Fraction(120)
_BARS_A_ROW = 4
_JUMPS = ("dacapo", "dalsegno")
_PART_OF = re.compile(r".+:\d+(?:-\d+)?")
"""The mark of a section of which only some bars come here, "A:1-6"."""
_LOWEST_RATIO, _HIGHEST_RATIO = Fraction(1, 4), Fraction(4)


@dataclass(slots=True)
class _Stretch:
    """The bars of one section; ``part``: it is a part of another section."""

    bars: list[Bar]
    name: str = ""
    part: bool = False
    told: Told = field(default_factory=Told)


class Assembly:
    """The form of a lead sheet's measures, which are placed once.

    Raises UserError for faults that are not skipped, and where there is only a pickup.
    """

    def __init__(self, measures: Sequence[Measure], title: str, by: str, report: Report) -> None:
        self.title, self.by, self.report = title, by, report
        self.bars, self.pickup = placed_bars(measures, report)
        self.report.finish()
        if self.pickup:
            self.first, self.bars = self.bars[0], self.bars[1:]
        if not self.bars:
            raise UserError("This file has only a pickup.", "Write the bars after it.")
        self.transpose = next((m.transpose for m in measures if m.transpose), None)
        self.tangled = _tangled(self.bars)

    def form(self, *, unroll: bool, ordered: bool) -> Form:
        """The form; with ``unroll`` its repeats are written out, ``ordered`` as its words say."""
        unroll = unroll or self.tangled
        indexes = list(range(len(self.bars)))
        if unroll:
            indexes = playing_order([bar.written for bar in self.bars])
        stretches = _stretches(self.bars, indexes, signs=not unroll)
        listener = Listener()
        for stretch in stretches:
            stretch.told = listener.hear(stretch.bars)
        orders = listener.orders if ordered else {}
        if orders:
            stretches = [stretch for stretch in stretches if not stretch.part]
        form = _form(stretches, self.title, self.by, orders, plain=unroll)
        if self.pickup:
            changes = tuple(replace(c, early=Fraction(0)) for c in self.first.changes)
            opening = replace(form.sections[0], pickup=Pickup(changes, self.pickup))
            form = replace(form, sections=(opening, *form.sections[1:]))
        if self.transpose and self.transpose.semitones % 12:
            form = form.transposed(self.transpose)
        _told_words(listener, self.report)
        return replace(form, remarks=tuple(self.report.notes))


def _told_words(listener: Listener, report: Report) -> None:
    """Tell which words nothing has come of."""
    said: dict[str, list[str]] = {}
    for text, number in listener.unheard:
        said.setdefault(text, []).append(number)
    if said:
        shown = [
            f"{quoted(text)} ({', '.join(dict.fromkeys(numbers))})"
            for text, numbers in list(said.items())[:MOST_TOLD]
        ]
        more = f" and {len(said) - MOST_TOLD} more" if len(said) > MOST_TOLD else ""
        report.note(f"Words with nothing to play, by measure: {', '.join(shown)}{more}.")


def _stretches(bars: Sequence[Bar], indexes: Sequence[int], *, signs: bool) -> list[_Stretch]:
    """The bars cut where a section begins; ``signs``: never inside a repeat."""
    within = _inside_repeats(bars) if signs else set()
    stretches: list[_Stretch] = []
    for at, index in enumerate(indexes):
        bar = bars[index]
        before = bars[indexes[at - 1]] if at else None
        forced = before is not None and _changes(before, bar)
        marked = (bar.first and bool(bar.source.rehearsal)) or bar.jumps("segno", "coda")
        after_jump = before is not None and signs and before.jumps("tocoda", "fine", *_JUMPS)
        if not stretches or forced or ((marked or after_jump) and index not in within):
            part = bool(_PART_OF.fullmatch(bar.source.rehearsal))
            stretches.append(_Stretch([], _name(bar.source), part))
        stretches[-1].bars.append(bar)
    return stretches


def _inside_repeats(bars: Sequence[Bar]) -> set[int]:
    """The indexes of bars inside a repeat, where no section can begin."""
    within: set[int] = set()
    start = 0
    for index, bar in enumerate(bars):
        written = bar.written
        if written.opens:
            start = index
        if written.ending or written.closes:
            within |= set(range(start + 1, index + 1))
        if written.closes:
            following = bars[index + 1].written if index + 1 < len(bars) else None
            if following is None or not following.ending:
                start = index + 1
    return within


def _tangled(bars: Sequence[Bar]) -> bool:
    """Whether key or meter change inside a repeat, which a section cannot."""
    within = _inside_repeats(bars)
    changing = (at for at in range(1, len(bars)) if _changes(bars[at - 1], bars[at]))
    return any(at in within for at in changing)


def _changes(before: Bar, bar: Bar) -> bool:
    return (before.key, before.meter) != (bar.key, bar.meter)


def _name(measure: Measure) -> str:
    """The name of a section from its mark; "" if that cannot be a name."""
    if "coda" in measure.jumps and not measure.rehearsal:
        return "coda"
    word = re.sub(r"[^\w']|_", "", measure.rehearsal)
    word = word if re.fullmatch(r"[^\W\d].{0,20}", word) else ""
    return word.lower() if word.lower().rstrip("0123456789") in ROLES else word


def _form(
    stretches: list[_Stretch],
    title: str,
    by: str,
    orders: dict[str, tuple[SectionUse, ...]],
    *,
    plain: bool,
) -> Form:
    first = stretches[0].bars[0]
    tempo = next((b.source.tempo for s in stretches for b in s.bars if b.source.tempo), None)
    usual = next((s.told.feel for s in stretches if s.told.feel), TWO if first.in_two else "swing")
    feel, ratio = usual, Fraction(1)
    sections: dict[str, Section] = {}
    uses: list[str] = []
    for stretch in stretches:
        opening = stretch.bars[0].source
        if opening.tempo and tempo and _LOWEST_RATIO <= opening.tempo / tempo <= _HIGHEST_RATIO:
            ratio = opening.tempo / tempo * first.meter.beat_quarters
            ratio /= stretch.bars[0].meter.beat_quarters
        feel = stretch.told.feel or feel
        section = _section(stretch, first, plain=plain)
        section = replace(
            section,
            feel=feel if feel != usual else None,
            tempo_ratio=ratio if ratio != 1 else None,
        )
        uses.append(_place(section, sections))
    form = Form(
        title=title,
        by=by,
        key=first.key,
        meter=first.meter,
        tempo=_tempo(tempo, first),
        feel=usual,
        sections=tuple(sections.values()),
    )
    if orders:
        head, solos, out = (orders.get(order) for order in ORDERS)
        return replace(form, head=head, solos=solos, out=out)
    return _ordered(form, stretches, uses)


def _place(section: Section, sections: dict[str, Section]) -> str:
    """Add a section under a name of its own, or find the one that has the same bars."""
    base = section.name or _next_letter(sections)
    name, number = base, 1
    while name in sections:
        if replace(sections[name], name="") == replace(section, name=""):
            return name
        number += 1
        name = f"{base}{number}" if not base[-1].isdigit() else f"{base}v{number}"
    sections[name] = replace(section, name=name)
    return name


def _next_letter(sections: dict[str, Section]) -> str:
    return next(c for c in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" if c not in sections or c == "Z")


def _section(stretch: _Stretch, first: Bar, *, plain: bool) -> Section:
    key, meter = stretch.bars[0].key, stretch.bars[0].meter
    written = [bar.written for bar in stretch.bars]
    if plain:
        written = [WrittenBar(bar.changes) for bar in written]
    cues = (*cues_of(stretch.told, written, meter), *_pushes(written))
    written = [
        replace(bar, changes=tuple(replace(c, early=Fraction(0)) for c in bar.changes))
        for bar in written
    ]
    signed = _with_repeat_signs(written)
    rows = []
    for at in range(0, len(signed), _BARS_A_ROW):
        solos = [stretch.told.solos.get(n) for n in range(at, min(at + _BARS_A_ROW, len(signed)))]
        rows.append(Row(tuple(signed[at : at + _BARS_A_ROW]), tuple(solos) if any(solos) else ()))
    return Section(
        name=stretch.name,
        rows=tuple(rows),
        cues=tuple(cues),
        key=key if key != first.key else None,
        meter=meter if meter != first.meter else None,
    )


def _with_repeat_signs(bars: Sequence[WrittenBar]) -> list[WrittenBar]:
    """The bars with ``%`` where one is the bar before again."""
    signed = list(bars[:1])
    for before, bar in pairwise(bars):
        alike = before.changes == bar.changes and not before.closes
        again = alike and not bar.opens and not bar.ending
        signed.append(replace(bar, changes=(), sign="%") if again else bar)
    return signed


def _pushes(written: Sequence[WrittenBar]) -> Iterable[Cue]:
    """A cue for every pushed chord, in each bar as it is played."""
    for place, index in enumerate(playing_order(written), 1):
        for change in written[index].changes:
            if change.early:
                yield Push(place, place, (change.onset,), change.early)


def _tempo(quarters: Fraction | None, first: Bar) -> Fraction:
    if quarters is None:
        return _DEFAULT_TEMPO
    return min(max(quarters * first.quarter, Fraction(SLOWEST)), Fraction(FASTEST))


def _ordered(form: Form, stretches: Sequence[_Stretch], uses: Sequence[str]) -> Form:
    """The form with its orders, if sections are repeated or there is a jump."""
    bars = [(at, bar) for at, stretch in enumerate(stretches) for bar in stretch.bars]

    def at_jump(*names: str, after: int = -1) -> int | None:
        return next((at for at, bar in bars if at > after and bar.jumps(*names)), None)

    end = at_jump(*_JUMPS)
    main = [use for use in uses if _is_main(use)]
    if end is None:
        again = len(set(main)) < len(main)
        return replace(form, head=_uses(main)) if again else form
    back = next(bar for at, bar in bars if bar.jumps(*_JUMPS))
    start = (at_jump("segno") or 0) if back.jumps("dalsegno") else 0
    fine, to_coda = at_jump("fine"), at_jump("tocoda")
    head = [use for use in uses[: end + 1] if _is_main(use)]
    if to_coda is None:
        stop = end if fine is None else fine
        return replace(form, head=_uses([*head, *uses[start : stop + 1]]))
    found = at_jump("coda", after=end)
    coda = end + 1 if found is None else found
    out = [*uses[start : to_coda + 1], *uses[coda:]]
    return replace(form, head=_uses(head), out=_uses(out))


def _is_main(use: str) -> bool:
    return use.rstrip("0123456789") not in ("coda", "ending", "tag")


def _uses(names: Iterable[str]) -> tuple[SectionUse, ...]:
    return tuple(map(SectionUse, names))
