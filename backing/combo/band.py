"""The band: who plays, and how. Without the players, who take as long to load as they play."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from backing.chart.bar import PLAYERS, RHYTHM_SECTION
from backing.errors import SelectionError, quoted

if TYPE_CHECKING:
    from backing.combo.part import Part
    from backing.combo.plan import Plan

LINES = ("thirds", "sevenths", "both")
"""The lines of guide tones."""

Player = Callable[["Plan", random.Random], "Part"]


@dataclass(frozen=True, slots=True)
class Band:
    """Who plays, and how.

    ``players``: names from PLAYERS. ``feel`` overrides the feels of the tune, ``swing`` the
    long : short ratio. ``comp``: the comping instrument. ``guide_line``: "thirds", "sevenths" or
    "both". ``click``: on which beats the click falls. ``melody``: who plays a melodic line, if
    "melody" is among the players. Equal ``seed``: equal music.
    """

    players: frozenset[str] = RHYTHM_SECTION
    seed: int = 1
    feel: str | None = None
    swing: Fraction | None = None
    comp: str = "piano"
    guide_line: str = "thirds"
    click: str = "all"
    melody: Player | None = None

    def __post_init__(self) -> None:
        unknown = sorted(self.players - set(PLAYERS))
        if unknown:
            raise SelectionError(
                f"Nobody in the band is called {quoted(unknown[0])}.",
                f"Choose from {', '.join(PLAYERS)}.",
            )
