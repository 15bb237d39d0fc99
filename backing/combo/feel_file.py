"""Feel files: TOML that says how each player plays.

Each player reads a table of its own (``[bass]``, ``[comp]``, ``[drums]``) into its own type;
``[time]`` is read here. A wrong key or value is a FeelError that names file, line and key.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any

from backing.chart.section import feel_path, is_feel_file
from backing.chart.text.header import METERS
from backing.chart.text.source import suggestion
from backing.chart.text.toml import TomlError, toml_values
from backing.combo.cell import Cell, Stroke, StrokeError, read_strokes
from backing.combo.feel import ride_ratio, wandered
from backing.errors import FeelError, Problem, Span, quoted
from backing.reading import FEEL_BYTES, FEEL_DEPTH, FEELS_ALIKE, guarded, read_bytes

FEELS = Path(__file__).with_name("feels")
"""The folder of the feels that come with the package."""
READERS = ("bass", "comp", "drums")
"""The players who have a table in a feel file."""
LARGEST = 100_000
"""No number of a feel is larger; nothing (NaN) and infinity are not either."""
LATE = ("bass", "comp", "ride", "hat", "hihat_foot", "kick", "snare", "crash", "toms")
"""Who and what can be late."""


class Table:
    """A table of a feel file, read key by key.

    ``done`` refuses the keys that nobody has read. ``path`` is the table's name in the file
    ("drums.levels"), ``source`` the file's text; ``base`` the table of the feel it is ``like``.
    """

    def __init__(
        self,
        values: Mapping[str, Any],
        path: str,
        source: str,
        file: str,
        base: Table | None = None,
    ) -> None:
        self.values, self.path, self.source, self.file = values, path, source, file
        self.base = base
        self._known: set[str] = set()

    def error(self, key: str, cause: str, cure: str, culprit: str = "") -> FeelError:
        """A FeelError about ``key`` of this table, or a ``culprit`` in its value."""
        cause = f"{self.path}.{key} {cause}" if self.path else f"{key} {cause}"
        line = self._line(key)
        text = self.source.splitlines()[line - 1] if self.source else ""
        found = culprit or key
        span = Span(line, max(0, text.find(found)) + 1, len(found) if found in text else 1)
        return _at(self.file, span, text, cause, cure)

    def _line(self, key: str) -> int:
        """The line that gives ``key``: of several alike, the first with the same value on it.

        Where none does, the line that begins the table.
        """
        pattern = re.compile(rf"(?<![\w\"-])\"?{re.escape(key)}\"?\s*(=|\])")
        inside, found, begins = not self.path, [], 1
        for number, line in enumerate(self.source.splitlines(), 1):
            header = re.match(r"\s*\[+([^\]\[]+)\]+\s*(#|$)", line)
            if header:
                section = header[1].strip()
                inside = f"{self.path}.".startswith(f"{section}.") or not self.path
                if section == f"{self.path}.{key}".lstrip("."):
                    return number
                begins = number if section == self.path else begins
            if inside and pattern.search(line):
                found.append((self._shows(key, line), -number))
        return -max(found)[1] if found else begins

    def _shows(self, key: str, line: str) -> bool:
        return str(self.values.get(key, "")) in line.replace("'", '"')

    def _get(self, key: str, default: Any) -> Any:
        self._known.add(key)
        value = self.values.get(key, default)
        if value is None:
            raise self.error(key, "is missing.", f"Add {key} = ... to the table.")
        return value

    def text(self, key: str, default: str | None = None, *, choices: tuple[str, ...] = ()) -> str:
        """A text, one of ``choices`` where they are given."""
        value = self._get(key, default)
        if not isinstance(value, str) or (choices and value not in choices):
            wanted = " or ".join(choices) or "text in quotes"
            raise self.error(key, f"is {quoted(value)}.", f"Write {wanted}.")
        return value

    def number(self, key: str, default: float | None, low: float, high: float) -> float:
        """A number from ``low`` to ``high``."""
        value = self._get(key, default)
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_number or not low <= value <= high:
            raise self.error(key, f"is {quoted(value)}.", f"Write a number from {low} to {high}.")
        return float(value)

    def texts(self, key: str, default: tuple[str, ...] | None = None) -> tuple[str, ...]:
        """A list of texts."""
        value = self._get(key, default)
        if not isinstance(value, list | tuple) or not all(isinstance(v, str) for v in value):
            raise self.error(key, f"is {quoted(value)}.", "Write a list of words in quotes.")
        return tuple(value)

    def table(self, key: str) -> Table:
        """A table inside this one; an empty one where it is missing."""
        value = self._get(key, {})
        if not isinstance(value, Mapping):
            raise self.error(key, f"is {quoted(value)}.", f"Write a table, [{key}].")
        if self.base is not None and self.base.values.get(key) is value:
            return self.base.table(key)  # its mistakes are in that file
        return Table(value, f"{self.path}.{key}".lstrip("."), self.source, self.file)

    def tables(self, key: str) -> tuple[Table, ...]:
        """A list of tables, [[key]]; empty where it is missing."""
        value = self._get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, Mapping) for v in value):
            raise self.error(key, f"is {quoted(value)}.", f"Write a list of tables, [[{key}]].")
        path = f"{self.path}.{key}".lstrip(".")
        return tuple(Table(v, path, self.source, self.file) for v in value)

    def range(self, key: str, default: tuple[float, float]) -> tuple[float, float]:
        """Two numbers, the lower first."""
        value = self._get(key, default)
        if not _two_numbers(value) or value[0] > value[1]:
            raise self.error(key, f"is {quoted(value)}.", "Write two numbers, like [100, 220].")
        return float(value[0]), float(value[1])

    def cells(self, key: str) -> tuple[Cell, ...]:
        """Rhythmic cells: [[key]] tables of ``play`` (text), ``beats``, ``weight``, bounds."""
        return tuple(self._cell(t) for t in self.tables(key))

    def _cell(self, table: Table) -> Cell:
        text = table.text("play")
        beats = int(table.number("beats", 4, 1, 32))
        cell = Cell(
            text,
            beats,
            table.strokes("play", text, beats),
            table.number("weight", 1.0, 0, 1000),
            table.range("tempos", (0, 999)),
            table.range("energy", (0, 1)),
        )
        table.done()
        return cell

    def strokes(self, key: str, text: str, beats: int) -> tuple[Stroke, ...]:
        """The strokes of ``text``, the value of ``key``."""
        try:
            return read_strokes(text, beats)
        except StrokeError as error:
            cause = f"has {quoted(error.word)}, which {error.cause}"
            raise self.error(key, cause, error.cure, error.word) from None

    def feel(self, key: str = "like") -> str:
        """The name or path of the feel that ``key`` names; "" where it names none.

        A feel file is looked for in the folder of the one that names it.
        """
        name = self.text(key, "")
        if not name.isprintable():
            raise self.error(key, f"is {quoted(name)}.", "Write the name of a feel or a file.")
        place = feel_path(name, str(Path(self.file).parent))
        if name and not is_feel_file(name) and name not in feel_names():
            raise self.error(key, f"is {quoted(name)}.", _known_feels(name))
        return place

    def has(self, key: str) -> bool:
        """Whether the table has ``key``, which is known from now on."""
        self._known.add(key)
        return key in self.values

    def keys(self) -> Iterator[str]:
        """The keys of the table, all known from now on."""
        self._known.update(self.values)
        return iter(self.values)

    def done(self) -> None:
        """Refuse keys that nobody has read, suggesting the nearest known one."""
        for key in self.values:
            if key not in self._known:
                known = ", ".join(sorted(self._known))
                cure = suggestion(key, self._known).rstrip() or f"The keys here are {known}."
                raise self.error(key, "is not known.", cure)


@dataclass(frozen=True, eq=False)
class Feel:
    """How a band plays: its time, and a table for each player.

    ``swing``: "ride" (the published ride ratio by tempo) or a fixed long:short ratio;
    ``lateness_ms``: player -> (mean, spread) behind the ride in ms, negative is ahead;
    ``meters``: those it is made for; ``two_first``: the feel of the first of several whole
    choruses, "" where it is this one. ``files``: the text of every feel file it is read from, by
    path: its own, and those it is like.
    """

    name: str
    sentence: str
    meters: tuple[str, ...]
    swing: str | Fraction
    lateness_ms: Mapping[str, tuple[float, float]]
    two_first: str
    root: Table = field(repr=False)
    files: Mapping[str, str] = field(default_factory=dict, repr=False)

    def ratio(self, tempo: Fraction, factor: float = 1.0) -> Fraction:
        """The long : short ratio of eighths at ``tempo`` bpm (in hundredths; 1 is even).

        ``factor``: how far the ride has wandered. A ratio that the feel names stays what it is.
        """
        if isinstance(self.swing, Fraction):
            return self.swing
        bpm = float(tempo)
        return Fraction(round(wandered(ride_ratio(bpm), factor, bpm) * 100), 100)

    def late(self, player: str) -> tuple[float, float]:
        """Mean and spread in ms by which ``player`` sits behind the ride."""
        return self.lateness_ms.get(player, (0.0, 0.0))


@lru_cache(maxsize=1)
def feel_names() -> tuple[str, ...]:
    """The feels that come with the package, in alphabetical order."""
    return tuple(sorted(file.stem for file in FEELS.glob("*.toml")))


_TEXTS: ContextVar[Mapping[str, str]] = ContextVar("feel texts")
_FROM_FILES: dict[str, Feel] = {}


@contextmanager
def use_feel_texts(files: Mapping[str, str]) -> Iterator[None]:
    """Read feel files from these texts (path -> text) rather than from disk.

    A track takes its feels along to a process, or a machine, that may not see the files.
    """
    before = _TEXTS.set(files)
    try:
        yield
    finally:
        _TEXTS.reset(before)


def load_feel(name: str) -> Feel:
    """The feel called ``name``, or the one in the file of that path (``*.toml``).

    Raises FeelError when there is none, or when a key of the file is wrong.
    """
    if is_feel_file(name):
        return _from_file(name)
    if name not in feel_names():
        raise FeelError(f"There is no feel called {quoted(name)}.", _known_feels(name))
    return _own(name)


def _known_feels(name: str) -> str:
    """The cure for an unknown feel."""
    return f"{suggestion(name, feel_names())}Known feels: {', '.join(feel_names())}."


@lru_cache(maxsize=64)
def _own(name: str) -> Feel:
    source = (FEELS / f"{name}.toml").read_text("utf-8")
    return parse_feel(source, f"{name}.toml")


def _from_file(path: str, through: tuple[str, ...] = ()) -> Feel:
    """The feel in a file, cached until a file that it is read from changes."""
    known = _FROM_FILES.get(path)
    if known is None or any(_text(file) != text for file, text in known.files.items()):
        text = _text(path)
        feel = parse_feel(text, path, through)
        known = _FROM_FILES[path] = replace(feel, files={path: text, **feel.files})
    return known


def _text(path: str) -> str:
    text = _TEXTS.get({}).get(path)
    if text is not None:
        return text
    try:
        data = read_bytes(Path(path), FEEL_BYTES, "a feel file", FeelError)
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FeelError(f"{path} is not text.", "Name a feel file.") from None


def parse_feel(source: str, file: str, through: tuple[str, ...] = ()) -> Feel:
    """A feel from the text of its file; raises FeelError naming line and key.

    ``through``: the files that led here, each like the next.
    """
    with guarded(f"{file} cannot be read as a feel", "Name a feel file.", FeelError):
        return _read(_values(source, file), source, file, (*through, os.path.realpath(file)))


def _values(source: str, file: str) -> dict[str, Any]:
    """What a feel file holds. Raises FeelError for what is no TOML, and for what lies too deep."""
    try:
        return toml_values(source, file, "a feel file", FEEL_DEPTH)
    except TomlError as error:
        if error.span is None:
            raise FeelError(error.cause, error.cure) from None
        text = source.split("\n")[error.span.line - 1]
        raise _at(file, error.span, text, error.cause, error.cure) from None


def _at(file: str, span: Span, text: str, cause: str, cure: str) -> FeelError:
    return FeelError(f"{file}:{span.line}: {cause}", cure, Problem(file, span, text, cause, cure))


def _read(values: dict[str, Any], source: str, file: str, here: tuple[str, ...]) -> Feel:
    mine = Table(values, "", source, file)
    base = _other(mine, here)
    root = _like(mine, base)
    time = root.table("time")
    swing = _swing(time)
    lateness = time.table("lateness_ms")
    late = {key: _late(lateness, key) for key in LATE if lateness.has(key)}
    lateness.done()
    others = [base, *(_other(root.table(player), here) for player in READERS)]
    texts = {path: text for other in others if other for path, text in other.files.items()}
    feel = Feel(
        name=root.text("name"),
        sentence=root.text("sentence"),
        meters=_meters(root),
        swing=swing,
        lateness_ms=late,
        two_first=_first_chorus(root),
        root=root,
        files=texts,
    )
    time.done()
    root.done()
    return feel


def _other(table: Table, through: tuple[str, ...]) -> Feel | None:
    """The feel that a table is like; raises FeelError for a circle."""
    place = table.feel()
    if not is_feel_file(place):
        return load_feel(place) if place else None
    if len(through) > FEELS_ALIKE:
        cause = f"leads through more than {FEELS_ALIKE} feels."
        raise table.error("like", cause, "Write the last of them out.")
    if os.path.realpath(place) in through:
        cause = f"is {quoted(table.values['like'])}, which leads back to this file."
        raise table.error("like", cause, "Name another feel.")
    try:
        _text(place)
    except FeelError as error:
        raise table.error("like", f"cannot be read: {error.cause}", error.cure) from None
    return _from_file(place, through)


def _like(root: Table, base: Feel | None) -> Table:
    """The table, completed from the feel it is like."""
    if base is None:
        return root
    taken = {k: v for k, v in base.root.values.items() if k not in ("name", "sentence")}
    whole = Table({**taken, **root.values}, "", root.source, root.file, base.root)
    whole.text("like")
    return whole


def _meters(root: Table) -> tuple[str, ...]:
    """The meters the feel is made for, at least one."""
    meters = root.texts("meters")
    known = tuple(map(str, METERS))
    if not meters or not set(meters) <= set(known):
        cure = f"Write one or more of {', '.join(known)}, in quotes."
        raise root.error("meters", f"is {quoted(list(meters))}.", cure)
    return meters


def _first_chorus(root: Table) -> str:
    name = root.text("first_chorus", "")
    if name and name not in feel_names():
        raise root.error("first_chorus", f"is {quoted(name)}.", _known_feels(name))
    return name


def _swing(time: Table) -> str | Fraction:
    value = time.values.get("swing", "ride")
    if value == "ride":
        return time.text("swing", "ride")
    return Fraction(round(time.number("swing", None, 1, 4) * 100), 100)


def _late(table: Table, key: str) -> tuple[float, float]:
    value = table.values[key]
    if _two_numbers(value) and all(-60 <= v <= 60 for v in value):
        return float(value[0]), float(value[1])
    cure = "Write mean and spread in ms, up to 60, like [6, 4]."
    raise table.error(key, f"is {quoted(value)}.", cure)


def _two_numbers(value: Any) -> bool:
    return (
        isinstance(value, list | tuple)
        and len(value) == 2
        and all(isinstance(v, int | float) and abs(v) <= LARGEST for v in value)
    )
