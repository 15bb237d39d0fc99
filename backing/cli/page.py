"""``backing page``: tunes become pages to practise with."""

from __future__ import annotations

import argparse
import webbrowser
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from backing.chart.form import Form
from backing.cli.asked import in_key, one_of
from backing.cli.status import DONE, tell
from backing.cli.tunes import check_folder, check_targets, for_each, read_tune
from backing.combo.band import Band
from backing.combo.instruments import COMPING
from backing.errors import UserError
from backing.routine.climb import read_tempo
from backing.saving import check_writable, fitted, is_folder, write_whole

if TYPE_CHECKING:
    from backing.page import PageMaker

SUFFIXES = (".html", ".htm")


def page(arguments: argparse.Namespace) -> int:
    """Write the page of each tune, or serve that of one while it is being written."""
    if arguments.watch:
        return _watch(arguments)
    if arguments.share or arguments.port:
        raise UserError("Nothing is served without --watch.", "Add --watch, or leave the rest out.")
    targets = [_target(arguments, Path(tune)) for tune in arguments.tunes]
    check_targets(arguments.tunes, arguments.output, targets)
    return for_each(arguments.tunes, partial(_write, arguments))


def _write(arguments: argparse.Namespace, tune: Path) -> None:
    target = _target(arguments, tune)
    check_writable(target)
    form = _form(arguments, tune)
    maker = _maker(arguments)
    made = maker.page(form)
    write_whole(target, made)
    if not arguments.quiet:
        font = maker.font
        tell(f"{form.title} -> {target}\n  {len(made) / 1e6:.1f} MB, opens in any browser")
        tell(f"  sound: {font.name} ({font.licence})")
        if font.free_to_give is False:
            tell("  to give it away, prefer a SoundFont under MIT: see backing sounds")
    if arguments.open:
        webbrowser.open(target.resolve().as_uri())


def _target(arguments: argparse.Namespace, tune: Path) -> Path:
    """The file named, or one of the tune's name in the folder named or here."""
    output = Path(arguments.output or "")
    check_folder(arguments.output or "")
    if len(arguments.tunes) > 1 or is_folder(output):
        return output / fitted(tune.stem, ".html")
    if output.suffix.lower() not in SUFFIXES:
        raise UserError(f"{output} is no name for a page.", "End it in .html.")
    return output


def _form(arguments: argparse.Namespace, tune: Path) -> Form:
    form = in_key(arguments, read_tune(tune))
    if not arguments.tempo:
        return form
    return replace(form, tempo=read_tempo(arguments.tempo, form.tempo))


def _maker(arguments: argparse.Namespace) -> PageMaker:
    from backing.mixdown.soundfont import choose
    from backing.page import PageMaker

    comp = one_of(arguments.comp, COMPING, "comping instrument")
    band = Band(seed=arguments.seed, feel=arguments.feel, comp=comp)
    font = choose(Path(arguments.soundfont) if arguments.soundfont else None)
    return PageMaker(font, band)


def _watch(arguments: argparse.Namespace) -> int:
    """Serve the page until Ctrl-C."""
    from backing.page.watch import BenchServer, Workbench

    if len(arguments.tunes) != 1:
        raise UserError("Only one tune can be watched.", "Name one tune file.")
    if arguments.output:
        raise UserError("A watched page is not written to a file.", "Leave out -o, or --watch.")
    tune = Path(arguments.tunes[0])
    maker = _maker(arguments)
    bench = Workbench(tune, lambda: maker.page(_form(arguments, tune), watched=True))
    with BenchServer(bench, share=arguments.share, port=arguments.port) as server:
        tell(f"{tune} is at {server.address} (Ctrl-C ends it)")
        if arguments.open:
            webbrowser.open(server.address)
        server.serve_forever()
    return DONE
