"""The neck phrase: one table of what is said and the neck it means."""

from __future__ import annotations

import pytest

from backing.errors import PracticeError
from backing.neck.fingerboard import TUNINGS, Fingerboard, make_fingerboard
from backing.neck.phrase import read_neck

NECKS = {
    "24 frets": make_fingerboard(frets=24),
    "left-handed": make_fingerboard(left_handed=True),
    "drop-d 24 frets left-handed": make_fingerboard("drop-d", 24, left_handed=True),
    "left-handed, 24 frets, Drop-D": make_fingerboard("drop-d", 24, left_handed=True),
    "D2 A2 D3 G3 B3 E4": make_fingerboard("drop-d"),
    "19 frets Bb1 Eb2 Ab2 Db3 Gb3 Bb3 Eb4": make_fingerboard("Bb1 Eb2 Ab2 Db3 Gb3 Bb3 Eb4", 19),
    **{name: make_fingerboard(name) for name in TUNINGS},
}


@pytest.mark.parametrize(("text", "neck"), NECKS.items())
def test_a_neck_is_what_is_said(text: str, neck: Fingerboard) -> None:
    assert read_neck(text) == neck


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("drop-e", "isn't a word for a neck"),
        ("drop-d E2 A2", "A neck has one tuning"),
        ("two frets", "isn't a number of frets"),
        ("200 frets", "200 frets"),
        ("E A D", "octave"),
        ("", "Nothing is said about a neck"),
    ],
)
def test_what_is_no_neck_is_said(text: str, words: str) -> None:
    with pytest.raises(PracticeError, match=words):
        read_neck(text)
