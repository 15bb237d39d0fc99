"""A part's notes on the sample clock, each ended where its key is struck again or it is choked.

Everything is in columns: a climb has tens of thousands of notes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from backing.combo.instruments import CHOKED_BY, CLOSED_HAT, OPEN_HAT, PEDAL_HAT
from backing.mixdown.sample_clock import Samples, Strokes
from backing.mixdown.soundfont import DRUM_BANK, Voice
from backing.mixdown.synth import BLOCK

RINGS: Final = 1 << 40
"""A hold without an end."""

_CHOKED_BY = CHOKED_BY | {
    # one pair of cymbals: what is left of any stroke ends with the next of another kind
    CLOSED_HAT: (PEDAL_HAT, OPEN_HAT),
    PEDAL_HAT: (CLOSED_HAT, OPEN_HAT),
}


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """Notes in the order of onsets, column by column, in samples.

    A note is held for ``hold`` (RINGS: for good), then let go, or ``choked``.
    """

    onset: Samples
    key: Samples
    velocity: Samples
    hold: Samples
    choked: npt.NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.onset)


def placed(strokes: Strokes, voice: Voice, ring: int | None) -> Placement:
    """The notes as ``voice`` plays them; ``ring``: the length of a circular part.

    Two strokes of a key at one sample are one, the louder. A hold is rounded to blocks, so that
    equal notes are equal samples whatever the fractions: an end moves by at most 0.8 ms.
    """
    kit = voice.bank == DRUM_BANK
    onset, hold = strokes.onset, strokes.hold
    if ring is not None:
        onset = onset % ring
    else:
        hold = np.maximum(hold + np.minimum(onset, 0), 0)
        onset = np.maximum(onset, 0)
    hold = np.full_like(hold, RINGS) if kit else _blocks(hold)
    pitches, which = np.unique(strokes.pitch, return_inverse=True)
    keys = np.array([voice.key(pitch) for pitch in pitches.tolist()], np.int64)
    key = keys[which]
    # by onset and key, the loudest first; equals as they come
    order = np.lexsort((-strokes.velocity, key, onset))
    onset, key, hold, velocity = onset[order], key[order], hold[order], strokes.velocity[order]
    first = np.ones(len(order), bool)
    first[1:] = (np.diff(onset) != 0) | (np.diff(key) != 0)
    choked = np.zeros(np.count_nonzero(first), bool)
    notes = Placement(onset[first], key[first], velocity[first], hold[first], choked)
    _end(notes, voice, ring, kit=kit)
    return notes


def _end(notes: Placement, voice: Voice, ring: int | None, *, kit: bool) -> None:
    """End each note where its key is struck again or something chokes it, in place."""
    onsets = {key: notes.onset[notes.key == key] for key in dict.fromkeys(notes.key.tolist())}
    for key, mine in onsets.items():
        at = np.flatnonzero(notes.key == key)
        hold, choked = notes.hold[at], np.zeros(len(at), bool)
        again = _next(mine, mine, ring) - mine
        hold = np.where(again < hold, _blocks(again), hold)
        for choker in _CHOKED_BY.get(key, ()) if kit else ():
            chokes = onsets.get(voice.key(choker))
            if chokes is not None:
                stop = _next(chokes, mine, ring) - mine
                choked |= stop < hold
                hold = np.where(stop < hold, _blocks(stop), hold)
        notes.hold[at], notes.choked[at] = hold, choked


def _next(onsets: Samples, after: Samples, ring: int | None) -> Samples:
    """The first of sorted ``onsets`` later than each of ``after``; in a ring the first comes again.

    Where there is none, later than anything.
    """
    then = RINGS if ring is None else onsets[0] + ring
    return np.append(onsets, then + (after.max() if ring is None else 0))[
        np.searchsorted(onsets, after, side="right")
    ]


def _blocks(samples: Samples) -> Samples:
    return (samples + BLOCK // 2) // BLOCK * BLOCK
