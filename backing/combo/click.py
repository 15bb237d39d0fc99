"""The click: a metronome for practicing, and the sticks that count the band in."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from backing.chart.bar import PlayedBar
from backing.combo.instruments import (
    HIGH_WOOD_BLOCK,
    JAZZ_KIT,
    LOW_WOOD_BLOCK,
    SIDE_STICK,
    STANDARD_KIT,
)
from backing.combo.part import Note, Part

if TYPE_CHECKING:
    from backing.combo.plan import Plan

LENGTH = Fraction(1, 4)
ACCENTED, PLAIN = 104, 88
"""Velocities of beat 1 and of the other beats."""

SLOW_BPM, FAST_BPM = 70, 220


def _back_beats(bar: PlayedBar) -> Sequence[int]:
    """The weak beats: 2 and 4, in three the 2, in 5/4 (three and two) 2 and 5."""
    start, weak = 0, list[int]()
    for group in bar.meter.groups:
        weak += range(start + 1, start + group, 2)
        start += group
    return weak


BEATS: dict[str, Callable[[PlayedBar], Sequence[int]]] = {
    "all": lambda bar: range(bar.meter.beats),
    "2 and 4": _back_beats,
    "4": lambda bar: (bar.meter.beats - 1,),
    "sparse": lambda bar: (0,) if bar.number % 2 else (),
}
"""Where a click falls: every beat; the weak beats; the last of the bar; 1 of every second bar."""


def play(plan: Plan, beats: str = "all") -> Part:
    """A click on wood blocks through a pass, on the ``beats`` named in BEATS.

    Beat 1 is higher where every beat clicks. A pickup is clicked as the end of the bar it is cut
    from.
    """
    return Part.of("click", STANDARD_KIT, _clicks(plan, beats))


def _clicks(plan: Plan, beats: str) -> Iterator[Note]:
    for planned in plan.bars:
        bar = planned.bar
        missing = max(Fraction(0), bar.meter.beats - bar.length)
        for beat in BEATS[beats](bar):
            # a count loses its end, a pickup its beginning
            place = beat - missing if bar.pickup else Fraction(beat)
            if 0 <= place < bar.length:
                high = beats == "all" and beat == 0
                key = HIGH_WOOD_BLOCK if high else LOW_WOOD_BLOCK
                yield _stroke(planned.start + place, key, ACCENTED if high else PLAIN)


def count_in(plan: Plan, tempo: Fraction) -> Part:
    """Sticks that count the bars of a count-in pass at ``tempo`` bpm: 1 . 2 . | 1 2 3 4.

    The last bar is counted in full; where a pickup cuts it short, the count goes on through the
    pickup. What comes before is counted slowly enough to be felt
    (common practice, no source): in half notes in four, by the first beat in two and three, by
    their groups in longer bars; up to SLOW_BPM every beat, above FAST_BPM at first only beat 1.
    """
    strokes = (
        _stroke(planned.start + beat, SIDE_STICK, PLAIN if beat else ACCENTED)
        for planned in plan.bars
        for beat in _counted(planned.bar, len(plan.bars) - planned.index, tempo)
    )
    return Part.of("count", JAZZ_KIT, strokes)


def _counted(bar: PlayedBar, left: int, tempo: Fraction) -> Sequence[int]:
    """The beats counted in a bar when ``left`` bars are left, this one included."""
    if left == 1 or tempo <= SLOW_BPM:
        return range(bar.meter.beats)
    if left > 2 and tempo > FAST_BPM:
        return (0,)
    return [sum(bar.meter.groups[:at]) for at in range(len(bar.meter.groups))]


def _stroke(onset: Fraction, key: int, velocity: int) -> Note:
    return Note(onset, LENGTH, key, velocity, swung=False, role="count")
