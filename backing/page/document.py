"""The page as one file of HTML: nothing is loaded, nothing from a tune can become code.

A strict Content-Security-Policy lets only the page's own script and style run, by their hashes
(CSP level 3), and of blobs, which only that script can make, a worker: the one that hears a take.
Data stands in elements that are not executed, with every "<" written as an escape (HTML living
standard, 4.12.1.3: restrictions for contents of script elements).
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterator, Sequence
from html import escape
from typing import Any

from backing.page.beginning import Beginning, as_dialog, as_text
from backing.page.bundle import markup, script, style

ICON = (
    "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 32 32' fill='none' "
    "stroke-width='4.5'%3E%3Cpath stroke='%23b23a1e' d='M1 8H11C16 8 15 14 20 14H31'/%3E"
    "%3Cpath stroke='%231f5f8b' stroke-dasharray='8 4' d='M1 19H11C16 19 15 26 20 26H31'/%3E"
    "%3C/svg%3E"
)
"""The two guide-tone lines, from the 3rd and from the 7th."""
NO_SCRIPT = (
    "This page plays only where its script may run. A phone that shows files without scripts can "
    "open it in a browser, or from a computer on the same network: backing play TUNE --share."
)

MIT = """Permission is hereby granted, free of charge, to any person obtaining a copy of this
software and associated documentation files (the "Software"), to deal in the Software without
restriction, including without limitation the rights to use, copy, modify, merge, publish,
distribute, sublicense, and/or sell copies of the Software, and to permit persons to whom the
Software is furnished to do so, subject to the following conditions: The above copyright notice
and this permission notice shall be included in all copies or substantial portions of the
Software. THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR IMPLIED,
INCLUDING BUT NOT LIMITED TO THE WARRANTIES OF MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE
AND NONINFRINGEMENT. IN NO EVENT SHALL THE AUTHORS OR COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM,
DAMAGES OR OTHER LIABILITY, WHETHER IN AN ACTION OF CONTRACT, TORT OR OTHERWISE, ARISING FROM, OUT
OF OR IN CONNECTION WITH THE SOFTWARE OR THE USE OR OTHER DEALINGS IN THE SOFTWARE."""
"""The licence of the network, and of the sounds where it asks to be passed on with them."""
NETWORK = "The network that hears pitches: swift-f0, Copyright (c) 2025-2026 Lars Nieradzik."


def document(
    tunes: Sequence[tuple[str, dict[str, Any]]],
    audio: bytes,
    room: bytes,
    title: str = "",
    first: Beginning | None = None,
) -> bytes:
    """The page that plays ``tunes``, named data, with a strip of sounds and a room (FLAC), UTF-8.

    ``title``: of the page, that of the first tune if it is empty; ``first``: with which that
    of a lesson begins.
    """
    plain = as_text(first) if first else ""
    code, look = script(), style()
    data = tunes[0][1]
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src {_hash(code)}",
            "worker-src blob:",
            f"style-src {_hash(look)}",
            "img-src data:",
            "font-src data:",
            "base-uri 'none'",
            "form-action 'none'",
            *(("connect-src 'self'",) if data["watched"] else ()),
        )
    )
    charts = "".join(dict.fromkeys(_plain_chart(tune) for _, tune in tunes))
    pieces = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n',
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n',
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n',
        '<meta name="color-scheme" content="light dark">\n',
        f'<title>{escape(title or data["title"])}</title>\n<link rel="icon" href="{ICON}">\n',
        f"<style>{look}</style>\n</head>\n<body>\n",
        markup(),
        as_dialog(first) if first else "",
        f"<noscript><p class='notice'>{NO_SCRIPT}</p>{plain}{charts}</noscript>\n",
        *_tunes(tunes),
        _sounds_notice(data["sound"]),
        f'<script type="text/plain" id="strip">{_base64(audio)}</script>\n',
        f'<script type="text/plain" id="room">{_base64(room)}</script>\n',
        f"<!-- {NETWORK}\n{MIT} -->\n",
        f'<script type="text/plain" id="ear">{script("take_ear.js")}</script>\n',
        f"<script>{code}</script>\n</body>\n</html>\n",
    )
    return "".join(pieces).encode("utf-8")


def waiting_page(title: str, problems: str) -> bytes:
    """The page of a tune that can't be played yet: it looks again every second."""
    look = style()
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        f'style-src {_hash(look)}; font-src data:; img-src data:">\n'
        '<meta http-equiv="refresh" content="1">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<title>{escape(title)}</title>\n<link rel="icon" href="{ICON}">\n'
        f"<style>{look}</style></head>\n<body><main><h1>{escape(title)}</h1>\n"
        f'<pre class="notice">{escape(problems)}</pre>\n'
        "<p>The page opens here as soon as the file is right and saved.</p></main></body></html>\n"
    ).encode()


def _sounds_notice(sound: dict[str, Any]) -> str:
    """Whose sounds follow, and under which licence, as a comment."""
    told = f"Sounds of {sound['font']} ({sound['licence']}). {sound['notice']}"
    told = f"{told}\n{MIT}" if sound["licence"] == "MIT" else told
    return f"<!-- {told.replace('--', '- -').replace('>', '')} -->\n"


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def _tunes(tunes: Sequence[tuple[str, dict[str, Any]]]) -> Iterator[str]:
    """The data of each tune, which is not read before it is chosen; the first is "data".

    Where the band plays what it does in an earlier one, only what differs from that, whose place
    ``data-of`` says.
    """
    for at, (name, data) in enumerate(tunes):
        of = next(n for n, (_, other) in enumerate(tunes) if other["parts"] == data["parts"])
        first = tunes[of][1] if of < at else {}
        own = {key: value for key, value in data.items() if key not in first or first[key] != value}
        place = f'id="data{at + 1 if at else ""}" class="tune" data-name="{escape(name)}"'
        place += f' data-of="{of}"' if first else ""
        yield f'<script type="application/json" {place}>{_json(own)}</script>\n'


def _json(data: dict[str, Any]) -> str:
    """JSON that cannot end its element or begin a comment, whatever the texts in it say."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _plain_chart(data: dict[str, Any]) -> str:
    """The changes as text, for where no script runs."""
    home = next(key for key in data["keys"] if key["semitones"] == 0)
    rows = []
    for at in range(0, len(data["bars"]), 4):
        cells = (
            " ".join(_text(home, chord) for _, chord, _ in bar["changes"])
            for bar in data["bars"][at : at + 4]
        )
        rows.append("| " + " | ".join(cells) + " |")
    return f"<pre>{escape(chr(10).join(rows))}</pre>"


def _text(key: dict[str, Any], chord: int) -> str:
    if chord < 0:
        return "N.C."
    root, suffix, bass = key["symbols"][chord]
    return f"{root}{suffix}/{bass}" if bass else f"{root}{suffix}"
