"""``backing sheet``: tunes become sheets to play from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backing.chart.form import Form
from backing.chart.musicxml import write as write_lead_sheet
from backing.chart.pitch import PitchName
from backing.cli.options import refuse_idle
from backing.cli.parser import Words
from backing.cli.status import DONE, tell
from backing.cli.tag_text import command_again
from backing.cli.tunes import (
    asked_form,
    changes_form,
    check_changes,
    check_folder,
    check_targets,
    each_key,
    for_each,
    read_tune,
)
from backing.errors import ChordError, OutputError, PracticeError, UserError
from backing.lines.phrase import Phrase, read_phrase
from backing.lines.player import Line
from backing.memory import SHEET_BYTES, check_room
from backing.neck.fingerboard import Fingerboard
from backing.neck.phrase import read_neck, with_tuning
from backing.saving import check_writable, is_folder, refuse_inputs, shortened_name, write_file

if TYPE_CHECKING:
    from backing.sheet.request import SheetRequest
    from backing.sheet.sheet_part import SheetPart
    from backing.sheet.sheets import Sheet

PAGES = (".pdf", ".svg", ".png")
MUSICXML = (".musicxml", ".xml")
PAIRS = "pairs"
PPI = 200
"""Of .png pages: sharp on a tablet."""


def sheet(words: Words) -> int:
    """Write the sheet of each tune, or that of a root."""
    check_room(SHEET_BYTES)
    if not {"arpeggios", "changes"} & set(words.said) and not words.names:
        raise UserError("Say what to print.", "Name tune files, or a root with --arpeggios.")
    if "arpeggios" not in words:
        check_changes(words, "print")
    if words.names and "arpeggios" in words:
        raise UserError("--arpeggios are printed without a tune.", "Give one of them, not both.")
    asked = read_request(words)
    if "arpeggios" in words:
        _write_arpeggios(words, asked)
        return DONE
    tunes = words.names or ("changes",)
    if len(tunes) > 1 and Path(words.text("output") or "").suffix.lower() in PAGES:
        _write_book(words, asked)
        return DONE
    targets = [_target(words, Path(tune).stem) for tune in tunes]
    check_targets(tunes, words.text("output"), targets)
    return for_each(tunes, partial(_write, words, asked))


def read_request(words: Words) -> SheetRequest:
    """What a command line asks of a sheet. Raises UserError for what makes no sense."""
    asked, facts = understood(words)
    refuse_idle(words.command.options, facts)
    return asked


def understood(words: Words) -> tuple[SheetRequest, set[str]]:
    """What is asked, and the options and facts by which some would change nothing."""
    from backing.sheet.sheet_part import make_sheet_part

    walking = "line" in words and read_phrase(words.said["line"]).bass
    usual = "bass" if walking else "guitar"
    part = make_sheet_part(words.text("part") or usual, words.text("clef"))
    board = read_neck(with_tuning(words.text("neck") or "", part.tuning))
    line = read_phrase(words.said["line"], fingerboard=board) if "line" in words else None
    return _asked(words, part, board, line), set(words.said) | set(_facts(words, part, line))


def _facts(words: Words, part: SheetPart, line: Phrase | None) -> Iterator[str]:
    """What is so of a sheet beside its options, as the table of options names it."""
    if Path(words.text("output") or "").suffix.lower() in MUSICXML:
        yield "musicxml"
    if line and line.bass:
        yield "walking"
    if not part.frets:
        yield "no frets"


def _write(words: Words, asked: SheetRequest, tune: Path) -> None:
    target = _target(words, tune.stem)
    check_writable(target)
    if target.suffix.lower() in MUSICXML:
        form = asked_form(words, tune)
        _write_musicxml(form, replace(asked, recipe=_recipe(words, tune)), target)
        _tell(words, f"{form.title} -> {target}")
        return
    _write_pages(words, _sheets(words, asked, tune), target)


def _sheets(words: Words, asked: SheetRequest, tune: Path) -> list[Sheet]:
    """The sheet of a tune, in each of the keys that are named; without charts they are one."""
    from backing.sheet.sheets import keys_sheet, tune_sheet

    form = changes_form(words) if "changes" in words else read_tune(tune)
    asked = replace(asked, recipe=_recipe(words, tune))
    sheets = [tune_sheet(each, asked) for each in each_key(form, words.text("key"))]
    return sheets if asked.chart else [keys_sheet(sheets)]


def _recipe(words: Words, tune: Path) -> str:
    return command_again(words, "" if "changes" in words else str(tune))


def _write_book(words: Words, asked: SheetRequest) -> None:
    """All tunes as one document, in their order. Raises UserError, and then none is written."""
    target = Path(words.said["output"])
    refuse_inputs(target, map(Path, words.names))
    check_writable(target)
    sheets: list[Sheet] = []
    status = for_each(words.names, lambda tune: sheets.extend(_sheets(words, asked, tune)))
    if status != DONE:
        raise UserError(f"{target} isn't made: it would lack tunes.", "Correct them first.")
    _write_pages(words, sheets, target)


def _write_arpeggios(words: Words, asked: SheetRequest) -> None:
    from backing.sheet.sheets import arpeggio_sheet

    named = words.said["arpeggios"]
    try:
        root = PitchName.parse(named)
    except ChordError as error:
        raise UserError(error.cause, error.cure) from None
    target = _target(words, f"arpeggios-{named}")
    if target.suffix.lower() in MUSICXML:
        raise OutputError("MusicXML can't hold grids.", "End the name in .pdf or .svg.")
    check_writable(target)
    asked = replace(asked, recipe=command_again(words, ""))
    _write_pages(words, [arpeggio_sheet(root, asked)], target)


def _write_musicxml(form: Form, asked: SheetRequest, target: Path) -> None:
    """The line that is asked for, else the chart."""
    from backing.sheet.line_block import line_file
    from backing.sheet.request import chord_interval

    if asked.line is not None:
        write_file(target, line_file(form, asked).encode())
    else:
        form = form.transposed(chord_interval(asked.part))
        write_file(target, write_lead_sheet(form).encode())


def _write_pages(words: Words, sheets: Sequence[Sheet], target: Path) -> None:
    """One PDF; of pictures one for each page, numbered where there are several."""
    from backing.sheet.sheets import book_pages

    recipe = command_again(words, *words.names)
    pages = book_pages(sheets, target.suffix.lower().removeprefix("."), recipe=recipe, ppi=PPI)
    files = [target]
    if len(pages) > 1:
        endings = [f"-{n}{target.suffix}" for n in range(1, len(pages) + 1)]
        files = [target.with_name(shortened_name(target.stem, ending)) for ending in endings]
    for file, page in zip(files, pages, strict=True):
        write_file(file, page)
    named = f"{files[0]} to {files[-1].name}" if len(files) > 1 else str(target)
    titles = dict.fromkeys(sheet.content["title"] for sheet in sheets)
    _tell(words, f"{', '.join(titles)} -> {named}")


def _tell(words: Words, text: str) -> None:
    if "quiet" not in words:
        tell(text)


def _target(words: Words, stem: str) -> Path:
    """The file named, or one of the tune's name in the folder named or here."""
    named = words.text("output") or ""
    check_folder(named)
    output = Path(named)
    if len(words.names) > 1 or is_folder(output):
        return output / shortened_name(stem, ".pdf")
    if output.suffix.lower() not in PAGES + MUSICXML:
        raise OutputError(
            f"{output} isn't a name for a sheet.", f"End it in {', '.join(PAGES)} or .musicxml."
        )
    return output


def _asked(
    words: Words, part: SheetPart, board: Fingerboard, phrase: Phrase | None
) -> SheetRequest:
    """What is asked for, in the types of the sheet. Raises UserError for what is not there."""
    from backing.sheet.page_setup import make_page_setup
    from backing.sheet.request import SheetRequest

    if "no-tab" in words:
        part = replace(part, tablature=False)
    page = make_page_setup(
        **_said(paper=words.text("paper")), large="large" in words, signs="signs" in words
    )
    if phrase and phrase.solo and phrase.guide:
        raise PracticeError("A sheet has one line.", "Print guide tones on a sheet of their own.")
    line = phrase.line if phrase else Line(fingerboard=board)
    given = _said(
        position=_position(words, line.position),
        guide=phrase and phrase.guide,
        bars=words.text("bars"),
        seed=words.number("seed"),
    )
    return SheetRequest(
        chart="no-chart" not in words,
        shapes="shapes" in words,
        pairs=PAIRS in _shapes_words(words),
        line=_line_of(phrase) if phrase else None,
        etude=line,
        part=part,
        page=page,
        board=board,
        **given,
    )


def _line_of(phrase: Phrase) -> str:
    """Which of request.LINES a phrase says."""
    if phrase.bass:
        return "bass"
    return "etude" if phrase.solo else "guide"


def _said(**values: Any) -> dict[str, Any]:
    """Of these values the ones that are given: what is left out stays as it is."""
    return {name: value for name, value in values.items() if value is not None}


def _shapes_words(words: Words) -> list[str]:
    """What is said of shapes: a position, and whether they stand in pairs."""
    return (words.text("shapes") or "").lower().replace(",", " ").split()


def _position(words: Words, line: tuple[int, ...]) -> str | None:
    """The position of the shapes and the line, which is the same; None where neither has one."""
    said = words.text("shapes")
    shapes = " ".join(word for word in _shapes_words(words) if word not in (PAIRS, "position"))
    if len(line) > 1:
        raise PracticeError("The line of a sheet lies in one position.", "Name one, or auto.")
    if line and shapes not in ("", str(line[0])):
        raise PracticeError(
            f"The line lies in position {line[0]}, the shapes in {shapes}.",
            "Name one position for both.",
        )
    if line:
        return str(line[0])
    return shapes or ("auto" if said is not None else None)
