"""``backing page`` and ``backing play``: tunes become pages to practice with."""

from __future__ import annotations

import io
import webbrowser
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backing.chart.form import Form
from backing.cli.options import BAND
from backing.cli.parser import Words
from backing.cli.status import DONE, STOPPED, tell
from backing.cli.tag_text import command_again
from backing.cli.tunes import (
    asked_form,
    check_changes,
    check_folder,
    check_targets,
    check_tune,
    for_each,
)
from backing.combo.band import Band
from backing.errors import OutputError, PracticeError, UserError
from backing.memory import SOUND_BYTES, check_room
from backing.routine.tempo import Tempo
from backing.saving import (
    check_writable,
    is_folder,
    refuse_inputs,
    shortened_name,
    write_file,
)

if TYPE_CHECKING:
    from backing.page import Opening, PageMaker

SUFFIXES = (".html", ".htm")


def page(words: Words) -> int:
    """Write the page of each tune."""
    check_changes(words, "put on the page")
    tunes = words.names or ("changes",)
    output = words.text("output") or ""
    if len(tunes) > 1 and Path(output).suffix.lower() in SUFFIXES and not is_folder(Path(output)):
        check_folder(output)
        refuse_inputs(Path(output), map(Path, tunes))
        return _write_set(words, tunes, Path(output))
    targets = [_target(words, Path(tune)) for tune in tunes]
    check_targets(tunes, words.text("output"), targets)
    return for_each(tunes, partial(_write, words))


def play(words: Words) -> int:
    """Serve the page of a tune and open it, until Ctrl-C."""
    from backing.page.watch import BenchServer, Workbench

    _check_named(words)
    if len(words.names) > 1:
        raise UserError("One tune is played at a time.", "Name one tune file.")
    tune = Path(words.names[0])
    check_tune(tune)
    maker = _maker(words)
    recipe = command_again(words, str(tune))
    bench = Workbench(tune, lambda: maker.page(_form(words, tune), recipe=recipe, watched=True))
    try:
        with BenchServer(bench, share="share" in words, port=words.number("port") or 0) as server:
            if "quiet" not in words:
                tell(f"{tune} plays at {server.address} (Ctrl-C ends it)")
                if "share" in words:
                    tell("Everybody on this network can open it while it runs:")
                    tell(_code(server.address))
            if "no-browser" not in words:
                webbrowser.open(server.address)
            server.serve_forever()
        return DONE
    except KeyboardInterrupt:
        tell("\nbacking: stopped.")
        return STOPPED


def _code(address: str) -> str:
    """An address for the camera of a phone: a QR code in half blocks."""
    import segno

    drawn = io.StringIO()
    segno.make(address, error="l").terminal(drawn, border=2, compact=True)
    return drawn.getvalue().rstrip()


def _check_named(words: Words) -> None:
    if not words.names:
        raise UserError("No tune is named.", f"Write backing {words.command.name} TUNE.")


def _write(words: Words, tune: Path) -> None:
    target = _target(words, tune)
    check_writable(target)
    form = _form(words, tune)
    maker = _maker(words)
    named = "" if "changes" in words else str(tune)
    made = maker.page(form, recipe=command_again(words, named))
    _finish(words, maker, form.title, made, target)


def _write_set(words: Words, tunes: Sequence[str], target: Path) -> int:
    """One page of several tunes; with a mistake in one of them there is none."""
    from backing.page import Piece

    check_writable(target)
    forms: list[Form] = []
    status = for_each(tunes, lambda tune: forms.append(_form(words, tune)))
    if status != DONE:
        return status
    maker = _maker(words)
    pieces = [
        Piece(form, maker.band, maker.opening, recipe=command_again(words, tune))
        for form, tune in zip(forms, tunes, strict=True)
    ]
    titles = ", ".join(form.title for form in forms)
    _finish(words, maker, titles, maker.pages(pieces, title=target.stem), target)
    return DONE


def _finish(words: Words, maker: PageMaker, title: str, made: bytes, target: Path) -> None:
    """Write the page that was made, and say so."""
    write_file(target, made)
    if "quiet" not in words:
        font = maker.font
        tell(f"{title} -> {target}\n  {len(made) / 1e6:.1f} MB, opens in any browser")
        tell(f"  sound: {font.name} ({font.licence})")
        if font.free_to_give is False:
            tell("  to give it away, prefer a SoundFont under MIT: see backing sounds")
    if "open" in words:
        webbrowser.open(target.resolve().as_uri())


def _target(words: Words, tune: Path) -> Path:
    """The file named, or one of the tune's name in the folder named or here."""
    named = words.text("output") or ""
    check_folder(named)
    output = Path(named)
    if len(words.names) > 1 or is_folder(output):
        return output / shortened_name(tune.stem, ".html")
    if output.suffix.lower() not in SUFFIXES:
        raise OutputError(f"{output} isn't a name for a page.", "End it in .html.")
    return output


def _form(words: Words, tune: Path) -> Form:
    """The tune in the key and at the tempo the page opens with."""
    form = asked_form(words, tune)
    if "tempo" in words:
        form = replace(form, tempo=Tempo.of(words.said["tempo"]).bpm(form.tempo))
    return form


def _maker(words: Words) -> PageMaker:
    check_room(SOUND_BYTES)
    from backing.mixdown.soundfont import choose
    from backing.page import PageMaker

    band, font = Band(**words.filling(BAND)), choose(words.path("soundfont"))
    return PageMaker(font, band, opening=_opening(words))


def _opening(words: Words) -> Opening:
    """The line and the neck a page opens with."""
    from backing.lines.phrase import read_phrase
    from backing.lines.player import Line
    from backing.neck.phrase import read_neck
    from backing.page import Opening

    neck: dict[str, Any] = {"fingerboard": read_neck(words.said["neck"])} if "neck" in words else {}
    part = page_part(words.text("part"))
    if "line" not in words:
        return Opening(Line(**neck), part=part)
    phrase = read_phrase(words.said["line"], **neck)
    if phrase.bass:
        raise PracticeError("The bass plays on every page.", "Leave --line out.")
    return Opening(phrase.line, phrase.solo, phrase.guide, part=part)


def page_part(said: str | None) -> str:
    """For whom a page writes its chords: the part of whoever is named, as on a sheet.

    Raises PracticeError for a part that there is not.
    """
    from backing.page.data import PARTS
    from backing.sheet.sheet_part import make_sheet_part

    part = make_sheet_part(said or "guitar").name
    return part if part in PARTS else PARTS[0]  # who has a neck reads what sounds
