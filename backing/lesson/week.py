"""A week for a student whose tasks nobody wrote, and the turns in which all tasks are practiced.

Tasks in turn, a few minutes each, stay longer than one after the other: Carter & Grahn 2016,
"Optimizing Music Learning" (Frontiers in Psychology 7:1251). How long, and what the tasks are, is
common practice (no source).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from backing.chart.form import Form
from backing.lesson.lesson_file import Said, Student, Task
from backing.routine.climb import Climb
from backing.routine.request import CHORUSES
from backing.routine.tempo import Tempo

MINUTES_A_DAY = 25
SHORTEST_TURN, LONGEST_TURN = 3, 5
SET_MINUTES = 4
"""Of a tune of a set list, so that in a short one there are solos enough."""
MOST_CHORUSES, MOST_TIMES = 12, 16
TRACKS = 8
"""With sheets, page, first page and manifest they make a dozen files."""

CLIMB = {"climb": "60%-100%:10%"}
WEEK: tuple[tuple[str, dict[str, str], str], ...] = (
    ("guide", {"line": "guide", "tempo": "70%", "choruses": "2"},
     "Sing the guide tones, then play them. Hear where each one goes."),
    ("loop", CLIMB, "The hardest changes. Stay slow until nothing stops, then let it climb."),
    ("etude", {"line": "etude", "tempo": "70%"},
     "The same bars as a written line: read it once, then leave notes out and put in your own."),
    ("loop", CLIMB, "The next hardest changes."),
    ("slow", {"tempo": "80%"}, "The whole tune, slow enough to think of the next chord."),
    ("trade", {"tempo": "90%", "trade": "4", "choruses": "4"},
     "Four bars for you, four for the drums: answer what they say."),
    ("tune", {}, "The whole tune at its own tempo. Don't stop for mistakes."),
)  # fmt: skip
"""Kind, options and word to the student, in the order of practicing."""
KEPT = {
    1: {"guide", "loop", "etude", "slow", "trade", "tune"},
    2: {"guide", "loop", "slow", "tune"},
}
"""What is kept of it by the number of tunes; of more tunes the loop and the tune."""


@dataclass(frozen=True, slots=True)
class Tune:
    """A tune that tasks are made for: as it was ``said``, and the ``loops`` over its hardest bars.

    ``form``: None where it can't be read.
    """

    said: Said
    form: Form | None
    loops: Sequence[str] = ()


def usual_tasks(tunes: Sequence[Tune], student: Student) -> tuple[Task, ...]:
    """Tasks for tunes, a tune after the other, whose tracks last about as long as their turns."""
    kept = KEPT.get(len(tunes), {"loop", "tune"} if 2 * len(tunes) <= TRACKS else {"tune"})
    once = len(tunes) > 1
    made = [(tune, task) for tune in tunes for task in _of_tune(tune, kept, once=once)]
    turns = turn_minutes(student, [task for _, task in made])
    return tuple(
        _lasting(task, tune.form, turn) for (tune, task), turn in zip(made, turns, strict=True)
    )


def set_list(tunes: Sequence[Tune]) -> tuple[Task, ...]:
    """Every tune once, whole, at its own tempo."""
    tasks = [(tune, Task(tune.said, {}, tune.said.span, by_us=True)) for tune in tunes]
    return tuple(_lasting(task, tune.form, SET_MINUTES) for tune, task in tasks)


def _lasting(task: Task, form: Form | None, minutes: float) -> Task:
    """A task of ours with so many choruses, or times at each tempo of a climb, that it lasts about
    so long; a loop at one tempo goes on for a minute."""
    if form is None:
        return task
    words = {name: said.word for name, said in task.options.items() if said.word}
    count: Mapping[str, int] = {}
    if "climb" in words:
        bars, tempos = form.select(words["bars"]), Climb.of(words["climb"]).tempos(form.tempo)
        seconds = float(sum(bar.seconds(tempo) for bar in bars for tempo in tempos))
        count = {"times": min(MOST_TIMES, max(1, round(60 * minutes / seconds)))}
    elif "bars" not in words:
        tempo = Tempo.of(words.get("tempo", "100%")).bpm(form.tempo)
        seconds = float(sum(bar.seconds(tempo) for bar in form.played("solos")))
        usual = int(words.get("choruses", CHORUSES))
        count = {"choruses": min(MOST_CHORUSES, max(usual, round(60 * minutes / seconds)))}
    said = {name: Said(str(number), task.span) for name, number in count.items()}
    return replace(task, options={**task.options, **said})


def _of_tune(tune: Tune, kept: set[str], *, once: bool) -> Iterator[Task]:
    loops, place = tune.loops, tune.said.span
    left = list(loops[:1] if once else loops)
    for kind, options, say in WEEK:
        said = dict(options)
        if kind == "etude" and loops:
            said["bars"] = loops[0]
        if kind == "loop":
            if not left:
                continue
            said["bars"] = left.pop(0)
        if kind in kept:
            words = {name: Said(word, place) for name, word in said.items()}
            yield Task(tune.said, words, place, say=say, by_us=True)


def turn_minutes(student: Student, tasks: Sequence[Task]) -> list[float]:
    """How long each task is practiced before the next one's turn comes."""
    share = (student.minutes or MINUTES_A_DAY) / max(1, len(tasks))
    usual = float(min(LONGEST_TURN, max(SHORTEST_TURN, round(share))))
    return [task.minutes or usual for task in tasks]
