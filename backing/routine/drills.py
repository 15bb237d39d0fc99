"""Drills that change the bars themselves: who plays in them, and how a loop grows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from backing.chart.bar import PlayedBar

TIME_ONLY = frozenset({"bass", "comp", "guide", "line", "kit"})
"""All but the hi-hat foot: "kit" is every drum but that."""


def laying_out(bars: Sequence[PlayedBar], count: int) -> tuple[PlayedBar, ...]:
    """The band lays out for the last ``count`` bars: only the hi-hat foot keeps time."""
    start = len(bars) - min(count, len(bars))
    return tuple(resting(bar, TIME_ONLY) if at >= start else bar for at, bar in enumerate(bars))


def grown(bars: tuple[PlayedBar, ...]) -> tuple[tuple[PlayedBar, ...], ...]:
    """A loop grown backwards: its last bar, its last two, its last four, ... all of it."""
    sizes = [1]
    while sizes[-1] < len(bars):
        sizes.append(min(sizes[-1] * 2, len(bars)))
    return tuple(bars[-size:] for size in sizes)


def resting(bar: PlayedBar, players: frozenset[str]) -> PlayedBar:
    """The bar with ``players`` told to rest, beside those who do already."""
    directions = replace(bar.directions, lay_out=bar.directions.lay_out | players)
    return replace(bar, directions=directions)
