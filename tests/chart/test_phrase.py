"""Phrases: words in any order, and every unknown word answered with the ones there are."""

from __future__ import annotations

import re
from contextlib import suppress
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backing.chart.phrase import Grammar, Term
from backing.errors import RoutineError

GRAMMAR = Grammar(
    "a test",
    (
        Term("pace", "slow|fast"),
        Term("count", r"count ([^\s,]+)", "count 4"),
        Term("rest", r"rest bars?(?: ([0-9]+))?", "rest bar"),
        Term("long", "rest bars for ever"),
    ),
    RoutineError,
    {"quick": "fast"},
)


def test_words_stand_in_any_order_with_or_without_commas() -> None:
    said = {"pace": "slow", "count": "4", "rest": "2"}
    for order in permutations(("slow", "count 4", "rest bars 2")):
        assert GRAMMAR.read(" ".join(order)) == GRAMMAR.read(" , ".join(order).upper()) == said


def test_the_longest_match_counts() -> None:
    assert GRAMMAR.read("rest bars for ever") == {"long": "rest bars for ever"}
    assert GRAMMAR.read("rest bar") == {"rest": ""}


def test_a_thing_said_twice_is_said_once() -> None:
    assert GRAMMAR.read("slow, slow") == {"pace": "slow"}
    with pytest.raises(RoutineError, match='"slow" and "fast" don\'t go together in a test'):
        GRAMMAR.read("slow fast")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("fsat", '"fsat" isn\'t a word for a test. Did you mean "fast"? Write any of: slow, fast'),
        ("slow count", '"count" isn\'t a word for a test. Write "count 4".'),
        ("rest-bar", '"rest-bar" isn\'t a word for a test. Write "rest bar".'),
        ("quick", '"quick" is now "fast".'),
        (" , ", "Nothing is said about a test."),
        ("slowfast", '"slowfast" isn\'t'),
    ],
)
def test_what_is_not_understood_is_answered(text: str, words: str) -> None:
    with pytest.raises(RoutineError, match=re.escape(words)):
        GRAMMAR.read(text)


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    with suppress(RoutineError):
        assert GRAMMAR.read(text).keys() <= {"pace", "count", "rest", "long"}
