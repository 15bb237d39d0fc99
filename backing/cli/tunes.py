"""Tunes as the commands read them: a feel that is not there is a mistake of the file, too."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from backing.chart.form import Form
from backing.chart.musicxml import read_file as read_musicxml
from backing.chart.tune_file import read_file
from backing.cli.status import DONE, USERS, in_words, tell
from backing.combo.style import feel_names, load_feel
from backing.errors import FeelError, Problem, Span, TuneError, UserError

MUSICXML = (".musicxml", ".mxl", ".xml")


def read_tune(path: Path) -> Form:
    """The form in a tune file, all its feels known.

    Raises TuneError with every mistake of the text, UserError where there is no text, FeelError
    for a mistake in a feel file that the tune names.
    """
    form = read_musicxml(path) if path.suffix.lower() in MUSICXML else read_file(path)
    problems: list[Problem] = []
    for name, span in _feels(form):
        try:
            load_feel(name)
        except FeelError as error:
            if span is None or name in feel_names():
                raise
            line = path.read_text("utf-8-sig").split("\n")[span.line - 1]
            problems.append(Problem(str(path), span, line, error.cause, error.cure))
    if problems:
        raise TuneError(tuple(sorted(problems, key=lambda p: (p.span.line, p.span.column))))
    return form


def _feels(form: Form) -> list[tuple[str, Span | None]]:
    """Every feel the tune names, and where."""
    named = [(section.feel, section.feel_span) for section in form.sections if section.feel]
    return [(form.feel, form.feel_span), *named]


def for_each(tunes: Iterable[str], make: Callable[[Path], None]) -> int:
    """``make`` of every tune; one that cannot be made is told of and does not stop the others.

    Returns the exit status.
    """
    status = DONE
    for name in tunes:
        try:
            make(Path(name))
        except UserError as error:
            tell(in_words(error))
            status = USERS
    return status
