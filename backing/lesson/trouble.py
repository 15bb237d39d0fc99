"""Trouble spots: the bars of a tune whose changes are hard to connect, and loops over them.

The measure is how many notes a second are new, and it is meant to be checked by hand. A change
counts one for each chord tone that moves on the shortest way into the next chord, one for each note
of the new parent scale that the old one doesn't have, and on a neck one for each stretch of the new
shape and for each fret that the hand has to leave its position. The sum of a bar is divided by the
seconds the bar lasts: the same changes are harder twice as fast, and so are two in a bar. Which
things count is common practice (no source), that all count alike is ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from backing.chart.form import Form
from backing.chart.printed import printed_symbol
from backing.combo.plan import Plan, plan_of_bars
from backing.errors import how_many
from backing.neck.fingerboard import Fingerboard
from backing.neck.parent_scales import Function, KeyCenter, key_centers
from backing.neck.path import PathStep, best_position, path_of
from backing.neck.voice_leading import voice_leading

LOOP_BARS, SHORT_LOOP_BARS = 4, 2
LOOPS = 3
WORTH_IT = 0.5
"""A bar is worth a loop of its own if it is half as hard as the hardest."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """One change, by its symbols as they are printed.

    ``moved``: chord tones that move; ``new``: notes that are new in the parent scale;
    ``stretches`` of the new shape; ``frets`` that the hand leaves its position for it. ``center``:
    the key center it enters, "" where it stays in one.
    """

    before: str
    after: str
    moved: int
    new: int
    stretches: int = 0
    frets: int = 0
    center: str = ""

    @property
    def notes(self) -> int:
        """All that is new."""
        return self.moved + self.new + self.stretches + self.frets

    def __str__(self) -> str:
        told = [f"{self.before} to {self.after}: {how_many(self.moved, 'chord tone')} to move"]
        if self.new:
            told.append(f"{how_many(self.new, 'new note')} in the scale")
        if self.stretches:
            told.append(how_many(self.stretches, "stretch", "stretches"))
        if self.frets:
            told.append(f"the hand {how_many(self.frets, 'fret')} away")
        if self.center:
            told.append(f"into {self.center}")
        return ", ".join(told)


@dataclass(frozen=True, slots=True)
class HardBar:
    """A bar by its label, its changes, how long it lasts, and how many notes a second are new."""

    label: str
    crossings: tuple[Crossing, ...]
    seconds: float
    measure: float

    @property
    def reason(self) -> str:
        """Why it is hard, in words."""
        told = "; ".join(map(str, self.crossings))
        return f"{told}; {how_many(len(self.crossings), 'change')} in {self.seconds:.1f} s"


@dataclass(frozen=True, slots=True)
class Trouble:
    """The bars of a solo chorus, in their order, and loops over the hardest, hardest first.

    ``position``: where the hand is; None away from the neck.
    """

    bars: tuple[HardBar, ...]
    loops: tuple[str, ...]
    position: int | None = None

    @property
    def ranked(self) -> tuple[tuple[HardBar, ...], ...]:
        """The bars that have changes, the hardest first; those that are alike together."""
        alike: dict[tuple[Crossing, ...], list[HardBar]] = {}
        for bar in self.bars:
            if bar.crossings:
                alike.setdefault(bar.crossings, []).append(bar)
        return tuple(sorted(map(tuple, alike.values()), key=lambda bars: -bars[0].measure))


def find_trouble(
    form: Form,
    board: Fingerboard | None = None,
    position: int | None = None,
    tempo: Fraction | None = None,
) -> Trouble:
    """How hard the changes of a solo chorus are to connect.

    ``board``: None away from a neck; ``position``: None for the best one; ``tempo`` in bpm, None
    for the tune's own. Raises PracticeError for a position off the neck.
    """
    bars = form.played("solos")
    plan = plan_of_bars(bars)
    shapes = None
    if board is not None and any(span.chord for span in plan.spans):
        if position is None:
            position = best_position(bars, board).path.position
        shapes = {step.span.start: step for step in path_of(plan, board, position).steps}
    found: list[list[Crossing]] = [[] for _ in bars]
    for at, crossing in _crossings(plan, shapes, position):
        found[at].append(crossing)
    hard = []
    for bar, crossings in zip(bars, found, strict=True):
        seconds = float(bar.seconds(tempo or form.tempo))
        measure = sum(crossing.notes for crossing in crossings) / seconds
        hard.append(HardBar(bar.label, tuple(crossings), seconds, measure))
    return Trouble(tuple(hard), _loops(hard), position if shapes else None)


def _crossings(
    plan: Plan, shapes: dict[Fraction, PathStep] | None, position: int | None
) -> list[tuple[int, Crossing]]:
    """Each change of the loop and the index of the bar it is written in."""
    centers = key_centers(plan.spans)
    places = [(center, function) for center in centers for function in center.functions]
    if len(places) < 2:
        return []
    return [
        (
            plan.bar_at(max(here[1].span.written, Fraction(0))).index,
            _crossing(before, here, shapes, position),
        )
        for before, here in pairwise([places[-1], *places])
    ]


def _crossing(
    before: tuple[KeyCenter, Function],
    here: tuple[KeyCenter, Function],
    shapes: dict[Fraction, PathStep] | None,
    position: int | None,
) -> Crossing:
    old, new = before[1].span.chord, here[1].span.chord
    assert old is not None
    assert new is not None
    moves = voice_leading(old.sounding, new.sounding)
    step = shapes.get(here[1].span.start) if shapes else None
    return Crossing(
        printed_symbol(old).text,
        printed_symbol(new).text,
        sum(not move.stays for move in moves),
        len(here[1].scale - before[1].scale),
        len(step.shape.stretches) if step else 0,
        abs(step.shape.position - position) if step and position is not None else 0,
        here[0].name if here[0].name != before[0].name else "",
    )


def _loops(bars: Sequence[HardBar]) -> tuple[str, ...]:
    """Loops over the hardest bars: from the bar before to the bar after, over the top if need be.

    Four bars, in a very short form two (common practice, no source). Loops do not overlap, and of
    equal bars one has a loop.
    """
    count = len(bars)
    length = LOOP_BARS if count > LOOP_BARS else SHORT_LOOP_BARS
    if count <= SHORT_LOOP_BARS or not any(bar.measure for bar in bars):
        return ()
    hardest = max(bar.measure for bar in bars)
    taken: set[int] = set()
    loops: list[str] = []
    for at in sorted(range(count), key=lambda at: -bars[at].measure):
        if len(loops) == LOOPS or bars[at].measure < WORTH_IT * hardest:
            break
        starts = range(at - length + 2, at) or [at - 1]
        runs = [[(first + n) % count for n in range(length)] for first in starts]
        free = [run for run in runs if not taken & set(run)]
        if at not in taken and free:
            run = max(free, key=lambda run: sum(bars[bar].measure for bar in run))
            alike = (n for n in range(count) if bars[n].crossings == bars[at].crossings)
            taken |= {*run, *alike}
            loops.append(f"{bars[run[0]].label}-{bars[run[-1]].label}")
    return tuple(loops)
