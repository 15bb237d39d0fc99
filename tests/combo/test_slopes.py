"""No cliff in a climb: what thins out toward a fast tempo thins out step by step.

Players of the Jazz Trio Database (Cheston, Schlichting, Cross & Harrison 2024, TISMIR, DOI
10.5334/tismir.186) have two bass onsets in .52, .48 and .44 of the beats near 200, 230 and 260 bpm:
a slope, and no cliff.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from backing.combo.bass import walking
from backing.combo.comp.rhythm import strokes
from backing.combo.drums import drummer
from backing.combo.feel_file import feel_names, load_feel
from backing.combo.part import Note
from tests.benchmarks.changes import random_form
from tests.combo.build import plan_of

TEMPOS = range(160, 304, 4)
STEEPEST = 0.25
"""The largest share of its most that anything may lose in four bpm."""


def counted(feel: str) -> list[Counter[str]]:
    """How often each kind of stroke is played at each tempo of a climb to 300 bpm."""
    meter = load_feel(feel).meters[0]
    heard: list[Note] = []
    for number in range(8):
        played = tuple(random_form(number, feel=feel, meter=meter).played("solos"))
        plan = plan_of(played, 300)
        plan = replace(plan, comping=strokes(plan, random.Random(number)))
        heard += drummer.play(plan, random.Random(number)).notes
        heard += walking.play(plan, random.Random(number)).notes
    return [Counter(n.role for n in heard if n.sounds_at(Fraction(tempo))) for tempo in TEMPOS]


@pytest.mark.parametrize("feel", [f for f in feel_names() if load_feel(f).meters[0] != "12/8"])
def test_a_climb_has_no_cliffs(feel: str) -> None:
    at_tempos = counted(feel)
    for role in set().union(*at_tempos):
        counts = [at[role] for at in at_tempos]
        if max(counts) >= 40:
            steps = [abs(b - a) / max(counts) for a, b in pairwise(counts)]
            assert max(steps) <= STEEPEST, f"{role}: {counts}"
