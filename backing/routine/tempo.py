"""Tempos as a player gives them: in beats a minute, or as a part of the tune's own."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from backing.errors import RoutineError, quoted

SLOWEST, FASTEST = Fraction(20), Fraction(400)
"""The tempos in bpm at which a band can be asked to play."""

_TEMPO = re.compile(r"(\d{1,9}(?:\.\d{1,9})?)\s*(%?)(?:\s*bpm)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Tempo:
    """A tempo: ``number`` beats a minute or, where ``percent`` is set, percent of the tune's."""

    number: Fraction
    percent: bool = False

    @classmethod
    def of(cls, value: str | float | Fraction | Tempo) -> Tempo:
        """A tempo from "132", "80%" or a number in bpm.

        Raises RoutineError for anything else, and for bpm outside SLOWEST to FASTEST.
        """
        if isinstance(value, Tempo):
            return value
        if isinstance(value, Fraction):
            return cls(in_range(value))
        match = _TEMPO.fullmatch(str(value).strip())
        if not match:
            raise RoutineError(
                f"{quoted(value)} isn't a tempo.",
                "Write beats a minute (132) or a percentage of the tune's tempo (80%).",
            )
        number, percent = Fraction(match[1]), bool(match[2])
        return cls(number, percent=True) if percent else cls(in_range(number))

    def bpm(self, own: Fraction) -> Fraction:
        """The tempo in bpm, for a tune whose own tempo is ``own``. Raises RoutineError."""
        return in_range(self.number * own / 100) if self.percent else self.number

    def __str__(self) -> str:
        return f"{float(self.number):g}{'%' if self.percent else ''}"


def in_range(tempo: Fraction) -> Fraction:
    """``tempo`` in bpm; raises RoutineError outside SLOWEST to FASTEST."""
    if not SLOWEST <= tempo <= FASTEST:
        raise RoutineError(
            f"The band cannot play at {float(tempo):g} bpm.",
            f"Choose a tempo from {SLOWEST} to {FASTEST}.",
        )
    return tempo
