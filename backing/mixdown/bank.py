"""The bank of notes: each distinct held note of the band, rendered once, dry.

A note (preset, key, velocity) is rendered as long as it is ever held; how it dies away when it is
let go, and whether a softer or louder one is the same waveform times a gain, is measured once (see
``probing``). What the bank holds for a note never depends on which others are needed, on threads,
or on how long it was needed before: a longer rendering begins with the shorter.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from itertools import chain

from backing.mixdown.decay import Release, ReleaseFilter
from backing.mixdown.loops import Audio
from backing.mixdown.probing import (
    REFERENCE_VELOCITY,
    NoteModel,
    StruckKey,
    needed,
    rendered,
)
from backing.mixdown.sample_subset import loadable
from backing.mixdown.soundfont import SoundFont
from backing.mixdown.synth import Synth
from backing.mixdown.threads import in_order, usual_threads


@dataclass(frozen=True, slots=True, eq=False)
class BankNote:
    """A held note: ``samples`` float32 (n, 2), to be multiplied by ``gain``.

    ``complete``: it has died away by the end of ``samples``; if not, it can be had longer.
    """

    samples: Audio
    gain: float
    release: Release
    complete: bool
    filter: ReleaseFilter | None = None


class Bank:
    """The notes of one SoundFont at one sample rate, rendered when they are needed."""

    def __init__(
        self, soundfont: SoundFont, sample_rate: int = 44100, threads: int | None = None
    ) -> None:
        """``threads``: how many render at once (None: one for each processor, at most four)."""
        self.soundfont = soundfont
        self.sample_rate = sample_rate
        self._threads = threads or usual_threads()
        self._models: dict[StruckKey, NoteModel] = {}
        self._samples: dict[StruckKey, tuple[Audio, bool]] = {}

    def prepare(
        self, holds: Mapping[StruckKey, int], progress: Callable[[float], None] | None = None
    ) -> None:
        """Render the notes in ``holds``, each for as many samples as it is ever held.

        A drum needs no length: it is rendered until it has died away. ``progress`` is told how
        much is done, up to 1. Raises MissingProgram or SoundFontError.
        """
        groups: dict[tuple[int, ...], dict[StruckKey, int]] = {}
        for note, hold in sorted(holds.items()):
            if not self._covers(note, hold):
                groups.setdefault(note[:3], {})[note] = hold
        if not groups:
            return
        jobs = sorted(groups.values(), key=len, reverse=True)  # the longest first
        mine = threading.local()
        needed_samples = [
            note._replace(velocity=velocity)
            for note in chain(*jobs)
            for velocity in (note.velocity, REFERENCE_VELOCITY)
        ]
        with loadable(self.soundfont, needed_samples) as path, ExitStack() as stack:

            def render(group: dict[StruckKey, int]) -> None:
                if not hasattr(mine, "synth"):
                    mine.synth = stack.enter_context(Synth(self.soundfont, self.sample_rate, path))
                models, samples = rendered(
                    mine.synth, group, self._models, self._lasts, self.sample_rate
                )
                self._models.update(models)
                self._samples.update(samples)

            for done, _ in enumerate(in_order(render, jobs, self._threads), 1):
                if progress:
                    progress(done / len(jobs))

    def lacks(self, holds: Mapping[StruckKey, int]) -> bool:
        """Whether ``prepare`` would have anything to render."""
        return not all(self._covers(note, hold) for note, hold in holds.items())

    def note(self, struck: StruckKey, hold: int = 0) -> BankNote:
        """A note long enough to be held for ``hold`` samples and then let go."""
        self.prepare({struck: hold})
        model = self._models[struck]
        samples, complete = self._samples[model.source]
        return BankNote(samples, model.gain, model.release, complete, model.filter)

    @property
    def bytes_held(self) -> int:
        """The memory that the samples take."""
        return sum(samples.nbytes for samples, _ in self._samples.values())

    def _covers(self, note: StruckKey, hold: int) -> bool:
        model = self._models.get(note)
        return model is not None and self._lasts(
            model.source, needed(note, hold, model.release, self.sample_rate)
        )

    def _lasts(self, source: StruckKey, need: int) -> bool:
        """Whether the samples of a source are there, ``need`` of them or all there are."""
        samples, complete = self._samples.get(source, (None, False))
        return samples is not None and (complete or len(samples) >= need)
