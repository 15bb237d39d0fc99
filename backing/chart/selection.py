"""Bars chosen by a player's words: "13-16", "B", "B:5-8", "31-2", "A B", "intro:1-2"."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

from backing.chart.bar import PlayedBar
from backing.errors import SelectionError, quoted

_BARS = r"(?P<first>\d{1,6})(?:\s*[-–]\s*(?P<last>\d{1,6}))?"
_PIECE = re.compile(
    rf"(?:(?P<place>[^\W\d][\w']*)\s*(?::\s*{_BARS})?|{_BARS.replace('P<', 'P<n')})"
    r"(?:\s*,\s*|\s+|$)"
)
MOST_PIECES = 32

Bars = tuple[PlayedBar, ...]
Orders = Mapping[str, Bars]


@dataclass(frozen=True, slots=True)
class _Piece:
    """One run of bars: a ``place`` (a section or a role; empty for the chorus), first and last bar
    (None: all of the place)."""

    place: str
    first: int | None = None
    last: int | None = None

    @property
    def missing(self) -> str:
        if self.first == self.last:
            return f"There is no bar {self.first}"
        return f"There are no bars {self.first}-{self.last}"


def check_selection(text: str | int) -> str:
    """``text`` if it is a selection of bars, whatever the tune; else raises SelectionError."""
    _pieces(str(text))
    return str(text)


def selected(text: str, orders: Orders) -> Bars:
    """The bars that ``text`` names, one run after the other: see Form.select.

    Each run is sought in the first of the ``orders`` that has it whole.
    """
    runs = [_candidates(piece, orders) for piece in _pieces(text)]
    return tuple(bar for run in _joined(runs, orders) for bar in run)


def _pieces(text: str) -> list[_Piece]:
    text = text.strip()
    pieces: list[_Piece] = []
    at = 0
    while at < len(text) and len(pieces) <= MOST_PIECES and (match := _PIECE.match(text, at)):
        first, last = match["first"] or match["nfirst"], match["last"] or match["nlast"]
        pieces.append(
            _Piece(match["place"] or "", int(first), int(last or first))
            if first
            else _Piece(match["place"])
        )
        at = match.end()
    if not pieces or at < len(text):
        raise SelectionError(
            f"{quoted(text)} does not name bars.",
            "Write bars such as 13-16 or 31-2, a section such as B, both: B:5-8, or several in a "
            "row: A B.",
        )
    for piece in pieces:
        if piece.place and (piece.first or 0) > (piece.last or 0):
            raise SelectionError(
                f"Bars {piece.first}-{piece.last} of {piece.place} run backwards.",
                "Write the smaller number first.",
            )
    return pieces


def _joined(runs: Sequence[Sequence[Bars]], orders: Orders) -> Sequence[Bars]:
    """One of each of the ``runs``, so that as many as can be follow each other in the tune."""
    near = {(id(a), id(b)): n for bars in orders.values() for a, b, n in _neighbours(bars)}

    def nearness(way: tuple[Bars, ...]) -> int:
        return sum(near.get((id(a[-1]), id(b[0])), 0) for a, b in pairwise(way))

    ways: list[tuple[Bars, ...]] = [(run,) for run in runs[0]]
    for candidates in runs[1:]:
        ways = [max(((*way, run) for way in ways), key=nearness) for run in candidates]
    return max(ways, key=nearness)


def _neighbours(bars: Bars) -> Iterator[tuple[PlayedBar, PlayedBar, int]]:
    """Each bar, the one after it, and how near that is: after the last of a chorus comes its top,
    which is less near than to go on."""
    yield from ((a, b, 2) for a, b in pairwise(bars))
    chorus = [bar for bar in bars if bar.role == "chorus" and not bar.pickup]
    if chorus:
        yield chorus[-1], chorus[0], 1


def _candidates(piece: _Piece, orders: Orders) -> list[Bars]:
    """All the runs of bars that a piece may mean in the first order that has it.

    Raises SelectionError where none has it.
    """
    if not piece.place:
        return [_of_chorus(piece, orders)]
    places = list(_places(piece.place, orders))
    for place in places:
        if found := [run for bars in place if (run := _run(piece, bars))]:
            return found
    raise _missing(piece, [bars for place in places for bars in place if bars], orders)


def _of_chorus(piece: _Piece, orders: Orders) -> Bars:
    """Bars by their numbers in the chorus, over its end into the top if need be."""
    numbered = [{b.number: b for b in bars if b.role == "chorus"} for bars in orders.values()]
    first, last = piece.first or 0, piece.last or 0
    for bars in numbered:
        if first <= last and first in bars and last in bars:
            return tuple(bars[number] for number in range(first, last + 1))
    for bars in numbered:
        most = max(bars, default=0)
        top = last if last < first else last - most
        if first in bars and 1 <= top < first:
            over = (*range(first, most + 1), *range(1, top + 1))
            return tuple(bars[number] for number in over)
    most = max((max(bars, default=0) for bars in numbered), default=0)
    if 1 <= first <= most < last:
        raise SelectionError(
            f"Bars {first}-{last} are more than a chorus of {most} bars.",
            f"Write {first}-{first - 1 or most} for a whole chorus from bar {first}.",
        )
    raise SelectionError(
        f"{piece.missing}: the chorus has bars 1-{most}.",
        f"Choose from 1-{most}, or a section: {', '.join(_sections(orders))}.",
    )


def _run(piece: _Piece, bars: Mapping[int, PlayedBar]) -> Bars:
    """The bars of a piece among those of a place, none where they are not all there."""
    if piece.first is None or piece.last is None:
        return tuple(bars.values())
    if piece.first in bars and piece.last in bars:
        return tuple(bars[number] for number in range(piece.first, piece.last + 1))
    return ()


def _places(name: str, orders: Orders) -> Iterator[list[dict[int, PlayedBar]]]:
    """What a name may mean, each as its uses: the section of that name, the one that differs in
    case, and the bars of a role but the chorus. Bars by number, without a pickup."""
    spellings: tuple[Callable[[str], str], ...] = (str, str.lower)
    for spelled, bars in product(spellings, orders.values()):
        uses: dict[int, dict[int, PlayedBar]] = {}
        for bar in bars:
            if spelled(bar.section) == spelled(name) and bar.section_bar:
                uses.setdefault(bar.section_use, {})[bar.section_bar] = bar
        yield list(uses.values())
    role = name.lower()
    for bars in orders.values():
        yield [{b.number: b for b in bars if b.role == role != "chorus" and b.section_bar}]


def _missing(
    piece: _Piece, found: Sequence[Mapping[int, PlayedBar]], orders: Orders
) -> SelectionError:
    place = piece.place
    if not found or piece.first is None:
        return SelectionError(
            f'There is no section "{place}".', f"Choose from {', '.join(_sections(orders))}."
        )
    most = max(max(bars) for bars in found)
    least = min(min(bars) for bars in found)
    return SelectionError(
        f"{piece.missing} in {place}: it has bars {least}-{most}.",
        f"Write {place}:{least}-{most}, or fewer bars of it.",
    )


def _sections(orders: Orders) -> list[str]:
    return list(dict.fromkeys(bar.section for bars in orders.values() for bar in bars))
