"""Eight bars of bass as a musician reads them: one note a line.

``python -m tests.combo.bass.test_walking_golden`` writes the files anew.
"""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path

import pytest

from backing.combo.bass.walking import play
from backing.combo.part import Note
from backing.combo.plan import Plan
from tests.combo.build import bars, plan_of

GOLDEN = Path(__file__).parents[2] / "golden"
CHANGES = "Dm7 | G7 | Cmaj7 | A7b9 | Dm7 G7 | Em7 A7 | <Dm7 G7 | C6 A7"
EXCERPTS = {
    "bass_swing": ("swing", 160),
    "bass_ballad": ("ballad", 64),
    "bass_bossa": ("bossa", 132),
}
NAMES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def excerpt(name: str) -> str:
    """The excerpt called ``name`` as text."""
    feel, tempo = EXCERPTS[name]
    plan = plan_of(bars(CHANGES, feel=feel), tempo)
    lines = [f"# {feel} at {tempo} bpm: {CHANGES}", "# bar beat pitch length velocity role tempos"]
    lines += [_line(plan, note) for note in play(plan, random.Random(8)).notes]
    return "\n".join(lines) + "\n"


def _line(plan: Plan, note: Note) -> str:
    bar = plan.bar_at(note.onset)
    pitch = f"{NAMES[note.pitch % 12]}{note.pitch // 12 - 1}"
    tempos = "{}-{}".format(*note.tempos) if note.tempos else ""
    beat = _number(note.onset - bar.start + 1)
    row = f"{bar.bar.number:>2} {beat:>5} {pitch:>4} {_number(note.length):>6} {note.velocity:>4}"
    return f"{row}  {note.role:<12} {tempos}".rstrip()


def _number(value: Fraction) -> str:
    whole, part = divmod(value, 1)
    return f"{whole} {part}" if whole and part else str(part or whole)


@pytest.mark.parametrize("name", EXCERPTS)
def test_the_excerpt_sounds_as_it_did(name: str) -> None:
    assert excerpt(name) == (GOLDEN / f"{name}.txt").read_text("utf-8")


if __name__ == "__main__":
    for each in EXCERPTS:
        (GOLDEN / f"{each}.txt").write_text(excerpt(each), "utf-8")
