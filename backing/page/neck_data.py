"""The neck of a page: the path through the changes in every position, in all keys.

A dot is four signs: the string (1 is the highest), the fret (a digit, then letters from a: 10),
semitones above the root in the same way, and the finger (0: an open string).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from backing.chart.bar import PlayedBar
from backing.chart.harmony import Chord
from backing.chart.pitch import PitchName
from backing.chart.quality import Quality
from backing.combo.plan import Plan, plan_of_bars
from backing.errors import PracticeError
from backing.neck.fingerboard import Fingerboard, make_fingerboard
from backing.neck.path import Path, asked_of_the_hand, path_of
from backing.neck.shapes import Shape, ShapeTone

SIGNS = "0123456789abcdefghijklmnopqrstuvwxyz"
HIGHEST_POSITION = 12
"""Above the twelfth fret the neck repeats."""
MOST_STRINGS = 9
"""What one sign of a dot can number."""

ABOVE_WIDE_FRETS = 6
"""From this position on nothing the hand does depends on where it is: no open strings, and no wide
frets under its stretches (see ``neck.grip``), until the neck ends."""


def neck_data(
    keys: Sequence[Sequence[Sequence[PlayedBar]]],
    home: int,
    board: Fingerboard | None = None,
    opening: int | None = None,
) -> dict[str, Any] | None:
    """The shapes of a tune in some keys: ``paths[key][position]`` numbers a shape for each chord.

    In each key there is the solo chorus and what is played around it, where its shapes come again:
    ``order`` says which one of a path each chord has. Chords are those of the page's spans, without
    N.C.; ``best`` is the index of the position that
    asks least of the hand in the ``home`` key, or of the ``opening`` one. None where there is no
    chord at all. Raises PracticeError for a neck that a page does not draw.
    """
    board = board or make_fingerboard()
    around = [_around([plan_of_bars(bars) for bars in sides], sides) for sides in keys]
    plans = [plans[0] for plans, _ in around]
    if not any(span.chord for span in plans[home].spans):
        return None
    if len(board.strings) > MOST_STRINGS:
        raise PracticeError(
            f"A page draws a neck of at most {MOST_STRINGS} strings.", "Choose another --neck."
        )
    positions = range(1, min(HIGHEST_POSITION, board.highest_position) + 1)
    taken = _Taken(board)
    paths = [replace(taken.path(plans[home], p), position=p) for p in positions]
    best = min(paths, key=asked_of_the_hand).position  # as sheets and lines choose it
    if opening not in (None, *positions):
        raise PracticeError(
            f"A page shows positions 1 to {positions[-1]}, not {opening}.", "Choose another."
        )
    return {
        "strings": [board.open_pitch(string) for string in range(1, len(board.strings) + 1)],
        "names": [name.pretty for name in reversed(board.names)],
        "frets": board.frets,
        "left_handed": board.left_handed,
        "positions": list(positions),
        "best": list(positions).index(opening or best),
        "paths": [[taken.numbers(mine, position) for position in positions] for mine in around],
        "order": _order(around[home]),
        "shapes": list(taken.shapes),
    }


class _Taken:
    """Paths that were found, for keys in which the hand does the same some frets away.

    ``shapes``: all shapes as text, numbered.
    """

    def __init__(self, board: Fingerboard) -> None:
        self._board = board
        self._found: dict[tuple[object, ...], Path] = {}
        self.shapes: dict[str, int] = {}

    def path(self, plan: Plan, position: int) -> Path:
        """The path in a position, or that of another key, so many frets below or above."""
        alike = tuple(((c.root.pitch_class - position) % 12, c.quality) for c in _chords(plan))
        free = ABOVE_WIDE_FRETS <= position < self._board.highest_position
        if free and alike in self._found:
            return self._found[alike]
        path = path_of(plan, self._board, position)
        if free and not path.troubles:
            self._found[alike] = path
        return path

    def numbers(self, around: tuple[Sequence[Plan], Plan], position: int) -> list[int]:
        """A number for each shape of a chorus, and on the path of what is not in it: see
        ``_around``."""
        plans, strange = around
        return [n for plan in (plans[0], strange) for n in self._path_numbers(plan, position)]

    def _path_numbers(self, plan: Plan, position: int) -> list[int]:
        if not any(span.chord for span in plan.spans):
            return []
        path = self.path(plan, position)
        dots = (_dots(step.shape, position - path.position) for step in path.steps)
        return [self.shapes.setdefault(text, len(self.shapes)) for text in dots]


def _around(
    plans: Sequence[Plan], sides: Sequence[Sequence[PlayedBar]]
) -> tuple[Sequence[Plan], Plan]:
    """The plans of the sides of a tune, and one of the bars whose chords are not in the first."""
    known = {(chord.root, chord.quality) for chord in _chords(plans[0])}
    strange = [bar for side in sides[1:] for bar in side if not _heard(bar) <= known]
    return plans, plan_of_bars(strange)


def _order(around: tuple[Sequence[Plan], Plan]) -> list[int]:
    """For each chord, the place of its shape on the path: in the chorus its own, around it the next
    one that the chord has there, or that among those that are not in the chorus."""
    plans, strange = around
    known = [*_chords(plans[0]), *_chords(strange)]
    found, at = list(range(len(_chords(plans[0])))), 0
    for chord in (chord for plan in plans[1:] for chord in _chords(plan)):
        at = next(n for n in (*range(at, len(known)), *range(at)) if _alike(known[n], chord))
        found.append(at)
    return found


def _chords(plan: Plan) -> list[Chord]:
    return [span.chord.sounding for span in plan.spans if span.chord is not None]


def _heard(bar: PlayedBar) -> set[tuple[PitchName, Quality]]:
    heard = (c.chord.sounding for c in bar.changes if c.chord is not None)
    return {(chord.root, chord.quality) for chord in heard}


def _alike(one: Chord, other: Chord) -> bool:
    return one.root == other.root and one.quality == other.quality


def _dots(shape: Shape, up: int) -> str:
    """A shape as text: its tones, then a space and its lighter tones if it has any."""
    root = shape.chord.root.pitch_class
    tones, lighter = (
        "".join(_dot(tone, root, up) for tone in group) for group in (shape.tones, shape.lighter)
    )
    return f"{tones} {lighter}".rstrip()


def _dot(tone: ShapeTone, root: int, up: int) -> str:
    place, fret = tone.place, tone.place.fret + up
    return f"{place.string}{SIGNS[fret]}{SIGNS[(tone.pitch - root) % 12]}{tone.finger}"
