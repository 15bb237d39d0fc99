"""Options and words that have gone: one sentence says what to write now.

They are answered for one version; then this module goes.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable, Mapping
from typing import NamedTuple, NoReturn

from backing.cli.options import Option
from backing.errors import UserError


class Retired(NamedTuple):
    """An option that has gone from some ``commands``, and what says the same now.

    ``now``: the option whose phrase has it; ``phrase``: its words there, {} for the old word, and
    none where the option took none. ``words`` translates old words; ``alone``: what it was without.
    """

    commands: str
    name: str
    now: str
    phrase: str
    words: Mapping[str, str] = {}
    alone: str | None = None


RETIRED = (
    Retired("track", "melody", "line", "{}"),
    Retired("track sheet", "guide", "line", "guide {}",
            {"thirds": "from the 3rd", "sevenths": "from the 7th"}, alone=""),
    Retired("track sheet", "level", "line", "level {}"),
    Retired("track sheet", "rhythm", "line", "{}"),
    Retired("track sheet", "call-on", "line", "on {}", {"turn": "each in turn"}),
    Retired("track sheet", "start", "line", "from the {}",
            {"1": "root", "3": "3rd", "5": "5th", "7": "7th"}),
    Retired("track sheet", "direction", "line", "{}", {"both": "both ways"}),
    Retired("track sheet", "way", "line", "{}"),
    Retired("track sheet", "thirds", "line", "thirds"),
    Retired("track sheet", "early", "line", "anticipate"),
    Retired("track sheet", "top-strings", "line", "top {} strings"),
    Retired("track", "ladder", "line", "subdivisions"),
    Retired("track", "position", "line", "position {}"),
    Retired("sheet", "position", "shapes", "{}"),
    Retired("track sheet", "tuning", "neck", "{}"),
    Retired("track sheet", "frets", "neck", "{} frets"),
    Retired("sheet", "left-handed", "neck", "left-handed"),
    Retired("track", "trade-with", "trade", "with {}", {"melody": "line"}),
    Retired("track", "you-second", "trade", "drums first"),
    Retired("track", "lead-in", "drill", "lead-in {}"),
    Retired("track", "breath", "drill", "rest bars {}"),
    Retired("track", "grow", "drill", "grow"),
    Retired("track", "lay-out", "drill", "lay out {}"),
    Retired("track", "same", "drill", "same"),
    Retired("track", "climb-order", "climb", "{}"),
    Retired("track", "keys", "key", "{}", {"semitones": "half-steps"}),
    Retired("track", "bits", "format", "{}-bit"),
    Retired("sheet", "set", "arpeggios", "{}"),
    Retired("sheet", "for", "part", "{}"),
)  # fmt: skip
"""In the order in which their new words are written."""
SERVED = {"watch": "", "share": "--share", "port": "--port {}"}
"""What ``page`` had, and the words for it in ``play``."""
GONE = {
    ("sheet", "no-shapes"): "shapes are printed only where --shapes asks for them",
    ("page", "no-cache"): "a page keeps nothing for next time",
    ("play", "no-cache"): "a page keeps nothing for next time",
}
"""What has no successor, and why none is needed."""
COMMAS = ("drill", "trade")
"""Options whose words are set off by commas."""
PLAYERS = {
    **dict.fromkeys(("piano", "comping", "guitar", "vibes", "organ"), "comp"),
    "melody": "line",
}
"""Players that have another name now, in --without and --only."""


def retired_option(command: str, name: str) -> Option | None:
    """The option of this name that has gone from a command."""
    if (command, name) in GONE or (command == "page" and name in SERVED):
        return Option(name, "WORD" if "{}" in SERVED.get(name, "") else "", "")
    for row in RETIRED:
        if row.name == name and command in row.commands.split():
            return Option(name, "WORD" if "{}" in row.phrase else "", "", alone=row.alone)
    return None


def refuse_retired(command: str, old: Mapping[str, str], said: Mapping[str, str]) -> NoReturn:
    """Raise UserError with the words that now say the same as the options that are gone.

    ``old``: their words; ``said``: those of the other options, which the new words go along with.
    """
    gone = next((name for name in old if (command, name) in GONE), None)
    if gone and (len(old) == 1 or command != "sheet"):
        raise UserError(f"--{gone} has gone: {GONE[command, gone]}.", "Leave it out.")
    renamed = f"{_listed(old)} {'is' if len(old) == 1 else 'are'} now"
    if command == "page":
        served = (SERVED[name].format(word) for name, word in old.items())
        written = " ".join(("backing play TUNE", *filter(None, served)))
        raise UserError(f"{renamed} in backing play:", f"write {written}.")
    phrases: dict[str, list[str]] = {}
    for row in (row for row in RETIRED if command in row.commands and row.name in old):
        now, words = _renewed(row, old)
        phrases.setdefault(now, [said[now]] if now in said else []).append(words)
    written = " ".join(
        f"--{now} {_in_quotes(_phrase(now, parts))}" for now, parts in phrases.items()
    )
    raise UserError(f"{renamed} {_listed(phrases)}:", f"write {written}.")


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
