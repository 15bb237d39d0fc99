"""The band plays a routine: each player's part of every pass, and the clock."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from functools import partial
from itertools import chain

from backing.chart.form import Form
from backing.combo import click, guide_tones
from backing.combo.band import GUIDE_LINES, Band
from backing.combo.bass import walking
from backing.combo.comp import comping, rhythm
from backing.combo.drums import drummer
from backing.combo.feel import Clock, leaning, wander
from backing.combo.guide_tones import GuideTone
from backing.combo.instruments import PEDAL_HAT
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass
from backing.combo.plan import Plan, PlanBar, Rest, make_plan
from backing.combo.player import Player
from backing.errors import RoutineError
from backing.routine.passes import Pass, Purpose
from backing.routine.routine import Routine

SEEDS = {"comp": "comping", "line": "melody"}
"""Player -> the word in the seed, where it is another: the same seed, the same notes as ever."""


def arrange(routine: Routine, band: Band) -> Performance:
    """Play a routine.

    Passes that differ only in tempo share their parts: a climb costs one arrangement.
    Raises FeelError for an unknown feel, RoutineError for a drill without a player it needs.
    """
    _check(routine, band)
    band = replace(band, occasion=band.occasion or routine.form.occasion or None)
    players = _players(band, routine.form)
    memory: dict[Pass, tuple[Plan, tuple[Part, ...]]] = {}
    passes: list[PlayedPass] = []
    runs: list[tuple[Fraction, Fraction, Fraction]] = []
    start = Fraction(0)
    for each in routine.passes:
        key = each if each.purpose is Purpose.COUNT_IN else replace(each, tempo=Fraction(1))
        if key not in memory:
            plan = plan_pass(each, band, as_written=routine.form.solos is not None)
            memory[key] = plan, _parts(plan, each, band, players)
        plan, parts = memory[key]
        passes.append(PlayedPass(each, start, parts))
        for bar in plan.bars:
            tempos = [each.tempo * ratio for ratio in bar.bar.tempo_ratios()]
            length = bar.bar.length / len(tempos)
            runs += [(length, tempo, _swing(band, bar, tempo)) for tempo in tempos]
        start += plan.length
    clock = Clock(runs)
    return Performance(routine.form.title, tuple(passes), clock, routine.tail, routine.seamless)


def _check(routine: Routine, band: Band) -> None:
    """Raise RoutineError where the routine needs a player, or a chord, that is not there."""
    trade, players = routine.request.trade, band.players
    bars = (bar for each in routine.passes for bar in each.bars if not bar.final)
    chords = (change.chord for bar in bars for change in bar.changes)
    if "guide" in players and all(chord is None for chord in chords):
        raise RoutineError(
            "There is no chord in these bars, and so no guide tones.", "Choose bars with changes."
        )
    if routine.request.subdivisions and "line" not in players:
        raise RoutineError(
            "Subdivisions are heard in a line, and nobody plays one.", "Give the band a line."
        )
    if trade and trade.partner == "line" and "line" not in players:
        raise RoutineError(
            "There is no line to trade with.", "Give the band a line, or trade with the drums."
        )
    if trade and trade.partner == "drums" and not players & {"drums", "click"}:
        raise RoutineError(
            "Without the drums there is nobody to trade with.",
            "Keep them, add a click, or trade with a line.",
        )


def plan_pass(played: Pass, band: Band, *, as_written: bool = False) -> Plan:
    """The plan of a pass, with its comping rhythm and its clave.

    ``as_written``: the tune has solos of its own, whose cues are meant. Raises FeelError for an
    unknown feel.
    """
    plan = make_plan(played, band.feel, band.seed, band.occasion, as_written=as_written)
    if plan.purpose is Purpose.COUNT_IN:
        return plan
    strokes = rhythm.strokes(plan, _rng(band, "rhythm", played), band.comp)
    ostinato = random.Random(f"{band.seed}/ostinato").random()
    lean = leaning(_rng(band, "time", played), plan.length.__ceil__())
    return replace(plan, comping=strokes, ostinato=ostinato, lean=lean)


def _swing(band: Band, bar: PlanBar, tempo: Fraction) -> Fraction:
    """The swing ratio of a bar: the band's own, or the feel's, which wanders.

    Feels with even eighths stay even.
    """
    if band.swing is not None and bar.feel.swing != 1:
        return band.swing
    return bar.feel.ratio(tempo, wander(band.seed, bar.bar.number))


def _parts(plan: Plan, played: Pass, band: Band, players: dict[str, Player]) -> tuple[Part, ...]:
    if plan.purpose is Purpose.COUNT_IN:
        return (click.count_in(plan, played.tempo),)
    parts = [
        _with_rests(play(plan, _rng(band, SEEDS.get(name, name), played)), plan)
        for name, play in players.items()
    ]
    return tuple(part for part in parts if part.notes)


def _players(band: Band, form: Form) -> dict[str, Player]:
    players: dict[str, Player] = {
        "bass": walking.play,
        "comp": lambda plan, dice: comping.play(plan, dice, band.comp, _guides(plan, band)),
        "drums": drummer.play,
        "guide": partial(guide_tones.play, line=band.guide_line or GUIDE_LINES[0]),
        "click": lambda plan, _: click.play(plan, band.click or "all"),
    }
    if band.line is not None:
        players["line"] = band.line.player(form)
    return {name: play for name, play in players.items() if name in band.players}


def _guides(plan: Plan, band: Band) -> Iterable[GuideTone]:
    """The guide tones that are heard: the comp leaves them room."""
    if "guide" not in band.players:
        return ()
    return chain(*guide_tones.chosen_lines(plan, band.guide_line or GUIDE_LINES[0]))


def _rng(band: Band, player: str, played: Pass) -> random.Random:
    """The random numbers of one player in one take, whoever else plays.

    The key is not in the seed, so other keys have the same rhythm and the same functions.
    """
    loop = played.purpose in (Purpose.TIME, Purpose.LEAD_IN, Purpose.REST_BAR)
    return random.Random(f"{band.seed}/{player}/{'loop' if loop else 'chorus'}/{played.take}")


def _with_rests(part: Part, plan: Plan) -> Part:
    """The part with the plan's rests, in which only hits of the whole band sound."""
    notes: Iterable[Note] = part.notes
    for rest in plan.rests:
        if part.name in rest.players or (part.name == "drums" and "kit" in rest.players):
            notes = _silenced(notes, rest, foot_plays="kit" in rest.players)
    return replace(part, notes=tuple(notes))


def _silenced(notes: Iterable[Note], rest: Rest, *, foot_plays: bool) -> Iterable[Note]:
    start, end = float(rest.start), float(rest.end)
    for note in notes:
        # floats are compared first, since they are quicker
        onset = note.onset.numerator / note.onset.denominator
        length = note.length.numerator / note.length.denominator
        if note.together or onset > end or onset + length < start - 1e-6:
            yield note
        elif rest.start <= note.onset < rest.end:
            if foot_plays and note.pitch == PEDAL_HAT:
                yield note
        elif note.onset < rest.start < note.end:
            yield replace(note, length=rest.start - note.onset)
        else:
            yield note
