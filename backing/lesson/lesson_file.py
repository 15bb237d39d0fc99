"""Lesson files: TOML that says for whom, which tunes, and which tasks in which order.

::

    title = "Monday"
    tunes = ["corner-booth.tune"]

    [[student]]
    name = "Ada"

``[[task]]`` is for everybody, ``[[student.task]]`` for one. What a task asks for is written as on
the command line: ``climb = "60%"`` for ``--climb 60%``, ``stems = true`` for ``--stems``. What
holds for all tasks of a student is written once, at the student or at the top.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, field, replace
from datetime import date
from fractions import Fraction
from pathlib import Path as FilePath
from typing import Any

from backing.chart.text.source import Source, readable, suggestion, title_of
from backing.chart.text.toml import Path, TomlError, toml_places, toml_values
from backing.errors import Span, UserError, quoted
from backing.reading import LESSON_BYTES, LESSON_DEPTH, TASKS, guarded, read_bytes

FEWEST_MINUTES, MOST_MINUTES = 1, 120
"""A day, or of a task."""
LONGEST_GAP = 60
OF_THE_TOP = {"starts", "gap"}


@dataclass(frozen=True, slots=True)
class Said:
    """A word of the command line as the file has it, and its place; None: it is switched off."""

    word: str | None
    span: Span


Options = Mapping[str, Said]


@dataclass(frozen=True, slots=True)
class Task:
    """One task.

    ``tune``: None where none is named, as for bare changes and arpeggios. ``say``: a word to the
    student. ``track``: whether one is made; ``midi``: whether as MIDI, too, None where the student
    says it. ``by_us``: nobody wrote it, it is what a lesson without tasks has.
    """

    tune: Said | None
    options: Options
    span: Span
    title: str = ""
    say: str = ""
    minutes: float | None = None
    track: bool = True
    midi: bool | None = None
    by_us: bool = False

    def of(self, student: Student) -> Task:
        """The task as a student has it: of their first tune where it names none, as MIDI or not."""
        bare = self.tune is None and not {"changes", "arpeggios"} & self.options.keys()
        return replace(
            self,
            tune=student.tunes[0] if bare and student.tunes else self.tune,
            midi=student.midi if self.midi is None else self.midi,
        )


@dataclass(frozen=True, slots=True)
class Student:
    """Whom a folder is for; with a name of "" it is a set list.

    ``minutes`` a day; ``midi``: whether tracks are made as MIDI, too.
    """

    name: str
    tunes: tuple[Said, ...]
    tasks: tuple[Task, ...]
    options: Options
    span: Span
    say: str = ""
    minutes: float | None = None
    due: str = ""
    midi: bool = False


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson file. ``gap``: seconds of silence after each track of a set list."""

    title: str
    students: tuple[Student, ...]
    source: Source = field(compare=False)
    starts: str = ""
    gap: Fraction = Fraction(0)
    folder: FilePath = field(default=FilePath(), compare=False)

    @property
    def set_list(self) -> bool:
        """Whether it is for a gig, and for no student."""
        return not self.students[0].name


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The options of the command line that a file may use.

    ``of_tasks`` and, of these, ``of_students``; ``flags`` take no word, ``alone`` says what an
    option is without one.
    """

    of_tasks: Set[str]
    of_students: Set[str]
    flags: Set[str]
    alone: Mapping[str, str]


def read_file(path: FilePath, words: Vocabulary) -> Lesson:
    """The lesson in a file; its mistakes are recorded in its ``source``, whose ``finish`` tells.

    Raises TuneError for what is no TOML, UserError where there is no text.
    """
    data = read_bytes(path, LESSON_BYTES, "a lesson")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UserError(f"{path} is not text.", "Name a lesson file.") from None
    return read(text, str(path), words)


def read(text: str, file: str, words: Vocabulary) -> Lesson:
    """The lesson in a text, as ``read_file`` reads it."""
    source = Source(text, readable(file))
    with guarded(f"{file} cannot be read as a lesson", "Name a lesson file."):
        try:
            values = toml_values(source.text, source.file, "a lesson file", LESSON_DEPTH)
        except TomlError as error:
            source.problem(error.span or Span(1, 1), error.cause, error.cure)
            values = {}
        source.finish()
        return _Reader(source, toml_places(source.text), words).lesson(values, FilePath(file))


class _Reader:
    """Reads the tables of a lesson, and records what is wrong with them in ``source``."""

    def __init__(self, source: Source, places: Mapping[Path, Span], words: Vocabulary) -> None:
        self.source, self.places, self.words = source, places, words

    def lesson(self, values: Mapping[str, Any], path: FilePath) -> Lesson:
        top = _Table(self, values, ())
        title = top.line("title") or title_of(path.stem)
        everybody = Student(
            "",
            top.tunes(),
            tuple(map(self._task, top.tables("task"))),
            top.options(self.words.of_students),
            Span(1, 1),
            top.text("say"),
            top.minutes(),
            top.day("due"),
            bool(top.flag("midi")),
        )
        students = tuple(self._student(table, everybody) for table in top.tables("student"))
        gap = Fraction(top.number("gap", 0, LONGEST_GAP, 4) or 0)
        if gap and students:
            cure = "Leave it out, or the students."
            self.source.problem(top.span("gap"), "A gap is for a set list.", cure)
        if not students:
            places = [top.span("minutes")] if everybody.minutes else []
            for span in (*places, *(task.span for task in everybody.tasks if task.minutes)):
                cause = "Minutes are for students, and a set list has none."
                self.source.problem(span, cause, "Leave them out, or add a [[student]].")
        starts = top.day("starts")
        top.done()
        students = students or (everybody,)
        count = sum(len(student.tasks) for student in students)
        if count > TASKS:
            cause = f"The lesson has {count:,} tasks."
            self.source.problem(Span(1, 1), cause, f"It may have {TASKS:,}; make it two lessons.")
        return Lesson(title, students, self.source, starts, gap, path.parent)

    def _student(self, table: _Table, everybody: Student) -> Student:
        name = table.line("name")
        if not name:
            cure = 'Write name = "..." under [[student]].'
            table.problem("name", "The student has no name.", cure)
        midi = table.flag("midi")
        student = Student(
            name,
            table.tunes() or everybody.tunes,
            (*everybody.tasks, *map(self._task, table.tables("task"))),
            {**everybody.options, **table.options(self.words.of_students)},
            table.span(),
            table.text("say") or everybody.say,
            table.minutes() or everybody.minutes,
            table.day("due") or everybody.due,
            everybody.midi if midi is None else midi,
        )
        table.done()
        return student

    def _task(self, table: _Table) -> Task:
        options = table.options(self.words.of_tasks)
        track, midi = table.flag("track"), table.flag("midi")
        printed = "arpeggios" in options
        if track and printed:
            table.problem("track", "Arpeggios are for paper, and have no track.", "Leave it out.")
        if midi and (printed or track is False):
            table.problem("midi", "This task has no track to be MIDI.", "Leave midi out.")
        task = Task(
            table.said("tune"),
            options,
            table.span(),
            table.line("title"),
            table.text("say"),
            table.minutes(),
            not printed if track is None else track,
            midi,
        )
        table.done()
        return task


class _Table:
    """A table of the file, read key by key; ``done`` refuses the keys that nobody has read.

    Control characters, which TOML has as \\u0000, are refused wherever they stand.
    """

    def __init__(self, reader: _Reader, values: Mapping[str, Any], path: Path) -> None:
        self.reader, self.path = reader, path
        self.known: set[str] = set()
        self.values = {key: self._readable(key, value) for key, value in values.items()}

    def _readable(self, key: str, value: Any) -> Any:
        if isinstance(value, list):
            return [self._readable(key, each) for each in value]
        if not isinstance(value, str) or (plain := readable(value)) == value:
            return value
        cause = f"{key} has a control character: {quoted(value)}."
        self.problem(key, cause, "Take it out.")
        return plain

    def span(self, key: str = "") -> Span:
        """Where a key stands, else its table."""
        places, path = self.reader.places, (*self.path, key) if key else self.path
        if (*path, 0) in places:  # a list of tables stands where its first does
            return places[*path, 0]
        while path and path not in places:
            path = path[:-1]
        return places[path]

    def problem(self, key: str, cause: str, cure: str) -> None:
        self.reader.source.problem(self.span(key), cause, cure)

    def _get(self, key: str, kind: type | tuple[type, ...], cure: str) -> Any:
        """A value of a ``kind``; None where there is none, or another, which is a mistake."""
        self.known.add(key)
        value = self.values.get(key)
        right = isinstance(value, kind) and (kind is bool or not isinstance(value, bool))
        if value is None or right:
            return value
        self.problem(key, f"{key} is {quoted(value)}.", cure)
        return None

    def text(self, key: str) -> str:
        return self._get(key, str, f'Write text in quotes: {key} = "...".') or ""

    def line(self, key: str) -> str:
        """A text that stands in one line: a title, a name."""
        return " ".join(self.text(key).split())

    def flag(self, key: str) -> bool | None:
        """Whether it is so; None where nothing is said."""
        value: bool | None = self._get(key, bool, f"Write {key} = true or {key} = false.")
        return value

    def number(self, key: str, low: float, high: float, usual: int) -> float | None:
        cure = f"Write a number from {low} to {high}, without quotes: {key} = {usual}."
        value = self._get(key, (int, float), cure)
        if value is not None and not low <= value <= high:
            self.problem(key, f"{key} is {quoted(value)}.", cure)
            return None
        return None if value is None else float(value)

    def minutes(self) -> float | None:
        return self.number("minutes", FEWEST_MINUTES, MOST_MINUTES, 25)

    def day(self, key: str) -> str:
        """A date, which TOML knows (2026-12-14), as players say it; or any other word for a day."""
        value = self._get(key, (date, str), f"Write a day: {key} = 2026-12-14.")
        if isinstance(value, date):
            return f"{value:%A, %B} {value.day}"
        return value or ""

    def said(self, key: str) -> Said | None:
        word = self.text(key)
        return Said(word, self.span(key)) if word else None

    def tunes(self) -> tuple[Said, ...]:
        cure = 'Write tunes = ["name.tune", "another.tune"].'
        values = self._get("tunes", list, cure) or []
        if not all(isinstance(value, str) and value for value in values):
            self.problem("tunes", "Not all of the tunes are names of files.", cure)
            return ()
        return tuple(Said(value, self.span("tunes")) for value in values)

    def tables(self, key: str) -> Iterator[_Table]:
        values = self._get(key, list, f"Begin each with a line [[{key}]].") or []
        for at, value in enumerate(values):
            if isinstance(value, dict):
                yield _Table(self.reader, value, (*self.path, key, at))
            else:
                self.problem(key, f"{key} is {quoted(value)}.", f"Begin each with [[{key}]].")

    def options(self, names: Set[str]) -> dict[str, Said]:
        """What is said of the options ``names``, in the order of the file."""
        found = {}
        for key, value in self.values.items():
            if key in names:
                self.known.add(key)
                found[key] = Said(self._word(key, value), self.span(key))
        return found

    def _word(self, key: str, value: Any) -> str | None:
        words = self.reader.words
        if value is False:
            return None
        if key in words.flags or value is True:
            if value is True and (key in words.flags or key in words.alone):
                return words.alone.get(key, "")
            cure = f"Write {key} = true." if key in words.flags else f'Write {key} = "...".'
            self.problem(key, f"{key} is {quoted(value)}.", cure)
            return None
        if isinstance(value, str) and value.strip():
            return value
        if isinstance(value, int | float):
            return f"{value:g}" if isinstance(value, float) else str(value)
        cure = f'Write it as on the command line, in quotes: {key} = "...".'
        self.problem(key, f"{key} is {quoted(value)}.", cure)
        return None

    def done(self) -> None:
        tables = ("student", "task")
        for key in self.values:
            if key in self.known:
                continue
            known = [*sorted(self.known)]
            if key in self.reader.words.of_tasks:
                cure = "It is for a task: write it under a [[task]]."
            elif key in OF_THE_TOP:
                cure = "It is for the whole lesson: write it at the top."
            elif key in self.reader.words.of_students:
                cure = "It is for a student: write it under [[student]], or at the top."
            elif key in tables:
                cure = "A [[task]] has none of its own."
            else:
                near = suggestion(key, {*known, *self.reader.words.of_tasks})
                cure = near.rstrip() or f"Here can stand: {', '.join(known)}."
            place = self.reader.places.get((*self.path, key, "")) or self.span(key)
            self.reader.source.problem(place, f"{quoted(key)} isn't known here.", cure)
