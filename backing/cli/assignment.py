"""What a lesson asks for, read as the command line reads the same words, for each student."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from backing.chart.choice import plain
from backing.chart.form import Form
from backing.chart.pitch import PitchName
from backing.cli.job import Job
from backing.cli.options import SHEET, TRACK, Command
from backing.cli.parser import Words
from backing.cli.sheet import read_request
from backing.cli.sheet import understood as sheet_understood
from backing.cli.tag_text import ORDERS, command_again
from backing.cli.track import each_tempo, jobs_of, read_order
from backing.cli.track import understood as track_understood
from backing.cli.tunes import changes_form, each_key, read_tune
from backing.combo.feel_file import feel_names, load_feel
from backing.errors import PracticeError, Span, UserError
from backing.lesson.lesson_file import Lesson, Options, Said, Student, Task, Vocabulary
from backing.lesson.trouble import find_trouble
from backing.lesson.week import set_list, usual_tasks
from backing.lines.phrase import filled_up, read_phrase
from backing.neck.fingerboard import Fingerboard
from backing.neck.phrase import read_neck
from backing.routine.keys import Keys
from backing.routine.routine import Routine, make_routine
from backing.saving import is_there
from backing.sheet.request import SheetRequest, chosen_position
from backing.sheet.sheet_part import FRETTED, make_sheet_part

NOT_OURS = {"output", "cluster", "quiet", "no-cache"}
"""Options of a command, not of what it makes."""
OF_THE_PRINT = {"part", "clef", "no-tab", "paper", "large", "signs"}
"""Options that all sheets of a document share."""
OF_STUDENTS = {
    *OF_THE_PRINT, "shapes", "no-chart", "neck", "line", "key", "without", "only", "comp", "click",
    "feel", "occasion", "swing", "seed", "soundfont", "format", "count-in", "long", "stems",
}  # fmt: skip
"""Options that hold for all tasks of a student, where they mean something."""
OF_SHEETS = {option.name for option in SHEET.options} - NOT_OURS
ALL = {option.name: option for option in (*SHEET.options, *TRACK.options)}
VOCABULARY = Vocabulary(
    of_tasks=ALL.keys() - NOT_OURS - OF_THE_PRINT,
    of_students=OF_STUDENTS,
    flags={name for name, option in ALL.items() if not option.word},
    alone={name: option.alone for name, option in ALL.items() if option.alone is not None},
)
WHO = {"without", "only"}
IN_PLACE_OF_TUNES = ("changes", "arpeggios")
FORMAT = "mp3"


@dataclass(frozen=True, slots=True)
class Print:
    """A sheet to be printed: of a form in each key, or (none) all arpeggios on a root in words."""

    forms: tuple[Form, ...]
    request: SheetRequest
    words: Words


@dataclass(frozen=True, slots=True)
class Exercise:
    """A task, understood: its tracks, and the sheet of its line. ``what`` it is, in words."""

    task: Task
    what: str
    form: Form | None
    jobs: tuple[Job, ...] = ()
    routines: tuple[Routine, ...] = ()
    sheet: Print | None = None
    words: Words | None = None


@dataclass(frozen=True, slots=True)
class Assignment:
    """What a student gets: exercises in order, and the charts of the tunes.

    ``habits``: the words that hold for all tasks; ``faults``: tunes that can't be read.
    """

    student: Student
    exercises: tuple[Exercise, ...]
    charts: tuple[Print, ...]
    habits: Mapping[str, str]
    faults: tuple[UserError, ...] = ()

    @property
    def prints(self) -> tuple[Print, ...]:
        """All sheets, each once: every chart, then the lines over it."""
        prints = {command_again(p.words, *p.words.names): p for p in self.charts}
        for exercise in self.exercises:
            if exercise.sheet:
                words = exercise.sheet.words
                prints.setdefault(command_again(words, *words.names), exercise.sheet)
        return tuple(prints.values())


@dataclass
class Reader:
    """Reads the tasks of a lesson; what is wrong with one is recorded with its place."""

    lesson: Lesson
    tunes: dict[str, Form | UserError] = field(default_factory=dict)
    _told: set[tuple[object, ...]] = field(default_factory=set)

    def assignments(self) -> tuple[Assignment, ...]:
        """What every student gets.

        Mistakes are recorded in the ``source`` of the lesson, whose ``finish`` tells them; tunes
        that can't be read are among the ``faults`` of an assignment.
        """
        return tuple(self._assignment(student) for student in self.lesson.students)

    def _assignment(self, student: Student) -> Assignment:
        if self.lesson.set_list and "occasion" not in student.options:
            gig = {"occasion": Said("gig", student.span)}
            student = replace(student, options=gig | dict(student.options))
        student = replace(student, options=self._sound(student.options))
        tasks = student.tasks or self._usual(student)
        exercises = [each for task in tasks if (each := self._exercise(student, task))]
        charts = [chart for each in exercises if (chart := self._chart(student, each))]
        named = [tune.word for tune in student.tunes] + [t.tune.word for t in tasks if t.tune]
        tunes = [self.form(word) for word in dict.fromkeys(filter(None, named))]
        faults = tuple(fault for fault in tunes if isinstance(fault, UserError))
        if not tasks and not named:
            self._problem(student.span, UserError("There is no tune.", 'Write tunes = ["a.tune"].'))
        habits = self._words(_habits(student))
        return Assignment(student, tuple(exercises), tuple(charts), habits, faults)

    def _sound(self, options: Options) -> Options:
        """Of the options of a student those that make sense by themselves; of others it is told."""
        sound = {}
        for name, said in options.items():
            try:
                for command, understood in ((TRACK, track_understood), (SHEET, sheet_understood)):
                    if any(option.name == name for option in command.options):
                        understood(Words(command, (), self._words({name: said})))
            except UserError as error:
                self._problem(said.span, error)
            else:
                sound[name] = said
        return sound

    def path(self, word: str) -> str:
        """A file named in the lesson, which stands in its folder."""
        return str(self.lesson.folder / word)

    def form(self, word: str) -> Form | UserError:
        """A tune of the lesson, or why it can't be read."""
        if word not in self.tunes:
            try:
                self.tunes[word] = read_tune(Path(self.path(word)))
            except UserError as error:
                self.tunes[word] = error
        return self.tunes[word]

    def _usual(self, student: Student) -> tuple[Task, ...]:
        if self.lesson.set_list:
            return set_list(student.tunes)
        board = _board(student.options)
        known = []
        for tune in student.tunes:
            form = self.form(tune.word or "")
            if isinstance(form, Form):
                known.append((tune, find_trouble(form, board).loops))
        return usual_tasks(known)

    def _exercise(self, student: Student, task: Task) -> Exercise | None:
        """A task understood; None where something is wrong with it, which is recorded."""
        tune = (task.tune.word or "") if task.tune else ""
        form = self.form(tune) if tune else None
        if isinstance(form, UserError) or (form is None and task.tune is not None):
            return None
        own = self._words(task.options)
        habits = {n: w for n, w in self._words(_habits(student)).items() if n not in task.options}
        wrong = False
        while True:
            try:
                made = self._made(task, form, own, habits)
            except UserError as error:
                if task.by_us:
                    return None  # the tune is too short for it
                wrong = True
                culprit = _culprit(own, error, lambda own: self._made(task, form, own, habits))
                said = task.options.get(culprit)
                self._problem(said.span if said else task.span, error)
                if not own.pop(culprit, None) or culprit in IN_PLACE_OF_TUNES:
                    return None
            else:
                return None if wrong else made

    def _made(
        self, task: Task, form: Form | None, own: Mapping[str, str], habits: Mapping[str, str]
    ) -> Exercise:
        """The exercise of a task with its ``own`` words. Raises UserError."""
        names = (self.path(task.tune.word),) if task.tune and task.tune.word else ()
        if "line" in own and "line" in habits:
            own = {**own, "line": filled_up(own["line"], habits["line"])}
        if "arpeggios" in own:
            words = _fitting(SHEET, (), own, habits, sheet_understood)
            PitchName.parse(own["arpeggios"])
            what = task.title or f"All arpeggios on {own['arpeggios']}"
            return Exercise(task, what, None, sheet=Print((), read_request(words), words))
        if form is None and "changes" not in own:
            raise UserError("The task has no tune.", "Name one, or write changes.")
        if not task.track:
            sheet = _line_sheet(names, form, own, habits) if form else None
            for name in own.keys() - OF_SHEETS:
                cure = "Leave it out, or track = false."
                raise UserError(f"{name} is for a track, and this task has none.", cure)
            words = Words(TRACK, names, {name: own[name] for name in own if name == "key"})
            what = task.title or (form.title if form else own["changes"])
            return Exercise(task, what, form, sheet=sheet, words=words)
        words = _fitting(TRACK, names, own, {"format": FORMAT, **habits}, _first_understood)
        place = f"track.{words.said['format'].split()[0].lower()}"
        words = replace(words, said={**words.said, "output": place})
        form = form or changes_form(words)
        _check_files(words)
        jobs: list[Job] = []
        for one, number in each_tempo(words):
            jobs += jobs_of(one, read_order(one), form, "".join(names), number)
        routines = [make_routine(job.form, job.request) for job in jobs]
        told = (form.title, _drill(jobs[0].drill))
        what = task.title or ", ".join(filter(None, told))
        try:
            sheet = _line_sheet(names, form, own, habits)
        except PracticeError:
            if "shapes" in own:
                raise
            sheet = None  # a track may have two lines, or several positions, which no sheet has
        return Exercise(task, what, form, tuple(jobs), tuple(routines), sheet, words)

    def _chart(self, student: Student, exercise: Exercise) -> Print | None:
        """The chart of an exercise's tune, in its key and the student's part."""
        if exercise.form is None or exercise.words is None or not exercise.words.names:
            return None
        key = exercise.words.text("key")
        own = {"key": key} if key and not Keys.of(key).in_turn else {}
        habits = self._words(_habits(student))
        if _fretted(student.options) and "shapes" not in student.options:
            habits["shapes"] = "auto"
        if "no-chart" in habits and "shapes" not in habits:
            return None
        try:
            words = _fitting(SHEET, exercise.words.names, own, habits, sheet_understood)
            return _printed(exercise.form, words)
        except UserError as error:
            self._problem(student.span, error)
            return None

    def _words(self, options: Options) -> dict[str, str]:
        """The words of options; one that names a file is looked for beside the lesson."""
        said = {name: said.word for name, said in options.items() if said.word is not None}
        files = (n for n, word in said.items() if ALL[n].file and word not in feel_names())
        return said | {name: self.path(said[name]) for name in files}

    def _problem(self, span: Span, error: UserError) -> None:
        if (span, error.cause) not in self._told:
            self._told.add((span, error.cause))
            cause, cure = (re.sub(r"--(?=[a-z])", "", text) for text in (error.cause, error.cure))
            self.lesson.source.problem(span, cause, cure)


def _habits(student: Student) -> dict[str, Said]:
    """The options of a student; a bass player plays without the band's bass."""
    habits = dict(student.options)
    part = habits.get("part")
    if part and plain(part.word or "") == "bass" and not WHO & habits.keys():
        habits["without"] = Said("bass", part.span)
    return habits


def _fretted(options: Options) -> bool:
    """Whether a student is known to have a neck."""
    part = options.get("part")
    said = plain(part.word or "") if part else ""
    return "neck" in options or said in ("guitar", "bass")


def _board(options: Options) -> Fingerboard | None:
    """The neck of a student; None for one who has none, or a mistaken one, told elsewhere."""
    if not _fretted(options):
        return None
    neck, part = options.get("neck"), options.get("part")
    usual = "bass" if part and plain(part.word or "") == "bass" else "standard"
    try:
        return read_neck(neck.word if neck and neck.word else usual)
    except UserError:
        return None


def _fitting(
    command: Command,
    names: tuple[str, ...],
    own: Mapping[str, str],
    habits: Mapping[str, str],
    understood: Callable[[Words], tuple[object, set[str]]],
) -> Words:
    """A command line of a task's own words and of those habits that mean something beside them."""
    known = {option.name: option for option in command.options}
    mine = {name: word for name, word in own.items() if name in known}
    apart = {"line", *(WHO if WHO & mine.keys() else ())}
    usual = {
        name: word for name, word in habits.items() if name in known.keys() - mine.keys() - apart
    }
    _, facts = understood(Words(command, names, usual | mine))
    idle = {n for n in usual if any(idle.holds(facts) for idle in known[n].idle)}
    said = {name: word for name, word in usual.items() if name not in idle}
    return Words(command, names, said | mine)


def _check_files(words: Words) -> None:
    """Raise UserError for a feel or a SoundFont that isn't there."""
    if feel := words.text("feel"):
        load_feel(feel)
    font = words.path("soundfont")
    if font and not is_there(font):
        raise UserError(f"There is no file {font}.", "Check the name and the folder.")


def _first_understood(words: Words) -> tuple[object, set[str]]:
    """What is understood of a track's words at the first of their tempos."""
    return track_understood(next(each_tempo(words))[0])


def _line_sheet(
    names: tuple[str, ...], form: Form, own: Mapping[str, str], habits: Mapping[str, str]
) -> Print | None:
    """The sheet of a task that has a line or shapes of its own; None where it has none."""
    if "part" in habits and make_sheet_part(habits["part"]).name not in FRETTED:
        own = {name: word for name, word in own.items() if name != "shapes"}
    if "line" in own and read_phrase(own["line"]).subdivisions:  # which follow each other in time
        own = {name: word for name, word in own.items() if name != "line"}
    if not {"line", "shapes"} & own.keys():
        return None
    own = {**own, "no-chart": ""}
    habits = {name: word for name, word in habits.items() if name != "shapes"}
    return _printed(form, _fitting(SHEET, names, own, habits, sheet_understood))


def _printed(form: Form, words: Words) -> Print:
    recipe = command_again(words, *words.names)
    request = replace(read_request(words), recipe=recipe)
    forms = each_key(form, words.text("key"))
    if request.position not in (None, "auto"):
        for each in forms:
            chosen_position(each, request)  # it is on the neck
    return Print(forms, request, words)


def _drill(purpose: str) -> str:
    """The purpose of a track without its climb, whose tempos stand beside it."""
    order = "|".join(re.escape(order) for order in ORDERS.values())
    return re.sub(rf"(?:^|, )climbing [^,]*(?:{order})?", "", purpose).removeprefix(", ")


def _culprit(
    own: Mapping[str, str], error: UserError, make: Callable[[Mapping[str, str]], object]
) -> str:
    """The last word without which the same mistake isn't there; "" where it lies in none."""
    for name in reversed([*own]):
        try:
            make({each: word for each, word in own.items() if each != name})
        except UserError as other:
            if other.cause == error.cause:
                continue
        return name
    return ""
