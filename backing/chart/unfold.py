"""Sections unfolded: signs become bars, repeats are written out, cues reach their bars."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from backing.chart.bar import Change
from backing.chart.cue import SectionBar, apply_cue
from backing.chart.section import Replacement, Row, Section, WrittenBar

BAR_LIMIT = 1000
"""The most bars an order may have: an hour at 66 bpm."""

Changes = tuple[Change, ...]


def section_bars(section: Section, sections: Mapping[str, Section]) -> list[SectionBar]:
    """Unfold a section into its bars as they sound, without the pickup.

    ``sections`` are those it may be derived from. At most BAR_LIMIT + 1 bars are unfolded: one
    too many shows that there are too many.
    """
    if section.base is None:
        written, bars = _sounding(section.rows)
        unfolded = [bars[index] for index in playing_order(written)]
    else:
        unfolded = section_bars(sections[section.base], sections)
        if section.base_bars is not None:
            first, last = section.base_bars
            unfolded = unfolded[first - 1 : last]
        for replacement in section.replacements:
            _put_in(replacement, unfolded)
    for cue in section.cues:
        unfolded = apply_cue(cue, unfolded)
    return unfolded


def _sounding(rows: Sequence[Row]) -> tuple[list[WrittenBar], list[SectionBar]]:
    """Every bar as written and as it sounds; ``%%`` becomes two of each."""
    written: list[WrittenBar] = []
    bars: list[SectionBar] = []
    for row in rows:
        for bar in row.bars:
            written += single_bars(bar)
        _sound(row, bars)
    return written, bars


def single_bars(bar: WrittenBar) -> list[WrittenBar]:
    """A bar as written; of ``%%`` both bars it stands for."""
    if bar.count == 1:
        return [bar]
    return [replace(bar, closes=0), WrittenBar(closes=bar.closes)]


def _sound(row: Row, bars: list[SectionBar]) -> None:
    """Append the bars of a row as they sound after the ``bars`` before it."""
    start = len(bars)
    for bar in row.bars:
        heads = [b.head for b in bars[-bar.count :]] if bar.sign else [bar.changes]
        bars += [SectionBar(head, head) for head in heads]
    index = start
    for cell in row.solos:
        if cell is None:
            index += 1
            continue
        before = [b.solos for b in bars[index - cell.count : index]]
        for changes in before if cell.sign else [cell.changes]:
            bars[index] = replace(bars[index], solos=changes)
            index += 1


def _put_in(replacement: Replacement, bars: list[SectionBar]) -> None:
    """Put the bars of a replacement in place; hits and stops stay there, pushes do not."""
    start = replacement.first - 1
    fresh = [_unpushed(bar) for bar in bars[max(0, start - 2) : start]]
    kept = len(fresh)
    _sound(replacement.row, fresh)
    for index, bar in enumerate(fresh[kept:], start):
        bars[index] = replace(bar, directions=bars[index].directions)


def _unpushed(bar: SectionBar) -> SectionBar:
    head, solos = (
        tuple(replace(c, early=Fraction(0)) for c in changes) for changes in (bar.head, bar.solos)
    )
    return SectionBar(head, solos)


def playing_order(bars: Sequence[WrittenBar]) -> list[int]:
    """The indexes of written bars in the order they are played, repeats and endings written out.

    A ``:|`` without ``|:`` goes back to the end of the repeat before it, or to the start. Stops
    after BAR_LIMIT + 1 bars.
    """
    order: list[int] = []
    start, turn = 0, 1  # of the repeat the player is in
    ends_here = False
    index = 0
    while index < len(bars) and len(order) <= BAR_LIMIT:
        bar = bars[index]
        if bar.opens:
            start, turn = index, turn if start == index else 1
            ends_here = False
        if bar.ending:
            if turn not in bar.ending:
                index = _next_ending(bars, index)
                continue
            ends_here = True
        order.append(index)
        index += 1
        if bar.closes and (ends_here or turn < bar.closes):
            index, turn, ends_here = start, turn + 1, False
        elif bar.closes:
            start, turn = index, 1
    return order


def _next_ending(bars: Sequence[WrittenBar], index: int) -> int:
    later = (i for i in range(index + 1, len(bars)) if bars[i].ending)
    return next(later, len(bars))
