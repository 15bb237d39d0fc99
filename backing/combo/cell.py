"""Rhythmic cells: a few strokes in a bar or two, typed as a player would say them.

A stroke is a beat and its marks::

    1        on beat 1                 1-       held until the next stroke (or the cell's end)
    2&       on the and of 2           2&.      short
    3e 3a    a sixteenth after 3,      4>       accented
             a sixteenth before 4      4^       short and accented
    1.2 1.3  second, third triplet     (2&)     ghosted
             of beat 1                 2&:60%   played 60 times in a hundred
                                       1&:110-220bpm   played at these tempos only

The and swings with the feel; triplets and sixteenths are played as written. Beats count on
through a cell of several bars: in 4/4 beat 5 is the first of the second bar.
"""

from __future__ import annotations

import random
import re
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

STROKE = re.compile(
    r"(?P<ghost>\()?(?P<beat>\d{1,3})(?P<sub>&|e|a|\.2|\.3)?(?P<marks>[-.>^]*)\)?"
    r"(?::(?P<chance>\d{1,3})%)?(?::(?P<low>\d{1,4})-(?P<high>\d{1,4})bpm)?$",
    re.ASCII,
)
OLD_STROKE = re.compile(r"([^'?@]*)('?)([^'?@]*)(?:\?(\d+))?(?:@(\d+-\d+))?$")
PLACES = {
    None: Fraction(0),
    "e": Fraction(1, 4),
    ".2": Fraction(1, 3),
    "&": Fraction(1, 2),
    ".3": Fraction(2, 3),
    "a": Fraction(3, 4),
}
SLOWEST, FASTEST = 40, 400
"""Bounds of tempo (bpm) from here on bound nothing."""
SHORT, MEDIUM = Fraction(1, 4), Fraction(1, 2)
"""Lengths in beats of a short stroke and of one without a mark."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke of a cell; ``onset`` and ``length`` in beats from the cell's start.

    ``accent``: 1 accented, 0 plain, -1 ghosted. ``chance`` from 0 to 1. ``tempos``: see Note.
    """

    onset: Fraction
    length: Fraction
    accent: int = 0
    chance: float = 1.0
    swung: bool = True
    tempos: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Cell:
    """Strokes over ``beats`` beats, how often it is chosen (``weight``), and when.

    ``tempos`` (bpm) and ``energy`` (0 to 1) bound where the cell belongs, ends included.
    """

    text: str
    beats: int
    strokes: tuple[Stroke, ...]
    weight: float = 1.0
    tempos: tuple[float, float] = (0, 999)
    energy: tuple[float, float] = (0, 1)

    def suits(self, tempo: float, energy: float) -> float:
        """How often the cell is wanted at ``tempo`` (bpm) and ``energy`` (0 to 1): 0 is never."""
        return self.weight * presence(tempo, self.tempos) * in_bounds(energy, self.energy)


def in_bounds(value: float, bounds: tuple[float, float]) -> bool:
    """Whether a value lies in its bounds, ends included."""
    return bounds[0] <= value <= bounds[1]


SLOPE = 0.15
"""A bound of tempo is no cliff: from so far (as a share) on one side of it to so far on the other
what it bounds is played less and less often, at the bound itself half the time."""


@lru_cache(maxsize=4096)
def presence(tempo: float, bounds: tuple[float, float]) -> float:
    """How often something is played at ``tempo`` (bpm) for its bounds, from 0 to 1."""
    low, high = bounds
    above = (tempo / low - 1) / (2 * SLOPE) + 0.5 if low > SLOWEST else 1.0
    below = (1 - tempo / high) / (2 * SLOPE) + 0.5 if high < FASTEST else 1.0
    return max(0.0, min(1.0, above, below))


def drawn_bounds(bounds: tuple[int, int], dice: random.Random) -> tuple[int, int]:
    """The bounds of one stroke, somewhere on the slopes: a climb loses them one by one."""
    low, high = bounds
    way = 1 + SLOPE * (2 * dice.random() - 1)
    return round(low * way) if low > SLOWEST else low, round(high * way) if high < FASTEST else high


class StrokeError(ValueError):
    """A ``word`` of a cell that isn't a stroke, what is wrong with it, and what to write."""

    def __init__(self, word: str, cause: str, cure: str) -> None:
        super().__init__(f'"{word}" {cause} {cure}')
        self.word, self.cause, self.cure = word, cause, cure


def read_strokes(text: str, beats: int) -> tuple[Stroke, ...]:
    """Read the strokes of a cell of ``beats`` beats; an empty text is a cell of silence.

    Raises StrokeError.
    """
    found = [_read_stroke(word, beats) for word in text.split()]
    if not found:
        return ()
    for (before, _), (stroke, _), word in zip(found, found[1:], text.split()[1:], strict=False):
        if stroke.onset <= before.onset:
            raise StrokeError(word, "is out of order.", "Write the strokes in order of time.")
    ends = [stroke.onset for stroke, _ in found[1:]] + [Fraction(beats)]
    return tuple(
        replace(stroke, length=end - stroke.onset) if "-" in marks else stroke
        for (stroke, marks), end in zip(found, ends, strict=True)
    )


def _read_stroke(word: str, beats: int) -> tuple[Stroke, str]:
    match = STROKE.match(word)
    if not match or (match["ghost"] is None) == (")" in word):
        raise _no_stroke(word)
    onset = int(match["beat"]) - 1 + PLACES[match["sub"]]
    if not 0 <= onset < beats:
        cause = f"is outside the {beats} beats of its cell."
        raise StrokeError(word, cause, f"Write beats from 1 to {beats}.")
    marks = match["marks"]
    stroke = Stroke(
        onset=Fraction(onset),
        length=SHORT if "." in marks or "^" in marks else MEDIUM,
        accent=-1 if match["ghost"] else int(">" in marks or "^" in marks),
        chance=int(match["chance"] or 100) / 100,
        swung=match["sub"] in (None, "&"),
        tempos=(int(match["low"]), int(match["high"])) if match["low"] else None,
    )
    return stroke, marks


def _no_stroke(word: str) -> StrokeError:
    """The error for a word that is no stroke, or is written in an older way."""
    old = OLD_STROKE.match(word)
    if old and any(old.group(2, 4, 5)):
        start, short, end, chance, tempos = old.groups("")
        new = start + ("." if short else "") + end
        new += (f":{chance}%" if chance else "") + (f":{tempos}bpm" if tempos else "")
        if STROKE.match(new):
            return StrokeError(word, "is an older way to write a stroke.", f"Write {new}.")
    cure = "Write a beat such as 1, 2&, 3.2 or 4a, with - . > ^ after it or ( ) around it."
    return StrokeError(word, "isn't a stroke.", cure)
