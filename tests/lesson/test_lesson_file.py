"""Lesson files: what is read, and every mistake with its place."""

from __future__ import annotations

import contextlib
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backing.chart.text.toml import toml_places
from backing.errors import TuneError, UserError
from backing.lesson.lesson_file import Lesson, Options, Vocabulary, read

WORDS = Vocabulary(
    of_tasks=frozenset(("bars", "tempo", "stems", "click", "line")),
    of_students=frozenset(("click", "line", "stems")),
    flags=frozenset(("stems",)),
    alone={"click": "all"},
)
LESSON = """\
title = "Monday"   # a note
tunes = [
  "one.tune",
  "two.tune",
]
due = 2026-12-14
line = "level 2"

[[task]]
bars = "B"
tempo = 120
say = '''
Slowly.
[[student]]'''

[[student]]
name = "Ada"
stems = true

[[student.task]]
tune = "two.tune"
click = true
minutes = 4

[[student.task]]
stems = false
track = false

[[student]]
name = "Ben"
minutes = 30
"""


def lesson(text: str) -> Lesson:
    found = read(text, "week.toml", WORDS)
    found.source.finish()
    return found


def mistakes(text: str) -> list[str]:
    with pytest.raises(TuneError) as raised:
        lesson(text)
    return [f"{p.span.line}:{p.span.column}: {p.cause}" for p in raised.value.problems]


def words(options: Options) -> dict[str, str | None]:
    return {name: said.word for name, said in options.items()}


def test_a_lesson_is_read() -> None:
    found = lesson(LESSON)
    ada, ben = found.students
    assert (found.title, found.set_list, ada.due) == ("Monday", False, "Monday, December 14")
    assert [tune.word for tune in ben.tunes] == ["one.tune", "two.tune"]
    shared, second, third = ada.tasks
    assert ben.tasks == (shared,)
    assert {name: said.word for name, said in shared.options.items()} == {
        "bars": "B",
        "tempo": "120",
    }
    assert shared.say == "Slowly.\n[[student]]"
    assert (second.tune and second.tune.word, second.minutes) == ("two.tune", 4)
    assert second.options["click"].word == "all"
    assert (third.track, third.options["stems"].word) == (False, None)
    assert {name: said.word for name, said in ada.options.items()} == {
        "line": "level 2",
        "stems": "",
    }
    assert (ben.minutes, ben.options["line"].span.line) == (30, 7)


def test_without_a_student_it_is_a_set_list() -> None:
    found = lesson('tunes = ["one.tune"]\ngap = 2.5\n')
    assert found.set_list
    assert (found.title, float(found.gap)) == ("week", 2.5)


def test_all_mistakes_are_told_at_once_where_they_stand() -> None:
    text = """\
title = 7
tunes = "one.tune"
bars = "B"
[[task]]
tempoo = 80
bars = ["B"]
stems = "yes"
tempo = true
[[student]]
minutes = 1000
[[student.task]]
[[student.task.task]]
"""
    assert mistakes(text) == [
        "1:9: title is 7.",
        '2:9: tunes is "one.tune".',
        '3:1: "bars" isn\'t known here.',
        '5:1: "tempoo" isn\'t known here.',
        '6:8: bars is ["B"].',
        '7:9: stems is "yes".',
        "8:9: tempo is true.",
        "9:3: The student has no name.",
        "10:11: minutes is 1000.",
        '12:3: "task" isn\'t known here.',
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('title = "x', "1:"),
        ("title = Monday", "1:9: Monday isn't a number, a date, true or false."),
        ("title = Bars 1, 2-4  # two", "1:9: Bars 1, 2-4 isn't a number"),
        ('[[student]]\nname = "A"\nstarts = "now"', '3:1: "starts" isn\'t known here.'),
        ('[[task]]\npart = "alto"', '2:1: "part" isn\'t known here.'),
        ("a = 1\na = 2", "2:1: Cannot overwrite a value"),
        ("[[student]\n", "1:10: Expected"),
        ("x" * 2000 + " = 1", "1:1: This line is longer"),
        ("a = " + "[" * 400 + "]" * 400, "1:1"),
        ('gap = 3\n[[student]]\nname = "A"', "1:7: A gap is for a set list."),
        ("minutes = 5", "1:11: Minutes are for students"),
        ("[[task]]\nminutes = 5", "1:3: Minutes are for students"),
        ("tunes = [1, 2]", "1:9: Not all of the tunes"),
        ("student = [1]", "1:11: student is 1."),
        ("task = {bars = 1}", "1:8: task is"),
    ],
)
def test_what_is_no_lesson(text: str, told: str) -> None:
    assert any(told in mistake for mistake in mistakes(text)), mistakes(text)


KEYS = st.sampled_from(("name", "tune", "bars", "say", "line"))
VALUES = st.sampled_from(('"x"', "7", "true", "[\n 1,\n 2]", '"""\na = 1\n"""', "'[[task]]'"))
HEADERS = st.sampled_from(("[[student]]", "[[task]]", "[[student.task]]", "[other]", "# a = 1"))


@given(st.lists(st.one_of(HEADERS, st.tuples(KEYS, VALUES)), max_size=12))
def test_every_key_that_tomllib_finds_has_its_place(lines: list[str | tuple[str, str]]) -> None:
    """Held against the standard library's reader: the place of a key is where its value is."""
    text = "\n".join(each if isinstance(each, str) else f"{each[0]} = {each[1]}" for each in lines)
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    places = toml_places(text)
    for path, value in flat(values):
        span = places[path]
        line = text.split("\n")[span.line - 1]
        said = line[span.column - 1 : span.column - 1 + span.length]
        if isinstance(value, str) and "\n" not in value:
            assert said.strip("\"'") == value
        if isinstance(value, int):
            assert said == str(value).lower()


def flat(value: object, path: tuple[str | int, ...] = ()):  # type: ignore[no-untyped-def]
    """Every key that is no table, with the way to it."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from flat(inner, (*path, key))
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for at, inner in enumerate(value):
            yield from flat(inner, (*path, at))
    else:
        yield path, value


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    with contextlib.suppress(UserError):
        lesson(text)


def test_a_file_of_bytes_is_refused(tmp_path: Path) -> None:
    from backing.lesson.lesson_file import read_file

    (tmp_path / "x.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UserError, match="is not text"):
        read_file(tmp_path / "x.toml", WORDS)
    (tmp_path / "x.toml").write_bytes(b"#" * 100_001)
    with pytest.raises(UserError, match="too long for a lesson"):
        read_file(tmp_path / "x.toml", WORDS)
