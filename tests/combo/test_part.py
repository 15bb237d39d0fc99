"""Notes are what they were after they have gone through a pipe or been copied."""

from __future__ import annotations

import copy
import pickle
from dataclasses import fields, replace
from fractions import Fraction

import pytest

from backing.chart.harmony import parse_chord
from backing.combo.instruments import ACOUSTIC_BASS
from backing.combo.part import Note, Part

C7 = parse_chord("C7")
PLAIN = Note(Fraction(1, 3), Fraction(2), 60, 96)
ODD = Note(Fraction(-1, 2), Fraction(3, 7), 41, 24, False, -3.5, "skip", C7, True, (90, 140), True)


class Marked(Note):
    """A note of somebody else's."""


def test_an_odd_note_is_odd_in_every_way() -> None:
    for field in fields(Note):
        assert getattr(ODD, field.name) != getattr(PLAIN, field.name)


@pytest.mark.parametrize("note", [PLAIN, ODD, Marked(Fraction(0), Fraction(1), 40, 80)])
def test_a_note_stays_what_it_is(note: Note) -> None:
    copies = [pickle.loads(pickle.dumps(note, protocol)) for protocol in range(6)]
    for other in (*copies, copy.copy(note), copy.deepcopy(note), replace(note)):
        assert type(other) is type(note)
        for field in fields(Note):
            mine, theirs = getattr(note, field.name), getattr(other, field.name)
            assert (theirs, type(theirs)) == (mine, type(mine))


def test_what_notes_share_they_share_afterwards() -> None:
    part = Part.of("bass", ACOUSTIC_BASS, [ODD, replace(ODD, pitch=43), PLAIN])
    one, two = pickle.loads(pickle.dumps(part)).notes[:2]
    assert one.chord is two.chord
    assert one.chord == C7
