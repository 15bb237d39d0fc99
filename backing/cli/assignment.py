"""What a lesson asks for, read as the command line reads the same words, for each student."""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from backing.chart.form import Form
from backing.chart.pitch import PitchName
from backing.cli.job import Job, check_bits
from backing.cli.options import SHEET, TRACK, Command
from backing.cli.parser import Words
from backing.cli.sheet import read_request
from backing.cli.sheet import understood as sheet_understood
from backing.cli.tag_text import ORDERS, command_again
from backing.cli.track import FORMAT, Order, each_tempo, jobs_of, read_order
from backing.cli.track import understood as track_understood
from backing.cli.tunes import changes_form, each_key, read_tune
from backing.combo.arrangement import arrange
from backing.combo.feel_file import feel_names, load_feel
from backing.errors import Span, UserError
from backing.lesson.lesson_file import Lesson, Options, Said, Student, Task, Vocabulary
from backing.lesson.trouble import find_trouble
from backing.lesson.week import Tune, set_list, usual_tasks
from backing.lines.phrase import filled_up, read_phrase
from backing.neck.fingerboard import STANDARD
from backing.neck.phrase import read_neck, with_tuning
from backing.routine import Purpose
from backing.routine.keys import Keys
from backing.routine.routine import Routine, check_length, make_routine
from backing.sheet.grids import pairs_block
from backing.sheet.line_block import staff_line
from backing.sheet.request import SheetRequest, chosen_position
from backing.sheet.sheet_part import make_sheet_part

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
OF_FILES = {"format", "stems", "long"}
"""Habits that mean nothing without a track."""
USUAL_FORMAT = "mp3"
BASS = "bass"


@dataclass(frozen=True, slots=True)
class Print:
    """A sheet to be printed: of a form in each key, or (none) all arpeggios on a root in words."""

    forms: tuple[Form, ...]
    request: SheetRequest
    words: Words


@dataclass(frozen=True, slots=True)
class Exercise:
    """A task, understood: its tracks, and the sheet of its line.

    ``what`` it is, in words, and ``more`` where its title says something else; ``words``: of a
    track, with which the page opens; None for no page.
    """

    task: Task
    what: str
    more: str
    form: Form | None
    jobs: tuple[Job, ...] = ()
    routines: tuple[Routine, ...] = ()
    sheet: Print | None = None
    words: Words | None = None


@dataclass(frozen=True, slots=True)
class Assignment:
    """What a student gets: exercises in order, and the charts of all tunes, theirs first.

    ``numbered``: an exercise has the number of its task, of ``count``, whether or not those before
    can be made. ``habits``: the words that hold for all tasks; ``faults``: tunes that can't be
    read.
    """

    student: Student
    numbered: tuple[tuple[int, Exercise], ...]
    count: int
    charts: tuple[Print, ...]
    habits: Mapping[str, str]
    faults: tuple[UserError, ...] = ()

    @property
    def exercises(self) -> tuple[Exercise, ...]:
        """All exercises in their order."""
        return tuple(exercise for _, exercise in self.numbered)

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
    _possible: set[str] = field(default_factory=set)
    """Commands of tracks and sheets that were tried."""
    _told: set[tuple[object, ...]] = field(default_factory=set)

    def assignments(self) -> tuple[Assignment, ...]:
        """What every student gets.

        Mistakes are recorded in the ``source`` of the lesson, whose ``finish`` tells them; tunes
        that can't be read are among the ``faults`` of an assignment.
        """
        return tuple(self._assignment(student) for student in self.lesson.students)

    def _assignment(self, student: Student) -> Assignment:
        student = replace(student, options=_habits(self._sound(student.options)))
        if self.lesson.set_list and "occasion" not in student.options:
            gig = {"occasion": Said("gig", student.span)}
            student = replace(student, options=gig | dict(student.options))
        tasks = [task.of(student) for task in student.tasks or self._usual(student)]
        tried = [(task, self._exercise(student, task)) for task in tasks]
        # of the usual tasks those that a tune is too short for have no number
        left = [each for task, each in tried if each or not task.by_us or self._unread(task)]
        numbered = tuple((number, each) for number, each in enumerate(left, 1) if each)
        exercises = [each for _, each in numbered]
        named = [tune.word for tune in student.tunes] + [t.tune.word for t in tasks if t.tune]
        tunes = {word: self.form(word) for word in filter(None, named)}
        faults = tuple(fault for fault in tunes.values() if isinstance(fault, UserError))
        if not tasks and not named:
            self._problem(student.span, UserError("There is no tune.", 'Write tunes = ["a.tune"].'))
        charts = [self._chart(student, each.task, each.words) for each in exercises]
        tasked = {task.tune.word for task in tasks if task.tune}
        others = [tune for tune in student.tunes if tune.word not in tasked]
        charts += [self._chart(student, Task(tune, {}, tune.span)) for tune in others]
        habits = self._words(student.options)
        charted = tuple(filter(None, charts))
        return Assignment(student, numbered, len(left), charted, habits, faults)

    def _sound(self, options: Options) -> Options:
        """Of the options of a student those that make sense by themselves; of others it is told."""
        sound = {}
        for name, said in options.items():
            try:
                for command, understood in ((TRACK, track_understood), (SHEET, sheet_understood)):
                    if any(option.name == name for option in command.options):
                        words = Words(command, (), self._words({name: said}))
                        understood(words)
                        _check_files(words)
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

    def _unread(self, task: Task) -> bool:
        """Whether the tune of a task can't be read."""
        return task.tune is not None and isinstance(self.form(task.tune.word or ""), UserError)

    def _usual(self, student: Student) -> tuple[Task, ...]:
        read = [(said, self.form(said.word or "")) for said in student.tunes]
        known = [(said, form if isinstance(form, Form) else None) for said, form in read]
        if self.lesson.set_list:
            return set_list([Tune(said, form) for said, form in known])
        habits = self._words(student.options)
        board = read_neck(habits.get("neck", STANDARD)) if _fretted(habits) else None
        loops = [find_trouble(form, board).loops if form else () for _, form in known]
        tunes = [Tune(*each, runs) for each, runs in zip(known, loops, strict=True)]
        return usual_tasks(tunes, student)

    def _exercise(self, student: Student, task: Task) -> Exercise | None:
        """A task understood; None where something is wrong with it, which is recorded."""
        tune = (task.tune.word or "") if task.tune else ""
        form = self.form(tune) if tune else None
        if isinstance(form, UserError) or (form is None and task.tune is not None):
            return None
        own = self._words(task.options)
        always = self._words(student.options)  # their line fills up what a task says of its own
        habits = {n: word for n, word in always.items() if n == "line" or n not in task.options}
        wrong = False
        while True:
            try:
                made = self._made(task, form, own, habits)
            except UserError as error:
                mine = _culprit(own, error, lambda own: self._made(task, form, own, habits))
                usual = ""
                if task.by_us or not mine:
                    usual = _culprit(habits, error, lambda said: self._made(task, form, own, said))
                if task.by_us and (not usual or usual in WHO):
                    return None  # the tune is too short for it, or who it needs is left out
                wrong = True
                if task.by_us or not mine:
                    said = student.options.get(usual)
                    self._problem(said.span if said else task.span, _unusual(usual, mine, error))
                    left = habits.pop(usual, None)
                else:
                    self._problem(task.options[mine].span, error)
                    left = own.pop(mine) if mine not in IN_PLACE_OF_TUNES else None
                if left is None:
                    return None
            else:
                return None if wrong else made

    def _made(
        self, task: Task, form: Form | None, own: Mapping[str, str], habits: Mapping[str, str]
    ) -> Exercise:
        """The exercise of a task with its ``own`` words. Raises UserError."""
        names = (self.path(task.tune.word),) if task.tune and task.tune.word else ()
        _check_kind(names, own)
        own = _filled(own, habits)
        if form and "line" in own:
            own = {**own, "line": _in_one_place(form, own, habits)}
        if "arpeggios" in own:
            _refuse(own, OF_SHEETS, "Leave it out.")
            words = _fitting(SHEET, (), own, habits, sheet_understood)
            told = f"All arpeggios on {PitchName.parse(own['arpeggios'])}"
            return Exercise(task, *_named(task, (told,)), None, sheet=self._printed(None, words))
        if not task.track:
            _refuse(own, OF_SHEETS, "Leave it out, or leave out track = false.")
            usual = {name: word for name, word in habits.items() if name not in OF_FILES}
            words = _fitting(TRACK, names, _opening(own), usual, _first_understood)
            _check_files(words)
            form = form or changes_form(words)
            bass = "line" in own and read_phrase(own["line"]).bass
            said = {name: word for name, word in words.said.items() if name not in WHO}
            drill = _drill(_first_understood(replace(words, said=said))[0].purpose)
            named = _named(task, (form.title, "walking bass" if bass else "", drill))
            sheet = self._line_sheet(names, form, own, habits)
            return Exercise(task, *named, form, sheet=sheet, words=words)
        usual = {"format": USUAL_FORMAT, **habits}
        spare = ("neck",) if "shapes" in own else ()
        words = _fitting(TRACK, names, own, usual, _first_understood, spare=spare)
        said = FORMAT.read(words.said["format"])
        place = Path(f"track.{said.get('format', USUAL_FORMAT)}")
        check_bits(place, int(said.get("bits", "16")))
        words = replace(words, said={**words.said, "output": str(place)})
        _check_files(words)
        form = form or changes_form(words)
        jobs: list[Job] = []
        for one, number in each_tempo(words):
            jobs += jobs_of(one, read_order(one), form, "".join(names), number)
        routines = [make_routine(job.form, job.request) for job in jobs]
        for job, routine in zip(jobs, routines, strict=True):
            if not job.long:
                check_length(routine, sound=not job.midi)
        self._try(jobs[0], routines[0])
        named = _named(task, (form.title, _drill(jobs[0].drill)))
        sheet = self._line_sheet(names, form, _on_paper(own), habits)
        if "neck" in own:
            words = replace(words, said={**words.said, "neck": own["neck"]})
        return Exercise(task, *named, form, tuple(jobs), tuple(routines), sheet, words)

    def _chart(self, student: Student, task: Task, played: Words | None = None) -> Print | None:
        """The chart of a task's tune in the student's part, in the key that is ``played``.

        None where there is no tune that can be read, or no chart is wanted.
        """
        form = self.form(task.tune.word) if task.tune and task.tune.word else None
        if not isinstance(form, Form) or not task.tune or not task.tune.word:
            return None
        habits = self._words(student.options)
        if chart := task.options.get("no-chart"):
            if chart.word is not None:
                return None
            habits.pop("no-chart", None)
        changes = (change for bar in form.played("solos") for change in bar.changes)
        if not any(change.chord for change in changes):
            habits.pop("shapes", None)
        elif _fretted(habits):
            place = re.search("position ([0-9]+)", habits.get("line", ""))
            habits.setdefault("shapes", place[1] if place else "auto")
        if "no-chart" in habits and "shapes" not in habits:
            return None
        names = (self.path(task.tune.word),)

        def printed(habits: Mapping[str, str]) -> Print:
            key = played.text("key") if played else habits.get("key")
            own = {"key": key} if key and not Keys.of(key).in_turn else {}
            return self._printed(form, _fitting(SHEET, names, own, habits, sheet_understood))

        try:
            return printed(habits)
        except UserError as error:
            said = student.options.get(_culprit(habits, error, printed))
            self._problem(said.span if said else student.span, error)
            return None

    def _line_sheet(
        self,
        names: tuple[str, ...],
        form: Form,
        own: Mapping[str, str],
        habits: Mapping[str, str],
    ) -> Print | None:
        """The sheet of a task that has a line or shapes of its own; None where it has none."""
        if not make_sheet_part(habits.get("part", "guitar")).frets:
            own = {name: word for name, word in own.items() if name != "shapes"}
        if not {"line", "shapes"} & own.keys():
            return None
        own = {**own, "no-chart": ""}
        habits = {name: word for name, word in habits.items() if name != "shapes"}
        return self._printed(form, _fitting(SHEET, names, own, habits, sheet_understood))

    def _printed(self, form: Form | None, words: Words) -> Print:
        """The sheet of a form in each key; without one, of arpeggios. Raises UserError."""
        recipe = command_again(words, *words.names)
        request = replace(read_request(words), recipe=recipe)
        forms = each_key(form, words.text("key")) if form else ()
        if recipe not in self._possible:
            for number, each in enumerate(forms if request.shapes or request.line else ()):
                chosen = chosen_position(each, request)
                if request.pairs:
                    pairs_block(each, request, chosen, {})
                if request.line and number == 0:  # in other keys it goes in the same way
                    staff_line(each, request, chosen)
            self._possible.add(recipe)
        return Print(forms, request, words)

    def _try(self, job: Job, routine: Routine) -> None:
        """Arrange a chorus of a track in which more can be wrong than its words. Raises
        UserError."""
        if job.recipe in self._possible:
            return
        if job.band.line or job.band.guide_line or job.request.trade:
            played = (p for p in routine.passes if p.purpose in (Purpose.SOLO, Purpose.TIME))
            arrange(replace(routine, passes=(next(played, routine.passes[-1]),)), job.band)
        self._possible.add(job.recipe)

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


def _named(task: Task, told: Iterable[str]) -> tuple[str, str]:
    """What a task is called, and what it is beside where it has a title of its own."""
    parts = [part for part in told if part]
    title = task.title.casefold()
    more = [part for part in parts if part.casefold() not in title] if title else []
    return task.title or ", ".join(parts), ", ".join(more)


def _habits(options: Options) -> Options:
    """The options of a student; a bass player has the neck of a bass, and plays without the
    band's."""
    part, neck = options.get("part"), options.get("neck")
    if not (part and part.word and make_sheet_part(part.word).tuning == BASS):
        return options
    said = with_tuning(neck.word if neck and neck.word else "", BASS)
    habits = {**options, "neck": Said(said, neck.span if neck else part.span)}
    return habits if WHO & habits.keys() else {**habits, "without": Said("bass", part.span)}


def _fretted(habits: Mapping[str, str]) -> bool:
    """Whether a student has a neck: who says nothing reads a guitar's part."""
    return "neck" in habits or make_sheet_part(habits.get("part", "guitar")).frets


def _check_kind(names: tuple[str, ...], own: Mapping[str, str]) -> None:
    """Raise UserError for a task that is of nothing, or of two things."""
    kinds = ["a tune"] * bool(names) + [name for name in IN_PLACE_OF_TUNES if name in own]
    if not kinds:
        cure = 'Write tune = "name.tune", changes, or tunes at the top.'
        raise UserError("The task has no tune.", cure)
    if len(kinds) > 1:
        raise UserError(f"The task has {kinds[0]} and {kinds[1]}.", "Make it two tasks.")


def _refuse(own: Mapping[str, str], known: Container[str], cure: str) -> None:
    """Raise UserError for a word of a track where there is none."""
    for name in own:
        if name not in known:
            raise UserError(f"{name} is for a track, and this task has none.", cure)


def _filled(own: Mapping[str, str], habits: Mapping[str, str]) -> Mapping[str, str]:
    """A task's words where its neck and its line say nothing of what its shapes, or its student's
    habits, do."""
    filled = dict(own)
    if "neck" in own and "part" in habits:
        filled["neck"] = with_tuning(own["neck"], make_sheet_part(habits["part"]).tuning)
    if "line" in own:
        if place := re.search("[0-9]+", own.get("shapes", "")):
            filled["line"] = filled_up(filled["line"], f"position {place[0]}")
        if "line" in habits:
            filled["line"] = filled_up(filled["line"], habits["line"])
    return filled


def _in_one_place(form: Form, own: Mapping[str, str], habits: Mapping[str, str]) -> str:
    """The line of a task; in keys in turn it has the position of the first on paper, too."""
    key, phrase = own.get("key", habits.get("key")), read_phrase(own["line"])
    if key is None or not Keys.of(key).in_turn or not phrase.solo or phrase.line.position:
        return own["line"]
    neck = own.get("neck", habits.get("neck", STANDARD))
    placed = replace(phrase.line, fingerboard=read_neck(neck)).placed(form.played("solos"))
    return filled_up(own["line"], f"position {placed.position[0]}")


def _unusual(name: str, mine: str, error: UserError) -> UserError:
    """What is wrong with a habit; where it is wrong beside a task's word ``mine`` alone, which
    nobody wrote, that it is."""
    if not mine:
        return error
    cause = f"{name} doesn't go with all of the usual tasks: {error.cause}"
    return UserError(cause, "Leave it out, or write the tasks.")


def _fitting(
    command: Command,
    names: tuple[str, ...],
    own: Mapping[str, str],
    habits: Mapping[str, str],
    understood: Callable[[Words], tuple[object, set[str]]],
    *,
    spare: Container[str] = (),
) -> Words:
    """A command line of a task's own words and of those habits that mean something beside them.

    Words of its own that are ``spare`` are left out as well where they mean nothing.
    """
    known = {option.name: option for option in command.options}
    mine = {name: word for name, word in own.items() if name in known}
    apart = {"line", *(WHO if WHO & mine.keys() else ())}
    usual = {
        name: word for name, word in habits.items() if name in known.keys() - mine.keys() - apart
    }
    _, facts = understood(Words(command, names, usual | mine))
    said = {
        name: word
        for name, word in (usual | mine).items()
        if (name in mine and name not in spare)
        or not any(idle.holds(facts) for idle in known[name].idle)
    }
    return Words(command, names, said)


def _check_files(words: Words) -> None:
    """Raise UserError for a feel or a SoundFont that isn't there, or is none."""
    from backing.mixdown.soundfont import read_soundfont

    if feel := words.text("feel"):
        load_feel(feel)
    if font := words.path("soundfont"):
        read_soundfont(font)


def _first_understood(words: Words) -> tuple[Order, set[str]]:
    """What is understood of a track's words at the first of their tempos."""
    return track_understood(next(each_tempo(words))[0])


def _on_paper(own: Mapping[str, str]) -> Mapping[str, str]:
    """Of the words of a track those of its sheet.

    A track may have two lines, several positions, or subdivisions that follow each other in time,
    which no sheet has; and its seed is not the line's.
    """
    left = {"seed"}
    if "line" in own:
        phrase = read_phrase(own["line"])
        two = phrase.solo and phrase.guide
        if two or phrase.subdivisions or len(phrase.line.position) > 1:
            left.add("line")
    return {name: word for name, word in own.items() if name not in left}


def _opening(own: Mapping[str, str]) -> Mapping[str, str]:
    """The words of a sheet with which a page opens: the bass plays on it, and guide tones have no
    position."""
    if "line" not in own:
        return own
    phrase = read_phrase(own["line"])
    if phrase.bass:
        return {name: word for name, word in own.items() if name != "line"}
    if phrase.solo:
        return own
    return {
        **own,
        "line": "guide both" if phrase.guide == "both" else f"guide from the {phrase.guide}",
    }


def _drill(purpose: str) -> str:
    """The purpose of a track without its climb, whose tempos stand beside it."""
    order = "|".join(re.escape(order) for order in ORDERS.values())
    return re.sub(rf"(?:^|, )climbing [^,]*(?:{order})?", "", purpose).removeprefix(", ")


def _culprit(
    said: Mapping[str, str], error: UserError, make: Callable[[Mapping[str, str]], object]
) -> str:
    """The word without which there is no mistake, or another one; "" where it lies in none.

    One that the mistake begins with comes first, then the last.
    """
    found, begins = "", error.cause.removeprefix("--").partition(" ")[0]
    names = [begins] * (begins in said) + [name for name in reversed([*said]) if name != begins]
    for name in names:
        try:
            make({each: word for each, word in said.items() if each != name})
        except UserError as other:
            if other.cause != error.cause:
                found = found or name
        else:
            return name
    return found
