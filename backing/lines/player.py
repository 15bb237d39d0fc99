"""The etude as a player of the band: a line through the changes on a jazz guitar."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction

from backing.chart.form import Form
from backing.combo.instruments import JAZZ_GUITAR
from backing.combo.part import Note, Part, on_palette
from backing.combo.plan import Plan, plan_of_bars
from backing.combo.player import Player
from backing.lines.etude import etude
from backing.lines.line import LineNote, LineRequest
from backing.routine import Purpose

LIFT = Fraction(1, 8)
"""A note on the beat ends so many beats before the next one, which is not late as it is."""
PLAIN, OFF_BEAT, PEAK = 72, 8, 8
"""Velocity of a plain note, and how much louder off-beats and tops of runs are."""


class Line(LineRequest):
    """A solo line as the band takes it, with the player it brings along. See LineRequest."""

    def player(self, form: Form) -> Player:
        """The player of this line in a band (see combo.player.Soloist). Raises PracticeError."""
        line = self.placed(form.played("solos"))
        return lambda plan, _: play(plan, line)  # the number of the etude is all its dice


def play(plan: Plan, line: LineRequest | None = None) -> Part:
    """The line's part of a pass: see ``heard``. A note's role is its degree, or its kind.

    Empty where the line rests throughout, and for calls in a lead-in, which has no room for an
    answer. Raises PracticeError where there is nothing to play a line on.
    """
    return part_of(plan, played(plan, line or LineRequest()))


def played(plan: Plan, line: LineRequest) -> tuple[LineNote, ...]:
    """The notes that ``play`` plays, and where they lie on the neck."""
    leads_in = plan.purpose is Purpose.LEAD_IN and line.rhythm == "call"
    return () if leads_in or _silent(plan) else heard(plan, line)


def part_of(plan: Plan, notes: tuple[LineNote, ...]) -> Part:
    """The part that plays ``notes`` in their order."""
    tops = _tops(notes)
    last = {accent.onset for accent in plan.accents if accent.kind == "last"}
    return Part(
        "line",
        JAZZ_GUITAR,
        tuple(
            Note(
                onset=note.onset,
                length=note.length - _lift(note),
                pitch=note.pitch,
                velocity=_velocity(note, top=note.onset in tops),
                swung=note.swung,
                role=str(note.degree) if note.kind == "tone" else note.kind,
                chord=note.chord,
                together=note.onset in last,
                melodic=not note.triplet and note.onset not in last,
            )
            for note in notes
        ),
    )


def heard(plan: Plan, line: LineRequest) -> tuple[LineNote, ...]:
    """The etude of a line that is heard in a pass, which is the one that a sheet prints.

    It depends on the bars and on its number alone: choruses lead on to themselves, whatever comes.
    Raises PracticeError: see ``etude.etude``.
    """
    chorus = plan.purpose in (Purpose.HEAD, Purpose.SOLO)
    if chorus and plan.bars and not plan.circular:
        around = plan_of_bars([each.bar for each in plan.bars])
        plan = replace(
            plan, circular=True, following=around.following, resting_next=around.resting_next
        )
    again = max(0, plan.chorus - 1) if chorus or plan.purpose is Purpose.HEAD_OUT else plan.take
    number = line.number or 1 + again
    plan = replace(plan, take=number - 1, earlier=0 if line.number else plan.earlier)
    return etude(plan, line, random.Random(f"etude {number}"))


def _silent(plan: Plan) -> bool:
    """Whether the line rests wherever there is a chord."""
    bars = [bar for bar in plan.bars if not plan.resting("line", bar.start)]
    if len(bars) == len(plan.bars):
        return False
    sounding = [span for span in plan.spans if span.chord is not None]
    return not any(s.start < bar.end and bar.start < s.end for bar in bars for s in sounding)


def _lift(note: LineNote) -> Fraction:
    late = note.onset.denominator == 1 and not note.triplet
    return LIFT if late and note.length > LIFT else Fraction(0)


def _velocity(note: LineNote, *, top: bool) -> int:
    off = OFF_BEAT if note.onset.denominator > 1 and not note.triplet else 0
    return on_palette(PLAIN + off + (PEAK if top else 0))


def _tops(notes: tuple[LineNote, ...]) -> set[Fraction]:
    """The onsets of the notes higher than both their neighbors."""
    return {
        b.onset
        for a, b, c in zip(notes, notes[1:], notes[2:], strict=False)
        if a.pitch < b.pitch > c.pitch
    }
