"""Key centers: the key of each stretch of chords, and the function of the chords in it.

Every chord has a price in every key: nothing for a chord of the key, something for a borrowed or a
secondary one, much for any other. Modulating has a price too, a cadence lowers it, and the
cheapest way through the tune is its analysis. Functions and their order
are common practice (no source); the prices are our own weights.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import groupby, pairwise

from backing.chart.harmony import Chord
from backing.chart.pitch import Degree, Key, PitchName
from backing.chart.quality import SCALES
from backing.combo.plan import ChordSpan

MODULATION = 1.6
HALF_CADENCE, CADENCE = -0.5, -0.75
"""A ii before its V, a V before its tonic."""
HOME = -0.3
"""A chord in the key that is written at the beginning of the line."""
STRANGER = 3.0
OUTSIDE = 0.8
"""A chord on a degree of the key with a tone outside it: a minor sixth on vi."""
LONG_MODE, MODE, MODE_CHORD, MODE_DOMINANT = -1.5, 0.2, 0.1, 0.3
"""A mode's tonic chord, long or short, another chord of the mode, and its dominant."""
MODAL_BEATS, LONG_MODAL_BEATS = 8, 16
"""A chord of so many beats may be a mode of its own; of so many it is likely to be one."""
SCALE_OF_MODE = {
    "major": "ionian", "minor": "harmonic-minor", **{m: m for m in SCALES if m != "harmonic-minor"},
}  # fmt: skip

MAJOR_FAMILIES = ("major", "augmented", "power")
MINOR_FAMILIES = ("minor", "minor-major")
DOMINANTS = ("dominant", "sus")
DIMINISHED = ("diminished",)
HALF_DIMINISHED = ("half-diminished",)

# Semitones above the tonic, families, numeral, price.
_MAJOR = (
    (0, MAJOR_FAMILIES, "I", 0.0), (2, ("minor",), "ii", 0.0), (4, ("minor",), "iii", 0.4),
    (5, MAJOR_FAMILIES, "IV", 0.2), (7, DOMINANTS, "V", 0.0), (7, MAJOR_FAMILIES, "V", 0.3),
    (9, ("minor",), "vi", 0.2), (11, HALF_DIMINISHED, "vii", 0.5),
    (4, HALF_DIMINISHED, "ii/ii", 0.6), (2, HALF_DIMINISHED, "ii", 0.8),
    (5, MINOR_FAMILIES, "iv", 0.8), (10, DOMINANTS, "bVII", 0.8),
    (6, HALF_DIMINISHED, "#iv", 0.9), (0, DOMINANTS, "I", 0.7), (5, DOMINANTS, "IV", 0.7),
    (1, DOMINANTS, "bII", 0.5), (1, MAJOR_FAMILIES, "bII", 1.2), (3, MAJOR_FAMILIES, "bIII", 1.2),
    (8, MAJOR_FAMILIES, "bVI", 1.2), (8, DOMINANTS, "bVI", 0.9), (10, MAJOR_FAMILIES, "bVII", 1.2),
    (7, ("minor",), "v", 1.2), (1, DIMINISHED, "#i", 0.6), (3, DIMINISHED, "biii", 0.6),
    (6, DIMINISHED, "#iv", 0.6), (8, DIMINISHED, "#v", 0.6), (0, DIMINISHED, "i", 0.7),
    (11, DIMINISHED, "vii", 0.5), (0, MINOR_FAMILIES, "i", 1.5),
)  # fmt: skip
_MINOR = (
    (0, MINOR_FAMILIES, "i", 0.0), (2, HALF_DIMINISHED, "ii", 0.0), (7, DOMINANTS, "V", 0.0),
    (5, MINOR_FAMILIES, "iv", 0.2), (8, MAJOR_FAMILIES, "bVI", 0.3), (8, DOMINANTS, "bVI", 0.5),
    (3, MAJOR_FAMILIES, "bIII", 0.4), (10, DOMINANTS, "bVII", 0.5), (9, HALF_DIMINISHED, "vi", 0.5),
    (11, DIMINISHED, "vii", 0.2), (7, MAJOR_FAMILIES, "V", 0.2), (7, ("minor",), "v", 0.7),
    (7, HALF_DIMINISHED, "ii/iv", 0.6), (2, ("minor",), "ii", 0.7), (1, DOMINANTS, "bII", 0.5),
    (1, MAJOR_FAMILIES, "bII", 0.8), (5, DOMINANTS, "IV", 0.7), (6, DIMINISHED, "#iv", 0.6),
    (6, HALF_DIMINISHED, "#iv", 0.9), (3, DIMINISHED, "biii", 0.7),
    (10, MAJOR_FAMILIES, "bVII", 0.7), (0, DIMINISHED, "i", 0.7),
    (0, MAJOR_FAMILIES, "I", 1.0),
)  # fmt: skip
OWN_DEGREES = frozenset({"I", "i", "ii", "iii", "IV", "iv", "V", "v", "vi"})
"""Degrees of a major key whose major and minor chords are expected to keep to it."""
_SECONDARY = {
    "major": {2: "V", 4: "vi", 9: "ii", 11: "iii", 0: "IV"},
    "minor": {2: "V", 0: "iv", 3: "bVI", 5: "bVII", 10: "bIII"},
}
"""Semitones of a dominant above the tonic -> the degree whose fifth it is."""
NUMERALS = ("I", "bII", "II", "bIII", "III", "IV", "#IV", "V", "bVI", "VI", "bVII", "VII")
RESOLVED, UNRESOLVED, SUBSTITUTE = 0.7, 1.1, 0.9


@dataclass(frozen=True, slots=True)
class Function:
    """A chord in its center: its ``span``, its Roman numeral
    ("ii7", "V7/ii", "bII7"), and the pitch classes of the parent scale over it."""

    span: ChordSpan
    numeral: str
    scale: frozenset[int]


@dataclass(frozen=True, slots=True)
class KeyCenter:
    """A stretch of chords in one key or mode; ``start`` and ``end`` in beats of the bars.

    ``mode``: "major", "minor", or the name of a scale.
    """

    start: Fraction
    end: Fraction
    tonic: PitchName
    mode: str
    functions: tuple[Function, ...]

    @property
    def name(self) -> str:
        """The center as it is printed over the bars: "B♭ major", "B♭ blues"."""
        return f"{self.tonic.pretty} {'blues' if self._blues else self.mode.replace('-', ' ')}"

    @property
    def short(self) -> str:
        """The same where there is little room: "B♭", "B♭m", "B♭ dor"."""
        return self.tonic.pretty + {"major": "", "minor": "m"}.get(self.mode, f" {self.mode[:3]}")

    @property
    def established(self) -> bool:
        """Whether it is heard: by its tonic, or a dominant after its ii; always in a mode."""
        if self.mode not in ("major", "minor"):
            return True
        degrees = [_degree_of(function.numeral) for function in self.functions]
        return "i" in map(str.lower, degrees) or ("ii", "V") in pairwise(degrees)

    @property
    def _blues(self) -> bool:
        """Whether its tonic is a seventh chord throughout, and its fourth degree, too."""
        tonics = {f.numeral for f in self.functions if _degree_of(f.numeral) == "I"}
        return tonics == {"I7"} and any(f.numeral == "IV7" for f in self.functions)


def _degree_of(numeral: str) -> str:
    """The degree of a numeral without its figure: "I" of "I7"; whole where it is of another."""
    return numeral if "/" in numeral else numeral.rstrip("0123456789majsuø°+")


@dataclass(frozen=True, slots=True)
class _Mode:
    """A key or mode a chord may stand in; ``tonic`` is a pitch class."""

    tonic: int
    mode: str


def key_centers(spans: Sequence[ChordSpan]) -> tuple[KeyCenter, ...]:
    """The key centers of a loop of chords, in order."""
    sounding = [span for span in spans if span.chord is not None]
    places = _cheapest(sounding)
    centers = []
    numbered = zip(sounding, places, _followers(sounding), strict=True)
    for place, group in groupby(numbered, key=lambda each: each[1]):
        held = list(group)
        tonic = _spelled(place, [span for span, _, _ in held])
        functions = tuple(_function(span, place, after) for span, _, after in held)
        centers.append(KeyCenter(held[0][0].start, held[-1][0].end, tonic, place.mode, functions))
    return tuple(centers)


def parent_scales(spans: Sequence[ChordSpan]) -> dict[Fraction, frozenset[int]]:
    """The pitch classes of the parent scale over each chord, by the start of its span."""
    return {f.span.start: f.scale for center in key_centers(spans) for f in center.functions}


def _followers(spans: Sequence[ChordSpan]) -> list[Chord]:
    chords = [span.chord.sounding for span in spans if span.chord is not None]
    return [*chords[1:], *chords[:1]]


def _cheapest(spans: Sequence[ChordSpan]) -> list[_Mode]:
    """The key of each chord for the least total price."""
    if not spans:
        return []
    chords = [span.chord.sounding for span in spans if span.chord is not None]
    after = _followers(spans)
    places = _places(spans)
    home = _written_place(spans[0].key)
    total = {
        place: _price(spans[0], place, after[0]) + (0.0 if place == home else MODULATION)
        for place in places
    }
    back: list[dict[_Mode, _Mode]] = []
    for at in range(1, len(spans)):
        best = min(places, key=total.__getitem__)
        step: dict[_Mode, _Mode] = {}
        following: dict[_Mode, float] = {}
        for place in places:
            stay = total[place] + _cadence(chords[at - 1], chords[at], place)
            come = total[best] + MODULATION
            step[place] = place if stay <= come else best
            following[place] = min(stay, come) + _price(spans[at], place, after[at])
        total = following
        back.append(step)
    way = [min(places, key=total.__getitem__)]
    for step in reversed(back):
        way.append(step[way[-1]])
    return way[::-1]


def _places(spans: Sequence[ChordSpan]) -> list[_Mode]:
    """All major and minor keys, the modes that are written, and those of long chords."""
    places = [_Mode(tonic, mode) for mode in ("major", "minor") for tonic in range(12)]
    for span in spans:
        written = _written_place(span.key)
        if span.chord is not None and span.end - span.start >= MODAL_BEATS:
            places.append(_own_mode(span.chord.sounding))
        places.append(written)
    return list(dict.fromkeys(places))


def _written_place(key: Key) -> _Mode:
    mode = {"ionian": "major", "aeolian": "minor"}.get(key.mode, key.mode)
    return _Mode(key.tonic.pitch_class, mode)


def _own_mode(chord: Chord) -> _Mode:
    """The chord as a mode: its scale from its root."""
    pitches = {(pitch - chord.root.pitch_class) % 12 for pitch in chord.scale_pitch_classes}
    scales = {name: {degree.pitch_class for degree in scale} for name, scale in SCALES.items()}
    mode = next((name for name, scale in scales.items() if scale == pitches), "ionian")
    return _Mode(chord.root.pitch_class, {"ionian": "major"}.get(mode, mode))


def _price(span: ChordSpan, place: _Mode, after: Chord) -> float:
    assert span.chord is not None
    chord = span.chord.sounding
    home = HOME if _written_place(span.key) == place else 0.0
    if place.mode in ("major", "minor"):
        return _named(chord, place, after)[1] + home
    if chord.root.pitch_class == place.tonic and _own_mode(chord) == place:
        return (LONG_MODE if span.end - span.start >= LONG_MODAL_BEATS else MODE) + home
    inside = set(chord.core_pitch_classes) <= _scales_of(place)[0]
    fifth = (chord.root.pitch_class - place.tonic) % 12 == 7 and chord.family in DOMINANTS
    if home and (inside or fifth):
        return (MODE_CHORD if inside else MODE_DOMINANT) + home
    return STRANGER


@lru_cache(maxsize=8192)
def _named(chord: Chord, place: _Mode, after: Chord) -> tuple[str, float]:
    """The numeral of a chord in a key, without its figure, and the price."""
    above = (chord.root.pitch_class - place.tonic) % 12
    found = [("?", STRANGER)]
    for semitones, families, numeral, price in _MAJOR if place.mode == "major" else _MINOR:
        if semitones == above and chord.family in families:
            kept = _keeps_to_the_key(chord, numeral, place)
            strange = kept and _parent_scale(chord, place) is None
            found.append((numeral, price + (OUTSIDE if strange else 0.0)))
    if chord.is_dominant:
        found += _applied(above, place, (chord.root.pitch_class - after.root.pitch_class) % 12)
    return min(found, key=lambda each: each[1])


def _keeps_to_the_key(chord: Chord, numeral: str, place: _Mode) -> bool:
    """Whether all its tones are expected in the key: no dominant, no borrowed chord."""
    own = numeral in OWN_DEGREES or place.mode == "minor"
    return own and chord.family in (*MAJOR_FAMILIES, *MINOR_FAMILIES)


def _applied(above: int, place: _Mode, falls: int) -> list[tuple[str, float]]:
    """A dominant of another degree, or the substitute of one, a tritone away."""
    secondary = _SECONDARY[place.mode]
    found = []
    if above in secondary:
        found.append((f"V/{secondary[above]}", RESOLVED if falls == 7 else UNRESOLVED))
    if falls == 1 and (above + 6) % 12 in secondary:
        found.append((f"subV/{secondary[(above + 6) % 12]}", SUBSTITUTE))
    return found


def _cadence(before: Chord, chord: Chord, place: _Mode) -> float:
    """What two chords in a row are worth in a key."""
    if place.mode not in ("major", "minor"):
        return 0.0
    one = (before.root.pitch_class - place.tonic) % 12
    two = (chord.root.pitch_class - place.tonic) % 12
    second = "minor" if place.mode == "major" else "half-diminished"
    if (one, two) == (2, 7) and before.family == second and chord.family in DOMINANTS:
        return HALF_CADENCE
    tonic = MAJOR_FAMILIES if place.mode == "major" else MINOR_FAMILIES
    comes_home = one in (7, 1) and two == 0 and before.family in DOMINANTS
    return CADENCE if comes_home and chord.family in tonic else 0.0


def _function(span: ChordSpan, place: _Mode, after: Chord) -> Function:
    assert span.chord is not None
    chord = span.chord.sounding
    if place.mode in ("major", "minor"):
        numeral, _ = _named(chord, place, after)
    else:
        numeral = _modal_numeral(chord, place)
    base, slash, of = numeral.partition("/")
    scale = _parent_scale(chord, place) or frozenset(chord.scale_pitch_classes)
    return Function(span, base + _figure(chord) + slash + of, scale)


def _modal_numeral(chord: Chord, place: _Mode) -> str:
    above = (chord.root.pitch_class - place.tonic) % 12
    name = NUMERALS[above]
    small = chord.family in (*MINOR_FAMILIES, *HALF_DIMINISHED, *DIMINISHED)
    return name.replace("I", "i").replace("V", "v") if small else name


def _figure(chord: Chord) -> str:
    """What stands after a numeral: 7, maj7, 6, ø7, °7, sus."""
    seventh = next((d for d in chord.quality.core if d.number in (6, 7)), None)
    if chord.family == "half-diminished":
        return "ø7"
    if chord.family == "diminished":
        return "°7" if seventh == Degree(7, -2) else "°"
    if seventh is None:
        return {"augmented": "+", "sus": "sus"}.get(chord.family, "")
    figure = {Degree(7): "maj7", Degree(7, -1): "7"}.get(seventh, str(seventh))
    return figure + ("sus" if chord.family == "sus" else "")


def _parent_scale(chord: Chord, place: _Mode) -> frozenset[int] | None:
    """The scale of the center that holds the chord, if there is one."""
    tones = frozenset((*chord.pitch_classes, *chord.core_pitch_classes))
    return next((scale for scale in _scales_of(place) if tones <= scale), None)


def _scales_of(place: _Mode) -> tuple[frozenset[int], ...]:
    if place.mode != "minor":
        return (_on(place.tonic, SCALE_OF_MODE[place.mode]),)
    # in minor the dominant takes the leading tone, the tonic often the raised sixth as well
    names = ("harmonic-minor", "aeolian", "melodic-minor", "dorian")
    return tuple(_on(place.tonic, name) for name in names)


@lru_cache(maxsize=512)
def _on(tonic: int, scale: str) -> frozenset[int]:
    return frozenset((tonic + degree.pitch_class) % 12 for degree in SCALES[scale])


def _spelled(place: _Mode, spans: Sequence[ChordSpan]) -> PitchName:
    """The tonic by the name that its chord has; without one by that nearest to the written key on
    the line of fifths."""
    roots = [span.chord.sounding.root for span in spans if span.chord is not None]
    own = next((root for root in roots if root.pitch_class == place.tonic), None)
    if own is not None:
        return own
    key = spans[0].key
    names = [PitchName.of_fifths(fifths) for fifths in range(-7, 9)]
    fitting = [name for name in names if name.pitch_class == place.tonic]
    return min(fitting, key=lambda name: abs(name.fifths - key.tonic.fifths))
