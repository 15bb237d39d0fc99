"""Performances made by hand, for the tests of the mixdown."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

from backing.combo import instruments
from backing.combo.feel import Clock
from backing.combo.instruments import Instrument
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass
from backing.mixdown import soundfont as soundfont_module
from backing.mixdown.soundfont import SoundFont, read_soundfont
from backing.routine import Pass, Purpose

RATE = 44100

INSTRUMENTS = tuple(i for i in vars(instruments).values() if isinstance(i, Instrument))
"""Every instrument the band may use."""


def built_in_soundfont() -> SoundFont:
    """The SoundFont inside pretty_midi: on every machine, so tests rest on it."""
    (path,) = soundfont_module._built_in()
    return read_soundfont(Path(path))


def performance(
    *parts: Part,
    beats: int = 4,
    tempo: Fraction = Fraction(120),
    tail: Fraction = Fraction(0),
    circular: bool = False,
) -> Performance:
    """One pass of ``parts``, even eighths."""
    clock = Clock([(Fraction(beats), tempo, Fraction(1))])
    played = PlayedPass(Pass(Purpose.TIME, (), tempo), Fraction(0), parts)
    return Performance("By Hand", (played,), clock, tail, circular)


def quarters(name: str, instrument: Instrument, pitches: Iterable[int], velocity: int = 96) -> Part:
    """Quarter notes in a row."""
    notes = (Note(Fraction(i), Fraction(1), pitch, velocity) for i, pitch in enumerate(pitches))
    return Part.of(name, instrument, notes)
