"""Hear a take: a recording, or a MIDI file, becomes notes; what can't be judged is said."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from backing.reading import guarded
from backing.take.features import (
    BINS,
    FINE_HOP,
    HARMONICS,
    HOP,
    RATE,
    WINDOW,
    Floats,
    Frames,
    Power,
    frames,
    joined,
    power_of,
)
from backing.take.heard import Heard, HeardNote
from backing.take.leakage import Leakage, Piece
from backing.take.listening import RATIO, VOICED, listen
from backing.take.midi_take import MIDI, read_midi
from backing.take.recording import CURE, pieces

SILENT_DB = -60.0
"""The loudest a silent recording gets."""
TUNED = 0.3
"""How clearly pitches gather around half steps, from 0 to 1: speech doesn't."""
ALONE = 0.82
"""The part of the strength in the harmonics of one pitch, below which several sound at once."""
LEAKS = 0.9
MOST_FRAMES = 5000
FEW_VOICED = 0.35
MISTUNED = 15.0
"""Cents from A 440 that are told of."""
CLEAN_DB = 35.0
"""From the loud moments down to the quiet ones, where a soft note would be heard between."""

SENTENCES = {
    "empty": "The recording is empty.",
    "silent": "There is nothing to hear: the loudest moment is at {db} dB.",
    "noise": "No clear pitches are heard: this sounds like noise, drums or chords, not a line.",
    "speech": "The pitches don't gather around half steps: this sounds like speech, not a line.",
    "several": (
        "Several notes sound at once, or the band is as loud as you: play one note at a time, "
        "with headphones on."
    ),
    "tuning": "Your instrument is {cents} cents {way}, which is allowed for.",
    "leaks": "Put headphones on: the band is heard in the recording, and hides notes.",
}
"""What is said of a recording, which the page says too."""


def hear(path: Path, leakage: Leakage | None = None) -> Heard:
    """The notes of a take, the band of ``leakage`` taken out. Raises UserError for what can't be
    read, MissingProgram for what has to be installed."""
    with guarded(f"{path} can't be heard", CURE):
        return _heard(path, leakage)


def _heard(path: Path, leakage: Leakage | None) -> Heard:
    if path.suffix.lower() in MIDI:
        return read_midi(path)
    found, seconds = _frames(_pieces(path, leakage))
    if found is None:
        return Heard((), seconds, voiced=0.0, refusal=SENTENCES["empty"])
    loudest = float(found.loudness.max())
    if loudest < SILENT_DB:
        return Heard(
            (),
            seconds,
            voiced=0.0,
            refusal=SENTENCES["silent"].format(db=f"{loudest:.0f}"),
        )
    alone = _Alone(found)
    heard = listen(found, alone.passing(_powers(_pieces(path, leakage))))
    return Heard(
        heard.notes,
        seconds,
        heard.tuning_cents,
        heard.doubts,
        heard.voiced,
        clean=_clean(found, heard.notes),
        refusal=_refusal(found, heard.voiced, alone.part),
        remarks=_remarks(heard.tuning_cents, alone.part),
        leaks=alone.part < LEAKS,
    )


def _pieces(path: Path, leakage: Leakage | None) -> Iterator[Piece]:
    return pieces(path) if leakage is None else leakage.taken_out(pieces(path))


def _frames(recording: Iterator[Piece]) -> tuple[Frames | None, float]:
    """All frames of a recording, and its length in seconds."""
    parts: list[Frames] = []
    samples = 0
    for sound, before, after in recording:
        own = len(sound) - before - after
        samples += own
        if own >= WINDOW:
            parts.append(frames(sound).part(slice(before // HOP, (before + own) // HOP)))
    return (joined(parts) if parts else None), samples / RATE


def _powers(recording: Iterator[Piece]) -> Iterator[Power]:
    """The power of the fine frames, piece by piece: an hour of it would be 230 MB."""
    for sound, before, after in recording:
        own = len(sound) - before - after
        if own >= WINDOW:
            first, last = (at // HOP * HOP // FINE_HOP for at in (before, before + own))
            yield power_of(sound)[first:last]


def tuned(found: Frames) -> float:
    """How clearly the pitches gather around half steps, wherever these lie: 0 to 1."""
    clear = found.pitch[found.confidence > 0.8]
    return float(abs(np.exp(2j * np.pi * clear).mean())) if len(clear) else 0.0


class _Alone:
    """How much of the strength lies in the harmonics of the pitches heard."""

    def __init__(self, found: Frames) -> None:
        at = np.flatnonzero((found.confidence >= VOICED) & (found.pitch > 45))
        self._at = at[:: len(at) // MOST_FRAMES + 1]
        self._pitch = found.pitch
        self._parts: list[Floats] = []

    def passing(self, powers: Iterator[Power]) -> Iterator[Power]:
        """The same pieces, which are looked at on the way."""
        first = 0
        for power in powers:
            rows = self._at * RATIO - first
            inside = (rows >= 0) & (rows < len(power))
            self._parts.append(_own_part(power[rows[inside]], self._pitch[self._at[inside]]))
            first += len(power)
            yield power

    @property
    def part(self) -> float:
        """From 0 to 1, the middle frame of those that passed."""
        parts = np.concatenate(self._parts) if self._parts else np.zeros(0)
        return float(np.median(parts)) if len(parts) >= 8 else 1.0


def _own_part(power: Power, pitch: Floats) -> Floats:
    """The part of each frame's strength that lies in the harmonics of its pitch."""
    strength: Floats = 10 ** (power.astype(float) / 10)
    hz = 440 * 2 ** ((pitch - 69) / 12)
    width = RATE / WINDOW
    low, high = int(80 / width), int(3000 / width)
    total = strength[:, low:high].sum(axis=1) + 1e-9
    mine: Floats = np.zeros(len(pitch))
    rows = np.arange(len(pitch))
    taken = np.zeros_like(strength, bool)
    for number in range(1, 4 * HARMONICS):
        middle = np.rint(hz * number / width).astype(int)
        for side in (-1, 0, 1):
            bins = np.clip(middle + side, 0, BINS - 1)
            inside = (bins >= low) & (bins < high) & ~taken[rows, bins]
            mine += np.where(inside, strength[rows, bins], 0.0)
            taken[rows, bins] = True
    found: Floats = mine / total
    return found


def _clean(found: Frames, notes: Sequence[HeardNote]) -> bool:
    """Whether the quietest moments between the notes lie far below the loud ones."""
    if len(notes) < 2:
        return False
    first, last = (int(notes[at].onset * RATE / HOP) for at in (0, -1))
    quiet, loud = np.percentile(found.loudness[first : last + 1], (3, 75))
    return bool(loud - quiet >= CLEAN_DB)


def _refusal(found: Frames, voiced: float, alone: float) -> str:
    """Why a take is not judged, "" where it can be."""
    if voiced < FEW_VOICED:
        return SENTENCES["noise"]
    if tuned(found) < TUNED:
        return SENTENCES["speech"]
    if alone < ALONE:
        return SENTENCES["several"]
    return ""


def _remarks(tuning: float, alone: float) -> tuple[str, ...]:
    told = []
    if abs(tuning) >= MISTUNED:
        way = "sharp" if tuning > 0 else "flat"
        told.append(SENTENCES["tuning"].format(cents=f"{abs(tuning):.0f}", way=way))
    if alone < LEAKS:
        told.append(SENTENCES["leaks"])
    return tuple(told)
