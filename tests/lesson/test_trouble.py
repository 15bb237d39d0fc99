"""Trouble spots: textbook progressions in their order, counted by hand, and the loops over them."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from backing.chart.changes import read_changes
from backing.chart.pitch import Interval
from backing.errors import PracticeError
from backing.lesson.trouble import Trouble, find_trouble
from backing.neck.fingerboard import make_fingerboard


def trouble_of(changes: str, **more: object) -> Trouble:
    return find_trouble(read_changes(changes), **more)  # type: ignore[arg-type]


def hardness(changes: str) -> float:
    """New notes a second over all of it."""
    bars = trouble_of(changes).bars
    return sum(bar.measure * bar.seconds for bar in bars) / sum(bar.seconds for bar in bars)


GRADED = (
    {
        "one chord": "Dm7 | % | % | % | % | % | % | %",
        "two modes, eight bars each": "Dm7 |" + " % |" * 7 + " Ebm7 |" + " % |" * 6 + " %",
        "ii-V-I in one key": "Dm7 | G7 | Cmaj7 | % | Dm7 | G7 | Cmaj7 | %",
    },
    {
        "a plain blues": "F7 | Bb7 | F7 | % | Bb7 | % | F7 | % | C7 | Bb7 | F7 | %",
        "ii-V-I through the keys": "Dm7 | G7 | Cmaj7 | % | Cm7 | F7 | Bbmaj7 | %",
        "I-vi-ii-V, two a bar": "Cmaj7 Am7 | Dm7 G7 | Cmaj7 Am7 | Dm7 G7",
    },
    {
        "ii-Vs down in half steps, two a bar": "Em7 A7 | Ebm7 Ab7 | Dm7 G7 | Dbm7 Gb7",
        "tonics a major third apart, two a bar": "Bmaj7 D7 | Gmaj7 Bb7 | Ebmaj7 F#7 | Bmaj7 F#7",
    },
)
"""Easy, harder and hard progressions, as methods take them up (common practice, no source)."""


def test_textbook_progressions_are_ranked_in_their_order() -> None:
    grades = [{name: hardness(changes) for name, changes in grade.items()} for grade in GRADED]
    for easier, harder in pairwise(grades):
        assert max(easier.values()) < min(harder.values()), grades


@pytest.mark.parametrize("fifths", range(-6, 7))
def test_keys_that_lie_n_fifths_apart_have_n_new_notes(fifths: int) -> None:
    """Major scales n fifths apart share 7 - n notes (any textbook of harmony: the circle)."""
    two_five_one = read_changes("Dm7 | G7 | Cmaj7 | %")
    there = two_five_one.transposed(Interval.of_semitones(fifths * 7 % 12))
    names = [str(c.chord) for bar in there.played("solos") for c in bar.changes]
    found = trouble_of(f"Dm7 | G7 | Cmaj7 | % | {' | '.join([*names[:3], '%'])}")
    (into,) = found.bars[4].crossings
    assert into.new == (abs(fifths) if abs(fifths) < 6 else 5)


def test_a_change_is_counted_by_hand() -> None:
    """Dm7 to G7: A and C move to G and B, D and F stay. G7 to Cmaj7: all but G and B move."""
    found = trouble_of("Dm7 G7 | Cmaj7")
    (_, two_five), (one,) = (bar.crossings for bar in found.bars)
    assert (two_five.before, two_five.after) == ("Dm7", "G7")
    assert (two_five.moved, two_five.new) == (2, 0)
    assert (one.moved, one.new) == (2, 0)
    assert found.bars[0].seconds == 2


def test_twice_the_tempo_is_twice_as_hard() -> None:
    slow = trouble_of("Dm7 G7 | Cmaj7 | Fm7 | Bb7", tempo=Fraction(80))
    fast = trouble_of("Dm7 G7 | Cmaj7 | Fm7 | Bb7", tempo=Fraction(160))
    for a, b in zip(slow.bars, fast.bars, strict=True):
        assert b.measure == pytest.approx(2 * a.measure)


def test_the_hand_counts_where_there_is_a_neck() -> None:
    changes = "Dm7 | G7 | Cmaj7 | Ebm7 Ab7"
    away, there = trouble_of(changes), trouble_of(changes, board=make_fingerboard(), position=5)
    assert away.position is None
    assert there.position == 5
    assert sum(b.measure for b in there.bars) > sum(b.measure for b in away.bars)
    with pytest.raises(PracticeError):
        trouble_of(changes, board=make_fingerboard(), position=40)


def test_a_loop_leads_in_and_out_and_equal_bars_have_one() -> None:
    easy = "Dm7 | G7 | Cmaj7 | % |"
    found = trouble_of(f"{easy} Dm7 | Ebm7 Ab7 | Cmaj7 | % | {easy} Dm7 | Ebm7 Ab7 | Cmaj7 | %")
    first, last = map(int, found.loops[0].split("-"))
    assert first < 6 < last
    assert last - first == 3
    assert all(loop != "13-16" for loop in found.loops)
    assert [bar.label for bar in found.ranked[0]] in (["6", "14"], ["7", "15"])


def test_a_loop_may_cross_the_top() -> None:
    found = trouble_of("Ebm7 Ab7 | Cmaj7 | % | % | % | % | % | %")
    assert found.loops[0] in ("8-3", "7-2")
    form = read_changes("Ebm7 Ab7 | Cmaj7 | % | % | % | % | % | %")
    assert all(len(form.select(loop)) == 4 for loop in found.loops)


def test_one_chord_has_no_trouble() -> None:
    found = trouble_of("Dm7 | % | % | %")
    assert not found.ranked
    assert not found.loops
    assert not trouble_of("NC | %").loops


def test_reasons_are_told_in_words() -> None:
    bars = trouble_of("Cmaj7 | % | Ebm7 | Ab7 | Dbmaj7 | %").ranked[0]
    assert "to move" in str(bars[0].crossings[0])
    assert "change in 2.0 s" in bars[0].reason
