"""Options and words that have gone: one sentence says what to write now.

They are answered for one version; then this module goes.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NoReturn

from backing.cli.options import Option
from backing.errors import UserError

TRACK, SHEET, PAGE = frozenset({"track"}), frozenset({"sheet"}), frozenset({"page"})


@dataclass(frozen=True, slots=True)
class Retired:
    """An option that has gone from some ``commands``, and what says the same now.

    ``now``: the option whose phrase has it; ``phrase``: its words there, {} for the old word,
    which ``words`` may translate. ``word``: whether it took one; ``alone``: what it was without.
    """

    commands: frozenset[str]
    name: str
    now: str
    phrase: str
    words: Mapping[str, str] = field(default_factory=dict)
    word: bool = True
    alone: str | None = None


GUIDES = {"thirds": "from the 3rd", "sevenths": "from the 7th"}
TONES = {"1": "root", "3": "3rd", "5": "5th", "7": "7th"}
RETIRED = (
    Retired(TRACK, "melody", "line", "{}"),
    Retired(TRACK | SHEET, "guide", "line", "guide {}", GUIDES, alone=""),
    Retired(TRACK | SHEET, "level", "line", "level {}"),
    Retired(TRACK | SHEET, "rhythm", "line", "{}"),
    Retired(TRACK | SHEET, "call-on", "line", "on {}", {"turn": "each in turn"}),
    Retired(TRACK | SHEET, "start", "line", "from the {}", TONES),
    Retired(TRACK | SHEET, "direction", "line", "{}", {"both": "both ways"}),
    Retired(TRACK | SHEET, "way", "line", "{}"),
    Retired(TRACK | SHEET, "thirds", "line", "thirds", word=False),
    Retired(TRACK | SHEET, "early", "line", "anticipate", word=False),
    Retired(TRACK | SHEET, "top-strings", "line", "top {} strings"),
    Retired(TRACK, "ladder", "line", "subdivisions", word=False),
    Retired(TRACK, "position", "line", "position {}"),
    Retired(SHEET, "position", "shapes", "{}"),
    Retired(TRACK | SHEET, "tuning", "neck", "{}"),
    Retired(TRACK | SHEET, "frets", "neck", "{} frets"),
    Retired(SHEET, "left-handed", "neck", "left-handed", word=False),
    Retired(TRACK, "trade-with", "trade", "with {}", {"melody": "line"}),
    Retired(TRACK, "you-second", "trade", "drums first", word=False),
    Retired(TRACK, "lead-in", "drill", "lead-in {}"),
    Retired(TRACK, "breath", "drill", "rest bars {}"),
    Retired(TRACK, "grow", "drill", "grow", word=False),
    Retired(TRACK, "lay-out", "drill", "lay out {}"),
    Retired(TRACK, "same", "drill", "same", word=False),
    Retired(TRACK, "climb-order", "climb", "{}"),
    Retired(TRACK, "keys", "key", "{}", {"semitones": "half-steps"}),
    Retired(TRACK, "bits", "format", "{}-bit"),
    Retired(SHEET, "set", "arpeggios", "{}"),
    Retired(SHEET, "for", "part", "{}"),
    Retired(SHEET, "no-shapes", "", "", word=False),
    Retired(PAGE, "watch", "", "", word=False),
    Retired(PAGE, "share", "", "", word=False),
    Retired(PAGE, "port", "", ""),
)
"""In the order in which their new words are written."""
COMMAS = ("drill", "trade")
"""Options whose words are set off by commas."""
PLAYERS = {
    **dict.fromkeys(("piano", "comping", "guitar", "vibes", "organ"), "comp"),
    "melody": "line",
}
"""Players that have another name now, in --without and --only."""


def retired_option(command: str, name: str) -> Option | None:
    """The option of this name that has gone from a command."""
    for row in RETIRED:
        if row.name == name and command in row.commands:
            return Option(row.name, "WORD" if row.word else "", "", alone=row.alone)
    return None


def refuse_retired(command: str, old: Mapping[str, str], said: Mapping[str, str]) -> NoReturn:
    """Raise UserError with the words that now say the same as the options that are gone.

    ``old``: their words; ``said``: those of the other options, which the new words go along with.
    """
    gone = f"{_listed(old)} {'is' if len(old) == 1 else 'are'} now"
    if command == "page":
        serving = [f"--{name} {word}".rstrip() for name, word in old.items() if name != "watch"]
        written = " ".join(("backing play TUNE", *serving))
        raise UserError(f"{gone} in backing play:", f"write {written}.")
    phrases: dict[str, list[str]] = {}
    for row in (row for row in RETIRED if command in row.commands and row.name in old):
        now, words = _renewed(row, old)
        if now:
            phrases.setdefault(now, [said[now]] if now in said else []).append(words)
    if not phrases:
        raise UserError(
            "--no-shapes has gone: shapes are printed only where --shapes asks for them.",
            "Leave it out.",
        )
    written = " ".join(
        f"--{now} {_in_quotes(_phrase(now, parts))}" for now, parts in phrases.items()
    )
    raise UserError(f"{gone} {_listed(phrases)}:", f"write {written}.")


def _renewed(row: Retired, old: Mapping[str, str]) -> tuple[str, str]:
    """The option and the words that take the place of one of these old ones."""
    partner, melody = old.get("trade-with", ""), old.get("melody", "")
    if row.name == "position" and "no-shapes" in old:
        return "line", f"position {old['position']}"
    if row.name == "you-second" and partner == "melody":
        return row.now, "line first"
    if row.name == "melody" and melody == "etude" and partner == "melody" and "rhythm" not in old:
        return row.now, "etude eighths"  # one that is traded with goes in phrases now
    word = old[row.name]
    return row.now, row.phrase.format(row.words.get(word.strip().lower(), word)).strip()


def _phrase(now: str, parts: list[str]) -> str:
    """Old words as one phrase of the option ``now``."""
    if now != "line":
        text = (", " if now in COMMAS else " ").join(parts)
        return text.replace("rest bars 1", "rest bar") if now == "drill" else text
    guides = [part for part in parts if part.startswith("guide")]
    others = [part for part in parts if not part.startswith("guide")]
    guide = [max(guides, key=len)] if guides else []
    if guide and {"etude", "call"} & {part.split()[0] for part in others}:
        return f"{guide[0]} and {' '.join(others)}"
    return " ".join(guide + others)


def _in_quotes(phrase: str) -> str:
    return f'"{phrase}"' if shlex.quote(phrase) != phrase and not phrase.isalnum() else phrase


def _listed(names: Iterable[str]) -> str:
    *first, last = (f"--{name}" for name in names)
    return f"{', '.join(first)} and {last}" if first else last


def refuse_old_players(said: Mapping[str, str]) -> None:
    """Raise UserError for a player in --without or --only who has another name now."""
    for option in ("without", "only"):
        word = said.get(option, "")
        old = next((name for name in re.findall(r"[^\s,]+", word) if name.lower() in PLAYERS), "")
        if old:
            new = re.sub(r"[^\s,]+", lambda found: PLAYERS.get(found[0].lower(), found[0]), word)
            raise UserError(
                f"{old} is now {PLAYERS[old.lower()]}:", f"write --{option} {_in_quotes(new)}."
            )
