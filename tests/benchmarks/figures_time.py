"""Who plays when, in milliseconds, measured on performances in seconds.

A note's lateness is told against the ride's place: where the cymbal has that beat, or that
off-beat. A chord counts once, at the mean of its voices.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from statistics import fmean, median, pstdev

from backing.combo import instruments as kit
from tests.benchmarks.heard import HALF, Heard
from tests.combo.build import bar_lines

VOICES = {
    "ride": ("drums", (kit.RIDE,)),
    "hi-hat foot": ("drums", (kit.PEDAL_HAT,)),
    "hat": ("drums", (kit.CLOSED_HAT, kit.OPEN_HAT, kit.SHAKER)),
    "snare": ("drums", (kit.SNARE, kit.SIDE_STICK)),
    "brush": ("drums", (kit.BRUSH_SWIRL, kit.BRUSH_SLAP)),
    "toms": ("drums", (kit.LOW_TOM, kit.MID_TOM, kit.HIGH_TOM)),
    "kick": ("drums", (kit.KICK,)),
    "bass": ("bass", ()),
    "comping": ("comp", ()),
    "guide tones": ("guide", ()),
}
"""Name -> the player, and the keys of the kit (none: all of the part)."""
RHYTHM_SECTION = ("bass", "comping", "ride", "hat", "snare", "brush", "kick", "toms")


@dataclass(frozen=True, slots=True)
class Lateness:
    """Mean, spread (standard deviation) and the largest size of a lateness, in ms."""

    mean: float
    spread: float
    worst: float


def lateness(passes: Sequence[Heard], voice: str, *, off_beat: bool) -> Lateness:
    """How late a voice of VOICES is on the beat or off it, strokes of the whole band left out."""
    place = HALF if off_beat else 0
    found = [ms for heard in passes for ms in _late_by_onset(heard, voice, place).values()]
    if not found:
        return Lateness(0.0, 0.0, 0.0)
    return Lateness(fmean(found), pstdev(found), max(map(abs, found)))


def _late_by_onset(heard: Heard, voice: str, place: Fraction | int) -> dict[Fraction, float]:
    player, keys = VOICES[voice]
    by_onset: dict[Fraction, list[float]] = defaultdict(list)
    for note in heard.notes(player):
        written = note.note
        wanted = (not keys or written.pitch in keys) and not written.together
        if wanted and heard.in_beat(written) == place:
            by_onset[written.onset].append(note.late_ms)
    return {onset: fmean(ms) for onset, ms in by_onset.items()}


def widest_off_beat(passes: Sequence[Heard]) -> float:
    """The most ms between any two voices of the rhythm section on one off-beat.

    Every key of the kit is a voice, but for the foot, which keeps the beats.
    """
    widest = 0.0
    for heard in passes:
        struck: dict[Fraction, list[float]] = defaultdict(list)
        for voice in RHYTHM_SECTION:
            for onset, ms in _late_by_onset(heard, voice, HALF).items():
                struck[onset].append(ms)
        widest = max([widest, *(max(ms) - min(ms) for ms in struck.values())])
    return widest


def together_ms(passes: Sequence[Heard]) -> float:
    """The most ms between any two players on one stroke of the whole band."""
    widest = 0.0
    for heard in passes:
        strokes: dict[Fraction, list[float]] = defaultdict(list)
        for player in ("bass", "comp", "drums", "guide"):
            for note in heard.notes(player):
                if note.note.together:
                    strokes[note.note.onset].append(note.seconds * 1000)
        widest = max([widest, *(max(ms) - min(ms) for ms in strokes.values())])
    return widest


def missing_from_accents(passes: Sequence[Heard]) -> int:
    """How many times a player does not strike where the whole band does."""
    missing = 0
    for heard in passes:
        for player in ("bass", "comp", "drums"):
            onsets = {note.onset for note in heard.part(player).notes if note.together}
            missing += sum(
                accent.onset not in onsets
                for accent in heard.plan.accents
                if accent.span.chord is not None
            )
    return missing


@dataclass(frozen=True, slots=True)
class Swing:
    """The ride's median long : short ratio, and its short notes in ms: median and shortest."""

    ratio: float
    short_ms: float
    shortest_ms: float


def swing(passes: Sequence[Heard]) -> Swing:
    """How the ride swings: every beat with a skip and a beat after it."""
    ratios, shorts = [], []
    for heard in passes:
        struck = {n.note.onset: n.seconds for n in heard.notes("drums") if n.note.pitch == kit.RIDE}
        for onset, start in struck.items():
            off, end = struck.get(onset + HALF), struck.get(onset + 1)
            if onset.denominator == 1 and off is not None and end is not None:
                ratios.append((off - start) / (end - off))
                shorts.append((end - off) * 1000)
    if not ratios:
        return Swing(float("nan"), float("nan"), float("nan"))
    return Swing(median(ratios), median(shorts), min(shorts))


def uneven_bars(passes: Sequence[Heard]) -> int:
    """How many bars of performances at one tempo are not exactly as long as the first."""
    lines = [bar_lines(heard.performance) for heard in passes]
    lengths = [[b - a for a, b in pairwise(line)] for line in lines]
    return sum(length != bars[0] for bars in lengths for length in bars)
