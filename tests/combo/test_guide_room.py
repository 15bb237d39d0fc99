"""A guide-tone line is heard: the comp leaves it room. Who else plays changes nothing."""

from __future__ import annotations

from itertools import chain

import pytest

from backing.chart.bar import RHYTHM_SECTION
from backing.combo.band import Band
from backing.combo.part import Part
from backing.routine.request import Request
from tests.benchmarks.changes import random_form
from tests.benchmarks.heard import Heard, take


def played(comp: str, *, guided: bool) -> list[Heard]:
    line = "both" if guided else None
    band = Band(RHYTHM_SECTION, 3, comp=comp, guide_line=line)
    forms = (random_form(number, tempo=140) for number in range(3))
    passes = chain(*(take(form, Request(choruses=3), band) for form in forms))
    return [heard for heard in passes if heard.part("bass").notes]


def pairs(guide: Part, comp: Part) -> list[tuple[int, list[int]]]:
    """Every guide tone that sounds at a stroke of the comp, with the voices of that stroke."""
    found = []
    for onset in sorted({note.onset for note in comp.notes if not note.together}):
        voices = [note.pitch for note in comp.notes if note.onset == onset]
        tones = [n.pitch for n in guide.notes if n.onset <= onset < n.end]
        found += [(tone, voices) for tone in tones]
    return found


@pytest.mark.parametrize("comp", ["piano", "guitar", "vibes", "organ", "four"])
def test_the_comp_leaves_a_guide_tone_line_in_the_clear(comp: str) -> None:
    heard = played(comp, guided=True)
    found = [pair for h in heard for pair in pairs(h.part("guide"), h.part("comp"))]
    assert len(found) > 300
    inside = sum(min(voices) <= tone <= max(voices) for tone, voices in found)
    rubs = sum(any(abs(tone - v) in (1, 13) for v in voices) for tone, voices in found)
    assert inside / len(found) <= 0.02
    assert rubs / len(found) <= 0.02


def test_bass_and_drums_play_on_as_they_did() -> None:
    with_line, without = played("piano", guided=True), played("piano", guided=False)
    for one, other in zip(with_line, without, strict=True):
        for player in ("bass", "drums"):
            assert one.part(player) == other.part(player)
        assert {n.onset for n in one.part("comp").notes} == {
            n.onset for n in other.part("comp").notes
        }
