"""The same notes played by pyfluidsynth itself, dry, one after the other: what ours is held to.

FluidSynth begins and ends notes on blocks of 64 samples, so the notes must lie there too.
"""

from __future__ import annotations

import ctypes
import random
from fractions import Fraction
from typing import Any

import fluidsynth
import numpy as np
from numpy.typing import NDArray

from backing.combo import instruments as gm
from backing.combo.instruments import Instrument
from backing.combo.part import VELOCITIES, Note, Part
from backing.combo.performance import Performance
from backing.mixdown.loops import BLOCK
from backing.mixdown.schedule import sample_of
from backing.mixdown.soundfont import SoundFont
from tests.mixdown.band import RATE, performance

HATS = {gm.CLOSED_HAT, gm.PEDAL_HAT, gm.OPEN_HAT}
COMPASS = {gm.ACOUSTIC_BASS: range(28, 56), gm.VIBES: range(53, 85), gm.TENOR_SAX: range(50, 73)}
CLICKS = (33, 75, 76, 77, 82)
KIT = (36, 37, 38, 42, 43, 44, 46, 47, 49, 50, 51, 53)
BRUSHES = (36, 37, 38, 39, 40, 42, 44, 46, 51)
KEYS = {gm.STANDARD_KIT: KIT + CLICKS, gm.JAZZ_KIT: KIT, gm.BRUSH_KIT: BRUSHES}


def random_phrase(instrument: Instrument, seed: str, strokes: int = 80) -> Performance:
    """Notes and chords at random over the compass of an instrument, on blocks; one bar a second."""
    rng = random.Random(seed)
    pool = KEYS.get(instrument) or COMPASS.get(instrument) or range(48, 77)
    notes: list[Note] = []
    time = 0.1
    for _ in range(strokes):
        keys = rng.sample(list(pool), rng.choice((1, 1, 2, 3)))
        if instrument.kit:  # a hand cannot open and close one hi-hat at once
            keys = [k for i, k in enumerate(keys) if k not in HATS or not HATS & set(keys[:i])]
        for key in keys:
            length = on_block(rng.uniform(0.1, 0.9))
            notes.append(Note(on_block(time), length, key, rng.choice(VELOCITIES[3:]), swung=False))
        time += rng.uniform(0.08, 0.35)
    part = Part.of("solo", instrument, notes)
    return performance(part, beats=int(time) + 1, tempo=Fraction(60), tail=Fraction(5))


def on_block(seconds: float) -> Fraction:
    """The time of the block of 64 samples nearest to ``seconds``."""
    return Fraction(BLOCK * round(seconds * RATE / BLOCK), RATE)


def played_by_fluidsynth(
    soundfont: SoundFont, piece: Performance, length: int
) -> NDArray[np.float64]:
    """The part "solo" of ``piece`` as FluidSynth plays it."""
    instrument = piece.instrument("solo")
    synth = fluidsynth.Synth(
        gain=1.0,
        samplerate=float(RATE),
        channels=16,
        **{
            "synth.dynamic-sample-loading": 1,
            "synth.reverb.active": 0,
            "synth.chorus.active": 0,
            "synth.polyphony": 2048,
        },
    )
    font = synth.sfload(str(soundfont.path))
    preset = soundfont.preset_for(instrument)
    assert synth.program_select(0, font, preset.bank, preset.program) == 0
    events = _events(piece, kit=instrument.kit)
    # a voice never used before begins its first note otherwise than all later ones
    keys = sorted({key for strokes in events.values() for key, _ in strokes})
    for key in (keys * 200)[:200]:
        synth.noteon(0, key, 96)
    _read(synth, BLOCK)
    synth.all_sounds_off(0)
    _read(synth, BLOCK)
    pieces, at = [], 0
    for sample, strokes in sorted(events.items()):
        assert sample % BLOCK == 0
        pieces.append(_read(synth, sample - at))
        at = sample
        for key, velocity in sorted(strokes, key=lambda stroke: stroke[1] > 0):
            if velocity:
                synth.noteon(0, key, velocity)
            else:
                synth.noteoff(0, key)
    pieces.append(_read(synth, -(-(length - at) // BLOCK) * BLOCK))
    synth.delete()
    return np.concatenate(pieces)[:length].astype(np.float64)


def _events(piece: Performance, *, kit: bool) -> dict[int, list[tuple[int, int]]]:
    """Sample -> (key, velocity) of what happens there; velocity 0 lets a key go."""
    notes = [
        (sample_of(n.onset, RATE), sample_of(n.end, RATE), n.note) for n in piece.notes("solo")
    ]
    events: dict[int, list[tuple[int, int]]] = {}
    for onset, end, note in notes:
        events.setdefault(onset, []).append((note.pitch, note.velocity))
        again = any(onset < o <= end and n.pitch == note.pitch for o, _, n in notes)
        if not kit and not again:
            events.setdefault(end, []).append((note.pitch, 0))
    return events


def _read(synth: Any, samples: int) -> NDArray[np.float32]:
    sound = np.empty((samples, 2), np.float32)
    write = fluidsynth._fl.fluid_synth_write_float
    at = ctypes.c_void_p(sound.ctypes.data)
    write(ctypes.c_void_p(synth.synth), samples, at, 0, 2, at, 1, 2)
    return sound


def residual_db(reference: NDArray[np.float64], ours: NDArray[np.float32]) -> float:
    """The energy of the difference against that of the reference, dB."""
    wrong = np.sum(np.square(reference - ours)) / np.sum(np.square(reference))
    return float(10 * np.log10(wrong + 1e-30))
