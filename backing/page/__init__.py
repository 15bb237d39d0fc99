"""The practice page: one HTML file that plays tunes' bands live and shows the neck.

::

    Form ─score→ takes of the chorus, bar by bar ─┐
         ─strip→ the sounds they need ────────────┼─data, document→ one HTML file
    web/*.js ─bundle→ one script ─────────────────┘

A page has one tune or several (``Piece``), which share the strip of sounds.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field

from backing.chart.form import Form
from backing.combo.band import Band
from backing.mixdown.soundfont import SoundFont
from backing.page.beginning import Beginning
from backing.page.data import Opening, page_data, tune_data
from backing.page.document import document
from backing.page.level import gain_db
from backing.page.score import Score, make_score
from backing.page.strip import Strip, Wanted, make_strip, merged, wanted

__all__ = ["Beginning", "Opening", "PageMaker", "Piece"]


@dataclass(frozen=True, slots=True)
class Piece:
    """A tune of a page: who plays it, how it opens, and what makes it again.

    ``name`` is what the list of several says, the title of the tune if it is empty; ``recipe`` the
    command that makes its page, which stands on it.
    """

    form: Form
    band: Band = Band()  # noqa: RUF009 - a frozen value
    opening: Opening = Opening()  # noqa: RUF009 - a frozen value
    name: str = ""
    recipe: str = ""

    @property
    def ending(self) -> str:
        """The ending that its session asks for, "" where it asks for none."""
        return self.opening.session.get("ending", "")

    @property
    def tune(self) -> Hashable:
        """What is equal in tasks of one tune, which differ in what they practice alone."""
        opening = self.opening
        return self.form, self.form.folder, self.band, self.ending, opening.line, opening.part


@dataclass
class PageMaker:
    """Makes the pages of a SoundFont; sounds that did not change are kept.

    ``band`` and ``opening``: of the pages of one tune.
    """

    font: SoundFont
    band: Band = field(default_factory=Band)
    opening: Opening = field(default_factory=Opening)
    _strips: tuple[tuple[Wanted, ...], Strip] | None = None

    def page(self, form: Form, *, recipe: str = "", watched: bool = False) -> bytes:
        """The page of a tune as UTF-8 HTML: see ``pages``."""
        return self.pages([Piece(form, self.band, self.opening, recipe=recipe)], watched=watched)

    def pages(
        self,
        pieces: Sequence[Piece],
        *,
        title: str = "",
        watched: bool = False,
        first: Beginning | None = None,
    ) -> bytes:
        """One page of all ``pieces``, at least one, in their order, as UTF-8 HTML.

        ``title``: of the page, that of its first piece if it is empty. ``watched``: it asks its
        server whether it has been changed. ``first``: with which that of a lesson begins. Raises
        FeelError, PracticeError, RoutineError, SelectionError, SoundFontError and MissingProgram.
        """
        firsts = {piece.tune: piece for piece in reversed(pieces)}
        scores = {tune: _score(piece) for tune, piece in firsts.items()}
        needs = {tune: wanted(score) for tune, score in scores.items()}
        strip = self._strip(merged([needs[piece.tune] for piece in pieces]))
        known = {}
        for tune, piece in firsts.items():
            score, own = scores[tune], strip.of(needs[tune])
            gain = gain_db(score, own)
            known[tune] = tune_data(score, own, gain, band=piece.band, opening=piece.opening)
        tunes = []
        for piece in pieces:
            recipe = piece.recipe or f'backing page "{piece.form.title}"'
            data = page_data(known[piece.tune], piece.form, piece.opening, recipe)
            tunes.append((piece.name or piece.form.title, data | {"watched": watched}))
        return document(tunes, strip.audio, strip.room, title, first)

    def _strip(self, needs: tuple[Wanted, ...]) -> Strip:
        if self._strips is None or self._strips[0] != needs:
            self._strips = needs, make_strip(needs, self.font)
        return self._strips[1]


def _score(piece: Piece) -> Score:
    return make_score(piece.form, piece.band, piece.opening.line, piece.ending)
