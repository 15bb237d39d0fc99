"""Pages from data: Typst, its templates and the fonts that come along.

No font of the machine is used, so that a sheet looks the same everywhere: Lato (OFL, from the
package font-lato), our own font of chord signs, and those inside Typst for other scripts.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Any

import typst

from backing.errors import InternalError

_compile: Any = typst.compile
"""Its types tell neither of files by name nor of several pages."""


def typeset(
    template: str,
    content: Mapping[str, Any],
    images: Mapping[str, str],
    form: str,
    *,
    ppi: float = 144,
) -> list[bytes]:
    """Pages of ``content`` set by a template, as one PDF or one SVG or PNG for each page.

    ``template``: "page.typ" or "cover.typ". ``images``: SVG texts by their names in the content.
    Raises InternalError where Typst refuses what we give it.
    """
    inputs = {name: text.encode() for name, text in images.items()}
    inputs["data.json"] = json.dumps(content, ensure_ascii=False).encode()
    inputs["main.typ"] = (files("backing.sheet") / template).read_bytes()
    inputs["lines.typ"] = (files("backing.sheet") / "lines.typ").read_bytes()
    try:
        made = _compile(inputs, format=form, ppi=ppi, font_paths=_fonts())
    except typst.TypstError as error:
        raise InternalError(f"Typst refused a sheet: {error}") from error
    return list(made) if isinstance(made, list) else [made]


@lru_cache(maxsize=1)
def _fonts() -> typst.Fonts:
    """The fonts, read once for all sheets of a run."""
    own = files("backing.sheet") / "fonts"
    folders = [str(own), str(files("font_lato") / "files")]
    return typst.Fonts(include_system_fonts=False, font_paths=folders)
