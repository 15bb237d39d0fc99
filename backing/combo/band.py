"""The band: who plays, and how. Without the players, who take as long to load as they play."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import KW_ONLY, InitVar, dataclass
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING, Any

from backing.chart.bar import OCCASIONS, PLAYERS, RHYTHM_SECTION
from backing.chart.choice import Given, one_of
from backing.chart.text.source import suggestion
from backing.combo.click import BEATS
from backing.combo.instruments import COMPING
from backing.errors import RoutineError, SelectionError, quoted

if TYPE_CHECKING:
    from backing.combo.player import Soloist

GUIDE_LINES = ("3rd", "7th", "both")
"""The guide-tone lines: from the third, from the seventh of the first chord, both."""
EVENEST, LONGEST = 1, 4
"""Swing ratios that can be asked for, long to short."""
_RETIRED = {
    **dict.fromkeys(("piano", "comping", "guitar", "vibes", "organ"), "comp"),
    "melody": "line",
}


def _named(players: str | Iterable[str]) -> frozenset[str]:
    words = players.replace(",", " ").split() if isinstance(players, str) else players
    return frozenset(_name(str(word).lower()) for word in words)


def _name(word: str) -> str:
    if word in PLAYERS:
        return word
    cure = f"{suggestion(word, PLAYERS)}Choose from {', '.join(PLAYERS)}."
    if word in _RETIRED:
        cure = f"Write {_RETIRED[word]}."
    raise SelectionError(f"Nobody in the band is called {quoted(word)}.", cure)


def _ratio(value: str | float | Fraction) -> Fraction:
    """A swing ratio, long to short."""
    text = str(value).strip()
    try:
        # an exponent may stand for more figures than a machine holds
        ratio = Fraction(0) if "e" in text.lower() else Fraction(text)
    except (ValueError, ZeroDivisionError):
        ratio = Fraction(0)
    if not EVENEST <= ratio <= LONGEST:
        raise RoutineError(
            f"{quoted(text)} isn't a swing ratio.",
            f"Write long to short, from {EVENEST} (even) to {LONGEST}, such as 2 or 1.6.",
        )
    return ratio.limit_denominator(100)


def _word(known: Iterable[str], what: str) -> Callable[[Any], str]:
    return partial(one_of, known=known, what=what, error=SelectionError)


def _seed(said: object) -> int:
    if isinstance(said, bool) or not re.fullmatch(r"-?[0-9]{1,18}", str(said).strip()):
        raise SelectionError(f"{quoted(said)} isn't a seed.", "Write a whole number such as 7.")
    return int(str(said).strip())


def _soloist(said: Any) -> Soloist:
    if not hasattr(said, "player"):
        raise SelectionError(
            f"{quoted(said)} isn't a line that can be played.",
            'Give a Line, such as read_line("etude level 2").',
        )
    line: Soloist = said
    return line


@dataclass(frozen=True)
class Band:
    """Who plays, and how.

    Every value may be given in the words of the command line, or in the type it is kept in.

    Args:
        players: names from PLAYERS, "bass, drums" or a set; the rhythm section if not given.
        seed: another number, other notes; equal numbers, equal music.
        without: who of them is left out.
        feel: a feel for all of the tune, by name or as the path of a file.
        swing: the long : short ratio of swung eighths, "1.6" or 1.6; None for the feel's own.
        comp: the comping instrument, a name from COMPING.
        guide_line: one of GUIDE_LINES. Brings the guide along, as the guide brings "3rd".
        click: on which beats it falls, a name from click.BEATS. Brings the click along.
        line: a solo line, such as lines.line.Line. Brings its player along.
        occasion: one of OCCASIONS; None for what the tune says, or else rehearsal.

    Raises:
        SelectionError: a player or a way of playing that there is not, or nobody to play.
        RoutineError: a swing ratio that is none.
    """

    players: Given[frozenset[str]] = Given(_named, RHYTHM_SECTION)
    seed: Given[int] = Given(_seed, 1)
    _: KW_ONLY
    without: InitVar[str | Iterable[str]] = ()
    feel: Given[str | None] = Given(str)
    swing: Given[Fraction | None] = Given(_ratio)
    comp: Given[str] = Given(_word(COMPING, "comping instrument"), "piano")
    guide_line: Given[str | None] = Given(_word(GUIDE_LINES, "guide-tone line"))
    click: Given[str | None] = Given(_word(BEATS, "click"))
    line: Given[Soloist | None] = Given(_soloist)
    occasion: Given[str | None] = Given(_word(OCCASIONS, "occasion"))

    def __post_init__(self, without: str | Iterable[str]) -> None:
        ways = {"guide": self.guide_line, "click": self.click, "line": self.line}
        asked = frozenset(name for name, how in ways.items() if how is not None)
        playing = _playing(self.players, without, asked)
        if "line" in playing - asked:
            raise SelectionError("Nobody has a line to play.", "Give a line, or name others.")
        object.__setattr__(self, "players", playing)
        if "guide" in playing - asked:
            object.__setattr__(self, "guide_line", GUIDE_LINES[0])
        if "click" in playing - asked:
            object.__setattr__(self, "click", "all")


def _playing(
    players: str | Iterable[str], without: str | Iterable[str], asked: frozenset[str]
) -> frozenset[str]:
    """Who plays; raises SelectionError for who is asked for and left out, or does not play."""
    named, left_out = _named(players), _named(without)
    if isinstance(without, str) and not left_out:
        raise SelectionError("Nobody is named to be left out.", "Name a player, such as bass.")
    for name in sorted(left_out):
        if name in asked:
            raise SelectionError(
                f"The {name} is asked for and left out at once.", "Leave out one or the other."
            )
        if name not in named:
            raise SelectionError(
                f"The {name} does not play, and cannot be left out.", "Name somebody who plays."
            )
    playing = (named - left_out) | asked
    if not playing:
        raise SelectionError("Nobody is left to play.", "Leave out fewer, or add a click.")
    return playing
