"""Cues: what the band does in some bars of a section besides playing time.

Every cue names the bars it is for, ``first`` to ``last``, counted from 1 as the section is
played, repeats included. Beats are counted from 0 in fractions of a beat.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

from backing.chart.bar import Change, Directions, Slowing, slowing
from backing.chart.pitch import Interval, Key, PitchName
from backing.errors import Span


@dataclass(frozen=True, slots=True)
class SectionBar:
    """A bar of a section as it sounds: its changes in the head and when soloing."""

    head: tuple[Change, ...]
    solos: tuple[Change, ...]
    directions: Directions = Directions()  # noqa: RUF009 - a frozen value


@dataclass(frozen=True, slots=True)
class _Told:
    """What all cues have: their bars, and where they are written."""

    first: int
    last: int
    span: Span | None = field(default=None, compare=False, kw_only=True)


@dataclass(frozen=True, slots=True)
class Hits(_Told):
    """The whole band hits these beats together, and plays on."""

    beats: tuple[Fraction, ...]


@dataclass(frozen=True, slots=True)
class Break(_Told):
    """The band hits these beats of the first bar and is silent to the end of the last."""

    beats: tuple[Fraction, ...]


@dataclass(frozen=True, slots=True)
class StopTime(_Told):
    """The band plays these beats of every bar and nothing else."""

    beats: tuple[Fraction, ...]


@dataclass(frozen=True, slots=True)
class Pedal(_Told):
    """The bass holds to a note."""

    note: PitchName


@dataclass(frozen=True, slots=True)
class LayOut(_Told):
    """Some players (names from PLAYERS) rest."""

    players: frozenset[str]


@dataclass(frozen=True, slots=True)
class Push(_Told):
    """The chords on these beats are played ``early`` beats ahead (negative: behind).

    Changes for soloing move too where they have a chord on the beat.
    """

    beats: tuple[Fraction, ...]
    early: Fraction


@dataclass(frozen=True, slots=True)
class Hold(_Told):
    """A fermata: the band strikes a beat and holds it to the end of the bar, HELD times as long."""

    beat: Fraction


@dataclass(frozen=True, slots=True)
class Rit(_Told):
    """A ritardando: the tempo falls to ``last_ratio`` of itself; after it the tempo returns."""

    last_ratio: Fraction


@dataclass(frozen=True, slots=True)
class Center(_Told):
    """The key center printed over these bars; None: there is none to print."""

    key: Key | None


Cue = Hits | Break | StopTime | Pedal | LayOut | Push | Hold | Rit | Center
"""Any of them."""


def apply_cue(cue: Cue, bars: list[SectionBar]) -> list[SectionBar]:
    """Apply a cue to the bars of a section; bars it names beyond the last are ignored.

    A later cue wins over an earlier one: a break silences hits, hits sound in a break.
    """
    inside = slice(cue.first - 1, cue.last)
    bars = list(bars)
    bars[inside] = [_applied(cue, bar, index) for index, bar in enumerate(bars[inside])]
    return bars


def _applied(cue: Cue, bar: SectionBar, index: int) -> SectionBar:
    """The bar with a cue of which it is the bar ``index``, counted from 0."""
    told = bar.directions
    match cue:
        case Hits(beats=beats):
            only = None if told.only is None else _merged(told.only, beats)
            told = replace(told, hits=_merged(told.hits, beats), only=only)
        case Break(beats=beats):
            told = replace(told, hits=(), only=() if index else beats)
        case StopTime(beats=beats):
            told = replace(told, hits=(), only=beats)
        case Pedal(note=note):
            told = replace(told, pedal=note)
        case LayOut(players=players):
            told = replace(told, lay_out=told.lay_out | players)
        case Hold(beat=beat):
            told = replace(told, hold=beat)
        case Rit(last_ratio=last):
            ratios = slowing(cue.last - cue.first + 1, last)
            told = replace(told, slows=Slowing(ratios[index], ratios[index + 1], last))
        case Center(key=key):
            told = replace(told, centers=(key,) if key else ())
        case Push():
            return replace(bar, head=_pushed(bar.head, cue), solos=_pushed(bar.solos, cue))
    return replace(bar, directions=told)


def _merged(beats: tuple[Fraction, ...], others: tuple[Fraction, ...]) -> tuple[Fraction, ...]:
    return tuple(sorted({*beats, *others}))


def _pushed(changes: tuple[Change, ...], cue: Push) -> tuple[Change, ...]:
    return tuple(replace(c, early=cue.early) if c.onset in cue.beats else c for c in changes)


def transposed(cue: Cue, interval: Interval, key: Key) -> Cue:
    """The cue in a new ``key``; only a pedal and a key center have a pitch."""
    if isinstance(cue, Center) and cue.key:
        return replace(cue, key=cue.key.transposed(interval))
    if isinstance(cue, Pedal):
        return replace(cue, note=cue.note.transposed(interval).simplified(key))
    return cue
