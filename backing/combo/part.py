"""Notes and parts: what a player of the band plays, in exact beats."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from backing.chart.harmony import Chord
from backing.combo.instruments import Instrument

VELOCITIES = tuple(range(16, 128, 8))
"""The palette of velocities: few distinct notes to render (steps of 8 are below 1.5 dB)."""


@dataclass(frozen=True, slots=True)
class Note:
    """One note: what was written, and how it is to be played.

    ``onset`` and ``length`` are in beats as written, the onset counted from the start of the pass
    (negative: before it). ``pitch`` is a MIDI number, a percussion key in a kit. ``swung``: an
    onset or end off the beat moves with the swing of its bar; a triplet is not swung.
    ``lateness_ms`` puts the note behind (or ahead of, negative) its place. ``role`` is the
    player's word for it ("root", "approach", "ride", "skip"). ``melodic``: a line's note, late on
    the beat as soloists are, by the tempo at which it is played. ``together``: the whole band
    strikes here at one time. ``tempos`` are the bpm between which an ornament is played, both
    ends included; None means always.
    """

    onset: Fraction
    length: Fraction
    pitch: int
    velocity: int
    swung: bool = True
    lateness_ms: float = 0.0
    role: str = ""
    chord: Chord | None = None
    together: bool = False
    tempos: tuple[int, int] | None = None
    melodic: bool = False

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle in a quarter of the time that a dataclass takes by itself."""
        when, what = (self.onset, self.length), (self.pitch, self.velocity)
        how = self.swung, self.lateness_ms, self.role, self.chord, self.together, self.tempos
        return type(self), (*when, *what, *how, self.melodic)

    @property
    def end(self) -> Fraction:
        """The beat at which the note ends, as written."""
        return self.onset + self.length

    def sounds_at(self, tempo: Fraction) -> bool:
        """Whether the note is played at ``tempo`` (bpm)."""
        return self.tempos is None or self.tempos[0] <= tempo <= self.tempos[1]


@dataclass(frozen=True, slots=True)
class Part:
    """What one player plays; ``notes`` are sorted by onset, then pitch."""

    name: str
    instrument: Instrument
    notes: tuple[Note, ...]

    @classmethod
    def of(cls, name: str, instrument: Instrument, notes: Iterable[Note]) -> Part:
        """A part from notes in any order."""
        return cls(name, instrument, tuple(sorted(notes, key=lambda n: (n.onset, n.pitch))))

    def shift(self, beats: Fraction) -> Part:
        """The same part, ``beats`` later."""
        moved = tuple(replace(note, onset=note.onset + beats) for note in self.notes)
        return replace(self, notes=moved)


def on_palette(velocity: float) -> int:
    """The velocity of the palette nearest to ``velocity``."""
    return min(VELOCITIES, key=lambda v: abs(v - velocity))


PALETTE = tuple(map(on_palette, range(128)))
"""Velocity -> the nearest one of the palette."""
