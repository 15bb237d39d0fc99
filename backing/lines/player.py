"""The etude as a player of the band: a line through the changes on a jazz guitar."""

from __future__ import annotations

import random
from fractions import Fraction

from backing.combo.instruments import JAZZ_GUITAR
from backing.combo.part import Note, Part, on_palette
from backing.combo.plan import Plan
from backing.lines.etude import etude
from backing.lines.line import Line, LineNote
from backing.routine import Purpose

LIFT = Fraction(1, 8)
"""A note on the beat ends so many beats before the next one, which is not late as it is."""
PLAIN, OFF_BEAT, PEAK = 72, 8, 8
"""Velocity of a plain note, and how much louder off-beats and tops of runs are."""


def play(plan: Plan, rng: random.Random, line: Line | None = None) -> Part:
    """The line's part of a pass: see ``etude.etude``. A note's role is its degree, or its kind.

    Empty where the line rests throughout, and for calls in a lead-in, which has no room for an
    answer. Raises PracticeError where there is nothing to play a line on.
    """
    line = line or Line()
    leads_in = plan.purpose is Purpose.LEAD_IN and line.rhythm == "call"
    if leads_in or _silent(plan):
        return Part("line", JAZZ_GUITAR, ())
    notes = etude(plan, line, rng)
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
