"""Chords: a symbol as written, and how it sounds."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from backing.chart.chord_symbol import read_symbol
from backing.chart.pitch import Degree, Interval, Key, PitchName
from backing.chart.quality import QUALITIES, Degrees, Quality, quality_of
from backing.errors import Span

_LEADING_ALTERATION = re.compile(r"^[b♭#♯]\d+")


_FLATTEST = -6
_SHARPEST = {
    "major": 5, "minor": 8, "minor-major": 8, "dominant": 7, "sus": 7, "augmented": 7,
    "half-diminished": 10, "diminished": 11,
}  # fmt: skip
"""Fifths from a key's signature between which the roots of transposed chords lie: a raised root
leads up, as diminished chords do (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord of the changes: spelled root, quality, slash bass, and its text as written.

    Pitch classes are 0-11 with C as 0.
    """

    root: PitchName
    quality: Quality
    bass: PitchName | None = None
    text: str = ""
    span: Span | None = field(default=None, compare=False)

    def __str__(self) -> str:
        return self.text

    @property
    def degrees(self) -> Degrees:
        """The degrees of the symbol, root first."""
        return self.quality.degrees

    @property
    def family(self) -> str:
        """The family of the quality."""
        return self.quality.family

    @property
    def is_dominant(self) -> bool:
        """Whether it has a major third and a minor seventh (or is altered); sus does not count."""
        return self.quality.family == "dominant"

    @property
    def pitch_classes(self) -> tuple[int, ...]:
        """The written tones, root first, without a slash bass that is no chord tone."""
        return _pitch_classes(self.quality, self.root.pitch_class).tones

    @property
    def core_pitch_classes(self) -> tuple[int, ...]:
        """The core, root first."""
        return _pitch_classes(self.quality, self.root.pitch_class).core

    @property
    def guide_pitch_classes(self) -> tuple[int, ...]:
        """The guide tones, third first."""
        return _pitch_classes(self.quality, self.root.pitch_class).guide

    @property
    def scale_pitch_classes(self) -> tuple[int, ...]:
        """The chord scale from the root up."""
        return _pitch_classes(self.quality, self.root.pitch_class).scale

    @property
    def bass_pitch_class(self) -> int:
        """The slash bass, or the root."""
        return (self.bass or self.root).pitch_class

    def spelled(self, degree: Degree) -> PitchName:
        """The name of a degree of this chord: the b7 of C is Bb."""
        return _spelled(self.root, degree)

    def name_of(self, pitch_class: int) -> Degree | None:
        """The degree of a pitch class: of a chord tone, else a tension, else a scale tone."""
        return _names(self.quality).get((pitch_class - self.root.pitch_class) % 12)

    @property
    def sounding(self) -> Chord:
        """The chord the band plays and the soloist hears.

        F/G and Dm7/G become G9sus, Fmaj7/G G13sus, Cm7b5/F F7(b9)sus; other chords are themselves.
        The text stays as written.
        """
        if self.bass is None:
            return self
        above = (self.root.pitch_class - self.bass.pitch_class) % 12
        quality = _suspended(self.quality, above)
        return Chord(self.bass, quality, None, self.text, self.span) if quality else self

    def transposed(self, interval: Interval, key: Key | None = None) -> Chord:
        """The chord ``interval`` away, its suffix kept as written.

        Names are simplified (no Cb, no double accidentals) unless ``key``, the new key, has them.
        """
        return self.on(self.root_in(key, interval), key)

    def root_in(self, key: Key | None, interval: Interval) -> PitchName:
        """The root ``interval`` away, by the name that suits ``key``; see ``transposed``."""
        root = self.root.transposed(interval).simplified(key)
        if key is None:
            return root
        highest = key.fifths + _SHARPEST[self.family]
        return root.within(key.fifths + _FLATTEST, highest).simplified(key)

    def on(self, root: PitchName, key: Key | None = None) -> Chord:
        """The same chord on another root, in ``key``."""
        moved = self.root.interval_to(root)
        bass = self.bass and self.bass.transposed(moved).simplified(key)
        text = _transposed_text(self.text, moved, key)
        return Chord(root, self.quality, bass, text, self.span)


class _PitchClasses(NamedTuple):
    """The pitch classes of a quality on one root."""

    tones: tuple[int, ...]
    core: tuple[int, ...]
    guide: tuple[int, ...]
    scale: tuple[int, ...]


@lru_cache(maxsize=4096)
def _pitch_classes(quality: Quality, root: int) -> _PitchClasses:
    sets = quality.degrees, quality.core, quality.guide, quality.scale
    return _PitchClasses(*(tuple((root + d.pitch_class) % 12 for d in tones) for tones in sets))


@lru_cache(maxsize=4096)
def _spelled(root: PitchName, degree: Degree) -> PitchName:
    return root.transposed(degree.interval)


@lru_cache(maxsize=2048)
def _names(quality: Quality) -> dict[int, Degree]:
    names: dict[int, Degree] = {}
    for degree in (*quality.degrees, *quality.core, *quality.tensions, *quality.scale):
        names.setdefault(degree.pitch_class, degree)
    return names


@lru_cache(maxsize=1024)
def _suspended(quality: Quality, above: int) -> Quality | None:
    """The suspended chord heard when this quality stands ``above`` semitones over a bass."""
    pitches = _pitch_classes(quality, above)
    if 0 in pitches.core:
        return None  # an inversion
    if {10, 2} <= set(pitches.tones) <= {0, 2, 5, 7, 9, 10}:
        high = 9 in pitches.tones
        return QUALITIES["dominant-13th-suspended" if high else "dominant-ninth-suspended"]
    if {10, 1, 5} <= set(pitches.tones) <= {0, 1, 5, 7, 9, 10}:
        return QUALITIES["phrygian-suspended"]
    return None


@lru_cache(maxsize=4096)
def _transposed_text(text: str, interval: Interval, key: Key | None) -> str:
    symbol = read_symbol(text)
    typographic = "♭" in text or "♯" in text

    def moved(name: PitchName) -> str:
        name = name.transposed(interval).simplified(key)
        return name.pretty if typographic else str(name)

    # in parentheses, so that Bb(b5) cannot become Cb5, another chord
    suffix = _LEADING_ALTERATION.sub(r"(\g<0>)", symbol.suffix)
    return moved(symbol.root) + suffix + (f"/{moved(symbol.bass)}" if symbol.bass else "")


@lru_cache(maxsize=4096)
def parse_chord(text: str) -> Chord:
    """Read a chord symbol as fake books and classrooms write it: "Dm7b5", "C7(b9,#11)", "F/G".

    Raises ChordError with the offsets of the mistake in ``text``.
    """
    symbol = read_symbol(text)
    return Chord(symbol.root, quality_of(symbol.degrees), symbol.bass, text.strip())
