"""Cues: what the whole band does in some bars of a section, beside playing time.

Every cue names the bars it is for, ``first`` to ``last``, counted from 1 as the section is
played. Beats are counted from 0 in fractions of a beat.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

from backing.chart.bar import Change, Directions
from backing.chart.pitch import Interval, PitchName
from backing.errors import Span


@dataclass(frozen=True, slots=True)
class SectionBar:
    """A bar of a section as it sounds: its changes in the head and when soloing."""

    head: tuple[Change, ...]
    solos: tuple[Change, ...]
    directions: Directions = Directions()

    def directed(self, **changed: object) -> SectionBar:
        """The bar with some of its directions changed."""
        return replace(self, directions=replace(self.directions, **changed))  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Hits:
    """The whole band strikes these beats together, and plays on."""

    first: int
    last: int
    beats: tuple[Fraction, ...]
    span: Span | None = field(default=None, compare=False)

    def applied(self, bar: SectionBar, index: int) -> SectionBar:
        """The bar with the cue; ``index`` counts the bars of the cue from 0."""
        return bar.directed(hits=_merged(bar.directions.hits, self.beats))

    def transposed(self, interval: Interval) -> Hits:
        """The same: hits have no pitch."""
        return self


@dataclass(frozen=True, slots=True)
class Break:
    """The band strikes these beats of the first bar and is silent to the end of the last."""

    first: int
    last: int
    beats: tuple[Fraction, ...]
    span: Span | None = field(default=None, compare=False)

    def applied(self, bar: SectionBar, index: int) -> SectionBar:
        """The bar with the cue; ``index`` counts the bars of the cue from 0."""
        return bar.directed(only=self.beats if index == 0 else ())

    def transposed(self, interval: Interval) -> Break:
        """The same: a break has no pitch."""
        return self


@dataclass(frozen=True, slots=True)
class StopTime:
    """The band plays these beats of every bar and nothing else."""

    first: int
    last: int
    beats: tuple[Fraction, ...]
    span: Span | None = field(default=None, compare=False)

    def applied(self, bar: SectionBar, index: int) -> SectionBar:
        """The bar with the cue; ``index`` counts the bars of the cue from 0."""
        return bar.directed(only=self.beats)

    def transposed(self, interval: Interval) -> StopTime:
        """The same: stop-time has no pitch."""
        return self


@dataclass(frozen=True, slots=True)
class Pedal:
    """The bass holds to a note."""

    first: int
    last: int
    note: PitchName
    span: Span | None = field(default=None, compare=False)

    def applied(self, bar: SectionBar, index: int) -> SectionBar:
        """The bar with the cue; ``index`` counts the bars of the cue from 0."""
        return bar.directed(pedal=self.note)

    def transposed(self, interval: Interval) -> Pedal:
        """The pedal in another key."""
        return replace(self, note=self.note.transposed(interval).simplified())


@dataclass(frozen=True, slots=True)
class LayOut:
    """Some players (names from PLAYERS) rest."""

    first: int
    last: int
    players: frozenset[str]
    span: Span | None = field(default=None, compare=False)

    def applied(self, bar: SectionBar, index: int) -> SectionBar:
        """The bar with the cue; ``index`` counts the bars of the cue from 0."""
        return bar.directed(lay_out=bar.directions.lay_out | self.players)

    def transposed(self, interval: Interval) -> LayOut:
        """The same: who rests has no pitch."""
        return self


@dataclass(frozen=True, slots=True)
class Push:
    """The chords written on these beats arrive ``early`` beats before (negative: after)."""

    first: int
    last: int
    beats: tuple[Fraction, ...]
    early: Fraction
    span: Span | None = field(default=None, compare=False)

    def applied(self, bar: SectionBar, index: int) -> SectionBar:
        """The bar with the cue; ``index`` counts the bars of the cue from 0.

        Other changes for soloing are pushed where they too have a chord on the beat.
        """
        return replace(bar, head=self._pushed(bar.head), solos=self._pushed(bar.solos))

    def _pushed(self, changes: tuple[Change, ...]) -> tuple[Change, ...]:
        return tuple(
            replace(c, early=self.early) if c.onset in self.beats else c for c in changes
        )

    def transposed(self, interval: Interval) -> Push:
        """The same: a push has no pitch."""
        return self


Cue = Hits | Break | StopTime | Pedal | LayOut | Push
"""Any of them."""


def _merged(beats: tuple[Fraction, ...], others: tuple[Fraction, ...]) -> tuple[Fraction, ...]:
    return tuple(sorted({*beats, *others}))
