"""What 200 études are like, beside master soloists: ``python -m tests.benchmarks.etude_report``.

The soloists' figures are counts over the Weimar Jazz Database (456 solos; Pfleiderer et al. 2017,
Inside the Jazzomat). Chord tones are 1 3 5 and 7 (or 6), as there: the b9 of a 7b9, which an étude
has in place of its root, does not count.
"""

from __future__ import annotations

import random
import sys
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from statistics import mean, median
from typing import Any

from backing.chart.harmony import Chord
from backing.combo.plan import Plan, plan_of_bars
from backing.lines.etude import etude
from backing.lines.line import LEVELS, LineNote
from backing.lines.player import Line
from backing.neck.path import path_of
from backing.routine.subdivisions import VALUES
from tests.benchmarks.changes import random_form

COUNT = 200


@dataclass(frozen=True, slots=True)
class LineFigures:
    """Shares are from 0 to 1, intervals in semitones.

    ``tones`` and ``practised``: core chord tones; tones of the practised arpeggio or degrees the
    line knows as such. ``steps_in``: changes crossed by 1-2 semitones; ``kept_in``: on a tone that
    stays. ``skips_in``: changes crossed otherwise although the chords have tones a step apart.
    ``move_in``: mean move into a change. ``widest``: the largest move. ``repeat``: most times a
    pitch sounds in a row. ``returns``: notes that go back to the one before the last.
    ``leaps_turned``: leaps of a fifth or more after which the line turns. ``run``: mean moves in
    one direction. ``frets``: median and largest span of frets of a line.
    """

    notes: int
    tones: float
    practised: float
    changes: int
    steps_in: float
    kept_in: float
    skips_in: int
    move_in: float
    widest: int
    repeat: int
    returns: float
    leaps_turned: float
    run: float
    frets: tuple[float, int]


def figures(lines: Iterable[Sequence[LineNote]]) -> LineFigures:
    """The figures of lines of unbroken notes."""
    lines = list(lines)
    notes = [note for line in lines for note in line]
    joints = [(a, b) for line in lines for a, b in pairwise(line) if a.chord != b.chord]
    into = [abs(b.pitch - a.pitch) for a, b in joints]
    moves = [[b.pitch - a.pitch for a, b in pairwise(line)] for line in lines]
    turns = [(a, b) for each in moves for a, b in pairwise(each)]
    leaps = [a * b < 0 for a, b in turns if abs(a) >= 7]
    spans = [span(line) for line in lines]
    return LineFigures(
        notes=len(notes),
        tones=mean(n.pitch % 12 in n.chord.core_pitch_classes for n in notes),
        practised=mean(n.kind == "tone" for n in notes),
        changes=len(joints),
        steps_in=mean(1 <= size <= 2 for size in into),
        kept_in=mean(size == 0 for size in into),
        skips_in=sum(
            size > 2
            for size, (a, b) in zip(into, joints, strict=True)
            if a.kind == "tone" and step_apart(a.chord, b.chord)
        ),
        move_in=mean(into),
        widest=max(abs(move) for each in moves for move in each),
        repeat=max(len(list(g)) for line in lines for _, g in groupby(n.pitch for n in line)),
        returns=mean(a == -b for a, b in turns),
        leaps_turned=mean(leaps) if leaps else 1.0,
        run=mean(len(list(g)) for each in moves for _, g in groupby(m > 0 for m in each)),
        frets=(median(spans), max(spans)),
    )


def step_apart(one: Chord, other: Chord) -> bool:
    """Whether the chords have different core tones one or two semitones apart."""
    return any(
        (b - a) % 12 in (1, 2, 10, 11)
        for a in one.core_pitch_classes
        for b in other.core_pitch_classes
    )


def span(line: Sequence[LineNote]) -> int:
    """How many frets a line covers, open strings aside."""
    frets = [note.place.fret for note in line if note.place.fret]
    return max(frets) - min(frets) + 1


def plans() -> list[Plan]:
    """Random tunes of 32 bars, in all keys, as rounds of a loop."""
    return [plan_of_bars(random_form(number).played("solos")) for number in range(COUNT)]


def main() -> None:
    """Print the table."""
    songs = plans()[: int(sys.argv[1]) if len(sys.argv) > 1 else COUNT]
    print(f"{len(songs)} études a row over {COUNT} random tunes of 32 bars, positions 2 to 10")
    print("soloists (WJD): chord tones .37/.51/.63 (5/50/95 %)")
    print("                steps into changes .58, half steps .33, mean move 2.6")
    for level, meaning in LEVELS.items():
        print(f"\nlevel {level}: {meaning}")
        lines = [line(song, level, n) for n, song in enumerate(songs)]
        show(figures(lines))
        distributions(lines)
        print(f"  {ROW} notes shared by two etudes of a tune: {shared(songs[0], level):.3f}")
    for rhythm in (*VALUES, "off-beats"):
        print(f"\n{rhythm}, level 1")
        show(figures(line(song, 1, n, rhythm) for n, song in enumerate(songs)))
    print()
    clock(songs)


def line(song: Plan, level: int, number: int, rhythm: str = "eighths") -> tuple[LineNote, ...]:
    """The étude of a tune."""
    asked = Line(rhythm=rhythm, level=level, position=(2 + number % 9,))
    return etude(song, asked, random.Random(number))


def show(found: LineFigures) -> None:
    """One level's figures."""
    print(f"  notes {found.notes}, chord tones {found.tones:.3f}, practised {found.practised:.3f}")
    print(
        f"  {found.changes} changes: by step {found.steps_in:.3f}, kept {found.kept_in:.3f}, "
        f"mean move {found.move_in:.2f}, "
        f"otherwise although a step exists {found.skips_in}"
    )
    print(
        f"  largest leap {found.widest}, longest repeat {found.repeat}, returns "
        f"{found.returns:.3f}, leaps turned {found.leaps_turned:.2f}, mean run {found.run:.2f}"
    )
    print(f"  frets: median {found.frets[0]}, most {found.frets[1]}")


CROSSED = ((0, "held"), (1, "half step"), (2, "whole step"), (4, "third"), (99, "wider"))
ROW = 4
"""Notes in a row that two etudes may share."""


def distributions(lines: Sequence[Sequence[LineNote]]) -> None:
    """How changes are crossed, on which degrees; intervals; chord tones of each etude."""
    joints = [(a, b) for each in lines for a, b in pairwise(each) if a.chord != b.chord]
    moves = Counter(
        next(name for most, name in CROSSED if abs(b.pitch - a.pitch) <= most) for a, b in joints
    )
    targets = Counter(b.degree.number for _, b in joints if b.degree)
    sizes = Counter(min(abs(b.pitch - a.pitch), 8) for each in lines for a, b in pairwise(each))
    tones = sorted(mean(n.pitch % 12 in n.chord.core_pitch_classes for n in each) for each in lines)
    places = (tones[round(share * (len(tones) - 1))] for share in (0.05, 0.5, 0.95))
    print(f"  crossed by {_shares(moves)}")
    print(f"  arriving on {_shares(targets)}")
    print(f"  intervals {_shares(sizes)} (8: and more)")
    print(f"  chord tones 5/50/95 %: {'/'.join(f'{share:.2f}' for share in places)}")


def _shares(counts: Counter[Any]) -> str:
    total = sum(counts.values())
    return ", ".join(
        f"{name} {count / total:.2f}" for name, count in sorted(counts.items(), key=str)
    )


def shared(song: Plan, level: int) -> float:
    """How often two etudes of one tune share ROW notes in a row at the same place."""
    found = [[n.pitch for n in line(song, level, 9 * number)] for number in range(10)]
    alike = [
        a[at : at + ROW] == b[at : at + ROW]
        for one, a in enumerate(found)
        for b in found[:one]
        for at in range(len(a) - ROW + 1)
    ]
    return mean(alike)


def clock(songs: Sequence[Plan]) -> None:
    """Milliseconds for a path and for études, each tune for the first time."""
    times: Counter[str] = Counter()
    for number, song in enumerate(songs[:50]):
        start = time.perf_counter()
        path_of(song, Line(position=5).fingerboard, 11)
        middle = time.perf_counter()
        etude(song, Line(position=(11,), level=1 + number % 4), random.Random(1))
        times["path"] += round(1e6 * (middle - start))
        times["étude"] += round(1e6 * (time.perf_counter() - middle))
    print(", ".join(f"{name} {total / 50_000:.0f} ms" for name, total in times.items()), "a tune")


if __name__ == "__main__":
    main()
