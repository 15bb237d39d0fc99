"""Names for tones outside a chord: a step from the tone they lead to, else as the key has them."""

from __future__ import annotations

from backing.chart.pitch import Interval, Key, PitchName

LOWEST, HIGHEST = -5, 6
"""Fifths from the tonic of a major key between which its chromatic notes lie: from the lowered 2nd
to the raised 4th (common practice, no source)."""


def beside(target: PitchName, move: int, key: Key) -> PitchName:
    """The name of a tone ``move`` half steps from ``target`` (1 or 2, up or down), by letter."""
    return target.transposed(Interval(1 if move > 0 else -1, move)).simplified(key)


def in_key(pitch: int, key: Key) -> PitchName:
    """The name that a MIDI pitch has in a key, chromatic notes included."""
    major = key.fifths
    names = (PitchName.of_fifths(major + n) for n in range(LOWEST, HIGHEST + 1))
    return next(name for name in names if name.pitch_class == pitch % 12).simplified(key)
