"""Words and numbers that a player gives: fields for them, and what there is to choose from."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Generic, TypeVar

from backing.chart.text.source import suggestion
from backing.errors import UserError, quoted

T = TypeVar("T")
LONGEST = 12
"""Digits of a whole number that is looked at."""


class Given(Generic[T]):
    """A field of a frozen dataclass that takes words or its own type, and keeps its own type.

    ``read`` makes the one of the other, and raises where it cannot. None stays None where it is the
    ``usual`` value, that of a field that is not given.
    """

    def __init__(self, read: Callable[[Any], T], usual: Any = None) -> None:
        self._read, self._usual = read, usual

    def __set_name__(self, owner: type, name: str) -> None:
        self._name = name

    def __get__(self, value: object | None, owner: type | None = None) -> T:
        # a dataclass asks its class for what is usual
        kept: T = self._usual if value is None else value.__dict__[self._name]
        return kept

    def __set__(self, value: object, given: Any) -> None:
        absent = given is None and self._usual is None
        value.__dict__[self._name] = None if absent else self._read(given)


def plain(text: str) -> str:
    """The text in lower case, with single spaces."""
    return " ".join(text.lower().split())


def one_of(
    word: object, known: Iterable[str], what: str, error: type[UserError] = UserError
) -> str:
    """The known word that is meant, in any case; raises ``error`` listing what there is."""
    known = tuple(known)
    if (said := plain(str(word))) in known:
        return said
    raise error(
        f"{quoted(word)} isn't {'an' if what[0] in 'aeiou' else 'a'} {what}.",
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
