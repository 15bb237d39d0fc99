"""How loud the page plays: its own notes are put in time once and measured.

A page has no limiter, which would come late or colour the band. So it is as loud as a track only
as far as the peaks of the band leave room.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backing.combo.part import Note
from backing.mixdown.loudness import integrated_loudness
from backing.practice.page.score import BAND, Line, Score
from backing.practice.page.strip import SAMPLE_RATE, Strip, Voice, Zone

TARGET_LUFS: Final = -16.0
"""As the tracks: AES TD1008 (2021), for music."""
CEILING_DB: Final = -1.5
"""Where the peaks of a measured chorus may lie: other choruses and rooms reach a little higher."""
RELEASE_S: Final = 0.05


def gain_db(score: Score, strip: Strip) -> float:
    """The gain that brings the band to its level, or its peaks to CEILING_DB if that is less."""
    sound = chorus(score, strip)
    peak = float(np.abs(sound).max(initial=0.0))
    if not peak:
        return 0.0
    wanted = TARGET_LUFS - integrated_loudness(sound, SAMPLE_RATE)
    return min(wanted, CEILING_DB - 20 * math.log10(peak))


def chorus(score: Score, strip: Strip) -> NDArray[np.float32]:
    """The first take of the band without its room, float32 (n, 2), in straight time."""
    beat = 60 / float(score.form.tempo)
    voices = {voice.name: voice for voice in strip.voices}
    starts = np.cumsum([0.0, *(float(bar.length) * beat for bar in score.bars)])
    sound = np.zeros((round((starts[-1] + 4) * SAMPLE_RATE), 2), np.float32)
    for line in score.lines:
        if line.name in BAND:
            _play(line, voices[line.name], strip, starts, beat, sound)
    return sound


def _play(
    line: Line,
    voice: Voice,
    strip: Strip,
    starts: NDArray[np.float64],
    beat: float,
    sound: NDArray[np.float32],
) -> None:
    for start, bar in zip(starts, line.takes[0], strict=False):
        for note in bar:
            zone = _zone(voice, note)
            onset = max(0, round((start + float(note.onset) * beat) * SAMPLE_RATE))
            if zone is not None:
                held = _held(zone, note, float(note.length) * beat, voice.kit, strip)
                held = held[: len(sound) - onset]
                sound[onset : onset + len(held)] += held[:, None] * np.asarray(
                    voice.pan, np.float32
                )


def _zone(voice: Voice, note: Note) -> Zone | None:
    near = [zone for zone in voice.zones if note.velocity in zone.gains]
    zone = min(near, key=lambda zone: abs(zone.key - note.pitch), default=None)
    return None if zone is None or (voice.kit and zone.key != note.pitch) else zone


def _held(zone: Zone, note: Note, seconds: float, kit: bool, strip: Strip) -> NDArray[np.float32]:
    start, length = round(zone.start * SAMPLE_RATE), round(zone.length * SAMPLE_RATE)
    sound = strip.samples[start : start + length] * np.float32(zone.gains[note.velocity])
    if kit:
        return sound
    fade = round(RELEASE_S * SAMPLE_RATE)
    end = round(seconds * SAMPLE_RATE) + fade
    ramp = np.clip(np.arange(end, 0, -1, dtype=np.float32) / fade, 0, 1)
    return sound[:end] * ramp[: len(sound)]
