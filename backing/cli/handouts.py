"""What a student gets beside tracks, each made by itself as a track is, in any process."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from backing.chart.bar import RHYTHM_SECTION
from backing.chart.form import Form
from backing.chart.pitch import PitchName
from backing.chart.text.writer import write
from backing.cli.assignment import Print
from backing.cli.job import Made
from backing.cli.parser import Words
from backing.cli.track import understood
from backing.combo.feel_file import load_feel, use_feel_texts
from backing.errors import UserError
from backing.lines.player import Line
from backing.memory import enough_memory
from backing.neck.phrase import read_neck
from backing.routine.request import CHORUSES
from backing.saving import refuse_inputs, write_file

if TYPE_CHECKING:
    from backing.mixdown.soundfont import SoundFont
    from backing.page import Beginning, PageMaker, Piece
    from backing.sheet.sheets import Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Handout:
    """A file that is made whole by ``data``, and kept in the cache under its ``inputs``.

    ``feels``: path and text of the feel files it needs. ``recipe``: the command that makes it.
    """

    target: Path
    recipe: str = ""
    cached: bool = True
    feels: tuple[tuple[str, str], ...] = ()

    def at(self, target: Path) -> Self:
        """The same in another place."""
        return replace(self, target=target)

    def shared(self, threads: int) -> Self:  # noqa: ARG002 - one works at it
        """The same, at which so many may work."""
        return self

    def packed(self) -> Self:
        """The same with its feel files, to be made where they may not be seen."""
        return replace(self, feels=tuple(self.feel_files().items()))

    def check_inputs(self, target: Path) -> None:
        """Raise OutputError where a file that it is made of would be replaced."""
        refuse_inputs(target, map(Path, self.feel_files()))

    def make(self) -> Made:
        """Make it, or take it from the cache. Raises UserError."""
        from backing.mixdown.cache import key_of, user_cache

        with enough_memory(), use_feel_texts(dict(self.feels)):
            cache = user_cache()
            key = key_of([type(self).__name__, self.recipe, *self.inputs()]) if self.cached else ""
            if key and cache.fetch(key, self.target):
                return Made((self.target,), f"{self.target}, made before: it comes from the cache")
            write_file(self.target, self.data())
            if key:
                cache.keep(key, (self.target,))
        return Made((self.target,), str(self.target))

    def feel_files(self) -> dict[str, str]:
        return {}

    def inputs(self) -> Iterable[str]:
        raise NotImplementedError

    def data(self) -> bytes:
        raise NotImplementedError


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstPage(Handout):
    """What to do, in what order: ``content`` for first_page.typ."""

    content: Mapping[str, Any]

    def inputs(self) -> Iterable[str]:
        yield repr(self.content)

    def data(self) -> bytes:
        from backing.sheet.typesetting import typeset

        (pdf,) = typeset("first_page.typ", self.content, {}, "pdf")
        return pdf


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheets(Handout):
    """All sheets of a student as one PDF."""

    prints: tuple[Print, ...]

    def feel_files(self) -> dict[str, str]:
        forms = [form for each in self.prints for form in each.forms]
        named = {place for form in forms for place in form.feel_places()}
        return {p: text for name in sorted(named) for p, text in load_feel(name).files.items()}

    def inputs(self) -> Iterable[str]:
        for each in self.prints:
            yield from map(write, each.forms)
            yield repr((each.request, each.words.names, sorted(each.words.said.items())))
        yield repr(sorted(self.feel_files().items()))

    def data(self) -> bytes:
        from backing.sheet.sheets import book_pages

        (pdf,) = book_pages([*map(_sheet, self.prints)], "pdf", recipe=self.recipe)
        return pdf


def _sheet(each: Print) -> Sheet:
    from backing.sheet.sheets import arpeggio_sheet, keys_sheet, tune_sheet

    if not each.forms:
        return arpeggio_sheet(PitchName.parse(each.words.said["arpeggios"]), each.request)
    return keys_sheet([tune_sheet(form, each.request) for form in each.forms])


@dataclass(frozen=True, slots=True)
class PageTask:
    """A task on the page: the ``words`` of its track, what the list says of it, and its number."""

    form: Form
    words: Words
    name: str
    number: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Page(Handout):
    """All tasks of a student as one practice page, which opens at the first.

    ``content``: of first_page.typ, with which it begins. ``neck`` and ``part`` of the student: in
    the words of the command line, "" for the usual ones.
    """

    title: str
    tasks: tuple[PageTask, ...]
    content: Mapping[str, Any] = field(default_factory=dict)
    soundfont: Path | None = None
    neck: str = ""
    part: str = ""

    def feel_files(self) -> dict[str, str]:
        named = {place for task in self.tasks for place in task.form.feel_places()}
        named |= {feel for task in self.tasks if (feel := task.words.text("feel"))}
        return {p: text for name in sorted(named) for p, text in load_feel(name).files.items()}

    def inputs(self) -> Iterable[str]:
        from backing.mixdown.soundfont import choose

        yield repr((self.title, self.neck, self.part, sorted(self.content.items())))
        for task in self.tasks:
            yield write(task.form)
            yield repr((task.name, task.number, task.words.names, sorted(task.words.said.items())))
        font = choose(self.soundfont)
        state = font.path.stat()
        yield repr((str(font.path.resolve()), state.st_size, state.st_mtime_ns))
        yield repr(sorted(self.feel_files().items()))

    def data(self) -> bytes:
        from backing.mixdown.soundfont import choose

        pieces = [self._piece(task) for task in self.tasks]
        maker = _maker(choose(self.soundfont))
        return maker.pages(pieces, title=self.title, first=self._beginning())

    def _beginning(self) -> Beginning | None:
        from backing.page import Beginning

        numbers = tuple(task.number for task in self.tasks)
        return Beginning(self.content, numbers) if self.content else None

    def _piece(self, task: PageTask) -> Piece:
        from backing.cli.page import page_part
        from backing.page import Opening, Piece
        from backing.page.session import WORDS

        words = task.words
        neck = words.text("neck") or self.neck
        if neck:
            words = replace(words, said={**words.said, "neck": neck})
        order, _ = understood(words)
        band = order.band
        session = {name: words.said[name] for name in WORDS if name in words}
        if not order.request.loops:
            session.setdefault("choruses", str(CHORUSES))  # as its track goes
        board: dict[str, Any] = {"fingerboard": read_neck(neck)} if neck else {}
        line: Any = band.line or Line(**board)
        opening = Opening(
            line,
            band.line is not None,
            band.guide_line,
            session=_possible(task.form, session),
            part=page_part(self.part),
            players=band.players,
            click=band.click,
        )
        # a page has all of them, whoever is heard
        usual: dict[str, Any] = {"guide_line": None, "click": None, "line": None}
        band = replace(band, players=RHYTHM_SECTION, **usual)
        return Piece(task.form, band, opening, task.name, self.recipe)


@lru_cache(maxsize=1)
def _maker(font: SoundFont) -> PageMaker:
    """What makes pages, which the next page of a lesson finds with its sounds rendered."""
    from backing.page import PageMaker

    return PageMaker(font)


def _possible(form: Form, session: Mapping[str, str]) -> Mapping[str, str]:
    """What a page can open with; of what a track loops and no page does, the tempo and the key."""
    from backing.page.session import checked_session

    try:
        checked_session(form, session)
    except UserError:
        return {name: session[name] for name in ("tempo", "key") if name in session}
    return session
