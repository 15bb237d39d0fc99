"""The tones of a chord that an improviser practices, and those drawn lighter.

Common practice, no source: the core of a quality is 1 3 5 7 (or 6), triads and suspended chords
as they are. A dominant with a flat ninth is the diminished seventh from its third (3 5 b7 b9), an
altered one 3 b13 b7 #9. A second way through any chord goes from its third to its ninth.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from backing.chart.harmony import Chord
from backing.chart.pitch import Degree
from backing.chart.quality import Degrees, Quality

FLAT_NINE, NINE, SHARP_NINE = Degree(9, -1), Degree(9), Degree(9, 1)
WAYS = ("1-7", "3-9")
"""The core from the root, or the tones from the third to the ninth."""
ROLES = (1, 3, 5, 7)
"""The roles of tones in an arpeggio, by plain degree."""


@dataclass(frozen=True, slots=True)
class Arpeggio:
    """The tones to practice for a quality.

    ``tones``: three or four degrees (two in a power chord) of distinct pitch classes; ``roles``:
    for each of them which of ROLES it has (4 in a sus chord has role 3, 6 role 7, a ninth without
    a root 1); ``lighter``: the other written tones; ``upper``: 3 7 9 13 where a 13 is written.
    """

    tones: Degrees
    roles: tuple[int, ...]
    lighter: Degrees
    upper: Degrees = ()


@lru_cache(maxsize=1024)
def arpeggio(quality: Quality, way: str = "1-7") -> Arpeggio:
    """The arpeggio of a quality; ``way`` is one of WAYS. Raises KeyError for any other."""
    tones = {"1-7": _practiced, "3-9": _to_the_ninth}[way](quality)
    pitch_classes = {degree.pitch_class for degree in tones}
    written = (*quality.degrees, *quality.core)
    lighter = tuple(
        dict.fromkeys(degree for degree in written if degree.pitch_class not in pitch_classes)
    )
    thirteenth = Degree(13) in quality.degrees
    upper = (*quality.guide, _ninth(quality), Degree(13)) if thirteenth else ()
    return Arpeggio(tones, tuple(_role(degree, tones) for degree in tones), lighter, upper)


def arpeggio_pitches(chord: Chord, way: str = "1-7") -> frozenset[int]:
    """The pitch classes of a chord's arpeggio."""
    root = chord.root.pitch_class
    return frozenset(
        (root + degree.pitch_class) % 12 for degree in arpeggio(chord.quality, way).tones
    )


def _practiced(quality: Quality) -> Degrees:
    tones = quality.degrees
    if quality.name == "altered":
        return (Degree(3), Degree(13, -1), Degree(7, -1), SHARP_NINE)
    if quality.family == "dominant" and {FLAT_NINE, Degree(3), Degree(5)} <= set(tones):
        return (Degree(3), Degree(5), Degree(7, -1), FLAT_NINE)
    return quality.core


def _to_the_ninth(quality: Quality) -> Degrees:
    """3 5 7 9, the ninth as the chord has it; a triad has 3 5 9, a sus chord its fourth."""
    ninth = _ninth(quality)
    above = [degree for degree in _practiced(quality) if degree.number not in (1, 2, 9)]
    return tuple(sorted([*above, ninth], key=lambda degree: degree.semitones))


def _ninth(quality: Quality) -> Degree:
    written = [degree for degree in quality.degrees if degree.number == 9]
    if quality.name == "altered":
        return SHARP_NINE
    offered = written or [degree for degree in quality.tensions if degree.number == 9]
    if offered:
        return offered[0]
    seconds = [degree for degree in quality.scale if degree.number == 2]
    return Degree(9, seconds[0].alter) if seconds else NINE


def _role(degree: Degree, tones: Degrees) -> int:
    plain = {9: 1, 2: 1, 4: 3, 11: 3, 13: 5, 6: 7}.get(degree.number, degree.number)
    if degree.number == 2 and Degree(1) in tones:
        return 3  # a sus2
    if degree.number == 6 and any(tone.number == 7 for tone in tones):
        return 5
    return plain
