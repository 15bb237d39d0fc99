"""Notes as rows of numbers, in ticks of their bar: exact for every note the band writes."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from backing.combo.part import Note

TICKS = 480
"""To a beat."""


def ticks(beats: Fraction) -> int:
    """Beats in whole ticks."""
    return round(beats * TICKS)


def note_rows(notes: Iterable[Note]) -> list[list[float]]:
    """A row for each note: see ``note_row``."""
    return [note_row(note) for note in notes]


def note_row(note: Note) -> list[float]:
    """Onset, length, pitch, velocity, lateness in ms, flags, and the tempos of an ornament.

    Flags: 1 swung, 2 struck by the whole band at one time, 4 keeps time when the band lays out,
    8 of a melodic line, late on the beat by what its tempo says.
    """
    flags = note.swung + 2 * note.together + 4 * (note.role == "foot") + 8 * note.melodic
    row = [
        ticks(note.onset), ticks(note.length), note.pitch, note.velocity, note.lateness_ms, flags,
    ]  # fmt: skip
    return [*row, *note.tempos] if note.tempos else row
