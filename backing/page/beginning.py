"""The start of a lesson's page: its first page, in the words of the one on paper.

It is a dialog, so that nothing behind it is in the way; where no script runs it stands in the page.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from html import escape
from typing import Any


@dataclass(frozen=True, slots=True)
class Beginning:
    """The ``content`` of first_page.typ, and the numbers of the tasks that are on the page, in its
    order."""

    content: Mapping[str, Any]
    tasks: tuple[str, ...]


def as_dialog(first: Beginning) -> str:
    """The dialog, whose tasks open where they are on the page."""
    pieces = {number: at for at, number in enumerate(first.tasks, 1)}
    return (
        '<dialog class="beginning" id="beginning" aria-labelledby="beginning-title">\n'
        f'<div class="read">{"".join(_told(first.content, pieces))}</div>\n'
        '<p class="away"><button type="button" class="play" id="begin">Begin</button></p>\n'
        "</dialog>\n"
    )


def as_text(first: Beginning) -> str:
    """The same where no script runs."""
    return f'<div class="read">{"".join(_told(first.content, {}))}</div>\n'


def _told(content: Mapping[str, Any], pieces: Mapping[str, int]) -> Iterator[str]:
    name = ' id="beginning-title"' if pieces else ""
    yield f"<h2{name}>{escape(content['title'])}</h2>"
    whose = [f"<strong>{escape(content['name'])}</strong>"] * bool(content["name"])
    whose += [escape(content["dates"])] * bool(content["dates"])
    yield from _paragraphs([" · ".join(whose)] if whose else [], "whose")
    yield from _paragraphs(map(escape, filter(None, [content["say"]])), "say")
    yield from _paragraphs(map(escape, content["how"]))
    yield '<ol class="tasks">'
    for entry in content["entries"]:
        yield f"<li>{_entry(entry, pieces.get(entry['number']))}</li>"
    yield "</ol>"
    yield from _paragraphs(map(escape, content["others"]))
    yield "<hr>"
    yield from _paragraphs(map(escape, content["cautions"]))
    yield from _paragraphs([escape(content["made"])], "small")


def _entry(entry: Mapping[str, Any], piece: int | None) -> str:
    what = f"<strong>{escape(entry['what'])}</strong>"
    if piece:
        what = f'<a href="#piece={piece}">{what}</a>'
    told = [f'<span class="facts">{escape(entry["facts"])}</span>'] * bool(entry["facts"])
    told += [f"<span>{escape(entry['say'])}</span>"] * bool(entry["say"])
    told += [f'<span class="small">{escape(track)}</span>' for track in entry["tracks"]]
    return f'<b class="task">{escape(entry["number"])}</b><div>{"".join((what, *told))}</div>'


def _paragraphs(texts: Iterable[str], kind: str = "") -> Iterator[str]:
    return (f'<p class="{kind}">{text}</p>' if kind else f"<p>{text}</p>" for text in texts)
