"""``backing lesson --log``: what students send back, beside the tunes they were given."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from backing.chart.form import Form
from backing.cli.assignment import Assignment
from backing.cli.status import DONE, show
from backing.lesson.practiced import practiced
from backing.saving import file_words
from backing.take import log


def logs_shown(paths: Sequence[Path], assignments: Sequence[Assignment]) -> int:
    """Show what each log says. Raises UserError for a file that is no log."""
    for path in paths:
        takes = log.read(path)
        assignment = _whose(path, assignments)
        show(f"{assignment.student.name} ({path})" if assignment else _nobody(path, assignments))
        forms = _tunes([assignment] if assignment else assignments)
        titles = dict.fromkeys(take["title"] for take in takes)
        for title in titles:
            form = forms.get(title)
            show(f"  {practiced(takes, title, float(form.tempo) if form else None)}")
        for title in forms if assignment else ():
            if title not in titles:
                show(f"  {title}: no take")
    return DONE


def _whose(path: Path, assignments: Sequence[Assignment]) -> Assignment | None:
    """The student whose name that of a log, or else that of its folder, is or begins with."""
    stems = [(file_words(each.student.name).casefold(), each) for each in assignments]
    for name in (path.stem, path.resolve().parent.name):
        told = f"{file_words(name).casefold()}-"
        mine = [(stem, each) for stem, each in stems if stem and told.startswith(f"{stem}-")]
        if mine:
            return max(mine, key=lambda each: len(each[0]))[1]
    return None


def _nobody(path: Path, assignments: Sequence[Assignment]) -> str:
    names = [each.student.name for each in assignments if each.student.name]
    return f"{path} has no student's name: {', '.join(names)}" if names else str(path)


def _tunes(assignments: Sequence[Assignment]) -> dict[str, Form]:
    forms = [exercise.form for each in assignments for exercise in each.exercises]
    return {form.title: form for form in forms if form}
