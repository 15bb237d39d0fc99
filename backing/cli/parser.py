"""The words of a command line, read against the table of options."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from backing.chart.text.source import suggestion
from backing.cli.options import COMMANDS, Command, Option
from backing.cli.retired import refuse_retired, retired_option
from backing.errors import UserError, quoted
from backing.saving import is_there

TUNES = (".tune", ".musicxml", ".mxl")
NUMBER = re.compile(r"-\d")
EMPTY = "Write it, or leave it out."


@dataclass(frozen=True, slots=True)
class Words:
    """What a command line says: the command, the ``names`` after it, and its options' words.

    ``said`` has the word of each option that is given, "" for one that takes none.
    """

    command: Command
    names: tuple[str, ...]
    said: Mapping[str, str]

    def __contains__(self, option: str) -> bool:
        return option in self.said

    def text(self, option: str) -> str | None:
        """The word of an option; None where it is not given."""
        return self.said.get(option)

    def path(self, option: str) -> Path | None:
        """The file an option names."""
        return Path(self.said[option]) if option in self.said else None

    def number(self, option: str) -> int | None:
        """The whole number an option gives. Raises UserError for another word."""
        if option not in self.said:
            return None
        word = self.said[option].strip()
        if not re.fullmatch(r"-?[0-9]{1,12}", word):
            raise UserError(
                f"{quoted(word)} isn't a whole number.", f"Write one such as --{option} 4."
            )
        return int(word)

    def filling(self, fills: str) -> dict[str, Any]:
        """The words for the fields of a Request or a Band, by the names of the fields."""
        return {
            option.value or option.name.replace("-", "_"): self.said[option.name]
            for option in self.command.options
            if option.fills == fills and option.name in self.said
        }


def parse(words: Sequence[str]) -> Words:
    """What the words after ``backing`` say. Raises UserError for what nobody understands."""
    first = words[0] if words else ""
    if first not in COMMANDS:
        raise UserError(
            f"There is no command called {quoted(first)}." if first.strip() else "Say what to do.",
            f"{suggestion(first, COMMANDS)}Choose from: {', '.join(COMMANDS)}.",
        )
    command = COMMANDS[first]
    names: list[str] = []
    said: dict[str, str] = {}
    old: dict[str, str] = {}
    left = deque(words[1:])
    option: Option | None = None
    while left:
        word = left.popleft()
        if word == "--":
            names += left
            break
        if not word.startswith("-") or word == "-":
            if option is not None and option.name in said:
                _check_apart(option, said[option.name], word)
            names.append(word)
            continue
        option = _option(command, word)
        if option.word and option.name in said:
            raise UserError(f"{option.spelled} is given twice.", "Leave one of them out.")
        into = said if option in command.options else old
        into[option.name] = _word_of(command, option, word, left)
    if old:
        refuse_retired(command.name, old, said)
    for name in names:
        if not name.strip():
            raise UserError("One of the names is empty.", "Name a file, or leave it out.")
    return Words(command, tuple(names), said)


def _check_apart(option: Option, given: str, word: str) -> None:
    """Raise UserError for a name that reads as more of the word ``given`` to an option before."""
    if option.word and word.strip() and not Path(word).suffix and not is_there(Path(word)):
        raise UserError(
            f"There is no file {word}.",
            f'Words that belong together go in quotes: {option.spelled} "{given} {word}".',
        )


def _option(command: Command, word: str) -> Option:
    """The option a word spells, one that has gone included."""
    spelled = word.partition("=")[0]
    short = word[:2]
    for option in command.options:
        if spelled == option.spelled or (option.short and short == option.short):
            return option
    retired = retired_option(command.name, spelled.removeprefix("--"))
    if retired is not None and spelled.startswith("--"):
        return retired
    near = suggestion(spelled, [option.spelled for option in command.options])
    raise UserError(
        f"backing {command.name} has no option {spelled}.",
        f"{near.replace(chr(34), '')}See backing {command.name} --help.",
    )


def _word_of(command: Command, option: Option, word: str, left: deque[str]) -> str:
    """The word an option is given: behind "=", or the next one."""
    spelled, joined, given = word.partition("=")
    if option.short and word.startswith(option.short) and word != option.short:
        spelled, joined, given = option.short, "=", word.removeprefix(option.short)
    if not option.word:
        if joined:
            raise UserError(f"{spelled} takes no value.", f"Write {spelled} alone.")
        return ""
    if not joined:
        if left and (not left[0].startswith("-") or NUMBER.match(left[0])):
            given = left.popleft()
        elif option.alone is not None:
            return option.alone
        else:
            raise UserError(
                f"{spelled} needs a value.",
                f"See backing {command.name} --help, or leave it out.",
            )
    if not given.strip():
        raise UserError(f"{spelled} needs a value.", EMPTY)
    if not option.file and Path(given).suffix.lower() in TUNES:
        raise UserError(
            f"{spelled} was given {given} as its value.",
            f"Write the tune first: backing {command.name} {given} {spelled}.",
        )
    return given
