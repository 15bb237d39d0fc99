"""The places of a performance that a player looks for: sections, times, new tempos and keys."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

from backing.chart.bar import PlayedBar
from backing.chart.pitch import Key
from backing.combo.performance import Performance, PlayedPass
from backing.routine import Pass, Purpose


def markers(performance: Performance) -> Iterator[tuple[Fraction, str]]:
    """Beat and name of every place a player looks for: each section, count-in, new tempo and key.

    "intro", "A", "B, chorus 2", "A, head out", "B:5, 3rd time", "A in halves, 1st time",
    "rest bar", "count-in, 92 bpm", "A, 1st time, Bb".
    """
    tempos = {played.routine_pass.tempo for played in performance.passes}
    keys = {_key(played.routine_pass) for played in performance.passes} - {None}
    before: Fraction | None = None
    key_before: Key | None = None
    for played, time in _counted(performance.passes):
        each, beat = played.routine_pass, played.start
        note = f", {float(each.tempo):.5g} bpm" if each.tempo != before and len(tempos) > 1 else ""
        key = _key(each) or key_before
        note += f", {key.short}" if key and key != key_before and len(keys) > 1 else ""
        before, key_before, last = each.tempo, key, None
        for bar in each.bars:
            if last is None or _starts(each, bar, last):
                yield beat, _name(each, bar, time) + note
                note = ""
            last = bar
            beat += bar.length


def _counted(passes: Iterable[PlayedPass]) -> Iterator[tuple[PlayedPass, int]]:
    """Passes, and the how-manieth time through a loop each is, at one tempo and subdivision.

    Who rests may change from time to time (in a trade the turns do): it is that loop still.
    """
    times = 0
    loop = None
    for played in passes:
        each = played.routine_pass
        if each.purpose is Purpose.TIME:
            mine = (each.tempo, each.value, [(bar.role, bar.number, bar.key) for bar in each.bars])
            times = times + 1 if mine == loop else 1
            loop = mine
        yield played, times


def _key(each: Pass) -> Key | None:
    """The key a loop is in by its last bar, which a loop that grows always has; else None."""
    return each.bars[-1].key if each.purpose is Purpose.TIME else None


_WHOLE = (Purpose.COUNT_IN, Purpose.LEAD_IN, Purpose.REST_BAR)
"""Passes that are one place, whatever the sections of their bars."""


def _starts(each: Pass, bar: PlayedBar, last: PlayedBar) -> bool:
    """Whether a section starts with ``bar``: another one, or the same again."""
    if each.purpose in _WHOLE or (bar.pickup and last.pickup):
        return False
    same = (bar.section, bar.section_use) == (last.section, last.section_use)
    return not same or bar.section_bar <= last.section_bar or last.pickup


def _name(each: Pass, bar: PlayedBar, time: int) -> str:
    if each.purpose in _WHOLE:
        return str(each.purpose)
    if bar.pickup:
        return "pickup"
    section = bar.section if bar.section_bar <= 1 else f"{bar.section}:{bar.section_bar}"
    if each.purpose is Purpose.TIME:
        value = f" in {each.value}" if each.value else ""
        return f"{section}{value}, {ordinal(time)} time"
    if each.purpose is Purpose.SOLO:
        return f"{section}, chorus {each.chorus + 1}"
    if each.purpose is Purpose.HEAD_OUT and each.choruses > 1 and bar.role == "chorus":
        return f"{section}, head out"
    return section


def ordinal(number: int) -> str:
    """ "1st", "2nd", "3rd", "4th", ..."""
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ending}"
