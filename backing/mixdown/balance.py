"""Balance the players: measured for the SoundFont at hand, never guessed from MIDI volumes.

SoundFonts differ by 15 dB in how loud a ride is against a bass. So each player, and in a kit each
piece, plays a short standard passage; its loudness (BS.1770) says what gain brings it to its level
in the mix. The levels are those of a mix to practise with (common practice, no source): bass and
ride lead the time and the form, the comp stands behind, the kick is felt rather than heard, a
guide-tone line is plain above the comp, and the click is on top of everything.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np

from backing.combo import instruments as gm
from backing.combo.feel import Clock
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass
from backing.mixdown.bank import Bank
from backing.mixdown.loudness import integrated_loudness
from backing.mixdown.probing import StruckKey
from backing.mixdown.sampler import Sampler
from backing.routine import Pass, Purpose

BASS_LUFS: Final = -20.0
"""Loudness of the bass before the whole is brought to its level; the others follow from it."""
PASSAGE_BPM: Final = 144
"""Passages are some bars of 4/4, played round and round."""
LARGEST_GAIN_DB: Final = 40.0
"""A preset that would need more is silent; its noise is not amplified."""

Passage = tuple[tuple[float, int, int, float], ...]
"""Onset in beats, key, velocity, length in beats."""


@dataclass(frozen=True, slots=True)
class MixLevel:
    """How loud somebody is in the mix: ``level_lu`` against the bass, when playing ``passage``.

    The passage is ``beats`` long.
    """

    level_lu: float
    passage: Passage
    beats: int = 8


def _each(keys: Iterable[int], velocity: int, beats: Iterable[float], length: float) -> Passage:
    return tuple((beat, key, velocity, length) for beat in beats for key in keys)


_WALK = (38, 41, 45, 43, 36, 40, 43, 34)
_DM7 = (53, 57, 60, 64)
"""Without its root, third below: F A C E."""
_G7 = (53, 57, 59, 64)
_COMPING = (
    *_each(_DM7, 72, (0.0,), 0.7),
    *_each(_DM7, 64, (1.5,), 0.3),
    *_each(_G7, 64, (3.5,), 1.5),
    *_each(_G7, 56, (6.5,), 0.3),
)
_GUIDE_LINE = (
    # keys of several samples: in FluidR3's vibraphone 64 to 66 are 4 dB softer than the others
    (0, 68, 72, 3.95), (4, 65, 72, 1.95), (6, 70, 72, 1.95), (8, 72, 72, 3.95), (12, 61, 72, 3.95),
)  # fmt: skip
_MELODY = (62, 65, 69, 72, 71, 67, 65, 62, 64, 67, 71, 74, 72, 69, 65, 64)

PLAYERS: Final = {
    "bass": MixLevel(0.0, tuple((n, key, 80, 0.95) for n, key in enumerate(_WALK))),
    "comp": MixLevel(-3.0, _COMPING),
    "guide": MixLevel(-2.9, _GUIDE_LINE, beats=16),
    "line": MixLevel(-1.0, tuple((n / 2, key, 72, 0.45) for n, key in enumerate(_MELODY))),
}
"""Pitched parts by name; one of another name stands where the guide line does."""

_BAR = tuple(range(8))
_BACKBEAT = (1, 3, 5, 7)
_RIDE = tuple(
    (bar + beat, gm.RIDE, on, 1.0)
    for bar in (0, 4)
    for beat, on in ((0.0, 72), (1.0, 88), (1.67, 72), (2.0, 72), (3.0, 88), (3.67, 72))
)

PIECES: Final = {
    "ride": MixLevel(-4.5, _RIDE),
    "bell": MixLevel(-6.0, _each((gm.RIDE_BELL,), 72, _BAR, 1.0)),
    "foot": MixLevel(-13.0, _each((gm.PEDAL_HAT,), 72, _BACKBEAT, 1.0)),
    "hat": MixLevel(-7.5, _each((gm.CLOSED_HAT,), 64, _BAR, 1.0)),
    # feathered on all four
    "kick": MixLevel(-15.0, _each((gm.KICK,), 40, _BAR, 1.0)),
    "snare": MixLevel(-12.0, _each((gm.SNARE,), 56, _BACKBEAT, 1.0)),
    "stick": MixLevel(-9.0, _each((gm.SIDE_STICK,), 56, _BACKBEAT, 1.0)),
    # brushes keep the time
    "tap": MixLevel(-7.5, _each((gm.SNARE,), 48, _BAR, 1.0)),
    "slap": MixLevel(-8.0, _each((gm.BRUSH_SLAP,), 56, _BACKBEAT, 1.0)),
    "swirl": MixLevel(-8.0, _each((gm.BRUSH_SWIRL,), 56, _BACKBEAT, 1.0)),
    "toms": MixLevel(-8.0, _each((gm.LOW_TOM, gm.MID_TOM), 64, (0, 2, 4, 6), 1.0)),
    "crash": MixLevel(-5.0, _each((gm.CRASH,), 72, (0,), 8.0)),
}
_PIECE_OF: Final = {
    35: "kick", gm.KICK: "kick", gm.SIDE_STICK: "stick", gm.SNARE: "snare", gm.BRUSH_SLAP: "slap",
    gm.BRUSH_SWIRL: "swirl", gm.CLOSED_HAT: "hat", gm.OPEN_HAT: "hat", gm.PEDAL_HAT: "foot",
    gm.RIDE: "ride", 59: "ride", gm.RIDE_BELL: "bell", gm.CRASH: "crash", 52: "crash",
    55: "crash", 57: "crash", 41: "toms", 43: "toms", 45: "toms", 47: "toms", 48: "toms",
    50: "toms",
}  # fmt: skip
"""General MIDI percussion keys (MMA RP-003) -> pieces of the kit."""
_SMALL_PERCUSSION_LU: Final = -11.0
_CLICK_LU: Final = -5.0
"""Of a click and of counting sticks. Blocks of 400 ms smear a click: at this level its strokes
stand well above the band."""

PANS: Final = {"comp": -0.25, "guide": 0.25}
"""From -1 (left) to 1 (right); everybody else sits in the middle, as the SoundFont spread them."""


def pan_gains(part: str) -> tuple[float, float]:
    """Gains for left and right: constant power, 1 and 1 in the middle."""
    angle = (PANS.get(part, 0.0) + 1) * math.pi / 4
    if part not in PANS:
        return 1.0, 1.0
    return math.sqrt(2) * math.cos(angle), math.sqrt(2) * math.sin(angle)


def level_of(part: str, note: StruckKey) -> tuple[str, MixLevel]:
    """How loud a note of a part should be, and a name for what has that level."""
    if not note.kit:
        name = part if part in PLAYERS else "guide"
        return name, PLAYERS[name]
    if part in {"click", "count"}:
        return f"{part} {note.key}", MixLevel(_CLICK_LU, _each((note.key,), 88, _BAR, 1.0))
    piece = _PIECE_OF.get(note.key)
    if piece is None:
        every_beat = _each((note.key,), 64, _BAR, 1.0)
        return f"percussion {note.key}", MixLevel(_SMALL_PERCUSSION_LU, every_beat)
    if piece == "snare" and note.program == gm.BRUSH_KIT.program:
        piece = "tap"
    return piece, PIECES[piece]


class Balance:
    """The gains that bring the presets of one bank to their levels."""

    def __init__(self, bank: Bank) -> None:
        self._bank = bank
        self._gains: dict[tuple[int, int, str], float] = {}
        self._passages: dict[tuple[int, int, MixLevel], Sampler] = {}

    def needs(self, part: str, notes: Iterable[StruckKey]) -> Iterator[tuple[StruckKey, int]]:
        """The notes and holds (samples) that ``gain_db`` will ask of the bank for these notes.

        Asked for beforehand they are rendered together with the rest, on all processors.
        """
        named = {level_of(part, note)[0]: note for note in notes}
        for note in named.values():
            yield from self._passage(note, level_of(part, note)[1]).holds.items()

    def gain_db(self, part: str, note: StruckKey) -> float:
        """The gain for a note of a part; 0 where the SoundFont is silent."""
        name, level = level_of(part, note)
        which = note.bank, note.program, name
        if which not in self._gains:
            loudness = self.passage_lufs(note, level)
            # in hundredths: the last bits depend on the processor
            gain = round(BASS_LUFS + level.level_lu - loudness, 2)
            self._gains[which] = gain if gain < LARGEST_GAIN_DB else 0.0
        return self._gains[which]

    def passage_lufs(self, note: StruckKey, level: MixLevel) -> float:
        """The loudness of the standard passage of a level, played by the preset of ``note``."""
        sampler = self._passage(note, level)
        sound = sampler.render(0, sampler.length)
        # at full scale: the absolute gate shall not depend on how soft the SoundFont is
        peak = float(np.abs(sound).max()) or 1.0
        sound /= np.float32(peak)
        twice = np.concatenate([sound, sound])
        return integrated_loudness(twice, self._bank.sample_rate) + 20 * math.log10(peak)

    def _passage(self, note: StruckKey, level: MixLevel) -> Sampler:
        """The passage as a loop, played as everything is."""
        which = note.bank, note.program, level
        if which not in self._passages:
            self._passages[which] = self._looped(note, level)
        return self._passages[which]

    def _looped(self, struck: StruckKey, level: MixLevel) -> Sampler:
        notes = (
            Note(Fraction(at).limit_denominator(12), Fraction(length), key, velocity, swung=False)
            for at, key, velocity, length in level.passage
        )
        part = Part.of("passage", gm.Instrument("passage", struck.program, struck.kit), notes)
        beats, tempo = Fraction(level.beats), Fraction(PASSAGE_BPM)
        clock = Clock([(beats, tempo, Fraction(1))])
        once = PlayedPass(Pass(Purpose.TIME, (), tempo), Fraction(0), (part,))
        loop = Performance("Passage", (once,), clock, circular=True)
        return Sampler(loop, part.name, self._bank)
