"""The practice page: one HTML file that plays a tune's band live and shows the neck.

::

    Form ─score→ takes of the chorus, bar by bar ─┐
         ─strip→ the sounds they need ────────────┼─data, document→ one HTML file
    web/*.js ─bundle→ one script ─────────────────┘
"""

from __future__ import annotations

from dataclasses import dataclass, field

from backing.chart.form import Form
from backing.combo.band import Band
from backing.mixdown.soundfont import SoundFont
from backing.page.data import Opening, page_data
from backing.page.document import document
from backing.page.level import gain_db
from backing.page.score import make_score
from backing.page.strip import Strip, Wanted, make_strip, wanted

__all__ = ["Opening", "PageMaker"]


@dataclass
class PageMaker:
    """Makes the pages of a SoundFont and a band; sounds that did not change are kept.

    ``opening``: the line and the neck they open with.
    """

    font: SoundFont
    band: Band = field(default_factory=Band)
    opening: Opening = field(default_factory=Opening)
    _strips: tuple[tuple[Wanted, ...], Strip] | None = None

    def page(self, form: Form, *, recipe: str = "", watched: bool = False) -> bytes:
        """The page of a tune as UTF-8 HTML.

        ``recipe``: the command that makes it again, which stands on it. ``watched``: it asks its
        server whether it has been changed. Raises FeelError, PracticeError, SoundFontError and
        MissingProgram.
        """
        score = make_score(form, self.band, self.opening.line)
        needs = wanted(score)
        if self._strips is None or self._strips[0] != needs:
            self._strips = needs, make_strip(needs, self.font)
        strip = self._strips[1]
        recipe = recipe or f'backing page "{form.title}"'
        data = page_data(score, strip, gain_db(score, strip), recipe, self.opening)
        data |= {"watched": watched}
        return document(data, strip.audio, strip.room)
