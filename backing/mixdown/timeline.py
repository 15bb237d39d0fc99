"""A part's notes on the sample clock: copies of bank notes at exact places, in windows of any size.

A note begins at the sample nearest to its exact time. One that is let go falls in dB; a key
struck again ends its old note; a drum rings until it is struck again or choked. A circular
performance is a ring of samples: what sounds past its end sounds at its beginning.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from backing.combo.performance import Performance
from backing.mixdown.bank import Bank, BankNote
from backing.mixdown.copies import MIDDLE, Copies, Fall, Pan, Sound
from backing.mixdown.placement import placed
from backing.mixdown.release import CHOKE
from backing.mixdown.sample_clock import sample_of, strokes
from backing.mixdown.soundfont import DRUM_BANK
from backing.mixdown.synth import BLOCK, Audio
from backing.mixdown.tone import Tone

_HOLDS: Final = 1 << 35
"""More blocks than any hold has, RINGS included."""


class Held(NamedTuple):
    """A tone held for ``hold`` samples (RINGS: for good), then let go, or ``choked``."""

    tone: Tone
    hold: int
    choked: bool = False


class Placed(NamedTuple):
    """A held tone that begins at sample ``onset``."""

    onset: int
    held: Held


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
        self._copies: Copies | None = None

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

    def add_to(self, out: Audio, start: int, pan: Pan = MIDDLE) -> None:
        """Add the samples from ``start`` (0 or later) on to ``out``, times ``pan``.

        After ``place`` any thread may do it.
        """
        self.place().add_to(out, start, pan)

    def windows(self, size: int) -> Iterator[Audio]:
        """The whole part in windows of ``size`` samples (the last one may be shorter)."""
        for start in range(0, self.length, size):
            yield self.render(start, start + size)

    def place(self) -> Copies:
        """All copies: one of each note, and in a ring one each time it comes around."""
        if self._copies is None:
            self.bank.prepare(self.holds)
            self._copies = self._placed()
        return self._copies

    def _placed(self) -> Copies:
        notes = self._notes
        # what sounds alike is one number: sorting rows takes ten times as long
        kinds = (notes.key * 128 + notes.velocity) * 2 + notes.choked
        kinds, which = np.unique(kinds * _HOLDS + notes.hold // BLOCK, return_inverse=True)
        sounds = self._sounds(kinds.tolist())
        onsets = notes.onset
        if self._circular:
            lengths = np.array([sound.length for sound in sounds], np.int64)[which]
            rounds = -(-(onsets + lengths) // self.length)
            before = np.repeat(np.cumsum(rounds) - rounds, rounds)
            shift = (np.arange(len(before)) - before) * self.length
            onsets, which = np.repeat(onsets, rounds) - shift, np.repeat(which, rounds)
            order = np.argsort(onsets, kind="stable")
            onsets, which = onsets[order], which[order]
        return Copies(onsets, which, sounds)

    def _sounds(self, kinds: Iterable[int]) -> tuple[Sound, ...]:
        """How tones of some key and velocity, held for a while, let go or choked, sound.

        Those that fall alike share the gains of their fall.
        """
        tones: dict[int, tuple[BankNote, Fall]] = {}
        sounds: list[Sound] = []
        for kind in kinds:
            struck, hold = divmod(kind, _HOLDS)
            if struck not in tones:
                tones[struck] = self._let_go(self._tone(*divmod(struck // 2, 128)), struck % 2 == 1)
            note, fall = tones[struck]
            sounds.append(Sound.of(note, hold * BLOCK, fall))
        return tuple(sounds)

    def _let_go(self, tone: Tone, choked: bool) -> tuple[BankNote, Fall]:
        note = self.bank.note(tone)
        # where the SoundFont chokes it itself, striking it again has shown how
        if choked and note.release.slopes[-1] < CHOKE.slopes[-1] / 2:
            note = replace(note, release=CHOKE, colour=None)
        return note, Fall.of(note, self.bank.sample_rate)
