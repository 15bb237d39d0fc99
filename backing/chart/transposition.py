"""The names of chords in another key: those of a cadence belong together.

Alone a chord has the name that suits the key best (``Chord.root_in``). Where it leads down a fifth
as a ii to its V or a V to its target, it is named after that: F#m7 B7 Emaj7 a fourth lower is C#m7
F#7 Bmaj7 in any key, not Dbm7 Gb7 Bmaj7 (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from backing.chart.harmony import Chord
from backing.chart.pitch import Interval, Key, PitchName

DOMINANTS = ("dominant", "sus")
SECONDS = ("minor", "half-diminished", "sus")
MANY = 4
"""A signature of so many accidentals has no others beside it in the names of chords."""


def transposed_roots(
    runs: Iterable[Sequence[Chord | None]], interval: Interval, key: Key
) -> dict[Chord, PitchName]:
    """The root of each chord ``interval`` away, in ``key``: what is written alike is named alike.

    ``runs`` are chords one after the other, None for N.C.; the first cadence a chord is in counts.
    """
    targets: dict[Chord, Chord | None] = {}
    for run in runs:
        for one, two in pairwise([*run, None]):
            if one is not None:
                target = two if two is not None and _leads(one, two) else None
                targets[one] = targets.get(one) or target

    def named(chord: Chord) -> PitchName:
        target = targets[chord]
        if target is not None:
            above = PitchName.of_fifths(named(target).fifths + 1)
            if _suits(above, key):
                return above
        return chord.root_in(key, interval)

    return {chord: named(chord) for chord in targets}


def _suits(root: PitchName, key: Key) -> bool:
    """Whether a name is plain, and no sharp among four flats or a flat among four sharps."""
    against = key.fifths * root.alter < 0 and abs(key.fifths) >= MANY
    return root == root.simplified(key) and not against


def _leads(one: Chord, two: Chord) -> bool:
    """Whether a chord is written as the ii of the next or as its V; in a cycle of dominants each
    has the name that suits the key."""
    first = SECONDS if two.family in DOMINANTS else DOMINANTS
    falls = one.root.fifths - two.root.fifths == 1
    return falls and one.family in first and one.family != two.family
