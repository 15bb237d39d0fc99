"""Comping: the chords of the plan's rhythm, voiced for the instrument."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from fractions import Fraction

from backing.combo.comp.style import read_comp_style
from backing.combo.comp.texture import THINNED, thinned
from backing.combo.comp.voicing import HANDS, Voicing, voice_chords
from backing.combo.feel import lateness
from backing.combo.guide_tones import GuideTone
from backing.combo.instruments import COMPING
from backing.combo.part import PALETTE, Note, Part
from backing.combo.plan import CompStroke, Plan, PlanBar

ACCENT = 10
"""Velocity of an accent above a plain stroke, and of a soft one below it."""
INNER = 8
"""Velocity of the top voice above the others, so that it carries a line."""
LEANS = 7.0
"""By how many ms (spread) the chords lean back with the band, on the beat."""
OPEN = 0.78
"""From this energy on the chords climb."""
TOUCH = 9.0
"""Spread of the velocities, before they go to the palette."""


def play(
    plan: Plan, rng: random.Random, comp: str = "piano", guides: Iterable[GuideTone] = ()
) -> Part:
    """The comping of a pass: ``plan.comping`` voiced for ``comp``, a name in COMPING.

    It stays below ``guides``, the guide tones that are heard, and leaves them in the clear.
    A note's role is its grip. Raises KeyError for an unknown ``comp``.
    """
    struck = [stroke for stroke in plan.comping if stroke.span.chord is not None]
    # drawn apart from the voicings, so that transposing does not change the touch
    hand, touch, thin = (random.Random(rng.getrandbits(64)) for _ in range(3))
    heard = _heard(plan, struck, guides)
    energies = [plan.bar_at(max(stroke.onset, Fraction(0))).energy for stroke in struck]
    hands = f"{comp} below" if heard else comp
    chosen = voice_chords(
        plan, struck, [_opened(hands, energy) for energy in energies], hand, heard
    )
    if comp in THINNED:
        chosen = tuple(thinned(plan, struck, chosen, energies, thin))
    notes: list[Note] = []
    bars = iter(plan.bars)
    bar = next(bars, None)
    for stroke, voicing in zip(struck, chosen, strict=True):
        while bar is not None and stroke.onset >= bar.end:
            bar = next(bars, None)
        assert bar is not None
        spread = 0.0 if comp == "organ" else read_comp_style(bar.feel).spread_ms
        velocity = _velocity(stroke, bar, touch)
        late = lateness(touch, *bar.feel.late("comp"))
        if stroke.onset.denominator == 1:
            late += round(LEANS * plan.leaning(stroke.onset))
        notes += _chord(stroke, voicing, velocity, late, spread)
    return Part("comp", COMPING[comp], tuple(notes))


def _opened(hands: str, energy: float) -> str:
    """The hands that play at an energy: at the height the register opens."""
    return f"{hands} open" if energy > OPEN and f"{hands} open" in HANDS else hands


def _heard(
    plan: Plan, struck: Sequence[CompStroke], guides: Iterable[GuideTone]
) -> list[frozenset[int]]:
    """The guide tones that are heard at each stroke: of its chord, and of the one it comes before.

    Empty where there are none.
    """
    by_span: dict[Fraction, frozenset[int]] = {}
    for tone in guides:
        by_span[tone.span.start] = by_span.get(tone.span.start, frozenset()) | {tone.pitch}
    if not by_span:
        return []
    found = []
    for stroke in struck:
        here = plan.span_at(max(stroke.onset, Fraction(0)))
        spans = [stroke.span] if here is None else [stroke.span, here]
        found.append(frozenset().union(*(by_span.get(s.start, ()) for s in spans)))
    return found


def _velocity(stroke: CompStroke, bar: PlanBar, touch: random.Random) -> int:
    quiet, loud = read_comp_style(bar.feel).velocity
    level = quiet + (loud - quiet) * bar.energy + ACCENT * stroke.accent
    return PALETTE[max(0, min(127, round(level + touch.gauss(0, TOUCH))))]


def _chord(
    stroke: CompStroke, voicing: Voicing, velocity: int, late: float, spread: float
) -> list[Note]:
    """The notes of a chord from the bottom up, rolled over ``spread`` ms around its place."""
    onset, length, chord = stroke.onset, stroke.length, stroke.span.chord
    swung, together, tempos = stroke.swung, stroke.together, stroke.tempos
    last = len(voicing.pitches) - 1
    notes = []
    for index, pitch in enumerate(voicing.pitches):
        loud = velocity if index == last else max(16, velocity - INNER)
        roll = spread * (index / last - 0.5) if last else 0.0
        ms = 0.0 if together else late + round(roll)
        notes.append(
            Note(onset, length, pitch, loud, swung, ms, voicing.grip, chord, together, tempos)
        )
    return notes
