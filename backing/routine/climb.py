"""Tempos that step up: reading a climb, and the order of its steps."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from backing.chart.choice import one_of
from backing.errors import RoutineError, quoted
from backing.routine.tempo import Tempo, in_range

DEFAULT_STEP = Tempo(Fraction(5), percent=True)
"""A step of 3 % is just felt by musicians (Drake & Botte 1993, from memory); 5 % is a step."""
OVER_THE_GOAL = Fraction(105, 100)
"""A climb that names no end goes a little beyond the goal, which then feels easy (common practice,
no source)."""
MOST_STEPS = 200
ORDERS = ("up", "up-and-back", "two-up-one-down", "slow-and-goal")
"""The orders of a climb: the tempos upwards; up and down again; two steps up, one back; each tempo
and the goal in turn."""

_NUMBER = r"\d{1,9}(?:\.\d{1,9})?"
_CLIMB = re.compile(
    rf"(?P<low>{_NUMBER}%?)(?:[-–](?P<high>{_NUMBER}%?))?(?::(?P<step>{_NUMBER})(?P<percent>%?))?",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Climb:
    """Tempos from ``low`` to ``high`` by ``step``, in an ``order`` from ORDERS.

    ``high`` None: a little over the tune's own tempo, which comes last. The last step is shortened
    to land on the upper tempo.
    """

    low: Tempo
    high: Tempo | None = None
    step: Tempo = DEFAULT_STEP
    order: str = "up"

    def __post_init__(self) -> None:
        one_of(self.order, ORDERS, "order of a climb", RoutineError)

    @classmethod
    def of(cls, value: str | Climb) -> Climb:
        """A climb from "80-160:8" (bpm), "60%-105%:5%" (of the tune's tempo) or "60%".

        An order may be said beside it: "80-160:8 up-and-back". Raises RoutineError.
        """
        if isinstance(value, Climb):
            return value
        words = str(value).lower().split()
        orders = [word for word in words if word[0].isalpha()]
        match = _CLIMB.fullmatch("".join(word for word in words if word not in orders))
        if not match or len(orders) > 1:
            raise RoutineError(
                f"{quoted(value)} isn't a climb.",
                "Write from-to:step, such as 80-160:8 or 60%-105%:5%, or just 60%.",
            )
        step = DEFAULT_STEP
        if match["step"]:
            step = Tempo(Fraction(match["step"]), percent=bool(match["percent"]))
        return cls(
            Tempo.of(match["low"]),
            Tempo.of(match["high"]) if match["high"] else None,
            step,
            one_of(orders[0], ORDERS, "order of a climb", RoutineError) if orders else "up",
        )

    def tempos(self, own: Fraction) -> tuple[Fraction, ...]:
        """The tempos in bpm as they are played, for a tune whose own tempo is ``own``.

        Raises RoutineError for a climb that does not go up, or has too many steps.
        """
        low, high = self.low.bpm(own), self._highest(own)
        step = self.step.number * (own / 100 if self.step.percent else 1)
        if low >= high:
            raise RoutineError(
                f"The climb {self} does not go up.",
                "Write the slower tempo first, such as 80-160:8; one tempo alone must be slower "
                "than the tune.",
            )
        if step <= 0 or (high - low) / step > MOST_STEPS:
            raise RoutineError(
                f"The climb {self} has more than {MOST_STEPS} tempos.", "Take larger steps."
            )
        tempos = _in_order(_upwards(low, high, step), self.order)
        return tempos if self.high or tempos[-1] <= own else (*tempos, own)

    def _highest(self, own: Fraction) -> Fraction:
        if self.high:
            return self.high.bpm(own)
        over = self.order != "slow-and-goal" and self.low.bpm(own) < own
        return in_range(own * OVER_THE_GOAL) if over else own

    def __str__(self) -> str:
        high = f"-{self.high}" if self.high else ""
        step = f":{self.step}" if self.step != DEFAULT_STEP else ""
        order = f" {self.order}" if self.order != "up" else ""
        return f"{self.low}{high}{step}{order}"


def _upwards(low: Fraction, high: Fraction, step: Fraction) -> tuple[Fraction, ...]:
    count = (high - low) / step
    return (*(low + step * n for n in range(count.__ceil__())), high)


def _in_order(tempos: tuple[Fraction, ...], order: str) -> tuple[Fraction, ...]:
    match order:
        case "up-and-back":
            return (*tempos, *tempos[-2::-1])
        case "two-up-one-down":
            # 1 2 3 | 2 3 4 | 3 4 5 ...
            starts = range(max(1, len(tempos) - 2))
            return tuple(tempo for at in starts for tempo in tempos[at : at + 3])
        case "slow-and-goal":
            return tuple(tempo for slow in tempos[:-1] for tempo in (slow, tempos[-1]))
    return tempos
