"""Notes out of frames: the likeliest row of pitches, and where each of them begins."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backing.take.features import FINE_HOP, HOP, RATE, Floats, Frames, harmonic_db
from backing.take.heard import HeardNote

VOICED = 0.5
"""The confidence from which a frame has a pitch: the network's own."""
CHANGE, SILENCE = 2.5, 1.2
"""What it costs to go to another pitch, and to fall silent or begin: tuned on our own études."""
WIDTH, FARTHEST = 0.4, 3.0
"""How many half steps off cost 1, and the most that a frame can cost."""
SHORTEST = 0.045
"""Seconds: what is shorter is no note (an eighth at 280 bpm, swung, lasts 90 ms)."""
AROUND = 0.06
"""Seconds around a change of pitch in which its onset is looked for."""
STRUCK, MAYBE = 5.0, 2.5
"""The rise in dB of a note struck again, and of what may have been one."""
FADED = 10.0
"""dB by which a note struck again may be weaker than at first: a string that beats is weaker."""
APART = 0.06
"""Seconds between two notes of one pitch."""
QUIETEST = 26.0
"""dB below the loud notes: what is weaker is not the player."""
DROP = 9.0
"""dB that a note falls in DYING frames (60 ms) where it is let go."""
FARTHEST_CENTS = 60.0
FINE, RATIO = FINE_HOP / RATE, HOP // FINE_HOP
DYING = int(0.06 / FINE)
HEAD = int(0.08 / FINE)
"""Frames of a note in which it is loudest."""


@dataclass(frozen=True, slots=True)
class Listened:
    """Notes, the tuning in cents, moments that may be onsets, and the part that has a pitch."""

    notes: tuple[HeardNote, ...]
    tuning_cents: float
    doubts: tuple[float, ...]
    voiced: float


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Frames ``first`` to ``last`` (exclusive) on one pitch."""

    first: int
    last: int
    pitch: int


def listen(found: Frames) -> Listened:
    """The notes of one line in ``found``."""
    tuning = tuning_cents(found)
    pitch = found.pitch - tuning / 100
    stretches = list(_stretches(pitch, found.confidence))
    notes: list[HeardNote] = []
    doubts: list[float] = []
    for stretch in stretches:
        mine, maybe = _notes(stretch, found, pitch, tuning)
        notes += mine
        doubts += maybe
    notes = _in_order(notes)
    kept = _loud_enough(notes)
    doubts += [n.onset for n in notes if n not in kept]
    return Listened(tuple(kept), tuning, tuple(sorted(doubts)), _voiced(found))


def tuning_cents(found: Frames) -> float:
    """How far the pitches lie from equal temperament at A 440, in cents from -50 to 50."""
    clear = found.pitch[found.confidence > 0.8]
    if len(clear) < 8:
        return 0.0
    turned = np.exp(2j * np.pi * clear).mean()
    return float(np.angle(turned) / (2 * np.pi) * 100)


def _voiced(found: Frames) -> float:
    loud = found.loudness > np.percentile(found.loudness, 95) - 25
    return float((found.confidence[loud] >= VOICED).mean()) if loud.any() else 0.0


def _stretches(pitch: Floats, confidence: Floats) -> Iterator[_Stretch]:
    """The likeliest row of pitches and silences (Viterbi), in stretches of one pitch."""
    clear = confidence >= VOICED
    if not clear.any():
        return
    low, high = int(np.floor(pitch[clear].min())), int(np.ceil(pitch[clear].max()))
    states = np.arange(low, high + 1)
    trust = np.clip(confidence, 0.05, 1.0)
    away = np.minimum(np.abs(pitch[:, None] - states[None, :]) / WIDTH, FARTHEST)
    cost = np.concatenate(
        [(2.0 * np.clip(confidence - 0.25, 0, 1))[:, None],
         away * trust[:, None] + 1.5 * np.clip(0.6 - confidence, 0, 1)[:, None]],
        axis=1,
    )  # fmt: skip
    best = _cheapest(cost)
    edges = np.flatnonzero(np.diff(best)) + 1
    for first, last in zip([0, *edges], [*edges, len(best)], strict=True):
        if best[first]:
            yield _Stretch(int(first), int(last), int(states[best[first] - 1]))


def _cheapest(cost: Floats) -> NDArray[np.int64]:
    """The state of each frame for the least total cost; state 0 is silence."""
    count, size = cost.shape
    total = cost[0].copy()
    back = np.zeros((count, size), np.int32)
    stay = np.arange(size)
    for at in range(1, count):
        sounding = int(np.argmin(total[1:])) + 1
        come = np.full(size, total[sounding] + CHANGE)
        source = np.full(size, sounding)
        from_silence = total[0] + SILENCE
        quiet = from_silence < come
        come[quiet], source[quiet] = from_silence, 0
        come[0], source[0] = total[sounding] + SILENCE, sounding
        keep = total <= come
        back[at] = np.where(keep, stay, source)
        total = np.where(keep, total, come) + cost[at]
    way = np.zeros(count, np.int64)
    way[-1] = int(np.argmin(total))
    for at in range(count - 1, 0, -1):
        way[at - 1] = back[at, way[at]]
    return way


def _notes(
    stretch: _Stretch, found: Frames, pitch: Floats, tuning: float
) -> tuple[list[HeardNote], list[float]]:
    """The notes of a stretch: one, or several of the same pitch struck again; and its doubts."""
    around = int(AROUND / FINE)
    first = max(0, stretch.first * RATIO - around)
    last = min(len(found.power), stretch.last * RATIO + around)
    if last - first < 8:
        return [], []
    strength = harmonic_db(found.power[first:last], _steady(pitch, stretch) + tuning / 100)
    begin, end = stretch.first * RATIO - first, stretch.last * RATIO - first
    starts, doubts = _starts(strength, begin, end, around)
    notes = []
    for at, until in zip(starts, [*starts[1:], end], strict=True):
        rows = slice(
            (first + at) // RATIO, max((first + until) // RATIO, (first + at) // RATIO + 1)
        )
        cents = 100 * float(np.median(pitch[rows]) - stretch.pitch)
        if (until - at) * FINE < SHORTEST:
            continue
        if abs(cents) > FARTHEST_CENTS:  # most of it was heard as another pitch
            doubts.append(at)
            continue
        notes.append(
            HeardNote(
                (first + at) * FINE,
                (first + _let_go(strength, at, until)) * FINE,
                stretch.pitch,
                float(strength[at : at + HEAD].max()),
                float(np.mean(found.confidence[rows])),
                cents,
            )
        )
    return notes, [(first + at) * FINE for at in doubts] + _strays(stretch, found, pitch)


def _starts(strength: Floats, begin: int, end: int, around: int) -> tuple[list[int], list[int]]:
    """Where a pitch is struck, and where it may have been struck once more."""
    rise = _rise(strength)
    onset = _onset(rise, begin, around)
    starts, doubts = [onset], list[int]()
    least = strength[onset : onset + HEAD].max() - FADED
    # at its very end a rise is the next pitch's, whose harmonics this one shares
    for at in _peaks(rise, max(begin, onset) + int(APART / FINE), end - around):
        if strength[at : at + HEAD].max() < least:
            continue
        if rise[at] >= STRUCK and at - starts[-1] >= APART / FINE:
            starts.append(at)
        elif rise[at] >= MAYBE:
            doubts.append(at)
    return starts, doubts


def _let_go(strength: Floats, at: int, until: int) -> int:
    """Where a note is let go: it dies away faster than a string that rings."""
    after = np.arange(at + HEAD // 2, until - DYING)
    falls = strength[after] - strength[after + DYING] >= DROP
    return int(after[np.argmax(falls)]) + DYING // 3 if falls.any() else until


def _strays(stretch: _Stretch, found: Frames, pitch: Floats) -> list[float]:
    """Moments in a stretch at which another pitch was heard for two frames and more, in seconds."""
    inside = slice(stretch.first + 3, stretch.last - 1)
    away = np.abs(pitch[inside] - stretch.pitch) > 0.6
    away &= found.confidence[inside] > 0.3
    both = np.flatnonzero(away[:-1] & away[1:]) if len(away) > 1 else np.zeros(0, int)
    return [float(stretch.first + 3 + at) * HOP / RATE for at in both[:1]]


def _steady(pitch: Floats, stretch: _Stretch) -> float:
    """The pitch of a stretch as it was heard, the middle frame."""
    heard = float(np.median(pitch[stretch.first : stretch.last]))
    return heard if abs(heard - stretch.pitch) < 0.6 else float(stretch.pitch)


def _rise(strength: Floats) -> Floats:
    """How many dB the strength rises from the 20 ms before a frame to the 24 ms after it."""
    span = 5
    padded = np.pad(strength, span + 1, mode="edge")
    count = len(strength)
    before = np.min([padded[1 + k : 1 + k + count] for k in range(span + 1)], axis=0)
    after = np.max([padded[span + 1 + k : span + 1 + k + count] for k in range(span + 1)], axis=0)
    found: Floats = after - before
    return found


def _onset(rise: Floats, begin: int, around: int) -> int:
    low, high = max(0, begin - around), min(len(rise), begin + around // 2)
    part = rise[low:high]
    return low + int(np.argmax(part))


def _peaks(rise: Floats, low: int, high: int) -> Iterator[int]:
    at = low
    reach = int(0.04 / FINE)
    while at < high:
        window = rise[at : min(at + reach, high)]
        if not len(window):
            return
        top = at + int(np.argmax(window))
        if top > 0 and rise[top] == rise[max(0, top - reach) : top + reach].max():
            yield top
        at += reach


def _in_order(notes: list[HeardNote]) -> list[HeardNote]:
    return sorted(notes, key=lambda note: note.onset)


def _loud_enough(notes: list[HeardNote]) -> list[HeardNote]:
    if not notes:
        return []
    loud = float(np.percentile([note.level for note in notes], 75))
    return [note for note in notes if note.level >= loud - QUIETEST]
