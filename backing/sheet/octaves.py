"""The octaves in which a part reads a line, so that it lies well and within the compass."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from backing.sheet.notation import StaffNote
from backing.sheet.sheet_part import SheetPart

TURN, TURN_IN_REST, LEAP, ASIDE = 4.0, 1.0, 0.5, 0.1
"""The cost of another octave from one note to the next, and after a rest; of each half step of the
leap there; and of each note that is not in the octave of most: our own weights."""
OUTSIDE = 1000.0


def octaves_of(sounds: Sequence[StaffNote], part: SheetPart) -> list[int]:
    """For each sound the octaves by which it is moved for a part.

    All lie in the octave around the middle of the part; where that leaves the compass, a stretch
    of the line lies an octave higher or lower.
    """
    if part.middle is None or not sounds:
        return [0] * len(sounds)
    pitches = [tone.pitch for sound in sounds for tone in sound.tones]
    usual = round((part.middle - Fraction(sum(pitches), len(pitches))) / 12)
    if part.compass is None:
        return [usual] * len(sounds)
    options = range(usual - 2, usual + 3)
    costs = {octave: _price(sounds[0], octave, usual, part) for octave in options}
    ways = {octave: [octave] for octave in options}
    for before, sound in pairwise(sounds):
        found = {
            octave: min((costs[o] + _turn(before, o, sound, octave), o) for o in options)
            for octave in options
        }
        costs = {o: cost + _price(sound, o, usual, part) for o, (cost, _) in found.items()}
        ways = {octave: [*ways[o], octave] for octave, (_, o) in found.items()}
    return ways[min(options, key=costs.__getitem__)]


def _price(sound: StaffNote, octave: int, usual: int, part: SheetPart) -> float:
    assert part.compass is not None
    low, high = part.compass
    written = [tone.pitch + part.interval.semitones % 12 + 12 * octave for tone in sound.tones]
    out = max(low - min(written), max(written) - high, 0)
    return OUTSIDE * out + ASIDE * abs(octave - usual)


def _turn(before: StaffNote, octave: int, sound: StaffNote, to: int) -> float:
    if octave == to:
        return 0.0
    rest = before.onset + before.length < sound.onset
    leap = sound.tones[0].pitch + 12 * to - before.tones[0].pitch - 12 * octave
    return (TURN_IN_REST if rest else TURN) + LEAP * abs(leap)
