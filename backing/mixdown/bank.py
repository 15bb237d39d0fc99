"""The bank of notes: each distinct held note of the band, rendered once, dry.

A tone (preset, key, velocity) is rendered as long as it is ever held; how it dies away when it is
let go, and whether a softer or louder one is the same waveform times a gain, is measured once (see
``rendering``).

What the bank holds for a tone never depends on which other tones are needed, on threads, or on how
long it was needed the last time: a longer rendering begins with the shorter.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from backing.mixdown.crew import mapped
from backing.mixdown.release import Colour, Release
from backing.mixdown.rendering import REFERENCE_VELOCITY, needed, rendered
from backing.mixdown.soundfont import SoundFont
from backing.mixdown.synth import Audio, Synth
from backing.mixdown.tone import Group, Law, Rendered, Tone

if TYPE_CHECKING:  # it takes as long to load as all the rest, and a track may do without
    from backing.mixdown.note_store import NoteStore


@dataclass(frozen=True, slots=True, eq=False)
class BankNote:
    """A held note: ``samples`` float32 (n, 2), to be multiplied by ``gain``.

    ``complete``: it has died away by the end of ``samples``; if not, it can be had longer.
    """

    samples: Audio
    gain: float
    release: Release
    complete: bool
    colour: Colour | None = None


class Bank:
    """The notes of one SoundFont at one sample rate, rendered when they are needed."""

    def __init__(
        self,
        soundfont: SoundFont,
        sample_rate: int = 44100,
        workers: int | None = None,
        store: NoteStore | None = None,
    ) -> None:
        """``workers``: how many render at once (None: one for each processor, at most four).

        ``store``: where notes are kept for the next time, if anywhere.
        """
        self.soundfont = soundfont
        self._store = store
        self.sample_rate = sample_rate
        self._workers = workers or min(4, os.cpu_count() or 1)
        self._laws: dict[Tone, Law] = {}
        self._samples: dict[Tone, tuple[Audio, bool]] = {}

    @property
    def cold(self) -> bool:
        """Whether nothing is there yet, and nothing was kept: notes will have to be rendered."""
        return not self._laws and (self._store is None or self._store.empty)

    def prepare(
        self, holds: Mapping[Tone, int], progress: Callable[[float], None] | None = None
    ) -> None:
        """Render the tones in ``holds``, each for as many samples as it is ever held.

        A drum needs no length: it is rendered until it has died away. ``progress`` is told how
        much is done, up to 1. Raises MissingProgram or SoundFontError.
        """
        groups = self._missing(holds)
        if not groups:
            return
        if self._store is not None:
            for group in groups:
                self._take_in(self._store.load(group))
            groups = self._missing(holds)
        if groups:
            self._render(groups, progress)
        if self._store is not None:
            self._store.used()

    def _render(
        self,
        groups: Mapping[Group, dict[Tone, int]],
        progress: Callable[[float], None] | None,
    ) -> None:
        if progress:
            progress(0)
        jobs = sorted(groups.values(), key=len, reverse=True)  # the longest first
        for done, found in enumerate(mapped(partial(self._desk, groups), jobs, self._workers), 1):
            self._take_in(found)
            if progress:
                progress(done / len(jobs))
        if self._store is not None:
            for group in groups:
                self._store.save(group, self._known(group))

    def _missing(self, holds: Mapping[Tone, int]) -> dict[Group, dict[Tone, int]]:
        """The tones that are not there long enough, by preset and key."""
        groups: dict[Group, dict[Tone, int]] = {}
        for tone, hold in sorted(holds.items()):
            if not self._covers(tone, hold):
                groups.setdefault(tone[:3], {})[tone] = hold
        return groups

    def _take_in(self, found: Rendered | None) -> None:
        if found is not None:
            laws, samples = found
            self._laws.update(laws)
            self._samples.update(samples)

    def _known(self, group: Group) -> Rendered:
        """All that is known of a key of a preset."""
        laws = {tone: law for tone, law in self._laws.items() if tone[:3] == group}
        samples = {tone: held for tone, held in self._samples.items() if tone[:3] == group}
        return laws, samples

    def lacks(self, holds: Mapping[Tone, int]) -> bool:
        """Whether ``prepare`` would have anything to render."""
        return not all(self._covers(tone, hold) for tone, hold in holds.items())

    def note(self, tone: Tone, hold: int = 0) -> BankNote:
        """The note of a tone, long enough to be held for ``hold`` samples and let go then."""
        self.prepare({tone: hold})
        law = self._laws[tone]
        samples, complete = self._samples[law.source]
        return BankNote(samples, law.gain, law.release, complete, law.colour)

    @property
    def bytes_held(self) -> int:
        """The memory that the samples take."""
        return sum(samples.nbytes for samples, _ in self._samples.values())

    def _covers(self, tone: Tone, hold: int) -> bool:
        law = self._laws.get(tone)
        return law is not None and self._lasts(
            law.source, needed(tone, hold, law.release, self.sample_rate)
        )

    def _lasts(self, source: Tone, need: int) -> bool:
        """Whether the samples of a tone are there, ``need`` of them or all there are."""
        samples, complete = self._samples.get(source, (None, False))
        return samples is not None and (complete or len(samples) >= need)

    @contextmanager
    def _desk(
        self, groups: Mapping[Group, Iterable[Tone]]
    ) -> Iterator[Callable[[dict[Tone, int]], Rendered]]:
        """The desk of a worker: a synth for these tones."""
        tones = {tone for group in groups.values() for tone in group}
        tones |= {tone._replace(velocity=REFERENCE_VELOCITY) for tone in tones}
        with Synth(self.soundfont, self.sample_rate, tones) as synth:
            for bank, program, _ in groups:
                synth.channel(bank, program)
            yield lambda group: self._rendered(synth, group)

    def _rendered(self, synth: Synth, group: dict[Tone, int]) -> Rendered:
        return rendered(synth, group, self._laws, self._lasts, self.sample_rate)
