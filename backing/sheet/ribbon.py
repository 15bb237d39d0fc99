"""The two guide-tone lines under the bars of a chart: the lines that are heard in the solos.

A bar that only the head, the intro or the ending has gets the lines as they are heard there. A
bar inside a repeat gets them as they are heard the first time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import accumulate

from backing.chart.bar import Change, PlayedBar
from backing.chart.form import ORDERS, Form
from backing.chart.lead_sheet import SheetBar, SheetSection, lead_sheet
from backing.chart.printed import printed_degree
from backing.combo.ribbon import make_ribbon


@dataclass(frozen=True, slots=True)
class RibbonPiece:
    """A tone of a line in one bar, ``start`` to ``end`` in parts of the bar.

    ``dashed``: it is of the line from the 7th. ``pitch`` is MIDI; ``degree`` is empty where the
    tone goes on from the bar before.
    """

    dashed: bool
    start: Fraction
    end: Fraction
    pitch: int
    degree: str


Pieces = tuple[RibbonPiece, ...]
_Drawn = dict[tuple[str, int], tuple[PlayedBar, Pieces]]


def section_ribbons(form: Form) -> Iterator[list[Pieces]]:
    """For each section of the lead sheet, the pieces under each of its bars."""
    drawn = {order: _drawn(form.played(order)) for order in ORDERS}
    for section in lead_sheet(form):
        orders = ("solos", "head") if section.order == "head" else (section.order,)
        yield [_under(bar, section, [drawn[order] for order in orders]) for bar in section.bars]


@lru_cache(maxsize=len(ORDERS))
def _drawn(bars: tuple[PlayedBar, ...]) -> _Drawn:
    """The bars of an order by role and number, each with the pieces under it."""
    starts = list(accumulate((bar.length for bar in bars), initial=Fraction(0)))
    pieces: list[list[RibbonPiece]] = [[] for _ in bars]
    for dashed, line in zip((False, True), make_ribbon(bars).lines, strict=True):
        for tone in line:
            at = tone.bar
            while at < len(bars) and starts[at] < tone.end:
                piece = RibbonPiece(
                    dashed,
                    max(tone.start - starts[at], Fraction(0)) / bars[at].length,
                    min(tone.end - starts[at], bars[at].length) / bars[at].length,
                    tone.pitch,
                    printed_degree(tone.degree) if at == tone.bar else "",
                )
                pieces[at].append(piece)
                at += 1
    return {
        (bar.role, bar.number): (bar, tuple(mine)) for bar, mine in zip(bars, pieces, strict=True)
    }


def _under(bar: SheetBar, section: SheetSection, drawn: Sequence[_Drawn]) -> Pieces:
    """The pieces of the first order in which the bar has the changes soloists play."""
    at = section.role, bar.numbers[0] if bar.numbers else 0
    found = [bars[at] for bars in drawn if at in bars]
    for played, pieces in found:
        if played.section == section.name and _same(played.changes, bar.solos or bar.changes):
            return pieces
    return found[-1][1] if found else ()


def _same(some: Sequence[Change], others: Sequence[Change]) -> bool:
    return [(c.onset, c.chord) for c in some] == [(c.onset, c.chord) for c in others]
