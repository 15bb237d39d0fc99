"""Words and numbers that a player gives, held against those that there are."""

from __future__ import annotations

from collections.abc import Iterable

from backing.chart.text.source import suggestion
from backing.errors import UserError, quoted

LONGEST = 12
"""Digits of a whole number that is looked at."""


def one_of(
    word: object, known: Iterable[str], what: str, error: type[UserError] = UserError
) -> str:
    """The known word that is meant, in any case; raises ``error`` listing what there is."""
    known = tuple(known)
    plain = " ".join(str(word).lower().split())
    if plain in known:
        return plain
    raise error(
        f"There is no {what} called {quoted(word)}.",
        f"{suggestion(str(word), known)}Choose from: {', '.join(known)}.",
    )


def whole_number(
    value: object, what: str, low: int, high: int, error: type[UserError] = UserError
) -> int:
    """A whole number from ``low`` to ``high``, as a number or in digits; else raises ``error``.

    ``what`` names it in the plural: "bars of lead-in".
    """
    text = str(value).strip()
    digits = text.removeprefix("-")
    if isinstance(value, bool) or not (digits.isdecimal() and digits.isascii()):
        raise error(
            f"{quoted(value)} isn't a number of {what}.", f"Write a whole number such as {low}."
        )
    if len(digits) > LONGEST or not low <= int(text) <= high:
        number = text if len(digits) <= LONGEST else f"{text[:LONGEST]}..."
        raise error(f"{number} {what} cannot be played.", f"Choose a number from {low} to {high}.")
    return int(text)
