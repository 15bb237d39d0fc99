"""A section as it is written: rows of bars with their signs, and what the band does in them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from backing.chart.bar import Change, Meter
from backing.chart.cue import Cue
from backing.chart.cue import transposed as transposed_cue
from backing.chart.harmony import Chord
from backing.chart.pitch import Interval, Key, PitchName
from backing.errors import Span

FEEL_FILE = ".toml"
"""What the name of a feel file ends in."""

ROLES = ("intro", "ending", "coda", "tag", "vamp")
"""Sections of these names (``coda2`` too) are outside the chorus."""


def role_of(name: str) -> str:
    """The role a section has by its name: one of ROLES, or "chorus"."""
    plain = name.rstrip("0123456789").lower()
    return plain if plain in ROLES else "chorus"


def is_feel_file(name: str) -> bool:
    """Whether a feel is named by its file."""
    return name.lower().endswith(FEEL_FILE)


def feel_path(name: str, folder: str) -> str:
    """The path of a feel file named in a file of ``folder``; any other feel's name as it is."""
    return str(Path(folder, name)) if is_feel_file(name) else name


@dataclass(frozen=True, slots=True)
class WrittenBar:
    """A bar between two bar lines, with its signs.

    ``sign`` is "%" (the bar before again) or "%%" (the two bars before again, itself two bars);
    then ``changes`` is empty. ``opens``: a repeat begins here (``|:``). ``ending``: the times
    whose ending begins here, (1, 2) for ``[1,2]``. ``closes``: a repeat ends here that is played
    so many times in all (0: none ends).
    """

    changes: tuple[Change, ...] = ()
    sign: str = ""
    opens: bool = False
    ending: tuple[int, ...] = ()
    closes: int = 0
    span: Span | None = field(default=None, compare=False)

    @property
    def count(self) -> int:
        """How many bars it stands for."""
        return 2 if self.sign == "%%" else 1


@dataclass(frozen=True, slots=True)
class Row:
    """A line of bars; ``solos`` are other bars for soloing, None where the bar above is kept."""

    bars: tuple[WrittenBar, ...]
    solos: tuple[WrittenBar | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Replacement:
    """Other bars in a derived section, in place of its bars ``first`` to ``last`` (from 1)."""

    first: int
    last: int
    row: Row


@dataclass(frozen=True, slots=True)
class Pickup:
    """A short bar before the first one; ``length`` in beats."""

    changes: tuple[Change, ...]
    length: Fraction
    span: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Section:
    """A section as written.

    A section derived from another has ``base`` and ``replacements`` and no rows; ``base_bars``
    are the first and the last bar of its base that it has, None for all. ``feel``,
    ``key``, ``meter`` and ``tempo_ratio`` are None where the section keeps its base's or the
    tune's. ``remarks`` are notes to the reader.
    """

    name: str
    rows: tuple[Row, ...] = ()
    base: str | None = None
    base_bars: tuple[int, int] | None = None
    replacements: tuple[Replacement, ...] = ()
    pickup: Pickup | None = None
    cues: tuple[Cue, ...] = ()
    feel: str | None = None
    key: Key | None = None
    meter: Meter | None = None
    tempo_ratio: Fraction | None = None
    remarks: tuple[str, ...] = ()
    span: Span | None = field(default=None, compare=False)

    @property
    def role(self) -> str:
        """ "chorus", or the role its name gives it."""
        return role_of(self.name)

    def runs(self) -> Iterator[list[Chord | None]]:
        """The chords that are written one after the other: in the head, in the solos, in each
        replacement; None for N.C."""
        pickup = [WrittenBar(self.pickup.changes)] if self.pickup else []
        head = [bar for row in self.rows for bar in row.bars]
        rows = [*self.rows, *(replacement.row for replacement in self.replacements)]
        solos = [bar for row in rows for bar in row.solos if bar is not None]
        for bars in ([*pickup, *head], solos, *(each.row.bars for each in self.replacements)):
            yield [change.chord for bar in bars for change in bar.changes]

    def transposed(self, interval: Interval, key: Key, roots: Mapping[Chord, PitchName]) -> Section:
        """The same section in another key; ``key`` is the new key it sounds in, ``roots`` are those
        of its chords there."""

        def moved(changes: tuple[Change, ...]) -> tuple[Change, ...]:
            return tuple(
                replace(c, chord=c.chord and c.chord.on(roots[c.chord], key)) for c in changes
            )

        def moved_row(row: Row) -> Row:
            bars = tuple(replace(bar, changes=moved(bar.changes)) for bar in row.bars)
            solos = (bar and replace(bar, changes=moved(bar.changes)) for bar in row.solos)
            return Row(bars, tuple(solos))

        return replace(
            self,
            rows=tuple(map(moved_row, self.rows)),
            replacements=tuple(replace(r, row=moved_row(r.row)) for r in self.replacements),
            pickup=self.pickup and replace(self.pickup, changes=moved(self.pickup.changes)),
            cues=tuple(transposed_cue(cue, interval, key) for cue in self.cues),
            key=self.key and self.key.transposed(interval),
        )


@dataclass(frozen=True, slots=True)
class SectionUse:
    """One use of a section in an order: all of it, or its bars ``first`` to ``last``."""

    name: str
    first: int | None = None
    last: int | None = None
    span: Span | None = field(default=None, compare=False)

    @property
    def role(self) -> str:
        """The role of the section."""
        return role_of(self.name)

    def __str__(self) -> str:
        if self.first is None:
            return self.name
        bars = f"{self.first}" if self.last == self.first else f"{self.first}-{self.last}"
        return f"{self.name}:{bars}"
