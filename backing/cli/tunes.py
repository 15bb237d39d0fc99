"""Tunes as the commands read them: a feel that is not there is a mistake of the file, too."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from backing.chart.form import Form
from backing.chart.musicxml import read_file as read_musicxml
from backing.chart.tune_file import read_file
from backing.cli.status import DONE, USERS, in_words, tell
from backing.combo.feel_check import feel_faults
from backing.errors import UserError

MUSICXML = (".musicxml", ".mxl", ".xml")


def read_tune(path: Path) -> Form:
    """The form in a tune file, all its feels known.

    Raises TuneError with every mistake of the text and of the feels it names, UserError where
    there is no text.
    """
    if path.suffix.lower() in MUSICXML:
        return read_musicxml(path)
    return read_file(path, feel_faults=feel_faults)


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
