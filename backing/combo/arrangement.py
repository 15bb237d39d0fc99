"""The band plays a routine: who plays when, in which take, and the clock of it all."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

from backing.combo import click, guide_tones
from backing.combo.band import Band, Player
from backing.combo.bass import walking
from backing.combo.comp import comping, rhythm
from backing.combo.drums import drummer
from backing.combo.feel import Clock
from backing.combo.instruments import PEDAL_HAT
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass
from backing.combo.plan import Plan, Rest, make_plan
from backing.routine.orders import Routine
from backing.routine.passes import Pass, Purpose

TAIL_SECONDS = Fraction(5, 2)
"""What is kept after the last beat, for the last chord to ring."""


def arrange(routine: Routine, band: Band) -> Performance:
    """What the band plays of a routine.

    Equal passes at other tempos are played once: a climb costs one arrangement. Raises FeelError
    for an unknown feel.
    """
    memory: dict[Pass, tuple[Plan, tuple[Part, ...]]] = {}
    passes: list[PlayedPass] = []
    runs: list[tuple[Fraction, Fraction, Fraction]] = []
    start = Fraction(0)
    for each in routine.passes:
        key = each if each.purpose is Purpose.COUNT_IN else replace(each, tempo=Fraction(1))
        if key not in memory:
            plan = agreed(each, band)
            memory[key] = plan, _parts(plan, each, band)
        plan, parts = memory[key]
        passes.append(PlayedPass(each, start, parts))
        for bar in plan.bars:
            tempo = each.tempo * bar.bar.tempo_ratio
            ratio = band.swing if _overrides(band, bar.feel.swing) else bar.feel.ratio(tempo)
            runs.append((bar.bar.length, tempo, ratio or Fraction(1)))
        start += plan.length
    tail = Fraction(0) if routine.seamless else TAIL_SECONDS
    return Performance(routine.form.title, tuple(passes), Clock(runs), tail, routine.seamless)


def agreed(played: Pass, band: Band) -> Plan:
    """The plan of a pass, with the comping rhythm and the clave that the band agrees on.

    Raises FeelError for an unknown feel.
    """
    plan = make_plan(played, band.feel)
    if plan.purpose is Purpose.COUNT_IN:
        return plan
    strokes = rhythm.strokes(plan, _dice(band, "rhythm", played), band.comp)
    ostinato = random.Random(f"{band.seed}/ostinato").random()
    return replace(plan, comping=strokes, ostinato=ostinato)


def _overrides(band: Band, swing: str | Fraction) -> bool:
    """A given swing ratio holds for feels that swing; an even feel stays even."""
    return band.swing is not None and swing != 1


def _parts(plan: Plan, played: Pass, band: Band) -> tuple[Part, ...]:
    if plan.purpose is Purpose.COUNT_IN:
        return (click.count_in(plan, played.tempo),)
    parts = [
        _heeding(play(plan, _dice(band, name, played)), plan)
        for name, play in _players(band).items()
    ]
    return tuple(part for part in parts if part.notes)


def _players(band: Band) -> dict[str, Player]:
    players: dict[str, Player] = {
        "bass": walking.play,
        "comping": lambda plan, dice: comping.play(plan, dice, comp=band.comp),
        "drums": drummer.play,
        "guide": lambda plan, dice: guide_tones.play(plan, dice, line=band.guide_line),
        "click": lambda plan, _: click.play(plan, band.click),
    }
    if band.melody is not None:
        players["melody"] = band.melody
    return {name: play for name, play in players.items() if name in band.players}


def _dice(band: Band, player: str, played: Pass) -> random.Random:
    """Each player's own dice for a take: nobody's playing depends on who else is there.

    The key is not in the seed, so other keys have the same rhythm and the same functions.
    """
    loop = played.purpose in (Purpose.ROUND, Purpose.LEAD_IN, Purpose.BREATH)
    return random.Random(f"{band.seed}/{player}/{'loop' if loop else 'chorus'}/{played.take}")


def _heeding(part: Part, plan: Plan) -> Part:
    """The part with the plan's rests kept: only strokes of the whole band sound in them."""
    notes: Iterable[Note] = part.notes
    for rest in plan.rests:
        if part.name in rest.players or (part.name == "drums" and "kit" in rest.players):
            notes = _resting(notes, rest, foot_plays="kit" in rest.players)
    return replace(part, notes=tuple(notes))


def _resting(notes: Iterable[Note], rest: Rest, *, foot_plays: bool) -> Iterable[Note]:
    for note in notes:
        inside = rest.start <= note.onset < rest.end
        if inside and not note.together and not (foot_plays and note.pitch == PEDAL_HAT):
            continue
        if note.onset < rest.start < note.end and not note.together:
            yield replace(note, length=rest.start - note.onset)
        else:
            yield note
