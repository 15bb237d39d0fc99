"""Trading: a player and a partner solo in turn, so many bars at a time, chorus after chorus.

The turn always passes, also from one chorus to the next: in a blues of twelve bars traded in
fours, who begins one chorus does not begin the next.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from backing.chart.bar import PlayedBar
from backing.chart.choice import one_of, whole_number
from backing.errors import RoutineError, quoted
from backing.routine.drills import resting

SOLOISTS = frozenset({"bass", "comp", "guide", "line"})
PARTNERS = ("drums", "line")
"""With whom a player trades: the drums alone, or a solo line with the band behind it."""
MOST_BARS = 32
_PARTNER = re.compile(r"\bwith\s+(\S+)|(\S+)\s+first\b")


@dataclass(frozen=True, slots=True)
class Trade:
    """Fours, or any number of ``bars``, in turn with ``partner``, a name from PARTNERS.

    ``partner_first``: the partner begins. Raises RoutineError.
    """

    bars: int
    partner: str = "drums"
    partner_first: bool = False

    def __post_init__(self) -> None:
        whole_number(self.bars, "bars in a trade", 1, MOST_BARS, RoutineError)
        one_of(self.partner, PARTNERS, "partner to trade with", RoutineError)

    @classmethod
    def of(cls, value: str | int | Trade) -> Trade:
        """A trade from 4, "4", "4 drums first", "4 with line", "4 with line, line first"."""
        if isinstance(value, Trade):
            return value
        said = str(value).lower().replace(",", " ")
        bars = _PARTNER.sub("", said).split()
        first = [match[2] for match in _PARTNER.finditer(said) if match[2]]
        named = {
            one_of(match[1] or match[2], PARTNERS, "partner to trade with", RoutineError)
            for match in _PARTNER.finditer(said)
        }
        if len(bars) != 1 or len(named) > 1:
            raise RoutineError(
                f"{quoted(value)} isn't a trade.",
                "Write its bars, such as 4, 4 drums first, or 4 with line, line first.",
            )
        count = whole_number(bars[0], "bars in a trade", 1, MOST_BARS, RoutineError)
        return cls(count, named.pop() if named else PARTNERS[0], bool(first))


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


def traded(bars: Sequence[PlayedBar], trade: Trade, before: int = 0) -> tuple[PlayedBar, ...]:
    """A chorus traded with a partner, ``before`` choruses having been traded before this one.

    Where a chorus is shorter than a trade, a turn lasts the whole choruses that come nearest to it.
    """
    lengths = trade_lengths(len(bars), trade.bars)
    # halves upwards
    choruses = max(1, (2 * trade.bars + len(bars)) // (2 * len(bars)))
    first = before // choruses if len(lengths) == 1 else before * len(lengths)
    turns = [first + at for at, length in enumerate(lengths) for _ in range(length)]
    return tuple(
        _turn(bar, trade.partner, theirs=(turn % 2 == 1) != trade.partner_first)
        for bar, turn in zip(bars, turns, strict=True)
    )


def _turn(bar: PlayedBar, partner: str, *, theirs: bool) -> PlayedBar:
    """The bar as the partner has it, or the player. The drums solo alone, others with the band."""
    if partner == "drums":
        return resting(bar, SOLOISTS) if theirs else bar
    return bar if theirs else resting(bar, frozenset({partner}))


def untraded(bars: Sequence[PlayedBar], partner: str) -> tuple[PlayedBar, ...]:
    """Bars that are the player's own: a head, a head out, what leads into a loop."""
    if partner == "drums":
        return tuple(bars)
    return tuple(_turn(bar, partner, theirs=False) for bar in bars)


def partners_turn(bar: PlayedBar, partner: str) -> bool:
    """Whether the turn in a traded bar is the partner's."""
    resting = bar.directions.lay_out
    return resting >= SOLOISTS if partner == "drums" else partner not in resting
