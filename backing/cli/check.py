"""``backing check``: tunes as the band will play them, or all their mistakes."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

from backing.chart.form import Form
from backing.chart.outline import as_data, as_text, in_ascii
from backing.chart.text.mending import mend
from backing.chart.text.tune_file import decoded, read, write
from backing.cli.options import refuse_idle
from backing.cli.parser import Words
from backing.cli.status import DONE, USERS, in_words, show, tell, worst
from backing.cli.tunes import MUSICXML, read_tune
from backing.combo.feel_check import feel_faults
from backing.combo.feel_file import feel_names, load_feel
from backing.combo.ribbon import RIBBON_LEGEND, opening_ribbon, ribbon_text
from backing.errors import PracticeError, UserError, quoted
from backing.reading import TUNE_BYTES, read_bytes
from backing.routine.tempo import Tempo

HARDEST = 5
"""Bars that are shown with their reasons."""


def check(words: Words) -> int:
    """Show tunes, or list the feels."""
    if "feels" in words and words.names:
        raise UserError(
            "--feels lists the feels, and needs no tune.", "Leave --feels or the tune out."
        )
    if len({"json", "tidy", "mend", "trouble"} & set(words.said)) > 1:
        raise UserError("A tune is shown in one way.", "Say --tidy, --mend, --trouble or --json.")
    refuse_idle(words.command.options, words.said)
    if "feels" in words:
        return _list_feels()
    if not words.names:
        raise UserError("No tune is named.", "Write backing check TUNE, or backing check --feels.")
    status, shown = DONE, []
    for name in words.names:
        try:
            if Path(name).suffix.lower() == ".toml":
                status = worst(status, _lesson(words, Path(name)))
                continue
            form = _mended(Path(name)) if "mend" in words else read_tune(Path(name))
        except UserError as error:
            tell(in_words(error))
            status = USERS
            continue
        if "trouble" in words:
            show(_trouble(words, form))
        elif "json" in words:
            shown.append({"file": name, **as_data(form)})
        else:
            show(write(form).rstrip("\n") if {"tidy", "mend"} & set(words.said) else _chart(form))
    if "json" in words:
        show(json.dumps(shown, indent=1))
    return status


def _lesson(words: Words, path: Path) -> int:
    from backing.cli.lesson import lesson_shown

    if words.said:
        said = ", ".join(f"--{name}" for name in words.said)
        raise UserError(f"{path} is a lesson, and {said} is for tunes.", "Leave it out.")
    return lesson_shown(path)


def _mended(path: Path) -> Form:
    """What is understood of a rough chart, each change told; of a score all but its faults."""
    if path.suffix.lower() in MUSICXML:
        return read_tune(path, skip=True)
    text = decoded(read_bytes(path, TUNE_BYTES, "a tune"), path)
    found = mend(text)
    for line, before, after in found.changes:
        if after:
            what = f"{before} -> {after}" if before else f"{after} is added"
        else:
            what = f"{before} is left out"
        tell(f"{path}:{line}: {what}" if line else f"{path}: {what}: no key is given")
    return read(found.text, str(path), folder=str(path.parent), feel_faults=feel_faults)


def _chart(form: Form) -> str:
    """A tune as text under its two guide-tone lines, in signs the terminal has."""
    drawn = ribbon_text(opening_ribbon(form))
    text = as_text(form, f"{drawn}\n{RIBBON_LEGEND}" if drawn else "")
    encoding = sys.stdout.encoding or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return in_ascii(text)
    return text


def _trouble(words: Words, form: Form) -> str:
    """The hardest bars with the reasons, and loops over them."""
    from backing.lesson.trouble import find_trouble
    from backing.neck.phrase import read_neck

    said = words.said["trouble"].lower().removeprefix("position").strip()
    if said not in ("auto", "no neck") and not re.fullmatch("[0-9]{1,6}", said):
        cure = "Write its fret (5), auto for the best one, or no neck."
        raise PracticeError(f"{quoted(said)} isn't a position.", cure)
    board = None if said == "no neck" else read_neck(words.text("neck") or "standard")
    position = int(said) if said.isdecimal() else None
    tempo = Tempo.of(words.said["tempo"]).bpm(form.tempo) if "tempo" in words else form.tempo
    found = find_trouble(form, board, position, tempo)
    where = f" in position {found.position}" if found.position else ""
    lines = [f"{form.title} at {float(tempo):g} bpm{where}: new notes a second, the most first"]
    for bars in found.ranked[:HARDEST]:
        numbers = ", ".join(bar.label for bar in bars)
        lines.append(f"  {bars[0].measure:4.1f}  bar{'s' * (len(bars) > 1)} {numbers}")
        lines += [f"        {crossing}" for crossing in bars[0].crossings]
    if found.loops:
        lines.append("  to loop: " + ", ".join(f"--bars {loop}" for loop in found.loops))
    return "\n".join(lines)


def _list_feels() -> int:
    for name in feel_names():
        feel = load_feel(name)
        show(f"{name:<12} {feel.sentence}")
    return DONE
