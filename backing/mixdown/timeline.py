"""A part's notes on the sample clock: copies of bank notes at exact places, in windows of any size.

A note begins at the sample nearest to its exact time. One that is let go falls in dB; a key
struck again ends its old note; a drum rings until it is struck again or choked. A circular
performance is a ring of samples: what sounds past its end sounds at its beginning.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backing.combo.instruments import CHOKED_BY, CLOSED_HAT, OPEN_HAT, PEDAL_HAT
from backing.combo.performance import Performance
from backing.mixdown.bank import Bank, BankNote
from backing.mixdown.release import CHOKE, Gains, envelope
from backing.mixdown.sample_clock import Struck, sample_of, struck
from backing.mixdown.soundfont import DRUM_BANK, Voice
from backing.mixdown.synth import BLOCK, Audio
from backing.mixdown.tone import Tone

_AT_ONCE = 49152
"""Samples made at a time: they, a copy and what it is multiplied by stay in a processor's cache."""

RINGS = 1 << 40
"""A hold without an end."""

_CHOKED_BY = CHOKED_BY | {
    # one pair of cymbals: what is left of any stroke ends with the next of another kind
    CLOSED_HAT: (PEDAL_HAT, OPEN_HAT),
    PEDAL_HAT: (CLOSED_HAT, OPEN_HAT),
}


class Held(NamedTuple):
    """A tone held for ``hold`` samples (RINGS: for good), then let go, or ``choked``."""

    tone: Tone
    hold: int
    choked: bool = False


class Placed(NamedTuple):
    """A held tone that begins at sample ``onset``."""

    onset: int
    held: Held


@dataclass(frozen=True, slots=True, eq=False)
class _Tail:
    """A tone, and what its samples are multiplied by from the moment it is let go, ``blocks`` long.

    ``fall``: sample by sample, the note's gain included; None if that depends on how long it was
    held (see Colour).
    """

    note: BankNote
    blocks: int
    fall: Audio | None


@dataclass(frozen=True, slots=True, eq=False)
class _Sound:
    """How a held tone sounds, its release included: ``length`` samples.

    It is multiplied by ``fall`` from ``hold`` on, or is the sum of the note and of it one sample
    later and so on, each with its own of the gains ``lags``.
    """

    note: BankNote
    hold: int
    length: int
    fall: Audio | None
    lags: tuple[Gains, ...] = ()

    def add_to(self, out: Audio, start: int, scratch: Audio) -> None:
        """Add the samples from ``start`` on to ``out``, by way of ``scratch`` of equal length."""
        stop, samples = start + len(out), self.note.samples
        let_go = min(max(start, self.hold), stop)
        if start < let_go:
            held = scratch[: let_go - start]
            np.multiply(samples[start:let_go], np.float32(self.note.gain), out=held)
        if let_go < stop:
            falling = scratch[let_go - start :]
            if self.fall is None:
                self._colour(falling, let_go, stop)
            else:
                after = slice(let_go - self.hold, stop - self.hold)
                np.multiply(samples[let_go:stop], self.fall[after], out=falling)
        out += scratch

    def _colour(self, falling: Audio, start: int, stop: int) -> None:
        falling[:] = 0
        for lag, gains in enumerate(self.lags):
            later = envelope(gains, start - self.hold, stop - self.hold)
            first = max(0, lag - start)
            later[first:] *= self.note.samples[start - lag + first : max(0, stop - lag)]
            falling[first:] += later[first:]


@dataclass(frozen=True, slots=True, eq=False)
class _Copies:
    """Every sounding copy in the order of onsets: where it begins and ends, and its sound."""

    onsets: NDArray[np.int64]
    ends: NDArray[np.int64]
    sounds: tuple[_Sound, ...]
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
        placed = _placed(struck(performance, part, rate), self.voice, ring)
        self.notes = tuple(_ended(placed, self.voice, ring))
        self._copies: _Copies | None = None

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
        self.add_to(out, start)
        return out

    def add_to(self, out: Audio, start: int) -> None:
        """Add the samples from ``start`` (0 or later) on to ``out``.

        After ``place`` any thread may do it.
        """
        if self._copies is None:
            self.place()
        for first in range(0, len(out), _AT_ONCE):
            self._add(out[first : first + _AT_ONCE], start + first)

    def _add(self, out: Audio, start: int) -> None:
        copies, stop = self._copies, start + len(out)
        assert copies is not None
        scratch = np.empty_like(out)
        first = int(np.searchsorted(copies.onsets, start - copies.longest))
        last = int(np.searchsorted(copies.onsets, stop))
        sounding = first + np.flatnonzero(copies.ends[first:last] > start)
        for at in sounding.tolist():
            onset = int(copies.onsets[at])
            begin, end = max(onset, start) - start, min(int(copies.ends[at]), stop) - start
            copies.sounds[at].add_to(out[begin:end], start + begin - onset, scratch[begin:end])

    def windows(self, size: int) -> Iterator[Audio]:
        """The whole part in windows of ``size`` samples (the last one may be shorter)."""
        for start in range(0, self.length, size):
            yield self.render(start, start + size)

    def place(self) -> None:
        """Make all copies: one of each note, and in a ring one each time it comes around."""
        self.bank.prepare(self.holds)
        sounds = self._sounds()
        copies: list[tuple[int, int]] = []
        for index, (onset, held) in enumerate(self.notes):
            rounds = -(-(onset + sounds[held].length) // self.length) if self._circular else 1
            copies.extend((onset - shift * self.length, index) for shift in range(rounds))
        copies.sort()
        ordered = tuple(sounds[self.notes[index].held] for _, index in copies)
        onsets = np.array([onset for onset, _ in copies], np.int64)
        lengths = np.array([sound.length for sound in ordered], np.int64)
        self._copies = _Copies(onsets, onsets + lengths, ordered, int(lengths.max(initial=0)))

    def _sounds(self) -> dict[Held, _Sound]:
        """How each held tone sounds; tones that fall alike share the gains of their fall."""
        tones: dict[tuple[Tone, bool], _Tail] = {}
        sounds: dict[Held, _Sound] = {}
        for _, held in self.notes:
            if held in sounds:
                continue
            which = held.tone, held.choked
            tone = tones.get(which)
            if tone is None:
                tone = tones[which] = self._let_go(held)
            length = min(len(tone.note.samples), held.hold + tone.blocks * BLOCK)
            lags = () if tone.fall is not None else self._lags(tone.note, held.hold)
            sounds[held] = _Sound(tone.note, held.hold, length, tone.fall, lags)
        return sounds

    def _let_go(self, held: Held) -> _Tail:
        note = self.bank.note(held.tone)
        # where the SoundFont chokes it itself, striking it again has shown how
        if held.choked and note.release.slopes[-1] < CHOKE.slopes[-1] / 2:
            note = replace(note, release=CHOKE, colour=None)
        gains = note.release.gains(self.bank.sample_rate)
        blocks = len(gains) - 1
        if note.colour is not None:
            return _Tail(note, blocks, None)
        fall = envelope(gains, 0, min(blocks * BLOCK, len(note.samples)))
        fall *= np.float32(note.gain)
        return _Tail(note, blocks, fall)

    def _lags(self, note: BankNote, hold: int) -> tuple[Gains, ...]:
        gain = np.float32(note.gain)
        return tuple(gains * gain for gains in note.falls(hold, self.bank.sample_rate))


def _placed(notes: Iterable[Struck], voice: Voice, ring: int | None) -> list[Placed]:
    """The notes on the sample clock in order of onset, each held as written.

    Two strokes of a key at one sample are one, the louder. A hold is rounded to blocks, so that
    equal notes are equal samples whatever the fractions: an end moves by at most 0.8 ms.
    """
    kit = voice.bank == DRUM_BANK
    loudest: dict[tuple[int, int], Placed] = {}
    for begins, lasts, note in notes:
        onset, hold = begins, 0 if kit else lasts
        if ring is not None:
            onset %= ring
        elif onset < 0:
            onset, hold = 0, max(0, hold + onset)
        key = voice.key(note.pitch)
        rival = loudest.get((onset, key))
        if rival is None or note.velocity > rival.held.tone.velocity:
            tone = Tone(voice.bank, voice.program, key, note.velocity)
            loudest[onset, key] = Placed(onset, Held(tone, RINGS if kit else _blocks(hold)))
    return sorted(loudest.values())


def _ended(placed: list[Placed], voice: Voice, ring: int | None) -> Iterator[Placed]:
    """The notes, each ended where its key is struck again or something chokes it."""
    onsets: dict[int, list[int]] = {}
    for onset, held in placed:
        onsets.setdefault(held.tone.key, []).append(onset)
    for onset, held in placed:
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
