"""A part's notes on the sample clock: copies of bank notes at exact places, in windows of any size.

A note begins at the sample nearest to its exact time. One that is let go falls in dB; a key
struck again ends its old note; a drum rings until it is struck again or choked. A circular
performance is a ring of samples: what sounds past its end sounds at its beginning.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backing.combo.instruments import CHOKED_BY, CLOSED_HAT, OPEN_HAT, PEDAL_HAT
from backing.combo.performance import Performance, PlayedNote
from backing.mixdown.bank import Bank, BankNote, Tone
from backing.mixdown.release import CHOKE, Gains, envelope
from backing.mixdown.soundfont import DRUM_BANK, Voice
from backing.mixdown.synth import BLOCK, Audio

RINGS = 1 << 40
"""A hold without an end."""

DEEPEST_DB = 500.0
"""A falling copy of a note (see _Sound) may fall so far: float32 goes down to -758 dB."""

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
class _Sound:
    """How a held tone sounds, its release included: ``length`` samples.

    From sample ``late_from`` on it falls in one straight line: there it is a copy of ``late``,
    which falls so all the time, times ``late_gain``. An envelope would cost five times as much.
    """

    note: BankNote
    hold: int
    falls: tuple[Gains, ...]
    length: int
    late_from: int
    late: Audio
    late_gain: float

    def add_to(self, out: Audio, start: int, scratch: Audio) -> None:
        """Add the samples from ``start`` on to ``out``, by way of ``scratch`` of equal length."""
        stop = start + len(out)
        late = min(max(start, self.late_from), stop)
        if start < late:
            early = scratch[: late - start]
            np.multiply(self.note.samples[start:late], np.float32(self.note.gain), out=early)
            let_go = max(start, self.hold)
            if let_go < late:
                self._fall(early[let_go - start :], let_go, late)
        if late < stop:
            np.multiply(
                self.late[late:stop], np.float32(self.late_gain), out=scratch[late - start :]
            )
        out += scratch

    def _fall(self, early: Audio, start: int, stop: int) -> None:
        """Make ``early``, the samples [start, stop) held on, what is heard when they are not."""
        after = start - self.hold, stop - self.hold
        early *= envelope(self.falls[0], *after)
        for lag, gains in enumerate(self.falls[1:], 1):
            later = envelope(gains, *after)
            first = max(0, lag - start)
            later[first:] *= self.note.samples[start - lag + first : stop - lag]
            early[first:] += later[first:] * np.float32(self.note.gain)


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
        struck = _struck(performance.notes(part), self.voice, rate, ring)
        self.notes = tuple(_ended(struck, self.voice, ring))
        self._copies: _Copies | None = None
        self._late: dict[tuple[Tone, float], tuple[Audio, Gains]] = {}

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
        scratch = np.empty_like(out)
        first = int(np.searchsorted(copies.onsets, start - copies.longest))
        last = int(np.searchsorted(copies.onsets, stop))
        sounding = first + np.flatnonzero(copies.ends[first:last] > start)
        for at in sounding.tolist():
            onset = int(copies.onsets[at])
            begin, end = max(onset, start) - start, min(int(copies.ends[at]), stop) - start
            copies.sounds[at].add_to(out[begin:end], start + begin - onset, scratch[begin:end])
        return out

    def windows(self, size: int) -> Iterator[Audio]:
        """The whole part in windows of ``size`` samples (the last one may be shorter)."""
        for start in range(0, self.length, size):
            yield self.render(start, start + size)

    def _place(self) -> _Copies:
        """All copies: one of each note, and in a ring one more for each time it comes around."""
        self.bank.prepare(self.holds)
        sounds = {held: self._sound(held) for held in {note.held for note in self.notes}}
        copies: list[tuple[int, int]] = []
        for index, (onset, held) in enumerate(self.notes):
            rounds = -(-(onset + sounds[held].length) // self.length) if self._circular else 1
            copies.extend((onset - shift * self.length, index) for shift in range(rounds))
        copies.sort()
        ordered = tuple(sounds[self.notes[index].held] for _, index in copies)
        onsets = np.array([onset for onset, _ in copies], np.int64)
        lengths = np.array([sound.length for sound in ordered], np.int64)
        return _Copies(onsets, onsets + lengths, ordered, int(lengths.max(initial=0)))

    def _sound(self, held: Held) -> _Sound:
        rate = self.bank.sample_rate
        note = self.bank.note(held.tone, held.hold)
        # where the SoundFont chokes it itself, striking it again has shown how
        if held.choked and note.release.slopes[-1] < CHOKE.slopes[-1] / 2:
            note = replace(note, release=CHOKE, colour=None)
        falls = note.falls(held.hold, rate)
        length = min(len(note.samples), held.hold + (len(falls[0]) - 1) * BLOCK)
        last_bend = note.colour.knots[-1] if note.colour else note.release.last_bend
        late_from = held.hold + last_bend * BLOCK
        # not by the samples there are: that would depend on what else was asked of the bank
        deepest = note.release.slopes[-1] * length / rate
        if deepest > DEEPEST_DB or late_from >= length or len(falls) > 1:
            return _Sound(note, held.hold, falls, length, length, note.samples, note.gain)
        late, fallen = self._falling(held.tone, note)
        gain = note.gain * float(falls[0][last_bend] / fallen[late_from // BLOCK])
        return _Sound(note, held.hold, falls, length, late_from, late, gain)

    def _falling(self, tone: Tone, note: BankNote) -> tuple[Audio, Gains]:
        """A note that falls from its beginning as it does in the end, and its gains."""
        slope, count = note.release.slopes[-1], len(note.samples)
        if slope > 0:
            count = min(count, int(DEEPEST_DB / slope * self.bank.sample_rate) + BLOCK)
        known = self._late.get((tone, slope))
        if known is None or len(known[0]) < count:
            blocks = np.arange(count // BLOCK + 2)
            gains = 10 ** (-slope * blocks * BLOCK / self.bank.sample_rate / 20)
            line = gains.astype(np.float32)
            known = note.samples[:count] * envelope(line, 0, count), line
            self._late[tone, slope] = known
        return known


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
    kit = voice.bank == DRUM_BANK
    loudest: dict[tuple[int, int], Placed] = {}
    for played in notes:
        begins = played.onset
        onset = sample_of(begins, rate)
        hold = 0 if kit else sample_of(played.end - begins, rate)
        if ring is not None:
            onset %= ring
        elif onset < 0:
            onset, hold = 0, max(0, hold + onset)
        key = voice.key(played.note.pitch)
        tone = Tone(voice.bank, voice.program, key, played.note.velocity)
        placed = Placed(onset, Held(tone, RINGS if kit else _blocks(hold)))
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
