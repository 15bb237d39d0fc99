"""Pieces of source text with their line and column, and the problems found in them."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from backing.errors import ChordError, Problem, Span, TuneError

# Control characters (Unicode class Cc and the bidirectional controls of UAX #9), which steer a
# terminal and which XML 1.0 forbids in part, become spaces, so that columns stay the same.
_UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
# C7 #11 and C7(b9 #9) are chords; so is what stands in them
_NOTE_SIGN = re.compile(r"^#|(?<=\s)#(?!(?:5|9|11|13)(?![\w.]))")


def readable(words: str) -> str:
    """Words from the system, such as a file's name, as text that any format can hold.

    Bytes that are no text become U+FFFD.
    """
    return _UNSEEN.sub(" ", words.encode("utf-8", "surrogateescape").decode("utf-8", "replace"))


def free_text(text: str) -> str:
    """A free text on one line, with single spaces and no # that would begin a note."""
    return _NOTE_SIGN.sub("♯", " ".join(("", *text.split())))[1:]


def title_of(stem: str) -> str:
    """The title of a tune that has only its file's name."""
    return " ".join(readable(stem).split())


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of one source line: its text, 1-based ``line`` and ``column``."""

    text: str
    line: int
    column: int = 1

    def __str__(self) -> str:
        return self.text

    @property
    def span(self) -> Span:
        """Its place in the file."""
        return Span(self.line, self.column, len(self.text))

    def cut(self, start: int, end: int | None = None) -> Piece:
        """The piece from offset ``start`` up to ``end``."""
        return Piece(self.text[start:end], self.line, self.column + start)

    def strip(self) -> Piece:
        """The piece without the white space around it."""
        lead = len(self.text) - len(self.text.lstrip())
        return Piece(self.text.strip(), self.line, self.column + lead)

    def group(self, match: re.Match[str], name: str | int = 0) -> Piece:
        """What a pattern's group matched in this piece, stripped (empty where it did not)."""
        if match.group(name) is None:
            return self.cut(len(self.text))
        return self.cut(match.start(name), match.end(name)).strip()

    def find(self, pattern: str | re.Pattern[str]) -> tuple[Piece, ...]:
        """Every match of a pattern."""
        return tuple(self.cut(m.start(), m.end()) for m in re.finditer(pattern, self.text))

    def words(self) -> tuple[Piece, ...]:
        """The pieces between white space."""
        return self.find(r"\S+")

    def without_note(self) -> tuple[Piece, str | None]:
        """The piece up to a note to the reader, and the note.

        A ``#`` begins a note at the start of a line or after a space, so ``F#m7`` is safe; so is
        an alteration that stands apart, ``C7 #11``.
        """
        match = _NOTE_SIGN.search(self.text)
        if match is None:
            return self.strip(), None
        return self.cut(0, match.start()).strip(), self.text[match.end() :].strip()


_BEFORE_BARS = ("solos", "pickup", "bars")
_STATEMENT = re.compile(
    r"(?P<head>[^\W\d]+(?:[ -][^\W\d]+)*)"
    r"\s*(?P<bars>\d{1,5}(?:\s*[-–]\s*\d{1,5})?)?\s*(?=(?P<colon>:\|?)):\s*(?P<rest>.*)"
)


@dataclass(frozen=True, slots=True)
class Statement:
    """A line that says ``head [bars]: rest``; any other line is all ``rest``."""

    line: Piece
    head: Piece
    bars: Piece | None
    rest: Piece

    @classmethod
    def of(cls, line: Piece) -> Statement:
        """Take a line apart at its colon."""
        match = _STATEMENT.fullmatch(line.text)
        # in | F :| the colon belongs to a repeat, but in solos:| it does not
        if match and ":|" in match["colon"] and match["head"].lower() not in _BEFORE_BARS:
            match = None
        if match is None:
            return cls(line, line.cut(0, 0), None, line)
        bars = line.group(match, "bars") if match["bars"] else None
        return cls(line, line.group(match, "head"), bars, line.group(match, "rest"))

    @property
    def word(self) -> str:
        """The head in small letters with single spaces; empty in any other line."""
        return " ".join(self.head.text.lower().split())


class Source:
    """One text, its lines, and the problems found in it so far."""

    def __init__(self, text: str, file: str) -> None:
        self.file = file or "tune"
        plain = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
        self.text = _UNSEEN.sub(" ", plain)
        self.lines = self.text.split("\n")
        self._problems: list[Problem] = []

    def pieces(self) -> Iterator[Piece]:
        """The lines, as pieces."""
        return (Piece(text, number) for number, text in enumerate(self.lines, 1))

    def problem(self, where: Piece | Span, cause: str, cure: str) -> None:
        """Record a mistake; ``finish`` raises them all."""
        span = where.span if isinstance(where, Piece) else where
        text = self.lines[span.line - 1]
        self._problems.append(Problem(self.file, span, text, cause, cure))

    def refuse(self, where: Piece, error: ChordError) -> None:
        """Record what is wrong with the part of a piece that is no chord, note or key."""
        culprit = where.cut(error.start, error.end)
        self.problem(culprit if culprit.text else where, error.cause, error.cure)

    @property
    def problems(self) -> int:
        """How many mistakes have been recorded."""
        return len(self._problems)

    def finish(self) -> None:
        """Raise every problem found, in the order of the lines.

        Raises:
            TuneError: there are some.
        """
        if self._problems:
            order = sorted(self._problems, key=lambda p: (p.span.line, p.span.column))
            raise TuneError(tuple(order))


MEANT = {
    "out": "head out",
    "early": "push",
    "time": "meter",
    "signature": "meter",
    "time signature": "meter",
    "style": "feel",
    "rhythm": "feel",
    "groove": "feel",
    "composer": "by",
    "author": "by",
    "bpm": "tempo",
    "form": "head",
    "order": "head",
    "name": "title",
    "comment": "notes",
}
"""Other and older words for the lines of a tune file -> the words now."""


def suggestion(word: str, known: Iterable[str], others: Mapping[str, str] = MEANT) -> str:
    """``Did you mean "hits"? `` for a word close to a known one, else nothing.

    ``others``: other words for known ones.
    """
    names = {name: name for name in known}
    names |= {other: name for other, name in others.items() if name in names}
    close = difflib.get_close_matches(word.lower(), names, n=1, cutoff=0.6)
    return f'Did you mean "{names[close[0]]}"? ' if close else ""
