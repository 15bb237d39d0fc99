"""Tempos that step up: reading a climb, and the order of its rungs."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from backing.errors import RoutineError, quoted

SLOWEST, FASTEST = Fraction(20), Fraction(400)
"""The tempos in bpm at which a band can be asked to play."""
DEFAULT_STEP_PERCENT = Fraction(5)
"""A step of 3 % is just felt by musicians (Drake & Botte 1993, from memory); 5 % is a step."""
OVER_THE_GOAL = Fraction(105, 100)
"""A climb that names no end goes a little beyond the goal, which then feels easy (common practice,
no source)."""
MOST_RUNGS = 200

CLIMB = re.compile(
    r"(?P<low>\d+(?:\.\d+)?)(?P<lp>%?)(?:-(?P<high>\d+(?:\.\d+)?)(?P<hp>%?))?"
    r"(?::(?P<step>\d+(?:\.\d+)?)(?P<sp>%?))?$"
)
SHAPES = ("up", "up-and-back", "two-up-one-down", "slow-and-goal")


@dataclass(frozen=True, slots=True)
class Climb:
    """The tempos of a climb in bpm, in the order in which they are played."""

    tempos: tuple[Fraction, ...]


def read_tempo(text: str, goal: Fraction) -> Fraction:
    """A tempo in bpm from "132" or, against the tune's own tempo ``goal``, "80%".

    Raises RoutineError outside SLOWEST to FASTEST.
    """
    match = re.fullmatch(r"(\d+(?:\.\d+)?)(%?)", text.strip())
    if not match:
        raise RoutineError(
            f"{quoted(text)} is no tempo.",
            "Write beats a minute (132) or a part of the tune's (80%).",
        )
    tempo = Fraction(match[1]) * (goal / 100 if match[2] else 1)
    return _in_range(tempo)


def _in_range(tempo: Fraction) -> Fraction:
    if not SLOWEST <= tempo <= FASTEST:
        raise RoutineError(
            f"A tempo of {float(tempo):g} cannot be played.",
            f"Choose one from {SLOWEST} to {FASTEST} beats a minute.",
        )
    return tempo


def read_climb(text: str, goal: Fraction, shape: str = "up") -> Climb:
    """A climb from "80-160:8" (bpm) or "60%-105%:5%" (of ``goal``, the tune's tempo).

    Without a step it is 5 percent of the goal. The last step is shortened to land on the upper
    tempo. From a lower tempo alone ("60%") it goes up to OVER_THE_GOAL and ends at the goal.
    ``shape`` is one of SHAPES. Raises RoutineError.
    """
    match = CLIMB.match(text.replace(" ", ""))
    if not match:
        raise RoutineError(
            f"{quoted(text)} is no climb.",
            "Write from-to:step, like 80-160:8 or 60%-105%:5%, or 60%.",
        )
    low = read_tempo(match["low"] + match["lp"], goal)
    if match["high"]:
        high = read_tempo(match["high"] + match["hp"], goal)
    else:
        high = goal if shape == "slow-and-goal" or low >= goal else _in_range(goal * OVER_THE_GOAL)
    percent = match["step"] is None or match["sp"]
    step = Fraction(match["step"]) if match["step"] else DEFAULT_STEP_PERCENT
    step = step * goal / 100 if percent else step
    if low >= high:
        raise RoutineError(
            f"The climb {text} does not go up.",
            "Write the slower tempo first, like 80-160:8; alone it must be slower than the tune.",
        )
    if step <= 0 or (high - low) / step > MOST_RUNGS:
        raise RoutineError(
            f"The climb {text} has no end in sight.",
            f"Take steps large enough for at most {MOST_RUNGS} tempos.",
        )
    tempos = _shaped(_rungs(low, high, step), shape)
    if tempos[-1] > goal and not match["high"]:
        tempos = (*tempos, goal)
    return Climb(tempos)


def _rungs(low: Fraction, high: Fraction, step: Fraction) -> tuple[Fraction, ...]:
    count = (high - low) / step
    rungs = [low + step * n for n in range(count.__ceil__())]
    return (*rungs, high)


def _shaped(rungs: tuple[Fraction, ...], shape: str) -> tuple[Fraction, ...]:
    if shape == "up-and-back":
        return (*rungs, *rungs[-2::-1])
    if shape == "two-up-one-down":
        return _two_up_one_down(rungs)
    if shape == "slow-and-goal":
        return tuple(t for slow in rungs[:-1] for t in (slow, rungs[-1]))
    if shape == "up":
        return rungs
    raise RoutineError(f"{quoted(shape)} is no shape of a climb.", f"Choose {', '.join(SHAPES)}.")


def _two_up_one_down(rungs: tuple[Fraction, ...]) -> tuple[Fraction, ...]:
    """Rungs 1 2 3 | 2 3 4 | 3 4 5 ...: two steps up, one back, up to the top."""
    order = [rungs[0]]
    at = 0
    while at < len(rungs) - 1:
        order.extend(rungs[at + 1 : at + 3])
        at = min(at + 2, len(rungs) - 1)
        if at < len(rungs) - 1:
            at -= 1
            order.append(rungs[at])
    return tuple(a for a, b in pairwise((*order, None)) if a is not None and a != b)
