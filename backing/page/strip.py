"""The notes a page carries: one long strip of short sounds, and where each of them lies in it.

A pitched part is sampled every third semitone, wide enough for all twelve keys; the page moves a
note by a semitone at most, as the SoundFont's player does between its own samples. Notes are mono:
the page puts every part in its place. Loudness is that of the tracks: the balance of the mix is in
the gains.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backing.combo.instruments import CHOKED_BY, Instrument
from backing.combo.part import Note
from backing.libsndfile import soundfile
from backing.mixdown.balance import Balance, pan_gains
from backing.mixdown.bank import Bank, BankNote
from backing.mixdown.probing import StruckKey
from backing.mixdown.room import STEP, impulse_response
from backing.mixdown.soundfont import SoundFont
from backing.page.score import BELOW, Score

SAMPLE_RATE: Final = 44_100
"""That of the tracks; FLAC at this rate keeps a page below its budget, and decodes everywhere."""
ROOM_RATE: Final = SAMPLE_RATE // STEP
GRID: Final = 3
"""Semitones between samples."""
RESIDUE: Final = 0
"""What is left of a sampled key when it is divided by GRID."""
KEYS_DOWN, KEYS_UP = 6, 5
"""How far other keys may carry the band, in semitones."""
LONGEST_S: Final = {
    "bass": 2.0,
    "comp": 2.4,
    "guide": 2.4,
    "line": 1.0,
    "drums": 2.2,
    "click": 0.4,
}
"""No sound is kept longer: what is held beyond has died away by then, or fades."""
FLOOR_DB: Final = -54.0
"""A sound ends where it has fallen so far below its own peak."""
FADE_S: Final = 0.12
GAP_S: Final = 0.02
"""Silence between sounds, so that none leaks into its neighbour when the rate is changed."""
LAYERS: Final = 2
"""At most so many different recordings of one key, where velocity is more than loudness."""
PEAK: Final = 0.95

Mono = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Zone:
    """A sound in the strip: ``start`` and ``length`` in seconds, of MIDI ``key``.

    ``gains``: velocity -> linear gain, for the velocities it stands for. ``release`` is how fast
    it falls when it is let go, in dB per second (0: it rings on).
    """

    key: int
    start: float
    length: float
    release: float
    gains: dict[int, float]


@dataclass(frozen=True, slots=True)
class SampledPart:
    """How a part sounds: its zones, its ``pan`` gains (left, right), what chokes what."""

    name: str
    kit: bool
    pan: tuple[float, float]
    zones: tuple[Zone, ...]
    chokes: Mapping[int, tuple[int, ...]]


@dataclass(frozen=True)
class Strip:
    """All sounds of a page in a row: ``samples``, and as FLAC of one channel ``audio``.

    ``room`` is the room's impulse response, FLAC of two channels at ROOM_RATE, to be multiplied by
    ``room_gain``. ``parts`` are those that were wanted, ``voices`` how they sound.
    """

    font: SoundFont
    parts: tuple[Wanted, ...]
    samples: Mono
    audio: bytes
    room: bytes
    room_gain: float
    seconds: float
    voices: tuple[SampledPart, ...]

    def of(self, parts: Sequence[Wanted]) -> Strip:
        """The same sounds with the voices of some of its parts alone, such as those of one tune."""
        at = {
            (part.name, part.instrument): voice
            for part, voice in zip(self.parts, self.voices, strict=True)
        }
        voices = tuple(at[part.name, part.instrument] for part in parts)
        return replace(self, parts=tuple(parts), voices=voices)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a part needs: its instrument, the MIDI keys and the velocities it strikes."""

    name: str
    place: str
    instrument: Instrument
    keys: tuple[int, ...]
    velocities: tuple[int, ...]


def wanted(score: Score) -> tuple[Wanted, ...]:
    """The sounds of every part of a score, and of what is counted and clicked."""
    lines = {line.name: line for line in score.lines}
    counted = [n for counts in score.counts.values() for c in counts for bar in c.bars for n in bar]
    rest_bars = [note for notes in score.rest_bars.values() for note in notes]
    drums = [*lines["drums"].notes(), *rest_bars, *counted]
    clicks = [line for line in score.lines if line.name.startswith("click ")]
    comps = [note for name in ("comp", BELOW) if name in lines for note in lines[name].notes()]
    etudes = (note for each in score.etudes for note in each.part.notes())
    guides = [note for name in ("third", "seventh") for note in lines[name].notes()]
    return (
        _wanted("bass", "bass", lines["bass"].instrument, lines["bass"].notes()),
        _wanted("comp", "comp", lines["comp"].instrument, comps),
        _wanted("guide", "guide", lines["third"].instrument, guides),
        _wanted("etude", "line", lines["etude"].instrument, etudes),
        _wanted("drums", "drums", score.kit, drums),
        _wanted("click", "click", clicks[0].instrument, (n for c in clicks for n in c.notes())),
    )


def merged(needs: Iterable[Sequence[Wanted]]) -> tuple[Wanted, ...]:
    """What several tunes want: a part once for each instrument it is played on."""
    found: dict[tuple[str, Instrument], Wanted] = {}
    for part in chain.from_iterable(needs):
        name = part.name, part.instrument
        found[name] = _joined(found[name], part) if name in found else part
    return tuple(found.values())


def _joined(one: Wanted, other: Wanted) -> Wanted:
    keys = sorted({*one.keys, *other.keys})
    velocities = sorted({*one.velocities, *other.velocities})
    return replace(one, keys=tuple(keys), velocities=tuple(velocities))


def _wanted(name: str, place: str, instrument: Instrument, notes: Iterable[Note]) -> Wanted:
    struck = list(notes)
    pitches = sorted({note.pitch for note in struck})
    velocities = tuple(sorted({note.velocity for note in struck}))
    if not instrument.kit and pitches:
        low, high = pitches[0] - KEYS_DOWN, pitches[-1] + KEYS_UP
        # on one grid for all tunes, so that they share their sounds
        first = low - 1 + (RESIDUE + 1 - low) % GRID
        pitches = list(range(first, high + 2, GRID))
    return Wanted(name, place, instrument, tuple(pitches), velocities)


def make_strip(parts: Sequence[Wanted], font: SoundFont) -> Strip:
    """Render what is wanted and lay it end to end. Raises SoundFontError and MissingProgram."""
    bank = Bank(font, SAMPLE_RATE)
    balance = Balance(bank)
    bank.prepare(_longest(_holds(parts, font, balance)))
    laid = _Laid()
    voices = tuple(_voice(part, bank, balance, laid) for part in parts)
    sound = laid.whole()
    room, room_gain = _room()
    seconds = len(sound) / SAMPLE_RATE
    return Strip(
        font, tuple(parts), sound, _flac(sound, SAMPLE_RATE), room, room_gain, seconds, voices
    )


def _longest(holds: Iterable[tuple[StruckKey, int]]) -> dict[StruckKey, int]:
    """Each tone once: rendered again for a longer hold, it would take as long again."""
    longest: dict[StruckKey, int] = {}
    for tone, hold in holds:
        longest[tone] = max(longest.get(tone, 0), hold)
    return longest


def _holds(
    parts: Sequence[Wanted], font: SoundFont, balance: Balance
) -> Iterator[tuple[StruckKey, int]]:
    """Every tone needed and for how many samples, those of the balance included."""
    for part in parts:
        tones = [tone for _, tone in _tones(part, font)]
        hold = round(LONGEST_S[part.place] * SAMPLE_RATE)
        yield from ((tone, 0 if tone.kit else hold) for tone in tones)
        yield from balance.needs(part.place, tones)


def _tones(part: Wanted, font: SoundFont) -> Iterator[tuple[int, StruckKey]]:
    """MIDI key of the part and tone of the SoundFont, for each key and velocity."""
    preset = font.preset_for(part.instrument)
    for key in part.keys:
        for velocity in part.velocities:
            yield key, StruckKey(preset.bank, preset.program, preset.key(key), velocity)


class _Laid:
    """Sounds laid end to end."""

    def __init__(self) -> None:
        self._pieces: list[Mono] = []
        self._length = 0

    def add(self, sound: Mono) -> tuple[float, float]:
        """Put a sound at the end; returns its start and length in seconds."""
        gap = np.zeros(round(GAP_S * SAMPLE_RATE), np.float32)
        start = self._length + len(gap)
        self._pieces += [gap, sound]
        self._length = start + len(sound)
        return start / SAMPLE_RATE, len(sound) / SAMPLE_RATE

    def whole(self) -> Mono:
        """The strip, with a gap at its end."""
        return np.concatenate([*self._pieces, np.zeros(round(GAP_S * SAMPLE_RATE), np.float32)])


def _voice(part: Wanted, bank: Bank, balance: Balance, laid: _Laid) -> SampledPart:
    by_key: dict[int, dict[int, BankNote]] = {}
    level: dict[int, float] = {}
    hold = round(LONGEST_S[part.place] * SAMPLE_RATE)
    for key, tone in _tones(part, bank.soundfont):
        by_key.setdefault(key, {})[tone.velocity] = bank.note(tone, 0 if tone.kit else hold)
        level[key] = 10 ** (balance.gain_db(part.place, tone) / 20)
    zones = [
        zone for key, notes in by_key.items() for zone in _zones(key, notes, level[key], part, laid)
    ]
    chokes = {key: others for key, others in CHOKED_BY.items() if key in by_key}
    return SampledPart(part.name, part.instrument.kit, pan_gains(part.place), tuple(zones), chokes)


def _zones(
    key: int, notes: dict[int, BankNote], level: float, part: Wanted, laid: _Laid
) -> Iterator[Zone]:
    """The recordings of one key: one where velocity is only loudness, else LAYERS at most."""
    recordings: dict[int, list[int]] = {}
    for velocity, note in notes.items():
        recordings.setdefault(id(note.samples), []).append(velocity)
    groups = list(recordings.values())
    if len(groups) > LAYERS:
        velocities = sorted(notes)
        size = -(-len(velocities) // LAYERS)
        groups = [velocities[at : at + size] for at in range(0, len(velocities), size)]
    for group in groups:
        chosen = notes[group[len(group) // 2]]
        sound, scale = _trimmed(chosen, part)
        if not len(sound):
            continue
        gains = {
            velocity: round(level * scale * _gain(notes[velocity], chosen), 5) for velocity in group
        }
        start, length = laid.add(sound)
        yield Zone(key, start, length, _release(chosen, part), gains)


def _gain(note: BankNote, recording: BankNote) -> float:
    """The gain that makes ``recording`` as loud as ``note``."""
    if note.samples is recording.samples:
        return note.gain
    energy = _energy(recording)
    return note.gain * float(np.sqrt(_energy(note) / energy)) if energy else 0.0


def _energy(note: BankNote) -> float:
    """The energy of the first half second."""
    head = note.samples[: SAMPLE_RATE // 2].astype(np.float64)
    return float(np.sum(head * head))


def _trimmed(note: BankNote, part: Wanted) -> tuple[Mono, float]:
    """A note in mono, ended where it is no longer heard, at its peak; and the gain to undo that."""
    mono = (note.samples[:, 0] + note.samples[:, 1]) * np.float32(0.5)
    peak = float(np.abs(mono).max(initial=0.0))
    if not peak:
        return mono[:0], 1.0
    loud = np.flatnonzero(np.abs(mono) > peak * 10 ** (FLOOR_DB / 20))
    fade = round(FADE_S * SAMPLE_RATE)
    end = min(int(loud[-1]) + fade, round(LONGEST_S[part.place] * SAMPLE_RATE), len(mono))
    sound = mono[:end] * np.float32(PEAK / peak)
    fade = min(fade, end)
    sound[-fade:] *= np.linspace(1, 0, fade, dtype=np.float32)
    return sound, peak / PEAK


def _release(note: BankNote, part: Wanted) -> float:
    """How fast a note falls when it is let go, in dB per second over its first 100 ms."""
    if part.instrument.kit:
        return 0.0
    blocks = round(0.1 * SAMPLE_RATE) // 64
    fallen = -float(note.release.levels_db(blocks + 1, SAMPLE_RATE)[-1])
    return round(max(20.0, fallen / 0.1), 1)


def _flac(sound: NDArray[np.float32], rate: int) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, sound, rate, format="FLAC", subtype="PCM_16")
    return file.getvalue()


def _room() -> tuple[bytes, float]:
    """The room of the tracks as stereo FLAC at its own low rate, and the gain to give it there.

    A player at another rate has more samples of it to add up: it scales the gain by the ratio.
    """
    response = impulse_response(SAMPLE_RATE)
    peak = float(np.abs(response).max())
    return _flac(response * np.float32(PEAK / peak), ROOM_RATE), peak / PEAK
