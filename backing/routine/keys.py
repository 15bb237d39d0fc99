"""Keys in a row: by fourths, by semitones, or as listed."""

from __future__ import annotations

from backing.chart.pitch import Interval, Key, PitchName
from backing.errors import ChordError, RoutineError

CYCLES = {"fourths": 5, "fifths": 7, "semitones": 1}
"""Name -> semitones from one key to the next; both come round after twelve keys."""


def read_key(text: str, like: Key) -> Key:
    """The key a player names: "Bb", "Bb minor", "F#m". A bare note keeps the mode of ``like``.

    Raises RoutineError for what is no key.
    """
    try:
        try:
            key = Key(PitchName.parse(text.strip()).simplified(), like.mode)
        except ChordError:
            key = Key.parse(text.strip())
    except ChordError as error:
        raise RoutineError(error.cause, error.cure) from None
    if _minor(key) != _minor(like):
        raise RoutineError(
            f"The tune is in {like}; it cannot be played in {key}.",
            f"Name a tonic alone, like --key {key.tonic}.",
        )
    return key


def _minor(key: Key) -> bool:
    return key.mode in ("minor", "aeolian", "dorian", "phrygian", "locrian")


def read_keys(text: str, home: Key) -> tuple[Key, ...]:
    """The keys of "fourths", "semitones" (twelve from ``home``) or a list like "C F Bb"."""
    name = text.strip().lower()
    if name in CYCLES:
        step = CYCLES[name]
        moves = [Interval.of_semitones(step * n % 12) for n in range(12)]
        return tuple(home.transposed(move) for move in moves)
    words = text.replace(",", " ").split()
    if not words:
        raise RoutineError("No keys are named.", "Write fourths, semitones or keys like C F Bb.")
    return tuple(read_key(word, home) for word in words)
