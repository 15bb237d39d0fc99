"""What a teacher asks of a line, and one note of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import KW_ONLY, dataclass, replace
from fractions import Fraction
from functools import partial
from typing import Any, Self

from backing.chart.bar import PlayedBar
from backing.chart.choice import Given, one_of, whole_number
from backing.chart.harmony import Chord
from backing.chart.pitch import Degree, PitchName
from backing.errors import PracticeError, quoted
from backing.glossary import ETUDE
from backing.neck.arpeggio import ROLES, WAYS
from backing.neck.fingerboard import Fingerboard, StringFret, hand, make_fingerboard
from backing.neck.path import best_position
from backing.routine.subdivisions import VALUES

START_WORDS = {1: "root", 3: "3rd", 5: "5th", 7: "7th"}

RHYTHMS = (*VALUES, "off-beats", "phrases", "call")
SUBDIVISIONS = "subdivisions"
"""What stands for a rhythm where a line goes from one of VALUES to the next, as the routine asks
for it."""
SLOW = ("wholes", "halves", "quarters")
"""Rhythms in which a tone that two chords share may stay."""
IDEAS = ("phrases", "call")
"""Rhythms in ideas with space between them: no idea leads on to the next."""
CALLS_ON = ("1", "1&", "2", "3", "turn")
"""Where calls start: on a beat, on the and of 1, or on each of these in turn."""
DIRECTIONS = ("both", "up", "down")
LEVELS = {
    1: "chord tones throughout",
    2: "and chromatic approaches on the last eighth before changes; ideas that are answered",
    3: "and around targets on 1 the scale step above on 4, the half step below on the and of 4",
    4: "and tones of the parent scale between and beside them; ideas that begin late",
}
GUITAR = make_fingerboard()
MOST_NUMBERED = 9999
"""The last number of an etude."""


def _word(known: Iterable[str], what: str) -> Callable[[Any], str]:
    return partial(one_of, known=known, what=what, error=PracticeError)


def _number(known: Iterable[int], what: str) -> Callable[[Any], int]:
    return lambda said: int(_word(map(str, known), what)(str(said)))


def _etude_number(said: str | int) -> int:
    return whole_number(said, "number of an etude", 1, MOST_NUMBERED, PracticeError)


def _board(tuning: str | Fingerboard) -> Fingerboard:
    return make_fingerboard(tuning) if isinstance(tuning, str) else tuning


def _positions(value: str | int | Iterable[int]) -> tuple[int, ...]:
    """Positions by the frets they begin at; none for "auto"."""
    if isinstance(value, str) and value.strip().lower() == "auto":
        return ()
    said = str(value).lower().replace(",", " ").split() if isinstance(value, str | int) else value
    words = list(map(str, said))
    empty = isinstance(value, str) and not words
    if empty or not all(re.fullmatch(r"[0-9]{1,3}", word) for word in words):
        raise PracticeError(
            f"{quoted(value)} isn't a position.", "Write its fret, such as 5, or auto."
        )
    return tuple(map(int, words))


@dataclass(frozen=True)
class LineRequest:
    """How a solo line through the changes is to go.

    Every value may be given in the words of the command line, or in the type it is kept in.

    Args:
        rhythm: unbroken wholes, halves, quarters, eighths or triplets; nothing but off-beats, each
            over the chord that comes; phrases of two bars that answer each other; a call of two
            bars and as much space for the player's answer; subdivisions, as the routine has them.
        level: see LEVELS. There are approaches and enclosures only where eighths or triplets lead
            into a change.
        position: of the hand, 5, or one for each chorus in turn, "5 7"; "auto" for the one that
            suits the tune best.
        start: the role of the first note, of a call or of a turn in trading, 1, 3, 5 or 7; None for
            the root where a line goes on unbroken (from level 2 on the third), any tone elsewhere.
        direction: runs go up, down or both ways.
        way: from the root, "1-7", or from the third to the ninth, "3-9".
        thirds: land on the third at every change.
        anticipate: arrive an eighth before each chord.
        top_strings: stay on so many strings.
        call_on: where calls start, one of CALLS_ON; "turn" if not given. An and is the last eighth
            of its beat in compound meters.
        number: which of its etudes, heard every time through; None for the first, and the next
            one each further time.
        fingerboard: the neck, or a tuning as make_fingerboard takes it.

    Raises:
        PracticeError: what cannot be had.
    """

    rhythm: Given[str] = Given(_word((*RHYTHMS, SUBDIVISIONS), "rhythm of a line"), "eighths")
    _: KW_ONLY
    level: Given[int] = Given(_number(LEVELS, "level of a line"), 1)
    position: Given[tuple[int, ...]] = Given(_positions, "auto")
    start: Given[int | None] = Given(_number(ROLES, "tone to begin on"))
    direction: Given[str] = Given(_word(DIRECTIONS, "direction of a line"), "both")
    way: Given[str] = Given(_word(WAYS, "way of a line"), "1-7")
    thirds: Given[bool] = Given(bool, False)
    anticipate: Given[bool] = Given(bool, False)
    top_strings: int | None = None
    call_on: Given[str] = Given(_word(CALLS_ON, "start of a call"), "turn")
    number: Given[int | None] = Given(_etude_number)
    fingerboard: Given[Fingerboard] = Given(_board, GUITAR)

    def __post_init__(self) -> None:
        if self.top_strings is not None:
            most = len(self.fingerboard.strings)
            high = whole_number(self.top_strings, "top strings", 2, most, PracticeError)
            object.__setattr__(self, "top_strings", high)
        if self.call_on != "turn" and self.rhythm != "call":
            raise PracticeError(
                f"There is no call to start on {self.call_on}: the line goes in {self.rhythm}.",
                "Ask for a call, or don't say where it starts.",
            )
        for each in self.position:
            hand(self.fingerboard, each)

    def placed(self, bars: Sequence[PlayedBar]) -> Self:
        """The line in its position or, where that is "auto", in the one that suits ``bars`` best.

        Raises PracticeError where no position has the chords.
        """
        if self.position:
            return self
        best = best_position(bars, self.fingerboard, way=self.way)
        return replace(self, position=(best.path.position,))

    def name(self, *, frets: bool = True) -> str:
        """What it is called, in the words that ask for it again: "etude 7, position 5, level 2".

        ``frets``: whether its position is said.
        """
        usual = LineRequest(fingerboard=self.fingerboard)
        said = {
            "position": " ".join(map(str, self.position)) if frets else "",
            "level": str(self.level),
            "top": f"{self.top_strings} strings" if self.top_strings else "",
            "on": self.call_on if self.call_on != usual.call_on else "",
            "from the": START_WORDS[self.start] if self.start else "",
        }
        words = [f"{word} {value}" for word, value in said.items() if value]
        plain = ("rhythm", "direction", "way")
        words += [getattr(self, n) for n in plain if getattr(self, n) != getattr(usual, n)]
        words += [name for name in ("thirds", "anticipate") if getattr(self, name)]
        return ", ".join([f"{ETUDE} {self.number or 1}", *words])


@dataclass(frozen=True, slots=True)
class LineNote:
    """A note of a line: when (beats of the pass, as written), what, and where on the neck.

    ``degree``: what it is in ``chord``, None for a foreign tone; ``name``: its spelling; ``kind``:
    "tone", "approach", "enclosure" or "passing"; ``finger``: 1 to 4, 0 open. ``swung``: it goes
    with the swing; ``triplet``: it is one of three to a beat, played as written.
    """

    onset: Fraction
    length: Fraction
    pitch: int
    place: StringFret
    finger: int
    chord: Chord
    degree: Degree | None
    name: PitchName
    kind: str = "tone"
    swung: bool = True
    triplet: bool = False

    @property
    def end(self) -> Fraction:
        """The beat at which the note ends."""
        return self.onset + self.length
