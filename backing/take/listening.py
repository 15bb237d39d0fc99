"""Notes out of frames: the likeliest row of pitches, and where each of them begins."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray

from backing.take.features import (
    BINS,
    FINE_HOP,
    HOP,
    RATE,
    WINDOW,
    Floats,
    Frames,
    Power,
    fading_db,
    harmonic_db,
)
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
FADES, GONE, STAYS = 6.0, -6.0, -3.0
"""The octave below that a saxophone begins with: how many dB its odd harmonics fall beside the even
ones, what is left of them, and how many dB the even ones, which are the note's own, may fall."""
UNSETTLED = 0.88
"""The mean confidence up to which a pitch may be such an octave."""
APART_BINS = 4
"""Bins between harmonics from which odd and even ones can be told apart: 125 Hz."""
STRAYS = 10
"""How many half steps nearer to both its neighbors a note would lie an octave higher, from which
its octave is not trusted."""
FINE, RATIO = FINE_HOP / RATE, HOP // FINE_HOP
DYING = int(0.06 / FINE)
HEAD = int(0.08 / FINE)
"""Frames of a note in which it is loudest."""
LOW_LEAST = 16
"""Fine frames without which it can't be said that a note began too low."""
BLOCK = 4096
"""Frames whose costs are worked out at once."""


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


class _Spectrum:
    """The power of fine frames that comes in pieces, of which no more is kept than is needed."""

    def __init__(self, pieces: Iterable[Power]) -> None:
        self._pieces = iter(pieces)
        self._kept: Power = np.zeros((0, BINS), np.float16)
        self._first = 0

    def part(self, first: int, last: int) -> Power:
        """Frames ``first`` up to ``last``, or to the end of the recording."""
        while self._first + len(self._kept) < last:
            piece = next(self._pieces, None)
            if piece is None:
                break
            self._kept = np.concatenate([self._kept, piece])
        return self._kept[first - self._first : last - self._first]

    def forget(self, until: int) -> None:
        """Let go of the frames before ``until``."""
        gone = min(max(0, until - self._first), len(self._kept))
        self._kept = self._kept[gone:]
        self._first += gone

    def pass_over(self) -> None:
        """Let go of all that comes."""
        deque(self._pieces, 0)


def listen(found: Frames, powers: Iterable[Power]) -> Listened:
    """The notes of one line in ``found``.

    ``powers``: the power of the fine frames in pieces, from the first to the last; all are read,
    and no more are kept than the longest note needs.
    """
    tuning = tuning_cents(found)
    pitch = found.pitch - tuning / 100
    spectrum = _Spectrum(powers)
    notes: list[HeardNote] = []
    doubts: list[float] = []
    for stretch in _spoken(_stretches(pitch, found.confidence), found, pitch, tuning, spectrum):
        mine, maybe = _notes(stretch, found, pitch, tuning, spectrum)
        notes += mine
        doubts += maybe
    spectrum.pass_over()
    notes = _octaves_trusted(_in_order(notes))
    least = _least_level(notes)
    kept = tuple(note for note in notes if note.level >= least)
    doubts += [note.onset for note in notes if note.level < least]
    return Listened(kept, tuning, tuple(sorted(doubts)), _voiced(found))


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
    best = _cheapest(pitch, confidence, states)
    edges = np.flatnonzero(np.diff(best)) + 1
    for first, last in zip([0, *edges], [*edges, len(best)], strict=True):
        if best[first]:
            yield _Stretch(int(first), int(last), int(states[best[first] - 1]))


def _cheapest(pitch: Floats, confidence: Floats, states: NDArray[np.int64]) -> NDArray[np.uint8]:
    """The state of each frame for the least total cost: 0 is silence, then come ``states``."""
    count, size = len(pitch), len(states) + 1
    back = np.zeros((count, size), np.uint8)
    stay = np.arange(size, dtype=np.uint8)
    total = np.zeros(size)
    for at, cost in enumerate(_costs(pitch, confidence, states)):
        if at == 0:
            total = cost.copy()
            continue
        sounding = int(np.argmin(total[1:])) + 1
        come = np.full(size, total[sounding] + CHANGE)
        source = np.full(size, sounding, np.uint8)
        from_silence = total[0] + SILENCE
        quiet = from_silence < come
        come[quiet], source[quiet] = from_silence, 0
        come[0], source[0] = total[sounding] + SILENCE, sounding
        keep = total <= come
        back[at] = np.where(keep, stay, source)
        total = np.where(keep, total, come) + cost
    way = np.zeros(count, np.uint8)
    way[-1] = int(np.argmin(total))
    for at in range(count - 1, 0, -1):
        way[at - 1] = back[at, way[at]]
    return way


def _costs(pitch: Floats, confidence: Floats, states: NDArray[np.int64]) -> Iterator[Floats]:
    """What silence and each pitch cost, frame by frame; a block of frames is worked out at once."""
    for first in range(0, len(pitch), BLOCK):
        sure = confidence[first : first + BLOCK, None]
        away = np.abs(pitch[first : first + BLOCK, None] - states[None, :]) / WIDTH
        sounding = np.minimum(away, FARTHEST) * np.clip(sure, 0.05, 1.0)
        sounding += 1.5 * np.clip(0.6 - sure, 0, 1)
        yield from np.concatenate([2.0 * np.clip(sure - 0.25, 0, 1), sounding], axis=1)


def _spoken(
    stretches: Iterable[_Stretch],
    found: Frames,
    pitch: Floats,
    tuning: float,
    spectrum: _Spectrum,
) -> Iterator[_Stretch]:
    """The stretches, those that only began an octave too low raised, with what follows of them.

    The ``pitch`` of such frames is raised as well.
    """
    around = int(AROUND / FINE)
    waiting: _Stretch | None = None
    raised = False
    row = list(stretches)
    for stretch, after in zip_longest(row, row[1:]):
        goes_up = after is not None and (after.first, after.pitch) == (
            stretch.last,
            stretch.pitch + 12,
        )
        low = _begins_low(stretch, found, pitch, tuning, spectrum, goes_up=goes_up)
        here = replace(stretch, pitch=stretch.pitch + 12) if low else stretch
        if low:
            rows = pitch[stretch.first : stretch.last]
            rows[np.abs(rows - stretch.pitch) < 0.6] += 12
        if waiting and raised and (waiting.last, waiting.pitch) == (here.first, here.pitch):
            here = replace(here, first=waiting.first)
        elif waiting:
            spectrum.forget(waiting.first * RATIO - around)
            yield waiting
        waiting, raised = here, low
    if waiting:
        yield waiting


def _begins_low(
    stretch: _Stretch,
    found: Frames,
    pitch: Floats,
    tuning: float,
    spectrum: _Spectrum,
    *,
    goes_up: bool,
) -> bool:
    """Whether a note began an octave too low: odd harmonics that fade, while the even ones, its
    own, sound on. Reeds do that, and so do samples of them (a tenor's from E4 to G4 in FluidR3_GM
    for 80 to 100 ms). ``goes_up``: the next pitch is that octave, without a rest."""
    first, last = stretch.first * RATIO, stretch.last * RATIO
    base = 440 * 2 ** ((stretch.pitch - 69) / 12) * WINDOW / RATE
    confidence = float(found.confidence[stretch.first : stretch.last].mean())
    if base < APART_BINS or (confidence > UNSETTLED and not goes_up):
        return False
    power = spectrum.part(first, last)
    if len(power) < LOW_LEAST:
        return False
    fading, even = fading_db(power, _steady(pitch, stretch) + tuning / 100)
    before, after = slice(2, 12), slice(-11, -5)
    left = float(np.median(fading[after]))
    stays = float(np.median(even[after]) - np.median(even[before]))
    return float(np.median(fading[before])) - left >= FADES and left <= GONE and stays >= STAYS


def _notes(
    stretch: _Stretch, found: Frames, pitch: Floats, tuning: float, spectrum: _Spectrum
) -> tuple[list[HeardNote], list[float]]:
    """The notes of a stretch: one, or several of the same pitch struck again; and its doubts."""
    around = int(AROUND / FINE)
    first = max(0, stretch.first * RATIO - around)
    power = spectrum.part(first, stretch.last * RATIO + around)
    if len(power) < 8:
        return [], []
    strength = harmonic_db(power, _steady(pitch, stretch) + tuning / 100)
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


def _octaves_trusted(notes: Sequence[HeardNote]) -> list[HeardNote]:
    """The notes, those not sure whose octave may be wrong: a short note may sound an octave too low
    from end to end, far from both its neighbors."""
    found = list(notes)
    for at in range(1, len(notes) - 1):
        note = notes[at]
        near = notes[at - 1].pitch, notes[at + 1].pitch
        nearer = sum(abs(note.pitch - other) - abs(note.pitch + 12 - other) for other in near)
        if note.sure <= UNSETTLED and nearer >= STRAYS:
            found[at] = replace(note, sure=0.0)
    return found


def _least_level(notes: Sequence[HeardNote]) -> float:
    """The level of the weakest note that is the player's."""
    if not notes:
        return 0.0
    return float(np.percentile([note.level for note in notes], 75)) - QUIETEST
