"""Feels as data: one TOML file says how each player plays, and this reads it.

Each player reads a table of its own (``[bass]``, ``[comping]``, ``[drums]``) into its own type;
``[time]`` is read here. A wrong key or value is a FeelError that names file, line and key.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from backing.combo.cell import Cell, read_strokes
from backing.combo.feel import ride_ratio
from backing.errors import FeelError


class Table:
    """A table of a feel file whose keys are read by name, with clear errors.

    Every reader says what it wants; ``done`` refuses the keys nobody asked for.
    """

    def __init__(self, values: Mapping[str, Any], path: str, source: str, file: str) -> None:
        self.values, self.path, self.source, self.file = values, path, source, file
        self._asked: set[str] = set()

    def error(self, key: str, cause: str, cure: str) -> FeelError:
        """A FeelError about ``key`` of this table, with file and line."""
        name = f"{self.path}.{key}" if self.path else key
        return FeelError(f"{self.file}:{self._line(key)}: {name} {cause}", cure)

    def _line(self, key: str) -> int:
        """The line that gives ``key``: of several alike, the first with the same value on it."""
        pattern = re.compile(rf"(?<![\w\"-])\"?{re.escape(key)}\"?\s*(=|\])")
        inside, found = not self.path, []
        for number, line in enumerate(self.source.splitlines(), 1):
            header = re.match(r"\s*\[+([^\]\[]+)\]+\s*(#|$)", line)
            if header:
                section = header[1].strip()
                inside = f"{self.path}.".startswith(f"{section}.") or not self.path
                if section == f"{self.path}.{key}".lstrip("."):
                    return number
            if inside and pattern.search(line):
                found.append((self._shows(key, line), -number))
        return -max(found)[1] if found else 1

    def _shows(self, key: str, line: str) -> bool:
        return str(self.values.get(key, "")) in line.replace("'", '"')

    def _get(self, key: str, default: Any) -> Any:
        self._asked.add(key)
        value = self.values.get(key, default)
        if value is None:
            raise self.error(key, "is missing.", f"Add {key} = ... to the table.")
        return value

    def text(self, key: str, default: str | None = None, *, choices: tuple[str, ...] = ()) -> str:
        """A text, one of ``choices`` where they are given."""
        value = self._get(key, default)
        if not isinstance(value, str) or (choices and value not in choices):
            wanted = " or ".join(choices) or "a text in quotes"
            raise self.error(key, f"is {value!r}.", f"Write {wanted}.")
        return value

    def number(self, key: str, default: float | None, low: float, high: float) -> float:
        """A number from ``low`` to ``high``."""
        value = self._get(key, default)
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_number or not low <= value <= high:
            raise self.error(key, f"is {value!r}.", f"Write a number from {low} to {high}.")
        return float(value)

    def texts(self, key: str, default: tuple[str, ...] | None = None) -> tuple[str, ...]:
        """A list of texts."""
        value = self._get(key, default)
        if not isinstance(value, list | tuple) or not all(isinstance(v, str) for v in value):
            raise self.error(key, f"is {value!r}.", "Write a list of texts in quotes.")
        return tuple(value)

    def table(self, key: str) -> Table:
        """A table inside this one; an empty one where it is missing."""
        value = self._get(key, {})
        if not isinstance(value, Mapping):
            raise self.error(key, f"is {value!r}.", f"Write a table, [{key}].")
        return Table(value, f"{self.path}.{key}".lstrip("."), self.source, self.file)

    def tables(self, key: str) -> tuple[Table, ...]:
        """A list of tables, [[key]]; empty where it is missing."""
        value = self._get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, Mapping) for v in value):
            raise self.error(key, f"is {value!r}.", f"Write a list of tables, [[{key}]].")
        path = f"{self.path}.{key}".lstrip(".")
        return tuple(Table(v, path, self.source, self.file) for v in value)

    def range(self, key: str, default: tuple[float, float]) -> tuple[float, float]:
        """Two numbers, the lower first."""
        value = self._get(key, default)
        if (
            not isinstance(value, list | tuple)
            or len(value) != 2
            or not all(isinstance(v, int | float) for v in value)
            or value[0] > value[1]
        ):
            raise self.error(key, f"is {value!r}.", "Write two numbers, like [100, 220].")
        return float(value[0]), float(value[1])

    def cells(self, key: str) -> tuple[Cell, ...]:
        """Rhythmic cells: [[key]] tables of ``play`` (text), ``beats``, ``weight``, bounds."""
        return tuple(self._cell(t) for t in self.tables(key))

    def _cell(self, table: Table) -> Cell:
        text = table.text("play")
        beats = int(table.number("beats", 4, 1, 32))
        try:
            strokes = read_strokes(text, beats)
        except ValueError as error:
            raise table.error("play", f"cannot be read: {error}.", "See README, feels.") from None
        cell = Cell(
            text,
            beats,
            strokes,
            table.number("weight", 1.0, 0, 1000),
            table.range("tempos", (0, 999)),
            table.range("energy", (0, 1)),
        )
        table.done()
        return cell

    def keys(self) -> Iterator[str]:
        """The keys that stand in the table; reading them this way counts as asking."""
        self._asked.update(self.values)
        return iter(self.values)

    def done(self) -> None:
        """Refuse keys that nobody asked for, suggesting the nearest known one."""
        for key in self.values:
            if key not in self._asked:
                near = difflib.get_close_matches(key, self._asked, 1)
                known = ", ".join(sorted(self._asked))
                cure = f"Did you mean {near[0]}?" if near else f"Known here: {known}."
                raise self.error(key, "is not known.", cure)


@dataclass(frozen=True, eq=False)
class Feel:
    """How a band plays: its time, and a table for each player.

    ``swing``: "ride" (the published ride ratio by tempo) or a fixed long : short ratio;
    ``lateness_ms``: player -> (mean, spread) behind the ride in ms, negative is ahead;
    ``two_first``: the first chorus is played in two; ``kinds`` of meter it is made for.
    """

    name: str
    sentence: str
    meters: tuple[str, ...]
    swing: str | Fraction
    lateness_ms: Mapping[str, tuple[float, float]]
    two_first: str
    root: Table = field(repr=False)

    def ratio(self, tempo: Fraction) -> Fraction:
        """The long : short ratio of eighths at ``tempo`` bpm (in hundredths; 1 is even)."""
        if isinstance(self.swing, Fraction):
            return self.swing
        return Fraction(round(ride_ratio(float(tempo)) * 100), 100)

    def late(self, player: str) -> tuple[float, float]:
        """Mean and spread in ms by which ``player`` sits behind the ride."""
        return self.lateness_ms.get(player, (0.0, 0.0))


def feel_names() -> tuple[str, ...]:
    """The feels that come with the package, in alphabetical order."""
    folder = files("backing.combo") / "feels"
    return tuple(sorted(f.name[:-5] for f in folder.iterdir() if f.name.endswith(".toml")))


@lru_cache(maxsize=64)
def load_feel(name: str) -> Feel:
    """The feel called ``name``, or the one in the file of that path (``*.toml``).

    Raises FeelError when there is none, or when a key of the file is wrong.
    """
    if name.endswith(".toml"):
        try:
            return parse_feel(Path(name).read_text("utf-8"), name)
        except UnicodeDecodeError:
            raise FeelError(f"{name} is not text.", "Name a feel file.") from None
        except OSError as error:
            said = error.strerror or str(error)
            raise FeelError(f"{name} cannot be read ({said}).", "Name a feel file.") from None
    if name not in feel_names():
        near = difflib.get_close_matches(name, feel_names(), 1)
        hint = f"Did you mean {near[0]}? " if near else ""
        raise FeelError(
            f"There is no feel called {name!r}.", f"{hint}Known feels: {', '.join(feel_names())}."
        )
    source = (files("backing.combo") / "feels" / f"{name}.toml").read_text("utf-8")
    return parse_feel(source, f"{name}.toml")


def parse_feel(source: str, file: str) -> Feel:
    """A feel from the text of its file; raises FeelError naming line and key."""
    try:
        values = tomllib.loads(source)
    except tomllib.TOMLDecodeError as error:
        raise FeelError(f"{file}: {error}.", "Mend the TOML there.") from None
    root = _like(Table(values, "", source, file))
    time = root.table("time")
    swing = _swing(time)
    lateness = time.table("lateness_ms")
    late = {key: _late(lateness, key) for key in tuple(lateness.keys())}
    feel = Feel(
        name=root.text("name"),
        sentence=root.text("sentence"),
        meters=root.texts("meters"),
        swing=swing,
        lateness_ms=late,
        two_first=root.text("first_chorus", ""),
        root=root,
    )
    time.done()
    for player in ("bass", "comping", "drums"):
        root.table(player)
    root.done()
    return feel


def _like(root: Table) -> Table:
    """The table with what it leaves out taken from the feel it is like."""
    name = root.text("like", "")
    if not name:
        return root
    if name not in feel_names():
        raise root.error("like", f"is {name!r}.", f"Name one of {', '.join(feel_names())}.")
    base = {k: v for k, v in load_feel(name).root.values.items() if k not in ("name", "sentence")}
    whole = Table({**base, **root.values}, "", root.source, root.file)
    whole.text("like")
    return whole


def _swing(time: Table) -> str | Fraction:
    value = time.values.get("swing", "ride")
    if value == "ride":
        return time.text("swing", "ride")
    return Fraction(round(time.number("swing", None, 1, 4) * 100), 100)


def _late(table: Table, key: str) -> tuple[float, float]:
    value = table.values[key]
    if (
        not isinstance(value, list)
        or len(value) != 2
        or not all(isinstance(v, int | float) and -60 <= v <= 60 for v in value)
    ):
        cure = "Write mean and spread in ms, like [6, 4]; neither past 60."
        raise table.error(key, f"is {value!r}.", cure)
    return float(value[0]), float(value[1])
