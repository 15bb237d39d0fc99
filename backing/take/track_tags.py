"""What a track says of how it was made: the command in its tags."""

from __future__ import annotations

import re
import shlex
from contextlib import suppress
from pathlib import Path

from backing.reading import guarded

RECIPE = re.compile(r": (backing track .*)", re.DOTALL)


def recipe_of(path: Path) -> tuple[str, ...]:
    """The words after ``backing`` that make the track again, empty where its tags have none.

    The comment of ID3, Vorbis or MP4 tags, as mixdown/tags.py writes it. Raises UserError.
    """
    with guarded(f"The tags of {path} can't be read", "Name the tune file in its place."):
        return _recipe(path)


def _recipe(path: Path) -> tuple[str, ...]:
    import mutagen  # noqa: PLC0415 - loaded where it is needed

    try:
        file = mutagen.File(path)
    except (mutagen.MutagenError, OSError, MemoryError):  # of a length that is not there
        return ()
    for comment in _comments(getattr(file, "tags", None)):
        found = RECIPE.search(comment)
        if found:
            with suppress(ValueError):  # of a quote that stays open
                return tuple(shlex.split(found[1], comments=True)[1:])
    return ()


def _comments(tags: object) -> list[str]:
    found: list[str] = []
    items = dict(tags).items() if tags is not None else ()  # type: ignore[call-overload]
    for key, value in items:
        if str(key).upper().startswith("COMM") or str(key) == "\xa9cmt":
            texts = getattr(value, "text", value)
            found += [str(text) for text in (texts if isinstance(texts, list) else [texts])]
    return found
