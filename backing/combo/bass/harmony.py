"""Weights of the bass's pitches over a chord.

Pitches are numbered from the open E string (MIDI 28) up: a *step table* has one entry for each of
the 28 pitches to the G an octave above the open G string.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum
from functools import lru_cache

from backing.chart.harmony import Chord
from backing.chart.pitch import Key, PitchName

LOWEST, HIGHEST = 28, 55
"""E1 to G3, the walking range of the double bass in MIDI numbers (textbooks, from memory)."""
PITCHES = HIGHEST - LOWEST + 1
HOME = 34
"""The first note of a pass is in the octave from here up, so that the pass before can aim at it."""

PitchWeights = tuple[float, ...]

TONE, SCALE, CHROMATIC = 0, 1, 2
"""Kinds of pitch over a chord."""


class Emphasis(IntEnum):
    """The weight of a note's place in the harmony."""

    CHANGE = 0  # the first note over a new chord
    BAR = 1  # the first note of a bar over the same chord
    STRONG = 2  # on the first of a group of beats
    WEAK = 3  # between those
    HELD = 4  # so long that it is heard as part of the chord


# Weight of a pitch by its kind, where no tone is drawn. Tuned so that a line comes near the shares
# by beat of the Weimar Jazz Database's bass lines (swing in 4/4): on
# beat 2 57 % chord tones, on beat 3 63 %, on beat 4 53 %.
_WEIGHTS = {
    Emphasis.STRONG: {"root": 0.9, "third": 1.2, "fifth": 0.9, "seventh": 0.8, SCALE: 2.2},
    Emphasis.WEAK: {"root": 0.9, "third": 0.95, "fifth": 1.0, "seventh": 0.8, SCALE: 1.95},
    # a note that lasts is no passing note: under a chord it is one of its tones (common practice)
    Emphasis.HELD: {"root": 1.3, "third": 0.7, "fifth": 1.2, "seventh": 0.4, SCALE: 1e-5},
}
_CHROMATIC = {Emphasis.STRONG: 0.3, Emphasis.WEAK: 0.85, Emphasis.HELD: 1e-7}
_NAMES = {1: "root", 2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth", 7: "seventh"}


@dataclass(frozen=True, eq=False)
class Harmony:
    """A chord for the bass. Tables have an entry for each pitch from LOWEST up.

    ``bass`` is its lowest pitch class; ``tones`` are the pitch classes by
    name ("root", "third", "fifth", "seventh", where the chord has them); ``kinds`` and ``roles``
    say for every pitch what it is.
    """

    bass: int
    tones: dict[str, int] = field(repr=False)
    kinds: tuple[int, ...] = field(repr=False)
    roles: tuple[str, ...] = field(repr=False)
    held: bool = False
    slash: bool = False


@lru_cache(maxsize=4096)
def harmony_of(chord: Chord, key: Key, pedal: PitchName | None) -> Harmony:
    """The harmony of a chord in a key, over a pedal where there is one."""
    heard = chord.sounding
    bass = pedal.pitch_class if pedal else chord.bass_pitch_class
    core = heard.core_pitch_classes
    # core degrees run 1, 3 (or 2, 4), 5, 7 (or 6); a chord of the fifth alone has no third
    names = ("root", "third", "fifth", "seventh") if len(core) > 2 else ("root", "fifth")
    tones = dict(zip(names, core, strict=False))
    scale = passing_scale(heard, key)
    kinds, roles = [], []
    for pitch in range(LOWEST, HIGHEST + 1):
        pitch_class = pitch % 12
        tone = pitch_class in core or pitch_class == bass
        kinds.append(TONE if tone else SCALE if pitch_class in scale else CHROMATIC)
        roles.append(_role(heard, pitch_class, kinds[-1]))
        if pitch_class == bass and (pedal or bass != heard.root.pitch_class):
            roles[-1] = "pedal" if pedal else "slash bass"
    slash = bass != heard.root.pitch_class
    return Harmony(bass, tones, tuple(kinds), tuple(roles), pedal is not None, slash)


def _role(chord: Chord, pitch_class: int, kind: int) -> str:
    if kind == CHROMATIC:
        return "chromatic"
    degree = chord.name_of(pitch_class)
    if kind == SCALE or degree is None:
        return "scale"
    return _NAMES[(degree.number - 1) % 7 + 1]


def passing_scale(chord: Chord, key: Key) -> frozenset[int]:
    """The pitch classes a bass passes through: the chord scale, leaning to the key.

    A chord of the key takes the key's own notes; a chord with one foreign tone (a secondary
    dominant) keeps its tones and takes the key's notes between them: A7 in C major has the
    natural F, G7 in C minor Ab and Eb. Chords further away keep their chord scale; of those
    dominants (Bb7, Db7 in C major) raise the fourth where that is the key's note. Common
    practice, no source.
    """
    core = set(chord.core_pitch_classes)
    signature = {name.pitch_class for name in key.scale}
    if len(core - signature) > 1:
        fourth = (chord.root.pitch_class + 5) % 12
        raised = (fourth + 1) % 12
        lydian = chord.is_dominant and fourth not in signature and raised in signature
        kept = frozenset(chord.scale_pitch_classes)
        return kept - {fourth} | {raised} if lydian else kept
    scale = set(core)
    for tone in set(chord.scale_pitch_classes) - core:
        options = (tone, (tone - 1) % 12, (tone + 1) % 12)
        scale.add(next((option for option in options if option in signature - core), tone))
    return frozenset(scale)


@lru_cache(maxsize=1 << 15)
def weighed(harmony: Harmony, place: Emphasis, height: int, chromatic: float) -> PitchWeights:
    """Weights of all pitches where no tone is drawn, around a ``height`` (MIDI)."""
    by_name = {tone: _WEIGHTS[place][name] for name, tone in harmony.tones.items()}
    if harmony.slash:
        by_name[harmony.bass] = 1.2
    by_kind = (0.5, _WEIGHTS[place][SCALE], _CHROMATIC[place] * chromatic)
    values = (
        by_name.get((LOWEST + i) % 12, by_kind[kind]) if kind == TONE else by_kind[kind]
        for i, kind in enumerate(harmony.kinds)
    )
    return tuple(v * r for v, r in zip(values, _register(height), strict=True))


@lru_cache(maxsize=4096)
def octaves(pitch_class: int, height: int) -> PitchWeights:
    """Weights of a pitch class in all its octaves, around a ``height`` (MIDI)."""
    register = _register(height)
    return tuple(r * ((LOWEST + i) % 12 == pitch_class) for i, r in enumerate(register))


@lru_cache(maxsize=64)
def only(pitch: int) -> PitchWeights:
    """Weights of one pitch alone."""
    return tuple(float(LOWEST + i == pitch) for i in range(PITCHES))


@lru_cache(maxsize=1 << 14)
def smooth(harmony: Harmony, pitch: int) -> PitchWeights:
    """Weights against leaps into chromatic tones from a pitch (from LOWEST up).

    A chromatic tone is heard as passing where a step leads to it; after a leap it is a wrong note,
    unless a new chord follows at once and makes it an approach.
    """
    return tuple(
        0.15 if kind == CHROMATIC and abs(at - pitch) > 2 else 1.0
        for at, kind in enumerate(harmony.kinds)
    )


# Weight of a pitch by its distance in semitones from the height of the phrase.
_NEAR = (1.0, 1.0, 0.97, 0.92, 0.84, 0.74, 0.6, 0.45, 0.3, 0.18)


@lru_cache(maxsize=64)
def reach(height: int) -> tuple[int, int]:
    """The range of pitches around a height, counted from LOWEST, the end excluded."""
    return max(0, height - LOWEST - len(_NEAR) + 1), min(PITCHES, height - LOWEST + len(_NEAR))


@lru_cache(maxsize=64)
def _register(height: int) -> PitchWeights:
    table = []
    for pitch in range(LOWEST, HIGHEST + 1):
        away = abs(pitch - height)
        near = _NEAR[away] if away < len(_NEAR) else 0.0
        # 95 % of the notes are from 33 to 50
        table.append(near if 33 <= pitch <= 50 else near * 0.2)
    return tuple(table)


def home(pitch_class: int) -> int:
    """The pitch at which a pass begins: in the octave from HOME up."""
    return HOME + (pitch_class - HOME) % 12
