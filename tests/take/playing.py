"""Takes for the tests: lines of the band's own études, played by FluidSynth as a player records
them: dry, in a room, in noise, with the band in the room, and with a human's touch."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import backing
from backing.combo.performance import Performance
from backing.mixdown.synth import load_library
from backing.routine.routine import Routine
from backing.take.course import Course, make_course
from backing.take.heard import Heard, HeardNote

RATE = 44100
ROOT = Path(__file__).parents[2]
INSTRUMENTS = {"guitar": (26, 0), "alto": (65, 0), "tenor": (66, 0), "bass": (33, -12)}
"""General MIDI program, and half steps from the pitch of the étude."""
ETUDES = (
    ("corner-booth", 80, "etude level 3", "A"),
    ("corner-booth", 140, "etude level 4", "A B"),
    ("stairwell-study", 220, "etude level 2", "1-16"),
    ("corner-booth", 280, "etude level 1", "A B"),
)
"""Tune, bpm, line, bars."""
Sound = NDArray[np.float32]
ROUTINES: dict[int, Routine] = {}
"""The routine of each performance made here."""


@dataclass(frozen=True, slots=True)
class Struck:
    """A note as it is played: seconds, MIDI pitch, velocity; ``cents`` off, ``scoop`` cents from
    below at its start, ``vibrato`` cents wide."""

    onset: float
    end: float
    pitch: int
    velocity: int = 90
    cents: float = 0.0
    scoop: float = 0.0
    vibrato: float = 0.0

    def moved(self, seconds: float) -> Struck:
        """The same note later."""
        return replace(self, onset=self.onset + seconds, end=self.end + seconds)


@lru_cache(maxsize=32)
def performed(
    tune: str, bpm: int, line: str, bars: str, *, seed: int = 7, times: int = 1
) -> Performance:
    """Times through a loop, after a count, with the band and a line."""
    form = backing.read_file(ROOT / "tunes" / f"{tune}.tune")
    routine = backing.make_routine(form, backing.Request(bars=bars, tempo=bpm, times=times))
    played = backing.arrange(routine, backing.Band(line=backing.read_line(line), seed=seed))
    ROUTINES[id(played)] = routine
    return played


def line_of(played: Performance, semitones: int = 0) -> list[Struck]:
    """The notes of the line in time."""
    return [
        Struck(float(n.onset), float(n.end), n.note.pitch + semitones, n.note.velocity)
        for n in played.notes("line")
    ]


def human(notes: Sequence[Struck], seed: int = 3) -> list[Struck]:
    """The same notes with uneven touch: velocity 15-115, scoops, vibrato, 15 cents sharp, a few
    milliseconds off, some overlapping the next."""
    dice = random.Random(seed)
    made = []
    for note in notes:
        length = note.end - note.onset
        made.append(
            replace(
                note,
                onset=note.onset + dice.gauss(0, 0.008),
                end=note.end + dice.choice((-0.2, -0.1, 0, 0.03)) * min(length, 0.3),
                velocity=min(115, max(15, round(dice.gauss(72, 24)))),
                cents=15.0,
                scoop=dice.choice((0, 0, 0, 60, 90)),
                vibrato=25.0 if length > 0.35 else 0.0,
            )
        )
    return made


def sounded(
    parts: Iterable[tuple[int, bool, Sequence[Struck]]], seconds: float, font: Path
) -> Sound:
    """Parts (program, whether a kit, notes) played by FluidSynth, mono at RATE."""
    library = load_library()
    synth = library.Synth(gain=0.5, samplerate=float(RATE))
    handle = synth.sfload(str(font))
    events: list[tuple[float, int, str, tuple[int, ...]]] = []
    for at, (program, kit, notes) in enumerate(parts):
        channel = 9 if kit else at if at < 9 else at + 1
        synth.program_select(channel, handle, 128 if kit else 0, program)
        for note in notes:
            events.append((note.onset, 1, "on", (channel, note.pitch, note.velocity)))
            events.append((note.end, 0, "off", (channel, note.pitch)))
            events += _bends(channel, note)
    out = np.zeros(int(seconds * RATE), np.float32)
    done = 0
    for time, _, what, args in sorted(events, key=lambda e: (e[0], e[1])):
        until = min(max(done, int(time * RATE)), len(out))
        done = _read(synth, out, done, until)
        {"on": synth.noteon, "off": synth.noteoff, "bend": synth.pitch_bend}[what](*args)
    _read(synth, out, done, len(out))
    synth.delete()
    return out


def _read(synth: object, out: Sound, done: int, until: int) -> int:
    if until > done:
        samples = synth.get_samples(until - done)  # type: ignore[attr-defined]
        out[done:until] = samples.reshape(-1, 2).mean(axis=1) / 32768
    return until


def _bends(channel: int, note: Struck) -> list[tuple[float, int, str, tuple[int, ...]]]:
    if not (note.cents or note.scoop or note.vibrato):
        return []
    found = []
    length = max(note.end - note.onset, 0.02)
    for step in range(int(length / 0.01) + 1):
        t = step * 0.01
        cents = note.cents - note.scoop * max(0.0, 1 - t / 0.06)
        if t > 0.15:
            cents += note.vibrato * np.sin(2 * np.pi * 5.5 * (t - 0.15))
        bend = int(cents / 200 * 8192)
        found.append((note.onset + t - (0.001 if step == 0 else 0), 0, "bend", (channel, bend)))
    return found


def band_sound(played: Performance, font: Path) -> Sound:
    """The band without the line."""
    parts = []
    for name in played.part_names:
        if name != "line":
            instrument = played.instrument(name)
            notes = [
                Struck(max(0.0, float(n.onset)), float(n.end), n.note.pitch, n.note.velocity)
                for n in played.notes(name)
            ]
            parts.append((instrument.program, instrument.kit, notes))
    return sounded(parts, float(played.clock.length_seconds) + 1, font)


def solo_sound(notes: Sequence[Struck], program: int, seconds: float, font: Path) -> Sound:
    """A line alone, its loud parts at -20 dB below full scale."""
    sound = sounded([(program, False, notes)], seconds, font)
    return sound * np.float32(0.1 / max(level(sound), 1e-9))


def level(sound: Sound) -> float:
    """RMS over the samples that sound."""
    loud = sound[np.abs(sound) > 1e-4]
    return float(np.sqrt(np.mean(loud**2))) if len(loud) else 0.0


def mixed(line: Sound, other: Sound, db: float) -> Sound:
    """``other`` added, so many dB below the line (negative)."""
    size = min(len(line), len(other))
    gain = level(line) / max(level(other), 1e-9) * 10 ** (db / 20)
    made = line.copy()
    made[:size] += np.float32(gain) * other[:size]
    return made


def noisy(line: Sound, db: float = 20, seed: int = 1) -> Sound:
    """White noise ``db`` below the line."""
    noise = np.random.default_rng(seed).standard_normal(len(line)).astype(np.float32)
    return mixed(line, noise, -db)


def in_room(line: Sound, seconds: float = 0.45, seed: int = 2) -> Sound:
    """A room with ``seconds`` of reverberation (to -60 dB), its sound 9 dB below the direct one."""
    dice = np.random.default_rng(seed)
    size = int(RATE * seconds)
    tail = dice.standard_normal(size) * 10 ** (-3 * np.arange(size) / size)
    wet = np.fft.irfft(np.fft.rfft(line, len(line) + size) * np.fft.rfft(tail, len(line) + size))[
        : len(line)
    ].astype(np.float32)
    return mixed(line, wet, -9)


def course_for(played: Performance, line: str = "", seed: int = 7) -> Course:
    """What a take over a performance is held against; with a ``line``, it plays one."""
    routine = ROUTINES[id(played)]
    band = (
        backing.Band(line=backing.read_line(line), seed=seed) if line else backing.Band(seed=seed)
    )
    return make_course(routine, backing.arrange(routine, band), band)


def take_of(played: Performance, line: str, jitter: float = 0.008) -> tuple[Course, Heard]:
    """The line as a player's keys would send it, ``jitter`` seconds uneven."""
    dice = random.Random(11)
    notes = [
        HeardNote(
            float(n.onset) + dice.gauss(0, jitter), float(n.end), n.note.pitch, n.note.velocity
        )
        for n in played.notes("line")
    ]
    seconds = float(played.clock.length_seconds)
    return course_for(played, line), Heard(tuple(notes), seconds, exact=True)


def solo_of(
    played: Performance, instrument: str, font: Path, *, cents: float = 0.0, semitones: int = 0
) -> tuple[Sound, list[Struck]]:
    """The line on an instrument, dry, and its notes."""
    program, moved = INSTRUMENTS[instrument]
    notes = [replace(n, cents=cents) for n in line_of(played, moved + semitones)]
    return solo_sound(notes, program, notes[-1].end + 1, font), notes


def conditions(
    played: Performance, instrument: str, font: Path
) -> dict[str, tuple[Sound, list[Struck]]]:
    """The line as it may be recorded, and the notes that are in it."""
    program, _ = INSTRUMENTS[instrument]
    dry, notes = solo_of(played, instrument, font)
    band = band_sound(played, font)
    touched = human(notes)
    touch = solo_sound(touched, program, len(dry) / RATE, font)
    return {
        "dry": (dry, notes),
        "room": (in_room(dry), notes),
        "noise": (noisy(dry), notes),
        "band -20": (mixed(dry, band, -20), notes),
        "band -10": (mixed(dry, band, -10), notes),
        "human": (mixed(touch, band, -20), touched),
    }


def note_f(played: Sequence[Struck], heard: Sequence[HeardNote]) -> float:
    """Note F of mir_eval: onsets within 50 ms, pitches within 50 cents, the latency taken out."""
    from mir_eval.transcription import precision_recall_f1_overlap

    if not heard:
        return 0.0
    late = [
        note.onset - near.onset
        for note in heard
        for near in [min(played, key=lambda p: abs(p.onset - note.onset))]
        if near.pitch == note.pitch
    ]
    latency = float(np.median(late)) if late else 0.0
    starts = np.maximum([note.onset - latency for note in heard], 0)
    times = np.column_stack([starts, starts + 0.05])
    wanted = np.array([[note.onset, max(note.end, note.onset + 0.01)] for note in played])
    hertz = [440 * 2 ** ((np.array([n.pitch for n in each]) - 69) / 12) for each in (played, heard)]
    return float(
        precision_recall_f1_overlap(wanted, hertz[0], times, hertz[1], offset_ratio=None)[2]
    )
