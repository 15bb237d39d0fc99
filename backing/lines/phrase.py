"""The phrase that says a line, in a player's words in any order.

::

    etude level 2 off-beats position 5
    etude from the 3rd down 3-9 thirds anticipate top 4 strings
    etude subdivisions
    call on 1&
    guide from the 7th                      guide both
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import dropwhile
from typing import Any

from backing.chart.text.source import suggestion
from backing.combo.band import GUIDE_LINES
from backing.errors import PracticeError, quoted
from backing.lines.line import CALLS_ON, DIRECTIONS, LEVELS, RHYTHMS, SUBDIVISIONS, Line
from backing.neck.arpeggio import WAYS

KINDS = ("etude", "guide")
"""A solo line, or guide tones."""
STARTS = {"root": 1, "1st": 1, "3rd": 3, "5th": 5, "7th": 7, "third": 3, "fifth": 5, "seventh": 7}
WORDS = (
    "etude", "guide", "level 1 to 4", *RHYTHMS, SUBDIVISIONS, "position 5",
    "position auto", "on 1&", "from the 3rd", "up", "down", *WAYS, "thirds", "anticipate",
    "top 4 strings", "both",
)  # fmt: skip
"""All that a phrase may hold."""
_SMALL = ("the", "a", "in", "and", "with", "line", "string", "strings", "of")
"""Words that change nothing."""
_ALONE: dict[str, dict[str, object]] = {
    "kind": {word: word for word in KINDS},
    "rhythm": {word: word for word in (*RHYTHMS, SUBDIVISIONS)},
    "direction": {word: word for word in DIRECTIONS[1:]},
    "way": {word: word for word in WAYS},
    "thirds": {"thirds": True},
    "anticipate": {"anticipate": True},
    "guide": {"both": "both"},
}
"""What words say that stand alone."""


@dataclass(frozen=True, slots=True)
class Phrase:
    """A line as said: ``guide`` is one of GUIDE_LINES for guide tones, None for a ``line``.

    ``said``: the names of Line's values that the phrase gives.
    """

    line: Line
    guide: str | None = None
    said: frozenset[str] = frozenset()

    @property
    def subdivisions(self) -> bool:
        """Whether the line is heard in one subdivision after another, which is the routine's."""
        return self.guide is None and self.line.rhythm == SUBDIVISIONS


def read_phrase(text: str, **usual: Any) -> Phrase:
    """What a phrase says; ``usual`` are values of Line that it may leave out or overrule.

    Without the word guide it is an etude. Raises PracticeError for a word that is not known, said
    twice or out of place.
    """
    words = str(text).lower().replace("é", "e").replace(",", " ").split()
    said: dict[str, Any] = {}
    if not words:
        raise PracticeError("Nothing is said of the line.", "Write etude or guide.")
    while words := list(dropwhile(_SMALL.__contains__, words)):
        name, value = _next(words)
        if said.setdefault(name, value) != value:
            raise PracticeError(
                f"{quoted(text)} says the {_shown(name)} twice.", "Leave one of them out."
            )
    kind = said.pop("kind", "etude")
    if kind == "guide":
        return _guide(said, usual, text)
    if said.pop("guide", None):
        raise PracticeError('"both" is for guide tones, not for an etude.', "Leave it out.")
    return Phrase(Line(**(usual | said)), said=frozenset(said))


def read_line(text: str) -> Line:
    """The line of a phrase that says one: "etude level 2 off-beats". Raises PracticeError."""
    phrase = read_phrase(text)
    if phrase.guide is not None:
        raise PracticeError("Guide tones are a part of their own, not a line.", "Write etude.")
    return phrase.line


def _guide(said: dict[str, Any], usual: dict[str, Any], text: str) -> Phrase:
    """Guide tones: from the 3rd if nothing else is said; a way and a position are for sheets."""
    start = said.pop("start", None)
    lines = {said.pop("guide", None), {3: "3rd", 7: "7th", None: None}.get(start, "")} - {None}
    if len(lines) > 1 or "" in lines:
        raise PracticeError(
            f"{quoted(text)} doesn't say one guide-tone line.",
            "Write guide from the 3rd, guide from the 7th, or guide both.",
        )
    for name in sorted(set(said) - {"way", "position"}):
        raise PracticeError(
            f"The {_shown(name)} of a line is for an etude, not for guide tones.",
            "Leave it out, or write etude.",
        )
    return Phrase(Line(**(usual | said)), lines.pop() if lines else GUIDE_LINES[0], frozenset(said))


def _next(words: list[str]) -> tuple[str, Any]:
    """The next thing that is said: the name of a value of Line, "kind" or "guide", and the value.

    Takes its words away from the front of ``words``.
    """
    word = words.pop(0)
    for name, known in _ALONE.items():
        if word in known:
            return name, known[word]
    match word:
        case "level":
            return "level", _taken(words, map(str, LEVELS), word)
        case "on":
            return "call_on", _taken(words, CALLS_ON, word)
        case "from":
            words[:] = dropwhile("the".__eq__, words)
            return "start", STARTS[_taken(words, STARTS, "from the")]
        case "top":
            return "top_strings", _taken(words, map(str, range(1, 13)), word)
        case "position":
            return "position", _position(words)
    near = suggestion(word, [each.split()[0] for each in WORDS])
    raise PracticeError(
        f"{quoted(word)} says nothing about a line.", f"{near}The words are: {', '.join(WORDS)}."
    )


def _taken(words: list[str], known: Iterable[str], after: str) -> str:
    """The word that belongs to the one before it."""
    known = tuple(known)
    if words and words[0] in known:
        return words.pop(0)
    given = f"not {quoted(words[0])}" if words else "and nothing follows"
    raise PracticeError(
        f'After "{after}" comes what it is, {given}.', f"Write one of: {', '.join(known)}."
    )


def _position(words: list[str]) -> str:
    """Positions: auto, or frets in a row."""
    if words[:1] == ["auto"]:
        return words.pop(0)
    frets = []
    while words and words[0].isdecimal():
        frets.append(words.pop(0))
    if not frets:
        raise PracticeError("A position is named by its fret.", "Write position 5, or auto.")
    return " ".join(frets)


def _shown(name: str) -> str:
    return {"call_on": "start of a call", "top_strings": "strings", "kind": "kind of line",
            "guide": "guide-tone line"}.get(name, name)  # fmt: skip
