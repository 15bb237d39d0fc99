"""Tunes as the commands read them: a feel that is not there is a mistake of the file, too."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from pathlib import Path

from backing.chart.form import Form
from backing.chart.text.tune_file import read_file
from backing.cli.parser import Words
from backing.cli.status import DONE, USERS, in_words, tell
from backing.combo.feel_check import feel_faults
from backing.errors import OutputError, RoutineError, UserError, quoted
from backing.routine.keys import Keys
from backing.saving import is_folder, is_there, refuse_inputs

DEFAULT_TEMPO = Fraction(120)
MUSICXML = (".musicxml", ".mxl", ".xml")


def read_tune(path: Path, *, skip: bool = False) -> Form:
    """The form in a tune file, all its feels known.

    What a score says otherwise than it is read is told, with ``skip`` what cannot be read, too.
    Raises TuneError with every mistake of the text and of the feels it names, UserError where
    there is no text.
    """
    check_tune(path)
    if path.suffix.lower() in MUSICXML:
        from backing.chart.musicxml import read_file as read_musicxml

        form = read_musicxml(path, skip=skip)
        for remark in form.remarks:
            tell(f"{path}: {remark}")
        return form
    return read_file(path, feel_faults=feel_faults)


def check_tune(path: Path) -> None:
    """Raise UserError where there is no file of this name, or a folder."""
    if is_folder(path):
        raise UserError(f"{path} is a folder.", f"Name a tune in it, or all: {path / '*.tune'}.")
    if not is_there(path):
        raise UserError(f"There is no file {path}.", "Check the name and the folder.")


def check_changes(words: Words, what: str) -> None:
    """Raise UserError where neither tunes nor changes are named, or both; ``what`` is done."""
    if not words.names and "changes" not in words:
        raise UserError(f"Say what to {what}.", "Name tune files, or write changes with --changes.")
    if words.names and "changes" in words:
        raise UserError("Both a tune and --changes are given.", "Give one or the other.")


def changes_form(words: Words) -> Form:
    """The form of bare changes, in the first meter of the feel that is named."""
    from backing.chart.changes import read_changes
    from backing.combo.feel_file import load_feel

    feel = words.text("feel") or "swing"
    meter = load_feel(feel).meters[0]
    return read_changes(words.said["changes"], meter=meter, tempo=DEFAULT_TEMPO, feel=feel)


def asked_form(words: Words, tune: Path) -> Form:
    """The tune, or the bare changes, in the key that is named, if one is. Raises UserError."""
    form = changes_form(words) if "changes" in words else read_tune(tune)
    return in_key(form, words.text("key"))


def in_key(form: Form, text: str | None) -> Form:
    """The form in the key that is named, if one is. Raises RoutineError."""
    if text is not None and Keys.of(text).in_turn:
        raise RoutineError(f"{quoted(text)} is more than one key.", "Name one, such as Bb.")
    return each_key(form, text)[0]


def each_key(form: Form, text: str | None) -> tuple[Form, ...]:
    """The form in each of the keys that are named, "C F Bb" or "fourths". Raises RoutineError."""
    keys = Keys.of(text).in_tune(form.key) if text is not None else (form.key,)
    return tuple(form.transposed(form.key.tonic.interval_to(key.tonic)) for key in keys)


def check_folder(output: str) -> None:
    """Raise OutputError for a place that is named as a folder ("takes/") and is not there."""
    if output.endswith(("/", os.sep)) and not is_folder(Path(output)):
        raise OutputError(f"There is no folder {output}.", "Make it, or name a file.")


def check_targets(tunes: Sequence[str], output: str | None, targets: Iterable[Path]) -> None:
    """Raise OutputError where several tunes would become one file, or one would be replaced.

    ``output`` is the place that was named, ``targets`` the files that would be written.
    """
    if len(tunes) > 1 and output and not is_folder(Path(output)):
        raise OutputError(
            f"{output} isn't a folder, and {len(tunes)} tunes are named.",
            "Name a folder that is there.",
        )
    places: set[Path] = set()
    for target in targets:
        if target in places:
            raise OutputError(
                f"Two tunes would become {target}.", "Rename one, or make them one at a time."
            )
        places.add(target)
        refuse_inputs(target, map(Path, tunes))


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
