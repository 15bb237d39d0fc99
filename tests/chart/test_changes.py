"""Bare changes: a form from bars typed on the command line."""

from __future__ import annotations

import pytest

from backing.chart.changes import read_changes
from backing.errors import TuneError


def test_bars_need_no_outer_bar_lines() -> None:
    written = [read_changes(text) for text in ("Dm7 | G7 | Cmaj7 | %", "| Dm7 | G7 | Cmaj7 | % |")]
    assert written[0].played("solos") == written[1].played("solos")


@pytest.mark.parametrize(
    ("text", "key"),
    [
        # common practice, no source: a cadence is in the key of the chord it comes to rest on
        ("Dm7 | G7 | Cmaj7 | %", "C major"),
        ("Dm7b5 | G7b9 | Cm6 | %", "C minor"),
        ("Dm7 | G7", "C major"),
        ("Dm7b5 | G7b9", "C minor"),
        ("Fm7 | Bb7sus Bb7", "Eb major"),
        ("Dm7 | %", "D minor"),
        ("F7 | Bb7 | F7 | C7", "F major"),
        ("N.C. | N.C.", "C major"),
    ],
)
def test_the_key_is_where_the_changes_come_to_rest(text: str, key: str) -> None:
    assert str(read_changes(text).key) == key


def test_a_mistake_stands_where_it_was_typed() -> None:
    with pytest.raises(TuneError) as caught:
        read_changes("| Dm7 | G7 |\n| Cmaj7 | X7 |")
    span = caught.value.problems[0].span
    assert (span.line, span.column) == (2, 11)


def test_long_changes_have_a_short_title() -> None:
    form = read_changes("\n".join(["| Dm7 | G7 | Cmaj7 | % |"] * 60))
    assert len(form.title) <= 80
    assert len(form.played("solos")) == 240
