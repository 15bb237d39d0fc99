"""One part as dry sound: notes of the bank added at exact places, in windows of any size.

A note begins at the sample nearest to its exact time. One that is let go falls in dB; a key struck
again ends its old note; a drum rings until it is struck again or choked. In a loop what sounds past
the end sounds at the beginning.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final, NamedTuple

import numpy as np

from backing.combo.performance import Performance
from backing.mixdown.bank import Bank, BankNote
from backing.mixdown.decay import CHOKE, Gains
from backing.mixdown.loops import BLOCK, Audio, HeldNote, NoteTable, Samples
from backing.mixdown.probing import StruckKey
from backing.mixdown.schedule import sample_of, schedule
from backing.mixdown.soundfont import DRUM_BANK

Pan = tuple[float, float]
"""Gains for left and right."""
MIDDLE: Final[Pan] = (1.0, 1.0)
_HOLDS: Final = 1 << 35
"""More blocks than any hold has, RINGS included."""


class ScheduledNote(NamedTuple):
    """A note struck at sample ``onset`` and held for ``hold`` (RINGS: without an end)."""

    onset: int
    struck: StruckKey
    hold: int
    choked: bool


class Sampler:
    """Plays one part of a performance, ``length`` samples long, with the notes of a bank."""

    def __init__(
        self,
        performance: Performance,
        part: str,
        bank: Bank,
        gain_db: Callable[[StruckKey], float] = lambda _: 0.0,
    ) -> None:
        """``gain_db``: how much louder than the SoundFont has it a note is played.

        Raises SoundFontError where no preset can play the part.
        """
        self.performance = performance
        self.part = part
        self.bank = bank
        self.preset = bank.soundfont.preset_for(performance.instrument(part))
        self._gain_db = gain_db
        self._circular = performance.circular
        seconds = performance.clock.length_seconds
        self.length = sample_of(
            seconds if self._circular else seconds + performance.tail, bank.sample_rate
        )
        self._notes = schedule(performance, part, self.preset, bank.sample_rate, self.length)
        self._table: tuple[NoteTable, tuple[Samples, Samples, Samples], int] | None = None

    @property
    def notes(self) -> tuple[ScheduledNote, ...]:
        """The notes in the order of onsets."""
        notes = self._notes
        columns = (notes.onset, notes.key, notes.velocity, notes.hold, notes.choked)
        rows = zip(*(column.tolist() for column in columns), strict=True)
        return tuple(
            ScheduledNote(onset, self._struck(key, velocity), hold, choked)
            for onset, key, velocity, hold, choked in rows
        )

    @property
    def holds(self) -> dict[StruckKey, int]:
        """The notes needed of the bank, each with the longest time (samples) it is held."""
        notes = self._notes
        struck, which = np.unique(notes.key * 128 + notes.velocity, return_inverse=True)
        longest = np.zeros(len(struck), np.int64)
        if self.preset.bank != DRUM_BANK:  # a drum is kept whole, however soon it is struck again
            np.maximum.at(longest, which, notes.hold)
        pairs = zip(struck.tolist(), longest.tolist(), strict=True)
        return {self._struck(*divmod(each, 128)): hold for each, hold in pairs}

    def _struck(self, key: int, velocity: int) -> StruckKey:
        return StruckKey(self.preset.bank, self.preset.program, key, velocity)

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

        After ``prepare`` any thread may do it.
        """
        self.prepare()
        assert self._table is not None
        table, (onsets, ends, which), longest = self._table
        first = int(np.searchsorted(onsets, start - longest))
        last = int(np.searchsorted(onsets, start + len(out)))
        at = first + np.flatnonzero(ends[first:last] > start)
        table.add(out, start, (onsets[at], ends[at], which[at]), pan)

    def prepare(self) -> None:
        """Have the notes rendered, and find the places of all: in a loop each time around."""
        if self._table is not None:
            return
        self.bank.prepare(self.holds)
        notes = self._notes
        # one number for all that sounds alike: sorting rows takes ten times as long
        kinds = (notes.key * 128 + notes.velocity) * 2 + notes.choked
        kinds, which = np.unique(kinds * _HOLDS + notes.hold // BLOCK, return_inverse=True)
        table = NoteTable(self._held(kinds.tolist()))
        onsets, lengths = notes.onset, table.lengths[which]
        if self._circular:
            times = -(-(onsets + lengths) // self.length)
            before = np.repeat(np.cumsum(times) - times, times)
            shift = (np.arange(len(before)) - before) * self.length
            onsets, which = np.repeat(onsets, times) - shift, np.repeat(which, times)
            order = np.argsort(onsets, kind="stable")
            onsets, which = onsets[order], which[order]
            lengths = table.lengths[which]
        places = onsets, onsets + lengths, which.astype(np.int64)
        self._table = table, places, int(lengths.max(initial=0))

    def _held(self, kinds: Iterable[int]) -> list[HeldNote]:
        """Every kind of note (key, velocity, choked, hold) as the loops add it."""
        known: dict[int, tuple[BankNote, float, Gains]] = {}
        held = []
        for kind in kinds:
            struck, blocks = divmod(kind, _HOLDS)
            if struck not in known:
                known[struck] = self._let_go(
                    self._struck(*divmod(struck // 2, 128)), struck % 2 == 1
                )
            held.append(_held_note(*known[struck], blocks))
        return held

    def _let_go(self, struck: StruckKey, choked: bool) -> tuple[BankNote, float, Gains]:
        """A note of the bank, its gain, and the envelope of its release."""
        note = self.bank.note(struck)
        # where the SoundFont itself chokes a drum, the probe that struck it again has measured how
        if choked and note.release.slopes[-1] < CHOKE.slopes[-1] / 2:
            note = BankNote(note.samples, note.gain, CHOKE, note.complete)
        gain = note.gain * 10 ** (self._gain_db(struck) / 20)
        return note, gain, note.release.gains(self.bank.sample_rate)


def _held_note(note: BankNote, gain: float, edges: Gains, blocks: int) -> HeldNote:
    hold = blocks * BLOCK
    length = min(len(note.samples), hold + (len(edges) - 1) * BLOCK)
    if note.filter is None:
        return HeldNote(note.samples, gain, hold, length, edges)
    # after the last knot the filter stays as it is: a factor for each lag will do
    last = note.filter.knots[-1]
    taps = note.filter.at(blocks, last + 1)
    gains = edges[: last + 1] * gain
    lags = (taps[:, : len(gains)] * gains).astype(np.float32)
    late = tuple(float(tap) for tap in taps[:, -1].astype(np.float32))
    return HeldNote(note.samples, gain, hold, length, edges, tuple(lags), hold + last * BLOCK, late)
