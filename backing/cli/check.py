"""``backing check``: tunes as the band will play them, or all their mistakes."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from backing.chart.outline import as_data, as_text
from backing.chart.text.tune_file import write
from backing.cli.status import DONE, USERS, in_words, show, tell
from backing.cli.tunes import read_tune
from backing.combo.style import feel_names, load_feel
from backing.errors import UserError


def check(arguments: argparse.Namespace) -> int:
    """Show tunes, or list the feels."""
    if arguments.feels and arguments.tunes:
        raise UserError("The feels are listed without a tune.", "Leave --feels or the tune out.")
    if arguments.json and arguments.tidy:
        raise UserError("A tune is either tidied or given as JSON.", "Leave one of them out.")
    if arguments.feels:
        return _list_feels()
    if not arguments.tunes:
        raise UserError("No tune is named.", "Write backing check TUNE, or backing check --feels.")
    status, shown = DONE, []
    for name in arguments.tunes:
        try:
            form = read_tune(Path(name))
        except UserError as error:
            tell(in_words(error))
            status = USERS
            continue
        if arguments.json:
            shown.append({"file": name, **as_data(form)})
        else:
            show(write(form).rstrip("\n") if arguments.tidy else as_text(form))
    if arguments.json:
        show(json.dumps(shown, indent=1))
    return status


def _list_feels() -> int:
    for name in feel_names():
        feel = load_feel(name)
        show(f"{name:<12} {feel.sentence}")
    return DONE
