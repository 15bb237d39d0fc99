"""Bars chosen by a player's words: "13-16", "B", "B:5-8", "intro:1-2"."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping

from backing.chart.bar import PlayedBar
from backing.errors import SelectionError

_BARS = r"(?P<first>\d{1,6})(?:\s*[-–]\s*(?P<last>\d{1,6}))?"
_SELECTION = re.compile(
    rf"(?:(?P<place>[^\W\d][\w']*)\s*(?::\s*{_BARS})?|{_BARS.replace('P<', 'P<n')})"
)
# how a section is found by its name: exactly, in any case, and by the role of its bars
_PLACES: tuple[Callable[[PlayedBar, str], bool], ...] = (
    lambda bar, place: bar.section == place,
    lambda bar, place: bar.section.lower() == place.lower(),
)

Orders = Mapping[str, tuple[PlayedBar, ...]]


def selected(text: str, orders: Orders) -> tuple[PlayedBar, ...]:
    """The bars that ``text`` names in the first of the ``orders`` that has them all.

    Raises:
        SelectionError: there are no such bars, or ``text`` is not a selection.
    """
    match = _SELECTION.fullmatch(text.strip())
    if match is None:
        raise SelectionError(
            f'"{text}" does not name bars.',
            "Write bars such as 13-16, a section such as B, or both: B:5-8.",
        )
    first, last = match["first"] or match["nfirst"], match["last"] or match["nlast"]
    wanted = (int(first), int(last or first)) if first else None
    if wanted and wanted[0] > wanted[1]:
        raise SelectionError(
            f"Bars {wanted[0]}-{wanted[1]} run backwards.", "Write the smaller number first."
        )
    if match["place"]:
        return _of_place(match["place"], wanted, orders)
    assert wanted is not None
    return _of_chorus(wanted, orders)


def _of_chorus(wanted: tuple[int, int], orders: Orders) -> tuple[PlayedBar, ...]:
    numbered = [{b.number: b for b in bars if b.role == "chorus"} for bars in orders.values()]
    for bars in numbered:
        if all(number in bars for number in (wanted[0], wanted[1])):
            return tuple(bars[number] for number in range(wanted[0], wanted[1] + 1))
    most = max((max(bars, default=0) for bars in numbered), default=0)
    raise SelectionError(
        f"{_none(wanted)}: the chorus has bars 1-{most}.",
        f"Choose from 1-{most}, or a section: {', '.join(_sections(orders))}.",
    )


def _of_place(place: str, wanted: tuple[int, int] | None, orders: Orders) -> tuple[PlayedBar, ...]:
    uses = [use for named in _PLACES for use in _uses(place, named, orders)]
    roles = [_by_role(place, bars) for bars in orders.values()]
    for use in uses:
        if wanted is None:
            return tuple(use.values())
        if wanted[0] in use and wanted[1] in use:
            return tuple(use[number] for number in range(wanted[0], wanted[1] + 1))
    for bars in roles:
        if bars and wanted is None:
            return tuple(bars.values())
        if wanted and wanted[0] in bars and wanted[1] in bars:
            return tuple(bars[number] for number in range(wanted[0], wanted[1] + 1))
    raise _missing(place, wanted, [*uses, *(bars for bars in roles if bars)], orders)


def _uses(
    place: str, named: Callable[[PlayedBar, str], bool], orders: Orders
) -> Iterable[dict[int, PlayedBar]]:
    """Every use of a section in the orders, by the numbers of its bars (without a pickup)."""
    for bars in orders.values():
        uses: dict[int, dict[int, PlayedBar]] = {}
        for bar in bars:
            if named(bar, place) and bar.section_bar:
                uses.setdefault(bar.section_use, {})[bar.section_bar] = bar
        yield from uses.values()


def _by_role(place: str, bars: Iterable[PlayedBar]) -> dict[int, PlayedBar]:
    """The bars of a role by the numbers on their labels; the chorus is no place."""
    role = place.lower()
    return {b.number: b for b in bars if b.role == role != "chorus" and b.section_bar}


def _missing(
    place: str,
    wanted: tuple[int, int] | None,
    found: list[dict[int, PlayedBar]],
    orders: Orders,
) -> SelectionError:
    if not found or wanted is None:
        return SelectionError(
            f'There is no section "{place}".', f"Choose from {', '.join(_sections(orders))}."
        )
    most = max(max(bars) for bars in found)
    least = min(min(bars) for bars in found)
    return SelectionError(
        f"{_none(wanted)} in {place}: it has bars {least}-{most}.",
        f"Write {place}:{least}-{most}, or fewer bars of it.",
    )


def _none(wanted: tuple[int, int]) -> str:
    if wanted[0] == wanted[1]:
        return f"There is no bar {wanted[0]}"
    return f"There are no bars {wanted[0]}-{wanted[1]}"


def _sections(orders: Orders) -> list[str]:
    return list(dict.fromkeys(bar.section for bars in orders.values() for bar in bars))
