"""A tone of a preset, and what is known of it once it has been rendered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from backing.mixdown.release import Colour, Release
from backing.mixdown.soundfont import DRUM_BANK
from backing.mixdown.synth import Audio


class Tone(NamedTuple):
    """What is struck: a preset's ``bank`` and ``program``, the ``key`` and the ``velocity``."""

    bank: int
    program: int
    key: int
    velocity: int

    @property
    def kit(self) -> bool:
        """Whether it is a drum, which rings until it is struck again."""
        return self.bank == DRUM_BANK


@dataclass(frozen=True, slots=True)
class Law:
    """What the probes say of a tone: the tone whose samples it uses, its gain, its release."""

    source: Tone
    gain: float
    release: Release
    colour: Colour | None


Group = tuple[int, int, int]
"""The bank, program and key that some tones share."""
Rendered = tuple[dict[Tone, Law], dict[Tone, tuple[Audio, bool]]]
"""The laws of some tones, and the samples of their sources, with whether they are complete."""
