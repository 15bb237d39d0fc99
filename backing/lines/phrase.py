"""The phrase that says a line, in a player's words in any order.

::

    etude level 2 off-beats position 5
    etude 7 position 5
    etude from the 3rd down 3-9 thirds anticipate top 4 strings
    etude subdivisions
    call on 1&
    guide from the 7th
    guide both and etude
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from backing.chart.choice import one_of
from backing.chart.phrase import Grammar, Term
from backing.combo.band import GUIDE_LINES
from backing.errors import PracticeError, quoted
from backing.lines.line import CALLS_ON, LEVELS, RHYTHMS, START_WORDS, SUBDIVISIONS
from backing.lines.player import Line
from backing.neck.arpeggio import WAYS

STARTS = {"root": 1, "3rd": 3, "5th": 5, "7th": 7, "third": 3, "fifth": 5, "seventh": 7}
GUIDE_STARTS = {3: "3rd", 7: "7th"}
GRAMMAR = Grammar(
    "a line",
    (
        Term("kind", "[eé]tude|guide(?:[- ]tones?)?|(?:walking )?bass", "etude, guide"),
        Term("number", r"(?:number |no\.? ?)?([0-9]+)", "etude 7"),
        Term("level", r"level ([^\s,]+)", f"level {min(LEVELS)} to {max(LEVELS)}"),
        Term("rhythm", "|".join((*RHYTHMS, SUBDIVISIONS))),
        Term("position", r"positions? ([0-9]+(?:,? [0-9]+(?=[\s,]|$))*|[^\s,]+)",
             "position 5, position auto"),
        Term("call_on", r"on (each in turn|[^\s,]+)",
             f"{', '.join(f'on {beat}' for beat in CALLS_ON[:-1])}, on each in turn"),
        Term("start", r"from (?:the )?([^\s,]+)",
             "from the root, from the 3rd, from the 5th, from the 7th"),
        Term("direction", "up|down|both ways", "up, down"),
        Term("way", "|".join(WAYS)),
        Term("thirds", "thirds"),
        Term("anticipate", "anticipat(?:e|es|ed|ing)", "anticipate"),
        Term("top_strings", r"top ([^\s,]+)(?: strings)?", "top 4 strings"),
        Term("both", "both"),
    ),
    PracticeError,
    retired={"early": "anticipate", "ladder": SUBDIVISIONS, "melody": "etude",
             "sevenths": "from the 7th"},
    small=("a", "in", "line", "the", "with"),
)  # fmt: skip
FOR_GUIDE_TONES = {"start", "both", "way", "position"}
NAMES = {"call_on": "start of a call", "top_strings": "number of strings"}


@dataclass(frozen=True, slots=True)
class Phrase:
    """What a phrase asks for.

    ``line`` is an etude, which is heard if ``solo``; ``guide``: one of GUIDE_LINES for guide
    tones, which take the position of the line on a sheet. ``said``: the values of Line that are
    said. ``bass``: it is the walking line of the bass, for a sheet.
    """

    line: Line
    guide: str | None = None
    solo: bool = True
    said: frozenset[str] = frozenset()
    bass: bool = False

    @property
    def subdivisions(self) -> bool:
        """Whether the line is heard in one subdivision after another, which is the routine's."""
        return self.solo and self.line.rhythm == SUBDIVISIONS


def read_phrase(text: str, **usual: Any) -> Phrase:
    """What a phrase says: a line, guide tones, or with "and" between them both.

    ``usual`` are values of Line that it may leave out or overrule. Without a kind it is an etude.
    Raises PracticeError for an unknown word, and for what does not go together.
    """
    phrases = [_read(part, usual) for part in re.split(r"\s+and\s+", text.strip())]
    guides = [phrase for phrase in phrases if phrase.guide]
    solos = [phrase for phrase in phrases if phrase.solo]
    if len(guides) > 1 or len(solos) > 1:
        raise PracticeError(
            f"{quoted(text)} asks for two lines of one kind.",
            "Write one, or guide tones and another line: guide and etude.",
        )
    if guides and solos:
        return Phrase(solos[0].line, guides[0].guide, said=solos[0].said)
    if len(phrases) > 1:
        raise PracticeError("The line of the bass is printed alone.", "Write bass alone.")
    return phrases[0]


def _read(text: str, usual: dict[str, Any]) -> Phrase:
    said: dict[str, Any] = GRAMMAR.read(text)
    kind = said.pop("kind", "")
    if kind.startswith("guide"):
        return _guide_tones(said, usual)
    if kind.endswith("bass"):
        if said:
            raise PracticeError(
                f"The bass has no {NAMES.get(min(said), min(said))} to choose.", "Write bass alone."
            )
        return Phrase(Line(**usual), solo=False, bass=True)
    if "both" in said:
        raise PracticeError('"both" is for guide tones, not for an etude.', "Leave it out.")
    if "call_on" in said:
        if not kind:
            said.setdefault("rhythm", "call")
        said["call_on"] = said["call_on"].removesuffix("each in turn") or "turn"
    if "start" in said:
        said["start"] = _start(said["start"])
    if said.get("direction") == "both ways":
        said["direction"] = "both"
    said |= dict.fromkeys({"thirds", "anticipate"} & said.keys(), True)
    return Phrase(Line(**(usual | said)), said=frozenset(said))


def _start(word: str) -> int:
    return STARTS[one_of(word, STARTS, "tone to begin on", PracticeError)]


def _guide_tones(said: dict[str, Any], usual: dict[str, Any]) -> Phrase:
    for name in said:
        if name not in FOR_GUIDE_TONES:
            raise PracticeError(
                f"The {NAMES.get(name, name)} of a line is for an etude, not for guide tones.",
                "Leave it out, or write etude in place of guide.",
            )
    start, both = said.pop("start", None), said.pop("both", None)
    guide = "both" if both else GUIDE_STARTS.get(_start(start), "") if start else GUIDE_LINES[0]
    if not guide or (start and both):
        raise PracticeError(
            "Guide tones start from the 3rd, from the 7th, or are both lines.",
            "Write guide from the 3rd, guide from the 7th, or guide both.",
        )
    return Phrase(Line(**(usual | said)), guide, solo=False, said=frozenset(said))


FILLERS = {
    "level": "level {}", "position": "position {}", "rhythm": "{}", "start": "from the {}",
    "direction": "{}", "way": "{}", "thirds": "thirds", "anticipate": "anticipate",
    "top_strings": "top {} strings",
}  # fmt: skip
"""How the terms are written that may be said once for many lines."""


def filled_up(text: str, usual: str) -> str:
    """A phrase with what ``usual`` says of all lines and it does not. Raises PracticeError.

    >>> filled_up("etude off-beats", "level 2 position 5")
    'etude off-beats level 2 position 5'
    """
    habits = {name: value for name, value in GRAMMAR.read(usual).items() if name in FILLERS}
    phrases = re.split(r"\s+and\s+", text.strip())
    for at, phrase in enumerate(phrases):
        said = GRAMMAR.read(phrase)
        if said.get("kind", "etude")[:1] in "eé":
            more = (FILLERS[n].format(value) for n, value in habits.items() if n not in said)
            phrases[at] = " ".join((phrase, *more))
    return " and ".join(phrases)


def words_of(line: Line) -> str:
    """The phrase that asks for a line again, but for its rhythm and the start of its calls.

    >>> words_of(Line("call", level=2, position=5))
    'etude level 2 position 5'
    """
    usual = Line(fingerboard=line.fingerboard)
    values = {name: getattr(line, name) for name in FILLERS if name != "rhythm"}
    said = {name: value for name, value in values.items() if value != getattr(usual, name)}
    said |= {"position": " ".join(map(str, line.position))} if line.position else {}
    said |= {"start": START_WORDS[line.start]} if line.start else {}
    number = [str(line.number)] if line.number else []
    return " ".join(["etude", *number, *(FILLERS[name].format(v) for name, v in said.items())])


def read_line(text: str) -> Line:
    """The line of a phrase that says one: "etude level 2 off-beats". Raises PracticeError."""
    phrase = read_phrase(text)
    if phrase.guide is not None or phrase.bass:
        what = "The bass is a part of its" if phrase.bass else "Guide tones are a part of their"
        old = "bass" if phrase.bass else "guide"
        raise PracticeError(f"{what} own, not a line.", f"Write etude in place of {old}.")
    return phrase.line
