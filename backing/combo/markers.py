"""The places of a performance that a player looks for: sections, rounds, new tempos and keys."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

from backing.chart.form import PlayedBar
from backing.chart.pitch import Key
from backing.combo.performance import Performance, PlayedPass
from backing.routine import Pass, Purpose


def markers(performance: Performance) -> Iterator[tuple[Fraction, str]]:
    """Beat and name of every place a player looks for: each section, count-in, new tempo and key.

    "intro", "A", "B (solo 2)", "A (out)", "B:5 (round 3)", "A (halves, round 1)",
    "count-in, 92 bpm", "A (round 1), Bb".
    """
    tempos = {played.routine_pass.tempo for played in performance.passes}
    keys = {_key(played.routine_pass) for played in performance.passes} - {None}
    before: Fraction | None = None
    key_before: Key | None = None
    for played, number in _numbered(performance.passes):
        each, beat = played.routine_pass, played.start
        note = f", {float(each.tempo):.5g} bpm" if each.tempo != before and len(tempos) > 1 else ""
        key = _key(each) or key_before
        note += f", {key.short}" if key and key != key_before and len(keys) > 1 else ""
        before, key_before, section = each.tempo, key, None
        for bar in each.bars:
            here = _place(each, bar)
            if here != section:
                yield beat, _place_name(each, bar, number) + note
                note = ""
            section = here
            beat += bar.length


def _numbered(passes: Iterable[PlayedPass]) -> Iterator[tuple[PlayedPass, int]]:
    """Passes with their number: solos from 1, rounds from 1 for each loop, tempo and value.

    Who rests in a round may change (in a trade the turns do): it is a round of that loop still.
    """
    solos = rounds = 0
    loop = None
    for played in passes:
        each = played.routine_pass
        if each.purpose is Purpose.SOLO:
            solos += 1
        if each.purpose is Purpose.ROUND:
            loop_bars = [(bar.role, bar.number, bar.key) for bar in each.bars]
            mine = (each.tempo, each.value, loop_bars)
            rounds = rounds + 1 if mine == loop else 1
            loop = mine
        yield played, rounds if each.purpose is Purpose.ROUND else solos


def _key(each: Pass) -> Key | None:
    """The key a round is in by its last bar, which a loop that grows always has; else None."""
    return each.bars[-1].key if each.purpose is Purpose.ROUND else None


_WHOLE = (Purpose.COUNT_IN, Purpose.LEAD_IN, Purpose.BREATH)
"""Passes that are one place, whatever the sections of their bars."""


def _place(each: Pass, bar: PlayedBar) -> tuple[str, int]:
    if each.purpose in _WHOLE or bar.pickup:
        return "", -1
    return bar.section, bar.section_use


def _place_name(each: Pass, bar: PlayedBar, number: int) -> str:
    if each.purpose in _WHOLE:
        return str(each.purpose)
    if bar.pickup:
        return "pickup"
    section = bar.section if bar.section_bar <= 1 else f"{bar.section}:{bar.section_bar}"
    if each.purpose in (Purpose.SOLO, Purpose.ROUND):
        value = f"{each.value}, " if each.value else ""
        return f"{section} ({value}{each.purpose} {number})"
    if each.purpose is Purpose.OUT and each.choruses > 1 and bar.role == "chorus":
        return f"{section} (out)"
    return section
