"""Trading: a player and a partner solo in turn, so many bars at a time, chorus after chorus.

The turn always passes, also from one chorus to the next: in a blues of twelve bars traded in
fours, who begins one chorus does not begin the next.
"""

from __future__ import annotations

from collections.abc import Sequence

from backing.chart.form import PlayedBar
from backing.routine.drills import resting

SOLOISTS = frozenset({"bass", "comping", "guide", "melody"})
PARTNERS = ("drums", "melody")
"""With whom a player trades: the drums alone, or a melodic line with the band behind it."""


def trade_lengths(bars: int, count: int) -> tuple[int, ...]:
    """The bars of each trade in a chorus of ``bars`` bars, ``count`` at a time.

    None goes over the top of the form. What is left over at its end is a short trade if it is half
    a trade at least, else the last one has it too (common practice, no source).
    """
    whole, left = divmod(bars, count)
    lengths = (count,) * whole
    if not left:
        return lengths
    if lengths and 2 * left < count:
        return (*lengths[:-1], count + left)
    return (*lengths, left)


def traded(
    bars: Sequence[PlayedBar], count: int, partner: str, *, partner_first: bool, before: int = 0
) -> tuple[PlayedBar, ...]:
    """A chorus traded ``count`` bars at a time with ``partner``, a name from PARTNERS.

    ``before``: how many choruses were traded before this one. Where a chorus is shorter than a
    trade, a turn lasts the whole choruses that come nearest to it.
    """
    lengths = trade_lengths(len(bars), count)
    choruses = max(1, (2 * count + len(bars)) // (2 * len(bars)))  # halves upwards
    first = before // choruses if len(lengths) == 1 else before * len(lengths)
    turns = [first + at for at, length in enumerate(lengths) for _ in range(length)]
    return tuple(
        _turn(bar, partner, theirs=(turn % 2 == 1) != partner_first)
        for bar, turn in zip(bars, turns, strict=True)
    )


def _turn(bar: PlayedBar, partner: str, *, theirs: bool) -> PlayedBar:
    """The bar as the partner has it, or the player. The drums solo alone, others with the band."""
    if partner == "drums":
        return resting(bar, SOLOISTS) if theirs else bar
    return bar if theirs else resting(bar, frozenset({partner}))


def untraded(bars: Sequence[PlayedBar], partner: str) -> tuple[PlayedBar, ...]:
    """Bars that are the player's own: a head, an out-chorus, what leads into a loop."""
    if partner == "drums":
        return tuple(bars)
    return tuple(_turn(bar, partner, theirs=False) for bar in bars)
