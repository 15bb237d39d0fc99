"""Cover art for tracks: our mark, drawn from the tune's own two guide-tone lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from backing.chart.form import Form
from backing.combo.ribbon import Ribbon, opening_ribbon
from backing.sheet.typesetting import typeset

PIXELS = 600
"""The width and the height of a cover; enough for the lock screen of a phone."""
POINTS = 300


def cover(form: Form, title: str, facts: Sequence[str]) -> bytes:
    """A square PNG with the two lines of the tune's opening, a title and lines of small print.

    ``facts``: lines such as key and tempo, and the drill; the first is bold. Equal arguments make
    equal bytes.
    """
    content = {
        "title": title,
        "facts": [fact for fact in facts if fact],
        "lines": _drawn(opening_ribbon(form)),
    }
    (png,) = typeset("cover.typ", content, {}, "png", ppi=72 * PIXELS / POINTS)
    return png


def _drawn(ribbon: Ribbon) -> list[list[dict[str, Any]]]:
    """Both lines in parts of the square they are drawn in: from left, and from its top."""
    high, low = ribbon.pitches[:1] + ribbon.pitches[-1:] or (0, 0)
    length = max((line[-1].end for line in ribbon.lines if line), default=1)
    return [
        [
            {
                "from": float(tone.start / length),
                "to": float(tone.end / length),
                "y": (high - tone.pitch) / max(high - low, 1),
            }
            for tone in line
        ]
        for line in ribbon.lines
    ]
