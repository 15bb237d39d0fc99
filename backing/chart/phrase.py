"""Phrases: a few words in any order, such as "etude level 2 position 5"."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from backing.chart.text.source import suggestion
from backing.errors import UserError, quoted

END = r"(?=[\s,]|$)"


@dataclass(frozen=True, slots=True)
class Term:
    """One thing that a phrase may say.

    ``pattern``: a regular expression for its words in lower case; what its group holds, else all of
    it, is the value, in lower case unless ``cased``. ``shown``: how it is listed where a word is
    unknown.
    """

    name: str
    pattern: str
    shown: str = ""
    cased: bool = False

    @property
    def example(self) -> str:
        """Its words as they are listed."""
        return self.shown or self.pattern.replace("|", ", ")


@dataclass(frozen=True, slots=True)
class Grammar:
    """What one kind of phrase may say: ``what`` names it ("a line"), ``error`` is raised for it.

    ``retired``: old words, and the words that say the same now; ``small``: words that may stand
    anywhere and say nothing.
    """

    what: str
    terms: Sequence[Term]
    error: type[UserError] = UserError
    retired: Mapping[str, str] = field(default_factory=dict)
    small: Sequence[str] = ()

    def read(self, text: str) -> dict[str, str]:
        """The values in a phrase by the names of their terms, in the order they are said.

        Raises ``error`` for an unknown word, for two values of one term, and for no word at all.
        """
        said, at = " ".join(text.split()), 0
        found: dict[str, str] = {}
        while (at := self._next(said, at)) < len(said):
            term, match = self._longest(said, at)
            value = (match[1] or "") if match.re.groups else match[0]
            value = value if term.cased else value.lower()
            if found.setdefault(term.name, value) != value:
                raise self.error(
                    f'"{found[term.name]}" and "{value}" don\'t go together in {self.what}.',
                    "Write one of them.",
                )
            at = match.end()
        if not found:
            raise self.error(f"Nothing is said about {self.what}.", self.choices)
        return found

    @property
    def choices(self) -> str:
        """The words there are, as a sentence."""
        return f"Write any of: {', '.join(term.example for term in self.terms)}."

    def _next(self, said: str, at: int) -> int:
        """Where the next word begins that says something."""
        small = "".join(f"|{word}{END}" for word in self.small)
        found = re.compile(rf"(?:[\s,]{small})*", re.IGNORECASE).match(said, at)
        return found.end() if found else at

    def _longest(self, said: str, at: int) -> tuple[Term, re.Match[str]]:
        matches = (
            (term, re.compile(f"(?:{term.pattern}){END}", re.IGNORECASE).match(said, at))
            for term in self.terms
        )
        heard = [(term, match) for term, match in matches if match]
        if heard:
            return max(heard, key=lambda pair: pair[1].end())
        word = re.split(r"[\s,]", said[at:], maxsplit=1)[0]
        if new := self.retired.get(word.lower()):
            raise self.error(f'"{word}" is now "{new}".', "Write that.")
        examples = ", ".join(term.example for term in self.terms).split(", ")
        begun = f"{word} ".lower(), f"{word} ".lower().replace("-", " ")
        longer = [each for each in examples if f"{each} ".startswith(begun)]
        words = longer or re.findall(r"[\w&-]+", " ".join(examples))
        raise self.error(
            f"{quoted(word)} isn't a word for {self.what}.",
            (f'Write "{longer[0]}". ' if longer else suggestion(word, words)) + self.choices,
        )
