"""A mistake is shown with its place: the caret stands under the culprit, however long the line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backing.errors import WIDEST, Problem, Span

WIDTHS = {"a": 1, "é": 1, "♯": 1, "Δ": 1, "\u0301": 0, "\u200d": 0, "漢": 2, "\uff21": 2, "🎷": 2}
"""Columns by the East Asian Width property (Unicode Standard Annex #11) and the general category
of the Unicode Character Database 15: marks and format characters take none."""


def shown(text: str, column: int, length: int = 1) -> tuple[str, str]:
    """The line and the caret line, without the indent of both."""
    problem = Problem("x.tune", Span(3, column, length), text, "It is wrong.", "Mend it.")
    place, line, caret, cure = str(problem).split("\n")
    assert (place, cure) == (f"x.tune:3:{column}: It is wrong.", "  Mend it.")
    assert line[:2] == caret[:2] == "  "
    return line[2:], caret[2:]


def width(text: str) -> int:
    """Columns of a terminal."""
    return sum(WIDTHS[character] for character in text)


@pytest.mark.parametrize(
    ("text", "column", "length", "line", "caret"),
    [
        ("| C | Q |", 7, 1, "| C | Q |", "      ^"),
        ("| C |", 6, 0, "| C |", "     ^"),
        ("漢字 Q", 4, 1, "漢字 Q", "     ^"),
        ("e\u0301 Q", 4, 1, "e\u0301 Q", "  ^"),
        ("Q漢字", 2, 2, "Q漢字", " ^^^^"),
        ("a\tb漢Q", 5, 1, "a\tb漢Q", " \t   ^"),
        ("a" * 100, 100, 1, "a" * 100, " " * 99 + "^"),
        ("Q" + "a" * 200, 1, 1, "Q" + "a" * 93 + "...", "^"),
        ("a" * 200 + "Q", 201, 1, "..." + "a" * 93 + "Q", " " * 96 + "^"),
        ("a" * 200 + "Q" + "a" * 99, 201, 1, f"...{'a' * 47}Q{'a' * 46}...", " " * 50 + "^"),
        ("a" * 900, 1, 900, "a" * 94 + "...", "^" * 94),
    ],
)
def test_the_caret_stands_under_the_culprit(
    text: str, column: int, length: int, line: str, caret: str
) -> None:
    assert shown(text, column, length) == (line, caret)


@given(st.text(list(WIDTHS), max_size=300), st.text(list(WIDTHS), max_size=300))
def test_of_a_long_line_a_hundred_columns_are_shown(before: str, after: str) -> None:
    line, caret = shown(f"{before}Q{after}", len(before) + 1)
    seen_before, seen_after = line.removeprefix("...").removesuffix("...").split("Q")
    assert before.endswith(seen_before)
    assert after.startswith(seen_after)
    assert width(line.replace("Q", "a").replace(".", "a")) <= WIDEST + 2
    assert len(caret) - 1 == width(line[: line.index("Q")].replace(".", "a"))
    assert caret.endswith("^")
    # a mark is never cut off the letter that it stands on
    assert not line.startswith(("...\u0301", "...\u200d"))
    if not line.endswith("..."):
        assert after == seen_after


def test_a_long_word_is_cut_in_the_middle() -> None:
    word = "a" * 500
    problem = Problem("x", Span(1, 1), word, f'"{word}" is no key.', f"Section {word} has none.")
    place, _, _, cure = str(problem).split("\n")
    assert place.endswith('aaa" is no key.')
    assert len(place) < 130
    assert len(cure) < 130
