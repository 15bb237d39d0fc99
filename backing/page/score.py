"""What the band of a page plays: a few takes of the chorus, told bar by bar.

The page goes round any run of bars, so every note is kept with the bar whose chord it sounds: an
anticipation or a push belongs to the bar it leads into, with a negative onset. Whatever bar comes
first in a loop brings its own anticipations with it, and what led elsewhere is not played.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.combo import click
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.feel import wander
from backing.combo.instruments import (
    ACOUSTIC_BASS,
    COMPING,
    JAZZ_GUITAR,
    JAZZ_KIT,
    VIBES,
    Instrument,
)
from backing.combo.part import Note, Part
from backing.combo.plan import ChordSpan, Plan, make_plan
from backing.lines import player
from backing.lines.player import Line
from backing.routine.count_in import count_in
from backing.routine.drills import laying_out
from backing.routine.passes import Pass, Purpose
from backing.routine.request import Request
from backing.routine.routine import Routine, make_routine

TAKES = 3
"""So many choruses differ; then the first comes again."""
BAND = ("bass", "comp", "drums")
GUIDE_LINES = {"third": "3rd", "seventh": "7th"}
"""The guide-tone lines of the page, as the band calls them."""
INSTRUMENTS = {"bass": ACOUSTIC_BASS, "drums": JAZZ_KIT, "guide": VIBES}
"""What a player holds who has nothing to play."""
COUNTED_TEMPOS = (Fraction(60), Fraction(140), Fraction(240))
"""A tempo in each of the ranges in which a leader counts otherwise."""


@dataclass(frozen=True, slots=True)
class ScorePart:
    """One part through the chorus: ``takes`` of bars of notes, onsets in beats of their bar.

    A negative onset sounds in the bar before. Where there is one take it is played every time.
    """

    name: str
    instrument: Instrument
    takes: tuple[tuple[tuple[Note, ...], ...], ...]

    def notes(self) -> Iterator[Note]:
        """All notes of all takes."""
        return (note for take in self.takes for bar in take for note in bar)


@dataclass(frozen=True, slots=True)
class Count:
    """A count-in for tempos up to ``up_to`` bpm: the strokes of each of its bars."""

    up_to: int
    bars: tuple[tuple[Note, ...], ...]


@dataclass(frozen=True)
class Score:
    """The chorus of a page: its bars, how the band plays them, and what is counted.

    ``plan`` is the first take's; ``counts`` hold for the meter of the key, as ``rest_bars`` does: a
    bar of the hi-hat foot alone. Meters are written as in the tune: "4/4". ``wander``: how far the
    ride's ratio is from the published one, bar by bar.
    """

    form: Form
    bars: tuple[PlayedBar, ...]
    plan: Plan
    lines: tuple[ScorePart, ...]
    counts: dict[str, tuple[Count, ...]]
    rest_bars: dict[str, tuple[Note, ...]]
    kit: Instrument
    wander: tuple[float, ...]


def make_score(form: Form, band: Band, line: Line | None = None) -> Score:
    """The band's playing of the solo chorus of ``form``: a circle, TAKES times.

    ``line``: how the etude goes, unbroken eighths if nothing is said. Raises FeelError for a
    feel that is unknown and PracticeError for a line that cannot be had.
    """
    routine = make_routine(form, Request(times=TAKES, count_in=0))
    rounds = routine.passes
    occasion = band.occasion or form.occasion or None
    plans = [make_plan(each, band.feel, band.seed, occasion) for each in rounds]
    lines = list(_played(routine, plans, replace(band, players=frozenset(BAND))))
    chords = any(span.chord for span in plans[0].spans)
    for name, guide_line in GUIDE_LINES.items() if chords else ():
        alone = replace(band, players=frozenset({"guide"}), guide_line=guide_line)
        once = replace(routine, passes=rounds[:1])
        lines += [replace(part, name=name) for part in _played(once, plans[:1], alone)]
    if chords:
        lines.append(_etude(rounds, plans, line or Line()))
    else:
        lines += [_silent(name, plans[0]) for name in (*GUIDE_LINES, "etude")]
    lines += [_clicked(plans[0], beats) for beats in click.BEATS]
    drums = next(line for line in lines if line.name == "drums")
    firsts = {str(bar.meter): bar for bar in reversed(rounds[0].bars)}
    return Score(
        form=form,
        bars=rounds[0].bars,
        plan=plans[0],
        lines=tuple(lines),
        counts={meter: tuple(_counts(bar)) for meter, bar in firsts.items()},
        rest_bars={meter: _rest_bar(form, band, bar) for meter, bar in firsts.items()},
        kit=drums.instrument,
        wander=tuple(wander(band.seed, bar.number) for bar in rounds[0].bars),
    )


def _played(routine: Routine, plans: list[Plan], band: Band) -> Iterator[ScorePart]:
    """What every player of the band plays, also of one who has nothing to play."""
    performance = arrange(routine, band)
    usual = INSTRUMENTS | {"comp": COMPING[band.comp]}
    for name in sorted(band.players):
        parts = [[p for p in done.parts if p.name == name] for done in performance.passes]
        instrument = next((p.instrument for mine in parts for p in mine), usual[name])
        takes = (
            by_bar(mine[0] if mine else None, plan) for mine, plan in zip(parts, plans, strict=True)
        )
        yield ScorePart(name, instrument, tuple(takes))


def _silent(name: str, plan: Plan) -> ScorePart:
    """A part of a tune that gives it no chord to play on."""
    return ScorePart(name, JAZZ_GUITAR, (tuple(() for _ in plan.bars),))


def _etude(rounds: tuple[Pass, ...], plans: list[Plan], line: Line) -> ScorePart:
    """The line in its position, or where the hand lies best, another for each take."""
    line = line.placed(rounds[0].bars)
    takes = (by_bar(player.play(plan, line), plan) for plan in plans)
    return ScorePart("etude", JAZZ_GUITAR, tuple(takes))


def _clicked(plan: Plan, beats: str) -> ScorePart:
    part = click.play(plan, beats)
    return ScorePart(f"click {beats}", part.instrument, (by_bar(part, plan),))


def by_bar(part: Part | None, plan: Plan) -> tuple[tuple[Note, ...], ...]:
    """The notes of a part, each in the bar it belongs to, with its onset counted from there."""
    bars: list[list[Note]] = [[] for _ in plan.bars]
    for note in part.notes if part else ():
        at = _home(note, plan, struck=part is not None and part.instrument.kit)
        start = plan.bars[at].start if at < len(bars) else plan.length
        bars[at % len(bars)].append(replace(note, onset=note.onset - start))
    return tuple(tuple(sorted(bar, key=lambda note: (note.onset, note.pitch))) for bar in bars)


def _home(note: Note, plan: Plan, *, struck: bool) -> int:
    """The index of the bar whose chord a note sounds; the number of bars for the next round."""
    bar = plan.bar_at(note.onset)
    if struck and not note.together:
        return bar.index  # the ride goes on under a push
    span = plan.span_at(note.onset)
    for ahead in _ahead(span, plan):
        if ahead.written < bar.end:
            continue
        anticipates = ahead is not span and note.chord is not None and note.chord == ahead.chord
        pushed = ahead is span and ahead.early > 0
        if pushed or (anticipates and span is not None and note.chord != span.chord):
            return (
                plan.bar_at(ahead.written).index if ahead.written < plan.length else len(plan.bars)
            )
    return bar.index


def _ahead(span: ChordSpan | None, plan: Plan) -> Iterator[ChordSpan]:
    if span is not None:
        yield span
        following = plan.after(span)
        if following is not None:
            yield following


def _counts(first: PlayedBar) -> Iterator[Count]:
    """The count-ins of a leader before ``first``, from slow to fast."""
    limits = (click.SLOW_BPM, click.FAST_BPM, 1000)
    for tempo, up_to in zip(COUNTED_TEMPOS, limits, strict=True):
        counted = count_in(first, tempo)
        if counted is not None:
            plan = make_plan(counted)
            yield Count(up_to, by_bar(click.count_in(plan, tempo), plan))


def _rest_bar(form: Form, band: Band, bar: PlayedBar) -> tuple[Note, ...]:
    """One bar of the hi-hat foot alone, as it stands between the rounds of a loop."""
    drums = replace(band, players=frozenset({"drums"}))
    alone = circle(laying_out((bar,), 1), form.tempo)
    performance = arrange(Routine(form, (alone,), seamless=True), drums)
    return tuple(note for done in performance.passes for part in done.parts for note in part.notes)


def circle(bars: tuple[PlayedBar, ...], tempo: Fraction) -> Pass:
    """The bars as one round that leads to itself."""
    return Pass(Purpose.TIME, bars, tempo, reference_tempo=tempo, circular=True, leads_to=bars[0])
