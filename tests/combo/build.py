"""Bars and plans for tests, from changes typed in one line."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import accumulate

from backing.chart.bar import Change, Directions, Meter, PlayedBar
from backing.chart.harmony import Chord, parse_chord
from backing.chart.pitch import Interval, Key
from backing.combo.performance import Performance
from backing.combo.plan import Plan, make_plan
from backing.routine import Pass, Purpose


def bars(
    text: str,
    meter: str = "4/4",
    feel: str = "swing",
    key: str = "C major",
    *,
    section_bars: int = 8,
    directions: dict[int, Directions] | None = None,
) -> tuple[PlayedBar, ...]:
    """Bars from ``Dm7 | G7 C7 | % | N.C.``: chords of a bar share its beats evenly.

    A chord with ``<`` before it comes in half a beat early, with ``>`` half a beat late;
    ``Dm7@2`` comes in on beat 2 (counted from 0). ``directions`` go by index of the bar.
    """
    upper, lower = map(int, meter.split("/"))
    measure = Meter(upper, lower)
    cells = [cell.strip() for cell in text.strip().strip("|").split("|")]
    played: list[PlayedBar] = []
    for index, cell in enumerate(cells):
        changes = played[-1].changes if cell == "%" else _changes(cell.split(), measure)
        played.append(
            PlayedBar(
                number=index + 1,
                role="chorus",
                section="ABCDEFGH"[index // section_bars % 8],
                section_use=index // section_bars,
                section_bar=index % section_bars + 1,
                section_bars=section_bars,
                meter=measure,
                length=Fraction(measure.beats),
                key=Key.parse(key),
                feel=feel,
                changes=changes,
                directions=(directions or {}).get(index, Directions()),
            )
        )
    return tuple(played)


def _changes(words: list[str], meter: Meter) -> tuple[Change, ...]:
    changes = []
    for index, word in enumerate(words):
        early = {"<": Fraction(1, 2), ">": Fraction(-1, 2)}.get(word[0], Fraction(0))
        symbol, _, beat = word.lstrip("<>").partition("@")
        onset = Fraction(beat) if beat else Fraction(index * meter.beats // len(words))
        changes.append(Change(onset, _chord(symbol), early))
    return tuple(changes)


def _chord(symbol: str) -> Chord | None:
    return None if symbol == "N.C." else parse_chord(symbol)


def transposed(played: tuple[PlayedBar, ...], interval: Interval) -> tuple[PlayedBar, ...]:
    """The bars in another key, each chord by the name that it has there alone."""
    moved = []
    for bar in played:
        key, way = bar.key.transposed(interval), bar.key.spelled(interval)
        changes = (replace(c, chord=c.chord and c.chord.transposed(way, key)) for c in bar.changes)
        moved.append(replace(bar, key=key, changes=tuple(changes)))
    return tuple(moved)


def plan_of(
    played: tuple[PlayedBar, ...],
    tempo: int = 140,
    *,
    purpose: Purpose = Purpose.SOLO,
    circular: bool = True,
    chorus: int = 1,
    choruses: int = 3,
    final: bool = False,
) -> Plan:
    """The plan of one pass over ``played``; ``final``: the arrangement ends with its last bar."""
    if final:
        played = (*played[:-1], replace(played[-1], final="held"))
    return make_plan(
        Pass(
            purpose=purpose,
            bars=played,
            tempo=Fraction(tempo),
            chorus=chorus,
            choruses=choruses,
            circular=circular and not final,
            leads_to=played[0] if circular and not final else None,
        ),
        as_written=True,
    )


def bar_lines(performance: Performance) -> tuple[Fraction, ...]:
    """The exact times in seconds of all bar lines, the end of the last bar included."""
    lengths = (bar.length for each in performance.passes for bar in each.routine_pass.bars)
    return tuple(map(performance.clock.seconds, accumulate(lengths, initial=Fraction(0))))
