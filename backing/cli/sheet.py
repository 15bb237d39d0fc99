"""``backing sheet``: tunes become sheets to play from."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from backing.chart.form import Form
from backing.chart.musicxml import write as write_lead_sheet
from backing.chart.pitch import PitchName
from backing.cli.asked import in_key, one_of
from backing.cli.given import check_sheet, sheet_as_usual
from backing.cli.line import ANYWHERE, etude_line
from backing.cli.status import DONE, tell
from backing.cli.tunes import check_folder, check_targets, for_each, read_tune
from backing.errors import ChordError, OutputError, UserError
from backing.lines.line import Line
from backing.neck.fingerboard import make_fingerboard
from backing.saving import check_writable, fitted, is_folder, write_whole

if TYPE_CHECKING:
    from backing.sheet import Asked, Sheet

PAGES = (".pdf", ".svg", ".png")
MUSICXML = (".musicxml", ".xml")
PPI = 200
"""Of .png pages: sharp on a tablet."""


def sheet(arguments: argparse.Namespace) -> int:
    """Write the sheet of each tune, or that of a root."""
    check_sheet(arguments, musicxml=Path(arguments.output or "").suffix.lower() in MUSICXML)
    if not arguments.tunes and not arguments.set:
        raise UserError("What is to be printed?", "Name tune files, or give a root with --set.")
    if arguments.tunes and arguments.set:
        raise UserError(
            "The sheet of a tune and that of a root are not printed together.",
            "Give tune files or --set, not both.",
        )
    arguments = sheet_as_usual(arguments)
    if arguments.set:
        _write_set(arguments)
        return DONE
    several = len(arguments.tunes)
    targets = [_target(arguments, Path(tune).stem, several) for tune in arguments.tunes]
    check_targets(arguments.tunes, arguments.output, targets)
    return for_each(arguments.tunes, partial(_write, arguments))


def _write(arguments: argparse.Namespace, tune: Path) -> None:
    target = _target(arguments, tune.stem, len(arguments.tunes))
    check_writable(target)
    form = in_key(arguments, read_tune(tune))
    asked = _asked(arguments)
    if target.suffix.lower() in MUSICXML:
        _write_musicxml(form, asked, target)
        tell_unless_quiet(arguments, f"{form.title} -> {target}")
        return
    from backing.sheet import tune_sheet

    _write_pages(arguments, lambda: tune_sheet(form, asked), form.title, target)


def _write_set(arguments: argparse.Namespace) -> None:
    from backing.sheet import set_sheet

    try:
        root = PitchName.parse(arguments.set)
    except ChordError as error:
        raise UserError(error.cause, error.cure) from None
    target = _target(arguments, f"arpeggios-{arguments.set}", 1)
    if target.suffix.lower() in MUSICXML:
        raise OutputError("Grids cannot be said in MusicXML.", "End the name in .pdf or .svg.")
    check_writable(target)
    asked = _asked(arguments)
    _write_pages(arguments, lambda: set_sheet(root, asked), f"arpeggios on {root}", target)


def _write_musicxml(form: Form, asked: Asked, target: Path) -> None:
    """The line that is asked for, else the chart."""
    from backing.sheet import line_file
    from backing.sheet.asked import chord_interval

    if asked.line is not None:
        write_whole(target, line_file(form, asked).encode())
    else:
        form = form.transposed(chord_interval(asked.reader))
        write_whole(target, write_lead_sheet(form).encode())


def _write_pages(
    arguments: argparse.Namespace, make: Callable[[], Sheet], title: str, target: Path
) -> None:
    """One PDF; of pictures one for each page, numbered where there are several."""
    pages = make().pages(target.suffix.lower().removeprefix("."), ppi=PPI)
    files = [target]
    if len(pages) > 1:
        endings = [f"-{n}{target.suffix}" for n in range(1, len(pages) + 1)]
        files = [target.with_name(fitted(target.stem, ending)) for ending in endings]
    for file, page in zip(files, pages, strict=True):
        write_whole(file, page)
    named = f"{files[0]} to {files[-1].name}" if len(files) > 1 else str(target)
    tell_unless_quiet(arguments, f"{title} -> {named}")


def tell_unless_quiet(arguments: argparse.Namespace, text: str) -> None:
    """Say it on stderr."""
    if not arguments.quiet:
        tell(text)


def _target(arguments: argparse.Namespace, stem: str, several: int) -> Path:
    """The file named, or one of the tune's name in the folder named or here."""
    output = Path(arguments.output or "")
    check_folder(arguments.output or "")
    if several > 1 or is_folder(output):
        return output / fitted(stem, ".pdf")
    if output.suffix.lower() not in PAGES + MUSICXML:
        raise OutputError(
            f"{output} is no name for a sheet.", f"End it in {', '.join(PAGES)} or .musicxml."
        )
    return output


def _asked(arguments: argparse.Namespace) -> Asked:
    """What is asked for, in the types of the sheet. Raises UserError for what is not there."""
    from backing.sheet import Asked, make_look, make_reader
    from backing.sheet.asked import GUIDES, LINES

    reader = make_reader(arguments.reader, arguments.clef)
    board = make_fingerboard(arguments.tuning, arguments.frets, left_handed=arguments.left_handed)
    line = one_of(arguments.line, LINES, "line") if arguments.line else None
    if arguments.no_tab:
        reader = replace(reader, tablature=False)
    return Asked(
        chart=not arguments.no_chart,
        shapes=not arguments.no_shapes,
        position=arguments.position,
        line=line,
        etude=etude_line(arguments) if line else Line(positions=ANYWHERE, fingerboard=board),
        guide=one_of(arguments.guide, GUIDES, "guide line"),
        bars=arguments.bars,
        seed=arguments.seed,
        reader=reader,
        look=make_look(arguments.paper, large=arguments.large, signs=arguments.signs),
        board=board,
    )
