"""What a student gets beside tracks, each made by itself as a track is, in any process."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from backing.chart.form import Form
from backing.chart.pitch import PitchName
from backing.chart.text.writer import write
from backing.cli.assignment import Print
from backing.cli.job import Made, enough_memory
from backing.cli.page import page_form, page_maker
from backing.cli.parser import Words
from backing.combo.feel_file import load_feel, use_feel_texts
from backing.saving import refuse_inputs, write_file

if TYPE_CHECKING:
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

    @property
    def midi(self) -> bool:
        """Whether it is made faster than a process starts."""
        return False

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
        forms = [each.form for each in self.prints if each.form]
        named = {place for form in forms for place in form.feel_places()}
        return {p: text for name in sorted(named) for p, text in load_feel(name).files.items()}

    def inputs(self) -> Iterable[str]:
        for each in self.prints:
            yield write(each.form) if each.form else ""
            yield repr(each.request)

    def data(self) -> bytes:
        from backing.sheet.sheets import book_pages

        (pdf,) = book_pages([*map(_sheet, self.prints)], "pdf", recipe=self.recipe)
        return pdf


def _sheet(each: Print) -> Sheet:
    from backing.sheet.sheets import arpeggio_sheet, tune_sheet

    if each.form is None:
        return arpeggio_sheet(PitchName.parse(each.words.said["arpeggios"]), each.request)
    return tune_sheet(each.form, each.request)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page(Handout):
    """The practice page of a tune, as the ``words`` of backing page say."""

    words: Words

    def feel_files(self) -> dict[str, str]:
        form, feel = self._form(), self.words.text("feel")
        named = {*form.feel_places(), *([feel] if feel else [])}
        return {p: text for name in sorted(named) for p, text in load_feel(name).files.items()}

    def inputs(self) -> Iterable[str]:
        from backing.mixdown.soundfont import choose

        yield write(self._form())
        font = choose(self.words.path("soundfont"))
        state = font.path.stat()
        yield repr((str(font.path.resolve()), state.st_size, state.st_mtime_ns))
        yield repr(sorted(self.feel_files().items()))

    def data(self) -> bytes:
        return page_maker(self.words).page(self._form(), recipe=self.recipe)

    def _form(self) -> Form:
        return page_form(self.words, Path(*self.words.names))
