"""The neck of a page: the path through the changes in every position, in all keys.

A dot is four signs: the string (1 is the highest), the fret (a digit, then letters from a: 10),
semitones above the root in the same way, and the finger (0: an open string).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from backing.chart.bar import PlayedBar
from backing.combo.plan import Plan, plan_of_bars
from backing.errors import PracticeError
from backing.neck.fingerboard import Fingerboard, make_fingerboard
from backing.neck.path import Path, path_of
from backing.neck.shapes import Shape, ShapeTone

SIGNS = "0123456789abcdefghijklmnopqrstuvwxyz"
HIGHEST_POSITION = 12
"""Above the twelfth fret the neck repeats."""
MOST_STRINGS = 9
"""What one sign of a dot can number."""

ABOVE_WIDE_FRETS = 6
"""From this position on nothing the hand does depends on where it is: no open strings, and no wide
frets under its stretches (see ``neck.grip``), until the neck ends."""
FAVOURED = 5
"""Of equal positions the one nearest to here: common practice, no source."""


def neck_data(
    keys: Sequence[Sequence[PlayedBar]],
    home: int,
    board: Fingerboard | None = None,
    opening: int | None = None,
) -> dict[str, Any] | None:
    """The shapes of a tune in some keys: ``paths[key][position]`` numbers a shape for each chord.

    Chords are those of the page's spans, without N.C.; ``best`` is the index of the position that
    asks least of the hand in the ``home`` key, or of the ``opening`` one. None where there is no
    chord at all. Raises PracticeError for a neck that a page does not draw.
    """
    board = board or make_fingerboard()
    plans = [plan_of_bars(bars) for bars in keys]
    if not any(span.chord for span in plans[home].spans):
        return None
    if len(board.strings) > MOST_STRINGS:
        raise PracticeError(
            f"A page draws a neck of at most {MOST_STRINGS} strings.", "Choose another --neck."
        )
    positions = range(1, min(HIGHEST_POSITION, board.highest_position) + 1)
    shapes: dict[str, int] = {}
    taken = _Taken(board)
    paths = [[taken.path(plan, position) for position in positions] for plan in plans]
    best = min(positions, key=lambda p: (paths[home][p - 1].effort, abs(p - FAVOURED)))
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
        "paths": [
            [
                _numbers(path, position - path.position, shapes)
                for position, path in zip(positions, mine, strict=True)
            ]
            for mine in paths
        ],
        "shapes": list(shapes),
    }


class _Taken:
    """Paths that were found, for keys in which the hand does the same some frets away."""

    def __init__(self, board: Fingerboard) -> None:
        self._board = board
        self._found: dict[tuple[object, ...], Path] = {}

    def path(self, plan: Plan, position: int) -> Path:
        """The path in a position, or that of another key, so many frets below or above."""
        chords = [span.chord.sounding for span in plan.spans if span.chord is not None]
        alike = tuple(((c.root.pitch_class - position) % 12, c.quality) for c in chords)
        free = ABOVE_WIDE_FRETS <= position < self._board.highest_position
        if free and alike in self._found:
            return self._found[alike]
        path = path_of(plan, self._board, position)
        if free and not path.troubles:
            self._found[alike] = path
        return path


def _numbers(path: Path, up: int, shapes: dict[str, int]) -> list[int]:
    """A number for each shape of a path moved ``up`` by some frets; new ones go to ``shapes``."""
    dots = (_dots(step.shape, up) for step in path.steps)
    return [shapes.setdefault(text, len(shapes)) for text in dots]


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
