"""What practice logs say: which tune was played when, at which tempo it got steady, what is next.

Nothing is judged: the figures are those of ``backing take``, and the next tempos a suggestion.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from backing.errors import how_many
from backing.take.advice import WIDE_MS
from backing.take.log import Json

STEPS = (1.0, 1.05, 1.1)
SLOWER = (0.9, 0.95, 1.0)
"""Of the steady tempo, or of the slowest that was tried (common practice, no source)."""
ALIKE = 0.02
"""Tempos within so much of each other are one."""


@dataclass(frozen=True, slots=True)
class Practiced:
    """One tune in a log: how many ``takes`` on how many ``days``, the slowest and the fastest
    tempo, the ``steady`` one (None: not yet), and the tempos to go on with, all in bpm."""

    title: str
    takes: int
    days: int
    slowest: float
    fastest: float
    steady: float | None
    following: tuple[int, ...]

    def __str__(self) -> str:
        span = f"{self.slowest:.0f}"
        if round(self.fastest) > round(self.slowest):
            span += f" to {self.fastest:.0f}"
        steady = "not steady yet" if self.steady is None else f"steady at {self.steady:.0f}"
        takes, days = how_many(self.takes, "take"), how_many(self.days, "day")
        tempos = " ".join(map(str, self.following))
        return f'{self.title}: {takes} on {days}, {span} bpm, {steady}; next: tempo = "{tempos}"'


def practiced(takes: Sequence[Json], title: str, goal: float | None = None) -> Practiced:
    """What a log says of a tune of which it has takes; ``goal``: a tempo in bpm not to go beyond.

    A tempo is steady if in the last take at it the notes lie within WIDE_MS of their places.
    """
    mine = sorted((take for take in takes if take["title"] == title), key=lambda t: t["when"])
    tempos = [float(take["tempo"]) for take in mine]
    steady = [tempo for tempo in tempos if _steady([t for t in mine if _at(t, tempo)][-1])]
    best = max(steady, default=None)
    steps = [best * step for step in STEPS] if best else [min(tempos) * step for step in SLOWER]
    following = [round(min(step, goal or step)) for step in steps]
    days = {datetime.fromisoformat(take["when"]).date() for take in mine}
    return Practiced(
        title, len(mine), len(days), min(tempos), max(tempos), best, (*dict.fromkeys(following),)
    )


def _at(take: Json, tempo: float) -> bool:
    return abs(float(take["tempo"]) - tempo) <= ALIKE * tempo


def _steady(take: Json) -> bool:
    spread = take["time"]["spread_ms"]
    return spread is not None and spread <= WIDE_MS
