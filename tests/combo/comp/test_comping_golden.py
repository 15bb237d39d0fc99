"""Eight bars of comping and guide tones as a musician reads them: one note a line.

``python -m tests.combo.comp.test_comping_golden`` writes the files anew.
"""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from backing.combo import guide_tones
from backing.combo.comp import comping, rhythm
from backing.combo.part import Note, Part
from backing.combo.plan import Plan
from tests.combo.build import bars, plan_of

GOLDEN = Path(__file__).parents[2] / "golden"
CHANGES = "Dm7 | G7 | Cmaj7 | A7b9 | Dm7b5 G7alt | Cm6 Eb7 | <Dm7 G7 | C6 A7"
EXCERPTS = {
    "comping_swing": ("swing", 160, "piano"),
    "comping_ballad": ("ballad", 64, "piano"),
    "comping_guitar": ("two", 132, "guitar"),
    "comping_four": ("swing", 184, "four"),
    "guide_both": ("swing", 150, "both"),
}
NAMES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def excerpt(name: str) -> str:
    """The excerpt called ``name`` as text."""
    feel, tempo, how = EXCERPTS[name]
    plan = plan_of(bars(CHANGES, feel=feel), tempo)
    lines = [f"# {feel} at {tempo} bpm, {how}: {CHANGES}", "# bar beat pitch length velocity role"]
    lines += [_line(plan, note) for note in _part(name, plan, how).notes]
    return "\n".join(lines) + "\n"


def _part(name: str, plan: Plan, how: str) -> Part:
    dice = random.Random(8)
    if name.startswith("guide"):
        return guide_tones.play(plan, dice, how)
    plan = replace(plan, comping=rhythm.strokes(plan, dice, how))
    return comping.play(plan, dice, how)


def _line(plan: Plan, note: Note) -> str:
    bar = plan.bar_at(note.onset)
    pitch = f"{NAMES[note.pitch % 12]}{note.pitch // 12 - 1}"
    beat = _number(note.onset - bar.start + 1)
    row = f"{bar.bar.number:>2} {beat:>5} {pitch:>4} {_number(note.length):>6} {note.velocity:>4}"
    return f"{row}  {note.role} of {note.chord}"


def _number(value: Fraction) -> str:
    whole, part = divmod(value, 1)
    return f"{whole} {part}" if whole and part else str(part or whole)


@pytest.mark.parametrize("name", EXCERPTS)
def test_the_excerpt_sounds_as_it_did(name: str) -> None:
    assert excerpt(name) == (GOLDEN / f"{name}.txt").read_text("utf-8")


if __name__ == "__main__":
    for each in EXCERPTS:
        (GOLDEN / f"{each}.txt").write_text(excerpt(each), "utf-8")
