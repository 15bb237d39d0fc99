"""The whole error tree: what is the user's mistake (exit status 2), and what is ours (1).

Every UserError says what is wrong (``cause``) and what to do (``cure``).
"""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_right
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import accumulate

WIDEST = 100
"""How much of a source line is shown, in columns of a terminal."""
CUT = "..."
TAB = 8
"""A tab reaches this far at most (common practice of terminals, no source)."""


class BackingError(Exception):
    """Anything this package raises on purpose."""


class InternalError(BackingError):
    """A promise the program broke; never the user's fault."""


class UserError(BackingError):
    """The user's mistake, told in a sentence: ``cause`` says what is wrong, ``cure`` what to do."""

    placed = False
    """Whether it begins with its place in a file."""

    def __init__(self, cause: str, cure: str = "") -> None:
        super().__init__(cause, cure)
        self.cause = cause
        self.cure = cure

    def __str__(self) -> str:
        return f"{self.cause} {self.cure}".rstrip()


class ChordError(UserError):
    """A text that is not a chord symbol; ``start`` and ``end`` are offsets of the mistake."""

    def __init__(self, cause: str, cure: str, start: int = 0, end: int | None = None) -> None:
        super().__init__(cause, cure)
        self.start = start
        self.end = end


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of source text: 1-based ``line`` and ``column``, ``length`` in characters."""

    line: int
    column: int
    length: int = 1


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake in a file: where it stands, what it is, what to do.

    ``text`` is the whole source line, for the caret.
    """

    file: str
    span: Span
    text: str = field(repr=False)
    cause: str
    cure: str

    def __str__(self) -> str:
        """``file:line:column: cause``, the line, a caret under the culprit, the cure.

        Of a long line only the surroundings of the culprit are shown, of a long word its ends.
        """
        start = self.span.column - 1
        before, culprit, after = _surroundings(self.text, start, start + self.span.length)
        # tabs stay, so that the caret is under the culprit
        lead = "".join("\t" if c == "\t" else " " * _columns(c) for c in before)
        caret = lead + "^" * max(1, sum(1 if c == "\t" else _columns(c) for c in culprit))
        place = f"{self.file}:{self.span.line}:{self.span.column}"
        shown = before + culprit + after
        cause, cure = _short(self.cause), _short(self.cure)
        return f"{place}: {cause}\n  {shown}\n  {caret}\n  {cure}"


def quoted(value: object) -> str:
    """What a user wrote, text in double quotes, on one line; of a long text its ends."""
    import json  # noqa: PLC0415 - only where something is wrong

    text = json.dumps(value, ensure_ascii=False, default=str)
    half = WIDEST // 2 - len(CUT)
    return text if len(text) <= WIDEST else f"{text[:half]}{CUT}{text[-half:]}"


def how_many(count: int, what: str, several: str = "") -> str:
    """A number and its noun: "1 bar", "4 bars"; ``several``: a plural that has no s alone."""
    return f"{count} {what if count == 1 else several or what + 's'}"


def _surroundings(text: str, start: int, stop: int) -> tuple[str, str, str]:
    """What stands before, at and after ``start`` to ``stop`` (offsets), cut to WIDEST columns."""
    # columns before each character; a combining mark has none
    columns = [0, *accumulate(map(_columns, text))]
    first, last = 0, len(text)
    if columns[-1] > WIDEST:
        room = WIDEST - 2 * len(CUT)
        at, end = columns[min(start, last)], columns[min(stop, last)]
        middle = at + min(end - at, room) // 2
        left = min(max(0, middle - room // 2), columns[-1] - room)
        first = min(start, bisect_right(columns, left) - 1)
        last = bisect_right(columns, left + room) - 1
    before = CUT * (first > 0) + text[first:start]
    after = text[min(stop, last) : last] + CUT * (last < len(text))
    return before, text[start : min(stop, last)], after


def _short(sentence: str) -> str:
    """A sentence with quotations and words cut to WIDEST."""
    too_long = rf'"[^"]{{{WIDEST},}}"|\S{{{WIDEST + 1},}}'
    half = WIDEST // 2 - len(CUT)
    return re.sub(too_long, lambda found: f"{found[0][:half]}{CUT}{found[0][-half:]}", sentence)


@lru_cache(4096)
def _columns(character: str) -> int:
    """How many columns of a terminal a character takes (Unicode Standard Annex #11)."""
    if character == "\t":
        return TAB
    if unicodedata.category(character) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(character) in ("W", "F") else 1


class TuneError(UserError):
    """All the problems of one tune file, in the order of their lines."""

    placed = True

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__(problems[0].cause, problems[0].cure)
        self.args = (problems,)  # for pickling
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


class SelectionError(UserError):
    """Bars, sections or parts that are not there."""


class RoutineError(UserError):
    """A tempo, a climb, a key or an order that cannot be played."""


class FeelError(UserError):
    """An unknown feel, or a mistake in a feel file; ``problem`` says where it is."""

    def __init__(self, cause: str, cure: str, problem: Problem | None = None) -> None:
        super().__init__(cause, cure)
        self.problem = problem
        self.placed = problem is not None

    def __str__(self) -> str:
        return str(self.problem) if self.problem else super().__str__()


class PracticeError(UserError):
    """A place off the neck, a tuning, a chord out of reach, or a line that cannot be had."""


class SoundFontError(UserError):
    """A SoundFont that is missing, truncated or not one."""


class OutputError(UserError):
    """A place that cannot be written, or a format that is unknown."""


class MissingProgram(UserError):  # noqa: N818 - it names what is missing, which is the error
    """A system library or program that has to be installed first."""


class MachineError(UserError):
    """The machine has not enough memory or the like."""


TOO_LITTLE_MEMORY = (
    "There is not enough memory for this.",
    "Close other programs, or ask for less at once.",
)
"""Cause and cure of a MachineError."""
