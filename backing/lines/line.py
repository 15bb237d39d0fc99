"""What a teacher asks of a line, and one note of it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from backing.chart.harmony import Chord
from backing.chart.pitch import Degree, PitchName
from backing.errors import PracticeError, quoted
from backing.neck.arpeggio import ROLES, WAYS
from backing.neck.fingerboard import Fingerboard, StringFret, hand, make_fingerboard
from backing.routine.ladder import VALUES

RHYTHMS = (*VALUES, "off-beats", "phrases", "call")
SLOW = ("wholes", "halves", "quarters")
"""Rhythms in which a tone that two chords share may stay."""
IDEAS = ("phrases", "call")
"""Rhythms in ideas with space between them: no idea leads on to the next."""
CALLS_ON = ("1", "1&", "2", "3", "turn")
"""Where calls start: on a beat, on the and of 1, or on each of these in turn."""
DIRECTIONS = ("both", "up", "down")
LEVELS = {
    1: "chord tones throughout",
    2: "and a chromatic approach on the last eighth before a change",
    3: "and around a target on 1 the scale step above on 4, the semitone below on the and of 4",
    4: "and passing tones of the parent scale off the beat",
}


GUITAR = make_fingerboard()


@dataclass(frozen=True, slots=True)
class Line:
    """How a line is to go.

    ``positions``: one for each chorus in turn.
    ``rhythm``: unbroken wholes, halves, quarters, eighths or triplets; nothing but off-beats, each
    over the chord that comes; two-bar phrases that answer each other; or a call of two bars and as
    much space for the player's answer, which starts as ``call_on`` says, one of CALLS_ON (an and
    is the last eighth of its beat in compound meters). ``level``: see LEVELS; there are approaches
    and enclosures only where eighths or triplets lead into a change. ``start``: the role of the
    first note, of a call or of a turn in trading, 1 3 5 or 7 (None: the root where a line goes on
    unbroken, any tone elsewhere). ``direction``: runs go up, down or both ways. ``way``: from the
    root, or from the third to the ninth. ``thirds``: land on the third at every change. ``early``:
    arrive an eighth before each chord. ``top_strings``: stay on so many strings.

    Raises PracticeError for what cannot be had.
    """

    rhythm: str = "eighths"
    level: int = 1
    positions: tuple[int, ...] = (5,)
    start: int | None = None
    direction: str = "both"
    way: str = "1-7"
    thirds: bool = False
    early: bool = False
    top_strings: int | None = None
    call_on: str = "turn"
    fingerboard: Fingerboard = GUITAR

    def __post_init__(self) -> None:
        _one_of("rhythm of a line", self.rhythm, RHYTHMS)
        _one_of("start of a call", self.call_on, CALLS_ON)
        _one_of("level of a line", self.level, tuple(LEVELS))
        if self.start is not None:
            _one_of("start of a line", self.start, ROLES)
        _one_of("direction of a line", self.direction, DIRECTIONS)
        _one_of("way of a line", self.way, WAYS)
        if not self.positions:
            raise PracticeError("A line needs a position.", "Give one, such as 5.")
        for position in self.positions:
            hand(self.fingerboard, position)
        strings = len(self.fingerboard.strings)
        if self.top_strings is not None and not 2 <= self.top_strings <= strings:
            raise PracticeError(
                f"A line on the top {self.top_strings} strings cannot be had.",
                f"Choose 2 to {strings} strings.",
            )


def _one_of(name: str, value: object, choices: tuple[object, ...]) -> None:
    if value not in choices:
        raise PracticeError(
            f"{quoted(value)} is no {name}.", f"Choose from {', '.join(map(str, choices))}."
        )


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
