"""A tune as text: what `backing check` shows."""

from __future__ import annotations

from pathlib import Path

import pytest

from backing.chart.outline import as_text, in_ascii
from backing.chart.text.tune_file import read, read_file

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.tune"))


def shown(text: str) -> str:
    return as_text(read(text))


def test_keys_and_chords_have_real_accidentals() -> None:
    said = shown("title: T\nkey: Bb\nsection A\n| Bbmaj7 | F#m7b5 | Ebdim7 | N.C. |\n")
    assert "  B♭ major, 4/4, " in said
    assert "| B♭maj7        | F♯m7♭5        | E♭dim7        | N.C.          |" in said


def test_a_break_is_one_bar_and_stop_time_is_more() -> None:
    changes = "| C6 | C6 | C6 | C6 |"
    one = shown(f"key: C\nsection A\n{changes}\nbreak 2: 1\n")
    assert "2: break 1" in one
    more = shown(f"key: C\nsection A\n{changes}\nstop-time 2-3: 1 3\n")
    assert "2: stop-time 1 3" in more
    assert "3: stop-time 1 3" in more
    assert "break" not in more


def test_who_lays_out_is_said_as_in_the_tune_file() -> None:
    assert "1: lay out: drums" in shown("key: C\nsection A\n| C6 | C6 |\nlay out 1: drums\n")


def test_a_push_stands_under_its_bar_as_the_file_says_it() -> None:
    said = shown("key: C\nsection A\n| C6 | Dm7 G7 |\npush 2: 3 by a quarter\nlate 1: 1\n")
    assert "2: push 3 by a quarter" in said
    assert "1: late 1" in said


def test_what_stands_around_the_chorus_is_counted_apart() -> None:
    said = shown("key: C\nhead: intro A\nsection intro\n| C6 |\nsection A\n| C6 | C6 |\n")
    assert "head (2 bars, intro 1)" in said


def test_the_orders_have_the_names_players_use() -> None:
    said = shown("key: C\nsection A\n| C6 | C6 |\n")
    assert [line for line in said.splitlines() if "bars" in line or "same as" in line] == [
        "head (2 bars)", "solos (2 bars): same as the head", "head out (2 bars): same as the head",
    ]  # fmt: skip


def test_the_ribbon_stands_between_title_and_facts() -> None:
    said = as_text(read("title: T\nkey: C\nsection A\n| C6 | C6 |\n"), "──╮\n  ╰─")
    assert said.splitlines()[:3] == ["T", "  ──╮", "    ╰─"]


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_a_terminal_without_signs_gets_letters(tune: Path) -> None:
    plain = in_ascii(as_text(read_file(tune), "─╌│╭╮╰╯"))
    assert plain.isascii()


def test_letters_are_those_of_a_tune_file() -> None:
    assert in_ascii("B♭maj7 F♯m7♭5 Cø7 Eø G△7 A°7") == "Bbmaj7 F#m7b5 Cm7b5 Em7b5 G^7 Ao7"
