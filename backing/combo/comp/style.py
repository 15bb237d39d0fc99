"""The ``[comp]`` table of a feel file, its figures fitted to any meter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import accumulate

from backing.chart.bar import Meter
from backing.combo.cell import Cell, Stroke, presence
from backing.combo.feel_file import Feel, load_feel

TICKS = 24
"""Ticks in a beat: halves, thirds, quarters and the triplets of double time are whole."""


@dataclass(frozen=True, slots=True)
class CompingStyle:
    """The comping of a feel.

    ``cells`` are the figures, of its own or those of the feel it is ``like``; in double time
    (``pulse`` 2) they go twice as fast. ``fullness`` (strokes per four beats) is what a bar wants
    at energy 0 and 1. ``repeat``: the chance that a figure is taken up again. ``unheard``: how
    readily a chord of two beats or more goes by unheard (0 never, 1 at any time). ``hold``: the
    chance that an anticipation is held over. ``ostinato``: one figure may go on and on.
    ``velocity`` at energy 0 and 1; ``spread_ms``: from the lowest to the highest voice of a chord.
    """

    cells: tuple[Cell, ...]
    fullness: tuple[float, float]
    repeat: float
    unheard: float
    hold: float
    ostinato: bool
    velocity: tuple[float, float]
    spread_ms: float


@lru_cache(maxsize=64)
def read_comp_style(feel: Feel) -> CompingStyle:
    """The comping of a feel. Raises FeelError naming file, line and key."""
    table = feel.root.table("comp")
    like = table.feel()
    source = load_feel(like).root.table("comp") if like else table
    cells = source.cells("cells")
    if not cells:
        raise table.error("cells", "are missing.", 'Add cells = [{play = "1 2&"}] to the table.')
    style = CompingStyle(
        cells=tuple(map(_doubled, cells)) if table.number("pulse", 1, 1, 2) == 2 else cells,
        fullness=table.range("fullness", (1.2, 2.2)),
        repeat=table.number("repeat", 0.3, 0, 1),
        unheard=table.number("unheard", 0.1, 0, 1),
        hold=table.number("hold", 0.5, 0, 1),
        ostinato=table.text("figures", "varied", choices=("varied", "ostinato")) == "ostinato",
        velocity=table.range("velocity", (56, 80)),
        spread_ms=table.number("spread_ms", 4, 0, 60),
    )
    table.done()
    return style


def _doubled(cell: Cell) -> Cell:
    """A cell in double time: beats of half the length, the off-beat on their last triplet."""
    strokes = tuple(
        replace(s, onset=_doubled_beat(s.onset), length=s.length / 2, swung=False)
        for s in cell.strokes
    )
    slower = (cell.tempos[0] / 2, cell.tempos[1] / 2)
    return replace(cell, beats=cell.beats // 2, strokes=strokes, tempos=slower)


def _doubled_beat(beat: Fraction) -> Fraction:
    part = beat % 1
    return (beat - part + (Fraction(2, 3) if part == Fraction(1, 2) else part)) / 2


@dataclass(frozen=True, slots=True)
class CompFigure:
    """A cell laid over whole bars: ``onsets`` in ticks, ``patterns`` the onsets bar by bar.

    ``fullness`` in strokes per four beats.
    """

    strokes: tuple[Stroke, ...]
    weight: float
    tempos: tuple[float, float]
    energy: tuple[float, float]
    ticks: int
    onsets: tuple[int, ...]
    patterns: tuple[tuple[int, ...], ...]
    fullness: float


def to_ticks(beat: Fraction) -> int:
    """Beats in ticks."""
    return round(beat * TICKS)


@lru_cache(maxsize=512)
def figures_for(
    feel: Feel, meter: Meter, room: int, tempo: Fraction
) -> tuple[tuple[CompFigure, ...], tuple[float, ...]]:
    """The figures of a feel that fill up to ``room`` bars at a tempo, and their summed weights."""
    cells = read_comp_style(feel).cells
    whole = [c for c in cells if c.beats % meter.beats == 0 and c.beats <= room * meter.beats]
    if not any(c.beats == meter.beats for c in whole):
        whole += _made_to_fit(cells, meter.groups)
    if meter.compound:
        whole = [_in_thirds(c) for c in whole]
    often = [cell.weight * presence(float(tempo), cell.tempos) for cell in whole]
    figures = tuple(_figure(cell, meter.beats) for cell in whole)
    return figures, tuple(accumulate(often if any(often) else [cell.weight for cell in whole]))


def _figure(cell: Cell, bar_beats: int) -> CompFigure:
    onsets = tuple(to_ticks(stroke.onset) for stroke in cell.strokes)
    ticks, bar = cell.beats * TICKS, bar_beats * TICKS
    return CompFigure(
        cell.strokes,
        cell.weight,
        cell.tempos,
        cell.energy,
        ticks,
        onsets,
        tuple(
            tuple(o - start for o in onsets if start <= o < start + bar)
            for start in range(0, ticks, bar)
        ),
        4 * len(onsets) / cell.beats,
    )


def _made_to_fit(cells: Sequence[Cell], groups: tuple[int, ...]) -> list[Cell]:
    """One-bar cells for another meter: the beginnings of the feel's cells, group by group."""
    made = []
    for first in range(len(cells)):
        strokes: list[Stroke] = []
        beat = 0
        for index, beats in enumerate(groups):
            source = cells[(first + 3 * index) % len(cells)]
            strokes += [_moved(s, beat, beats) for s in source.strokes if s.onset < beats]
            beat += beats
        cell = cells[first]
        made.append(Cell(cell.text, beat, tuple(strokes), cell.weight, cell.tempos, cell.energy))
    return made


def _in_thirds(cell: Cell) -> Cell:
    """A cell for compound time: off-beats go to the next third of the beat."""
    strokes: dict[Fraction, Stroke] = {}
    for stroke in cell.strokes:
        part = stroke.onset % 1
        onset = stroke.onset - part + Fraction(min(2, math.ceil(part * 3)), 3)
        strokes.setdefault(onset, replace(stroke, onset=onset, swung=not part))
    return replace(cell, strokes=tuple(strokes.values()))


def _moved(stroke: Stroke, beat: int, room: int) -> Stroke:
    """A stroke ``beat`` beats later, ending within the ``room`` beats of its group."""
    length = min(stroke.length, room - stroke.onset)
    return replace(stroke, onset=stroke.onset + beat, length=length)
