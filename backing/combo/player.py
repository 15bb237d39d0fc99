"""What a player of the band is: someone who makes a part of a plan."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Protocol

from backing.chart.form import Form
from backing.combo.part import Part
from backing.combo.plan import Plan

Player = Callable[[Plan, random.Random], Part]


class Soloist(Protocol):
    """Somebody with a line of their own, who looks at the whole tune before playing it."""

    def player(self, form: Form) -> Player:
        """The player of the line for a tune."""
