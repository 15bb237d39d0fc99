"""Instruments: General MIDI programs, percussion keys, and which keys choke others.

Programs count from 0, as sent on the wire. Sources: General MIDI level 1 sound set and
percussion key map (MMA RP-003), and the GM2 key list for the brush kit.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Instrument:
    """A sound: its ``name``, General MIDI ``program`` (0-127), and whether it is a drum ``kit``."""

    name: str
    program: int
    kit: bool = False


PIANO = Instrument("acoustic grand piano", 0)
VIBES = Instrument("vibraphone", 11)
ORGAN = Instrument("drawbar organ", 16)
JAZZ_GUITAR = Instrument("jazz guitar", 26)
ACOUSTIC_BASS = Instrument("acoustic bass", 32)
TENOR_SAX = Instrument("tenor sax", 66)
STANDARD_KIT = Instrument("standard kit", 0, kit=True)
JAZZ_KIT = Instrument("jazz kit", 32, kit=True)
BRUSH_KIT = Instrument("brush kit", 40, kit=True)

COMPING = {
    "piano": PIANO,
    "guitar": JAZZ_GUITAR,
    "four": JAZZ_GUITAR,
    "vibes": VIBES,
    "organ": ORGAN,
}
"""The instruments that comp; "four" is rhythm guitar on every beat."""
SHORT_NAMES = {PIANO: "piano", JAZZ_GUITAR: "guitar", VIBES: "vibes", ORGAN: "organ"}
"""Short names of the instruments that comp."""

KICK = 36
SIDE_STICK = 37
SNARE = 38
"""Acoustic snare; in the GM2 brush kit a brush tap."""
BRUSH_SLAP = 39
"""Hand clap in other kits: brush kit only."""
BRUSH_SWIRL = 40
"""Electric snare in other kits: brush kit only."""
CLOSED_HAT = 42
PEDAL_HAT = 44
OPEN_HAT = 46
LOW_TOM = 43
MID_TOM = 47
HIGH_TOM = 50
CRASH = 49
RIDE = 51
RIDE_BELL = 53
HIGH_WOOD_BLOCK = 76
LOW_WOOD_BLOCK = 77
SHAKER = 82

CHOKED_BY = {OPEN_HAT: (CLOSED_HAT, PEDAL_HAT)}
"""Percussion key -> keys that choke it (an open hi-hat is closed by hand or foot)."""
