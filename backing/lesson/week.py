"""A week for a student whose tasks nobody wrote, and the turns in which all tasks are practiced.

Tasks in turn, a few minutes each, stay longer than one after the other: Carter & Grahn 2016,
"Optimizing Music Learning" (Frontiers in Psychology 7:1251). How long, and what the tasks are, is
common practice (no source).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from backing.lesson.lesson_file import Said, Student, Task

MINUTES_A_DAY = 25
SHORTEST_TURN, LONGEST_TURN = 3, 5
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


def usual_tasks(tunes: Sequence[tuple[Said, Sequence[str]]]) -> tuple[Task, ...]:
    """Tasks for tunes, each with the loops over its hardest bars, a tune after the other."""
    kept = KEPT.get(len(tunes), {"loop", "tune"} if 2 * len(tunes) <= TRACKS else {"tune"})
    return tuple(
        task for tune, loops in tunes for task in _of_tune(tune, loops, kept, once=len(tunes) > 1)
    )


def set_list(tunes: Sequence[Said]) -> tuple[Task, ...]:
    """Every tune once, whole, at its own tempo."""
    return tuple(Task(tune, {}, tune.span, by_us=True) for tune in tunes)


def _of_tune(tune: Said, loops: Sequence[str], kept: set[str], *, once: bool) -> Iterator[Task]:
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
            words = {name: Said(word, tune.span) for name, word in said.items()}
            yield Task(tune, words, tune.span, say=say, by_us=True)


def turn_minutes(student: Student, tasks: Sequence[Task]) -> list[float]:
    """How long each task is practiced before the next one's turn comes."""
    share = (student.minutes or MINUTES_A_DAY) / max(1, len(tasks))
    usual = float(min(LONGEST_TURN, max(SHORTEST_TURN, round(share))))
    return [task.minutes or usual for task in tasks]
