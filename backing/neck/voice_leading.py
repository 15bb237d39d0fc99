"""Voice leading: where each tone of a chord goes in the next."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import permutations

from backing.chart.harmony import Chord
from backing.chart.pitch import Degree
from backing.neck.arpeggio import arpeggio


@dataclass(frozen=True, slots=True)
class Move:
    """A tone of one chord that becomes a tone of the next.

    ``semitones``: 0 it stays, 1 and 2 a half and a whole step up, negative down; more where the
    chords lie far apart.
    """

    tone: Degree
    to: Degree
    semitones: int

    @property
    def stays(self) -> bool:
        """Whether the two chords share the tone."""
        return self.semitones == 0


@lru_cache(maxsize=4096)
def voice_leading(chord: Chord, following: Chord, way: str = "1-7") -> tuple[Move, ...]:
    """The tones of ``chord`` and where each goes, so that they move least in all.

    Every tone of the smaller chord takes part once; tones left over in the larger one are joined
    to the nearest. Of equal ways the one with the smallest largest move is taken, then the one that
    goes down: the b9 of V falls to the 5th of i. ``way``: see arpeggio.WAYS.
    """
    before, after = chord.sounding, following.sounding
    tones = arpeggio(before.quality, way).tones
    targets = arpeggio(after.quality, way).tones
    apart = after.root.pitch_class - before.root.pitch_class

    def distance(tone: Degree, to: Degree) -> int:
        away = (apart + to.pitch_class - tone.pitch_class) % 12
        return away - 12 if away > 6 else away

    fewer, more = sorted((tones, targets), key=len)
    forwards = fewer is tones

    def between(one: Degree, other: Degree) -> int:
        return distance(one, other) if forwards else distance(other, one)

    pairs = min(
        (list(zip(fewer, order, strict=True)) for order in permutations(more, len(fewer))),
        key=lambda pairs: _cost([between(one, other) for one, other in pairs], forwards),
    )
    joined = {other for _, other in pairs}
    for other in more:
        if other not in joined:
            nearest = min(fewer, key=lambda one: _cost([between(one, other)], forwards))
            pairs.append((nearest, other))
    moves = [(one, other) if forwards else (other, one) for one, other in pairs]
    moves.sort(key=lambda pair: (pair[0].semitones, pair[1].semitones))
    return tuple(Move(tone, to, distance(tone, to)) for tone, to in moves)


def _cost(moves: list[int], forwards: bool) -> tuple[int, int, int]:
    """Less is better: all moves together, the largest, and how far they go up."""
    sizes = [abs(move) for move in moves]
    up = sum(move if forwards else -move for move in moves)
    return sum(sizes), max(sizes), up
