"""The table of options: what it promises to the parser, the help screens and the recipe."""

from __future__ import annotations

import pytest

from backing.cli import RUNS
from backing.cli.options import BAND, COMMANDS, REQUEST, Option
from backing.cli.parser import parse
from backing.combo.band import Band
from backing.errors import UserError
from backing.routine.request import Request

ALL = [(name, option) for name, command in COMMANDS.items() for option in command.options]


def ids(value: object) -> str:
    return value.name if isinstance(value, Option) else str(value)


def test_every_command_has_its_function() -> None:
    assert RUNS.keys() == COMMANDS.keys()


def test_a_track_has_few_options() -> None:
    assert len(COMMANDS["track"].options) <= 30


@pytest.mark.parametrize("fills", [REQUEST, BAND])
def test_what_fills_a_value_is_one_of_its_values(fills: str) -> None:
    home = {REQUEST: Request, BAND: Band}[fills]
    values = {option.value or option.name.replace("-", "_") for _, option in ALL
              if option.fills == fills}  # fmt: skip
    assert values
    made = home.__init__.__kwdefaults__.keys() | set(home.__init__.__code__.co_varnames)
    assert values <= made


@pytest.mark.parametrize(("command", "option"), ALL, ids=ids)
def test_every_option_is_understood(command: str, option: Option) -> None:
    given = [option.spelled, *(["word"] if option.word else [])]
    words = parse([command, *given])
    assert words.said == {option.name: "word" if option.word else ""}
    assert option.name in words
    if option.word:
        assert parse([command, f"{option.spelled}=a b"]).said == {option.name: "a b"}
        if option.alone is None:
            with pytest.raises(UserError, match=f"{option.spelled} needs a value"):
                parse([command, option.spelled])
        else:
            assert parse([command, option.spelled]).said == {option.name: option.alone}
    if option.short:
        assert parse([command, f"{option.short}x"]).said == {option.name: "x"}


def test_one_name_means_one_thing() -> None:
    """An option of several commands takes the same kind of word in all of them."""
    for name in {option.name for _, option in ALL}:
        kinds = {(bool(option.word), option.file) for _, option in ALL if option.name == name}
        assert len(kinds) == 1, name


def test_what_idle_names_is_an_option_or_a_fact() -> None:
    facts = {"midi", "keys in turn", "a line", "no comp", "musicxml", "walking", "no frets"}
    for command, option in ALL:
        known = {other.name for other in COMMANDS[command].options} | facts
        for idle in option.idle:
            assert {*idle.beside, *idle.without} <= known, (command, option.name)


def test_words_after_two_dashes_are_names() -> None:
    assert parse(["check", "--tidy", "--", "--json"]).names == ("--json",)
    assert parse(["check", "-"]).names == ("-",)
    assert parse(["track", "--seed", "-3"]).number("seed") == -3
