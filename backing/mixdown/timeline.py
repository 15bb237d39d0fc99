"""A part's notes on the sample clock: copies of bank notes at exact places, in windows of any size.

A note begins at the sample nearest to its exact time. One that is let go falls in dB; a key
struck again ends its old note; a drum rings until it is struck again or choked. A circular
performance is a ring of samples: what sounds past its end sounds at its beginning.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backing.combo.instruments import CHOKED_BY, CLOSED_HAT, OPEN_HAT, PEDAL_HAT
from backing.combo.performance import Performance, PlayedNote
from backing.mixdown.bank import CHOKE, Bank, Release, Tone
from backing.mixdown.soundfont import Voice
from backing.mixdown.synth import BLOCK, Audio

RINGS = 1 << 40
"""A hold without an end."""

_CHOKED_BY = CHOKED_BY | {
    # one pair of cymbals: what is left of any stroke ends with the next of another kind
    CLOSED_HAT: (PEDAL_HAT, OPEN_HAT),
    PEDAL_HAT: (CLOSED_HAT, OPEN_HAT),
}
_CACHE_BYTES = 48_000_000


class Held(NamedTuple):
    """A tone held for ``hold`` samples (RINGS: for good), then let go, or ``choked``."""

    tone: Tone
    hold: int
    choked: bool = False


class Placed(NamedTuple):
    """A held tone that begins at sample ``onset``."""

    onset: int
    held: Held


@dataclass(frozen=True, slots=True)
class _Copies:
    """Every sounding copy in the order of onsets: where it begins and ends, which note it is."""

    onsets: NDArray[np.int64]
    ends: NDArray[np.int64]
    notes: NDArray[np.int64]
    longest: int


class Timeline:
    """One part of a performance as dry sound, ``length`` samples long."""

    def __init__(self, performance: Performance, part: str, bank: Bank) -> None:
        """Place the notes of ``part``; raises SoundFontError where no preset can play it."""
        self.part = part
        self.bank = bank
        self.voice = bank.soundfont.voice(performance.instrument(part))
        rate, self._circular = bank.sample_rate, performance.circular
        seconds = performance.clock.length_seconds
        self.length = sample_of(seconds if self._circular else seconds + performance.tail, rate)
        ring = self.length if self._circular else None
        struck = _struck(performance.notes(part), self.voice, rate, ring)
        self.notes = tuple(_ended(struck, self.voice, ring))
        self._copies: _Copies | None = None
        self._sounds: dict[Held, Audio] = {}
        self._sound_bytes = 0

    @property
    def holds(self) -> dict[Tone, int]:
        """The tones needed, each with the longest time (samples) it is held."""
        longest: dict[Tone, int] = {}
        for _, (tone, hold, _) in self.notes:
            # a drum is kept whole, however soon it is struck again
            longest[tone] = max(longest.get(tone, 0), 0 if tone.kit else hold)
        return longest

    def render(self, start: int, stop: int) -> Audio:
        """The samples [start, stop) of the part, float32 (n, 2); none outside its length.

        Windows put one after the other are the same, bit by bit, whatever their size.
        """
        start, stop = max(0, start), min(stop, self.length)
        out = np.zeros((max(0, stop - start), 2), np.float32)
        if self._copies is None:
            self._copies = self._place()
        copies = self._copies
        first = int(np.searchsorted(copies.onsets, start - copies.longest))
        last = int(np.searchsorted(copies.onsets, stop))
        for at in range(first, last):
            onset, end = int(copies.onsets[at]), min(int(copies.ends[at]), stop)
            begin = max(onset, start)
            if begin < end:
                sound = self._sound(self.notes[copies.notes[at]].held)
                out[begin - start : end - start] += sound[begin - onset : end - onset]
        return out

    def windows(self, size: int) -> Iterator[Audio]:
        """The whole part in windows of ``size`` samples (the last one may be shorter)."""
        for start in range(0, self.length, size):
            yield self.render(start, start + size)

    def _place(self) -> _Copies:
        """All copies: one of each note, and in a ring one more for each time it comes around."""
        self.bank.prepare(self.holds)
        lengths = {held: self._sounding(held) for held in {note.held for note in self.notes}}
        copies: list[tuple[int, int, int]] = []
        for index, (onset, held) in enumerate(self.notes):
            end = onset + lengths[held]
            rounds = -(-end // self.length) if self._circular else 1
            shifts = range(0, rounds * self.length, self.length)
            copies.extend((onset - shift, index, end - shift) for shift in shifts)
        copies.sort()
        table = np.array(copies, np.int64).reshape(-1, 3)
        return _Copies(table[:, 0], table[:, 2], table[:, 1], max(lengths.values(), default=0))

    def _sounding(self, held: Held) -> int:
        """For how many samples a held tone sounds, its release included."""
        note = self.bank.note(held.tone, held.hold)
        fall = self._release(held).samples(self.bank.sample_rate)
        return min(len(note.samples), held.hold + fall)

    def _release(self, held: Held) -> Release:
        own = self.bank.note(held.tone, held.hold).release
        # where the SoundFont chokes it itself, striking it again has shown how
        return CHOKE if held.choked and own.slopes[-1] < CHOKE.slopes[-1] / 2 else own

    def _sound(self, held: Held) -> Audio:
        """The samples of a held tone and its release; equal ones are made once and kept a while."""
        sound = self._sounds.get(held)
        if sound is None:
            sound = self._make(held)
            self._sounds[held] = sound
            self._sound_bytes += sound.nbytes
            while self._sound_bytes > _CACHE_BYTES and len(self._sounds) > 1:
                oldest = next(iter(self._sounds))
                self._sound_bytes -= self._sounds.pop(oldest).nbytes
        return sound

    def _make(self, held: Held) -> Audio:
        note, length = self.bank.note(held.tone, held.hold), self._sounding(held)
        sound = note.samples[:length] * np.float32(note.gain)
        if held.hold < length:
            envelope = self._release(held).envelope(length - held.hold, self.bank.sample_rate)
            sound[held.hold :] *= envelope
        return sound


def timelines(
    performance: Performance, bank: Bank, parts: Iterable[str] | None = None
) -> dict[str, Timeline]:
    """The timelines of ``parts`` (None: all), their notes rendered into the bank in one go."""
    names = performance.part_names if parts is None else tuple(parts)
    lines = {name: Timeline(performance, name, bank) for name in names}
    holds: dict[Tone, int] = {}
    for line in lines.values():
        for tone, hold in line.holds.items():
            holds[tone] = max(holds.get(tone, 0), hold)
    bank.prepare(holds)
    return lines


def sample_of(seconds: Fraction, sample_rate: int) -> int:
    """The sample nearest to an exact time; one that lies between two goes to the later."""
    return (2 * seconds.numerator * sample_rate + seconds.denominator) // (2 * seconds.denominator)


def _struck(notes: Iterable[PlayedNote], voice: Voice, rate: int, ring: int | None) -> list[Placed]:
    """The notes on the sample clock in order of onset, each held as written.

    Two strokes of a key at one sample are one, the louder. A hold is rounded to blocks, so that
    equal notes are equal samples whatever the fractions: an end moves by at most 0.8 ms.
    """
    loudest: dict[tuple[int, int], Placed] = {}
    for played in notes:
        onset = sample_of(played.onset, rate)
        hold = sample_of(played.end - played.onset, rate)
        if ring is not None:
            onset %= ring
        elif onset < 0:
            onset, hold = 0, max(0, hold + onset)
        key = voice.key(played.note.pitch)
        tone = Tone(voice.bank, voice.program, key, played.note.velocity)
        placed = Placed(onset, Held(tone, RINGS if tone.kit else _blocks(hold)))
        rival = loudest.get((onset, key))
        if rival is None or placed.held[0].velocity > rival.held.tone.velocity:
            loudest[onset, key] = placed
    return sorted(loudest.values())


def _ended(struck: list[Placed], voice: Voice, ring: int | None) -> Iterator[Placed]:
    """The notes, each ended where its key is struck again or something chokes it."""
    onsets: dict[int, list[int]] = {}
    for onset, held in struck:
        onsets.setdefault(held.tone.key, []).append(onset)
    for onset, held in struck:
        key, hold, choked = held.tone.key, held.hold, False
        again = _next(onsets[key], onset, ring)
        if again is not None and again - onset < hold:
            hold = _blocks(again - onset)
        for choker in _CHOKED_BY.get(key, ()) if held.tone.kit else ():
            stop = _next(onsets.get(voice.key(choker), []), onset, ring)
            if stop is not None and stop - onset < hold:
                hold, choked = _blocks(stop - onset), True
        yield Placed(onset, Held(held.tone, hold, choked))


def _next(onsets: list[int], after: int, ring: int | None) -> int | None:
    """The first of sorted ``onsets`` later than ``after``; in a ring the first comes again."""
    at = bisect_right(onsets, after)
    if at < len(onsets):
        return onsets[at]
    return onsets[0] + ring if onsets and ring is not None else None


def _blocks(samples: int) -> int:
    return (samples + BLOCK // 2) // BLOCK * BLOCK
