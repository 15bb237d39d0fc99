"""Keys as a player gives them: one, several in turn, or all twelve by fourths."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from backing.chart.choice import one_of
from backing.chart.pitch import MODE_SPELLINGS, Interval, Key, PitchName
from backing.errors import ChordError, RoutineError, quoted

CYCLES = {"fourths": 5, "fifths": 7, "half-steps": 1}
"""Name -> semitones up from one key to the next; each comes round after twelve keys."""
_RETIRED = {"semitones": "half-steps"}
_MODES = "|".join(mode for mode in MODE_SPELLINGS if mode)
_LONGEST_KEY = 3
"""In letters, like Bbm; a longer word is the name of a cycle."""


_ALL = ("all", "every", "each", "twelve", "12")


@dataclass(frozen=True, slots=True)
class Keys:
    """Keys to play in, in turn; a bare ``PitchName`` has the mode of the tune.

    ``cycle``: a name from CYCLES for twelve keys, from the one that ``names`` may give or from the
    tune's own.
    """

    names: tuple[PitchName | Key, ...] = ()
    cycle: str = ""

    @classmethod
    def of(cls, value: str | PitchName | Key | Keys | Iterable[str | PitchName | Key]) -> Keys:
        """Keys from "Bb", "G minor", "C F Bb", "fourths", "half-steps from Bb", or keys in a row.

        Raises RoutineError or ChordError for anything else.
        """
        if isinstance(value, Keys):
            return value
        if isinstance(value, PitchName | Key):
            return cls((value,))
        if isinstance(value, str):
            return cls._read(value)
        return cls(tuple(name for each in value for name in cls.of(each).names))

    @classmethod
    def _read(cls, text: str) -> Keys:
        words = text.replace(",", " ").replace("half steps", "half-steps").split()
        if not words:
            raise RoutineError(
                "No key is named.", "Write one such as Bb, several such as C F Bb, or fourths."
            )
        first = words[0]
        if first.lower() in _ALL:
            raise RoutineError(
                f"{quoted(text)} isn't a key.",
                f"For all twelve write {', '.join(list(CYCLES)[:-1])} or {list(CYCLES)[-1]}.",
            )
        if not (first.replace("-", "").isalpha() and len(first) > _LONGEST_KEY):
            return cls(_names(words))
        if first.lower() in _RETIRED:
            raise RoutineError(f"{quoted(first)} is not used here.", "Write half-steps.")
        cycle = one_of(first, CYCLES, "key or an order of keys", RoutineError)
        if len(words) == 1:
            return cls(cycle=cycle)
        start = _names(words[2:]) if words[1].lower() == "from" else ()
        if len(start) != 1:
            raise RoutineError(
                f"{quoted(text)} doesn't name keys.", f"Write {cycle}, or {cycle} from Bb."
            )
        return cls(start, cycle)

    @property
    def in_turn(self) -> bool:
        """Whether there are several keys."""
        return bool(self.cycle) or len(self.names) > 1

    def in_tune(self, home: Key) -> tuple[Key, ...]:
        """The keys in the order in which they are played, for a tune in ``home``.

        Raises RoutineError for a minor key of a tune in major, and the other way round, and
        ChordError for a key with more than seven accidentals.
        """
        named = tuple(_like(name, home) for name in self.names)
        if not self.cycle:
            return named
        first, step = (*named, home)[0], CYCLES[self.cycle]
        return tuple(first.transposed(Interval.of_semitones(step * n % 12)) for n in range(12))

    def __str__(self) -> str:
        names = " ".join(n.short if isinstance(n, Key) else str(n) for n in self.names)
        return f"{self.cycle}{' from ' * bool(names)}{names}" if self.cycle else names


def _names(words: Iterable[str]) -> tuple[PitchName | Key, ...]:
    """What the words name; a mode belongs to the note before it: "G minor"."""
    return tuple(map(_name, re.findall(rf"\S+(?: (?:{_MODES}|moll|dur)(?!\S))?", " ".join(words))))


def _name(word: str) -> PitchName | Key:
    try:
        return PitchName.parse(word)
    except ChordError:
        return Key.parse(word)


def _like(name: PitchName | Key, home: Key) -> Key:
    """The key a name means in a tune in ``home``."""
    if isinstance(name, PitchName):
        return Key(name.simplified(), home.mode)
    if _minor(name) != _minor(home):
        raise RoutineError(
            f"The tune is in {home}; it cannot be played in {name}.",
            f"Name a tonic alone, such as {name.tonic}.",
        )
    return name


def _minor(key: Key) -> bool:
    return key.mode in ("minor", "aeolian", "dorian", "phrygian", "locrian")
