"""How loud the page plays: its own notes are put in time once and measured.

A page has no limiter, which would come late or colour the band. So it is as loud as a track only
as far as the peaks of the band leave room.
"""

from __future__ import annotations

import math
from itertools import accumulate
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backing.combo.part import Note
from backing.mixdown.loudness import integrated_loudness
from backing.page.score import BAND, Score
from backing.page.strip import SAMPLE_RATE, SampledPart, Strip, Zone

TARGET_LUFS: Final = -16.0
"""As the tracks: AES TD1008 (2021), for music."""
CEILING_DB: Final = -1.5
"""Where the peaks of a measured chorus may lie: other choruses and rooms reach a little higher."""
ROOM_LU: Final = 0.6
"""What the room adds (measured); it is not in what is measured here."""
RELEASE_S: Final = 0.05
RING_S: Final = 4.0

Sound = NDArray[np.float32]


def gain_db(score: Score, strip: Strip) -> float:
    """The gain that brings the band to its level, or its peaks to CEILING_DB if that is less."""
    sound = chorus(score, strip)
    peak = float(np.abs(sound).max(initial=0.0))
    if not peak:
        return 0.0
    wanted = TARGET_LUFS - ROOM_LU - integrated_loudness(sound.T, SAMPLE_RATE)
    return min(wanted, CEILING_DB - 20 * math.log10(peak))


def chorus(score: Score, strip: Strip) -> Sound:
    """The first take of the band without its room, float32 (2, n), in straight time."""
    beat = 60 / float(score.form.tempo)
    starts = list(accumulate((float(bar.length) * beat for bar in score.bars), initial=0.0))
    sound = np.zeros((2, round((starts[-1] + RING_S) * SAMPLE_RATE)), np.float32)
    voices = {voice.name: voice for voice in strip.voices}
    for line in score.lines:
        if line.name in BAND:
            voice = voices[line.name]
            part = np.zeros(sound.shape[1], np.float32)
            for start, bar in zip(starts, line.takes[0], strict=False):
                for note in bar:
                    time = start + float(note.onset) * beat, float(note.length) * beat
                    _strike(voice, note, time, strip, part)
            sound += np.asarray(voice.pan, np.float32)[:, None] * part
    return sound


def _strike(
    voice: SampledPart, note: Note, time: tuple[float, float], strip: Strip, part: Sound
) -> None:
    """Add a note to a part at ``time`` (onset and length in seconds), if the voice has it."""
    zone = _zone(voice, note)
    if zone is None:
        return
    onset = max(0, round(time[0] * SAMPLE_RATE))
    held = _held(zone, note, None if voice.kit else time[1], strip)[: len(part) - onset]
    part[onset : onset + len(held)] += held


def _zone(voice: SampledPart, note: Note) -> Zone | None:
    near = [zone for zone in voice.zones if note.velocity in zone.gains]
    zone = min(near, key=lambda zone: abs(zone.key - note.pitch), default=None)
    return None if zone is None or (voice.kit and zone.key != note.pitch) else zone


def _held(zone: Zone, note: Note, seconds: float | None, strip: Strip) -> Sound:
    """A note's samples, let go after ``seconds`` (None: it rings)."""
    start, length = round(zone.start * SAMPLE_RATE), round(zone.length * SAMPLE_RATE)
    sound = strip.samples[start : start + length] * np.float32(zone.gains[note.velocity])
    if seconds is None:
        return sound
    fade = round(RELEASE_S * SAMPLE_RATE)
    end = round(seconds * SAMPLE_RATE) + fade
    ramp = (np.arange(end, 0, -1) / fade).clip(0, 1).astype(np.float32)
    return sound[:end] * ramp[: len(sound)]
