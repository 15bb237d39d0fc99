"""A part's notes on the sample clock: copies of bank notes at exact places, in windows of any size.

A note begins at the sample nearest to its exact time. One that is let go falls in dB; a key
struck again ends its old note; a drum rings until it is struck again or choked. A circular
performance is a ring of samples: what sounds past its end sounds at its beginning.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backing.combo.performance import Performance
from backing.mixdown.bank import Bank, BankNote
from backing.mixdown.placement import RINGS, placed
from backing.mixdown.release import CHOKE, Gains, envelope
from backing.mixdown.sample_clock import sample_of, strokes
from backing.mixdown.soundfont import DRUM_BANK
from backing.mixdown.synth import BLOCK, Audio
from backing.mixdown.tone import Tone

_AT_ONCE = 49152
"""Samples made at a time: they, a copy and what it is multiplied by stay in a processor's cache."""


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

    ``fall``: by its release alone, sample by sample, the note's gain included.
    """

    note: BankNote
    blocks: int
    fall: Audio


@dataclass(frozen=True, slots=True, eq=False)
class _Sound:
    """How a held tone sounds, its release included: ``length`` samples.

    From ``hold`` on it is multiplied by ``fall``. One of a colour is the sum of the note, of it
    one sample later and so on, each with its own of the gains ``lags``; from ``late_from`` on,
    where those no longer change but by the release, each times its own of ``taps``.
    """

    note: BankNote
    hold: int
    length: int
    fall: Audio
    lags: tuple[Gains, ...] = ()
    late_from: int = RINGS
    taps: tuple[np.float32, ...] = ()

    def add_to(self, out: Audio, start: int, scratch: Audio) -> None:
        """Add the samples from ``start`` on to ``out``, by way of ``scratch`` of equal length."""
        stop, samples = start + len(out), self.note.samples
        let_go = min(max(start, self.hold), stop)
        if start < let_go:
            held = scratch[: let_go - start]
            np.multiply(samples[start:let_go], np.float32(self.note.gain), out=held)
        late = min(max(let_go, self.late_from), stop) if self.lags else let_go
        if let_go < late:
            self._colour(scratch[let_go - start : late - start], let_go, late)
        if late < stop:
            falling = scratch[late - start :]
            np.multiply(samples[late:stop], self.fall[late - self.hold : stop - self.hold], falling)
            if self.lags:
                self._tint(falling, late, stop)
        out += scratch

    def _colour(self, falling: Audio, start: int, stop: int) -> None:
        falling[:] = 0
        for lag, gains in enumerate(self.lags):
            later = envelope(gains, start - self.hold, stop - self.hold)
            first = max(0, lag - start)
            later[first:] *= self.note.samples[start - lag + first : max(0, stop - lag)]
            falling[first:] += later[first:]

    def _tint(self, falling: Audio, start: int, stop: int) -> None:
        """Make the fall of the plain note the sum of its lags, where their shares stay."""
        falling *= self.taps[0]
        for lag, tap in enumerate(self.taps[1:], 1):
            later = self.note.samples[start - lag : stop - lag] * tap
            later *= self.fall[start - self.hold : stop - self.hold]
            falling += later


@dataclass(frozen=True, slots=True, eq=False)
class _Copies:
    """All copies in the order of onsets: where each begins and ends, which of ``sounds`` it is."""

    onsets: NDArray[np.int64]
    ends: NDArray[np.int64]
    which: NDArray[np.int64]
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
        self._notes = placed(strokes(performance, part, rate), self.voice, ring)
        self._copies: _Copies | None = None

    @property
    def notes(self) -> tuple[Placed, ...]:
        """The notes in the order of onsets."""
        notes = self._notes
        rows = zip(
            notes.onset.tolist(),
            notes.key.tolist(),
            notes.velocity.tolist(),
            notes.hold.tolist(),
            notes.choked.tolist(),
            strict=True,
        )
        return tuple(
            Placed(onset, Held(self._tone(key, velocity), hold, choked))
            for onset, key, velocity, hold, choked in rows
        )

    @property
    def holds(self) -> dict[Tone, int]:
        """The tones needed, each with the longest time (samples) it is held."""
        notes = self._notes
        tones, which = np.unique(notes.key * 128 + notes.velocity, return_inverse=True)
        longest = np.zeros(len(tones), np.int64)
        if self.voice.bank != DRUM_BANK:  # a drum is kept whole, however soon it is struck again
            np.maximum.at(longest, which, notes.hold)
        pairs = zip(tones.tolist(), longest.tolist(), strict=True)
        return {self._tone(*divmod(tone, 128)): hold for tone, hold in pairs}

    def _tone(self, key: int, velocity: int) -> Tone:
        return Tone(self.voice.bank, self.voice.program, key, velocity)

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
            copies.sounds[copies.which[at]].add_to(
                out[begin:end], start + begin - onset, scratch[begin:end]
            )

    def windows(self, size: int) -> Iterator[Audio]:
        """The whole part in windows of ``size`` samples (the last one may be shorter)."""
        for start in range(0, self.length, size):
            yield self.render(start, start + size)

    def place(self) -> None:
        """Make all copies: one of each note, and in a ring one each time it comes around."""
        self.bank.prepare(self.holds)
        notes = self._notes
        kinds = np.stack([notes.key, notes.velocity, notes.hold, notes.choked], axis=1)
        kinds, which = np.unique(kinds, axis=0, return_inverse=True)
        which = which.reshape(-1)
        sounds = self._sounds(kinds.tolist())
        lengths = np.array([sound.length for sound in sounds], np.int64)[which]
        onsets = notes.onset
        if self._circular:
            rounds = -(-(onsets + lengths) // self.length)
            before = np.repeat(np.cumsum(rounds) - rounds, rounds)
            shift = (np.arange(len(before)) - before) * self.length
            onsets, lengths = np.repeat(onsets, rounds) - shift, np.repeat(lengths, rounds)
            which = np.repeat(which, rounds)
            order = np.argsort(onsets, kind="stable")
            onsets, lengths, which = onsets[order], lengths[order], which[order]
        longest = int(lengths.max(initial=0))
        self._copies = _Copies(onsets, onsets + lengths, which, sounds, longest)

    def _sounds(self, kinds: Iterable[tuple[int, int, int, int]]) -> tuple[_Sound, ...]:
        """How tones of some key and velocity, held for a while, let go or choked, sound.

        Those that fall alike share the gains of their fall.
        """
        rate = self.bank.sample_rate
        tones: dict[tuple[int, int, int], _Tail] = {}
        sounds: list[_Sound] = []
        for key, velocity, hold, choked in kinds:
            tone = tones.get((key, velocity, choked))
            if tone is None:
                tone = self._let_go(self._tone(key, velocity), choked=bool(choked))
                tones[key, velocity, choked] = tone
            length = min(len(tone.note.samples), hold + tone.blocks * BLOCK)
            sounds.append(_coloured(_Sound(tone.note, hold, length, tone.fall), rate))
        return tuple(sounds)

    def _let_go(self, tone: Tone, *, choked: bool) -> _Tail:
        note = self.bank.note(tone)
        # where the SoundFont chokes it itself, striking it again has shown how
        if choked and note.release.slopes[-1] < CHOKE.slopes[-1] / 2:
            note = replace(note, release=CHOKE, colour=None)
        gains = note.release.gains(self.bank.sample_rate)
        blocks = len(gains) - 1
        fall = envelope(gains, 0, min(blocks * BLOCK, len(note.samples)))
        fall *= np.float32(note.gain)
        return _Tail(note, blocks, fall)


def _coloured(sound: _Sound, sample_rate: int) -> _Sound:
    """The sound with the colour of its note, if it has one.

    After the last knot a colour stays, and an envelope would cost five times as much as a factor.
    """
    note, colour = sound.note, sound.note.colour
    if colour is None:
        return sound
    last = colour.knots[-1]
    shares = colour.at(sound.hold / BLOCK, last + 1)
    gains = note.release.gains(sample_rate)[: last + 1] * note.gain
    lags = (shares[:, : len(gains)] * gains).astype(np.float32)
    taps = shares[:, -1].astype(np.float32)
    return replace(sound, lags=tuple(lags), late_from=sound.hold + last * BLOCK, taps=tuple(taps))
