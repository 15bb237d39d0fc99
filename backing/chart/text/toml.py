"""TOML as our readers take it: within limits, and with the place of every key.

``tomllib`` reads it (TOML 1.0); it keeps no places, which are found here again in the text.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterator
from typing import Any

from backing.errors import Span, UserError
from backing.reading import LINE_CHARACTERS, depth

Path = tuple[str | int, ...]
"""The way to a key: ("student", 0, "task", 1, "bars")."""

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]#]+?)\s*\]\]?\s*(?:#.*)?")
_KEY = re.compile(r"\s*(?P<key>[\w-]+|\"[^\"]*\"|'[^']*')\s*=\s*(?P<value>.*)")
_BARE = re.compile(r"\s*(?P<key>[\w-]+)\s*=\s*(?P<value>[^\W\d](?:[\w ,.'%-]*\w)?)\s*(?:#.*)?")
"""A text without its quotes: ``title = Monday``."""
_TEXT = re.compile(r'"""(?:\\.|.)*?"""|\'\'\'.*?\'\'\'|"(?:\\.|[^"\\])*"|\'[^\']*\'')
_LONG = ('"""', "'''")


class TomlError(UserError):
    """What is no TOML, or lies beyond the limits; ``span`` is its place, where it has one."""

    def __init__(self, cause: str, cure: str, span: Span | None = None) -> None:
        super().__init__(cause, cure)
        self.span = span


def toml_values(text: str, file: str, what: str, most: int) -> dict[str, Any]:
    """What a text holds, tables and lists nested ``most`` deep. Raises TomlError.

    ``what`` it should be: "a feel file".
    """
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LINE_CHARACTERS:  # of a key as long tomllib looks at each piece again
            cause = f"This line is longer than {LINE_CHARACTERS:,} characters."
            raise TomlError(cause, "Break it into several lines.", Span(number, 1))
    values: dict[str, Any] | None
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _misplaced(str(error), text) from None
    except ValueError:  # Python refuses to read so many digits
        raise TomlError(f"{file} has a number that is too long.", "Shorten it.") from None
    except RecursionError:
        values = None
    if values is None or depth(values, most) > most:
        raise TomlError(f"{file} has lists and tables nested too deeply.", f"Name {what}.")
    return values


def _misplaced(said: str, text: str) -> TomlError:
    """The TomlError for what tomllib says, with its place where it names one."""
    found = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", said)
    lines = text.split("\n")
    line, column = (int(found[2]), int(found[3])) if found and found[2] else (len(lines), 1)
    if key := _BARE.fullmatch(lines[line - 1]):
        cause = f"{key['value']} isn't a number, a date, true or false."
        cure = f'Put text in quotes: {key["key"]} = "{key["value"]}".'
        return TomlError(cause, cure, Span(line, key.start("value") + 1, len(key["value"])))
    cause = f"{found[1] if found else said}."
    return TomlError(cause, "Correct the TOML there.", Span(line, column))


def toml_places(text: str) -> dict[Path, Span]:
    """Where the value of every key stands, and where every table begins.

    The key itself stands at its path with "" behind it. Of a value over several lines the first
    counts. Keys within inline tables have no place.
    """
    found: dict[Path, Span] = {(): Span(1, 1)}
    counts: Counter[Path] = Counter()
    table: Path = ()
    for number, line in _outside_values(text):
        if header := _HEADER.fullmatch(line):
            names = [name.strip().strip("\"'") for name in header[2].split(".")]
            table = _table(names, counts, listed=header[1] == "[[")
            found[table] = Span(number, header.start(2) + 1, len(header[2]))
        elif key := _KEY.fullmatch(line):
            said = _TEXT.match(key["value"])
            length = said.end() if said else len(key["value"].partition("#")[0].rstrip())
            span = Span(number, key.start("value") + 1, max(1, length))
            path = (*table, key["key"].strip("\"'"))
            found[path] = span
            found[*path, ""] = Span(number, key.start("key") + 1, len(key["key"]))
    return found


def _table(names: list[str], counts: Counter[Path], *, listed: bool) -> Path:
    """The way to the table that a header opens; of a list of tables the next."""
    path: Path = ()
    for at, name in enumerate(names):
        path = (*path, name)
        if at == len(names) - 1 and listed:
            counts[path] += 1
        if counts[path]:
            path = (*path, counts[path] - 1)
    return path


def _outside_values(text: str) -> Iterator[tuple[int, str]]:
    """The lines that begin a key or a table, numbered: not those within a value."""
    ends, brackets = "", 0
    for number, line in enumerate(text.split("\n"), 1):
        if ends:
            ends_here = ends in line
            ends = "" if ends_here else ends
            continue
        if not brackets:
            yield number, line
        plain = _TEXT.sub("", line)
        ends = next((quotes for quotes in _LONG if quotes in plain), "")
        plain = plain.partition("#")[0]
        if brackets or not _HEADER.fullmatch(line):
            brackets = max(0, brackets + plain.count("[") - plain.count("]"))
