"""Chord qualities: one table, from which the band and the neck take what they need.

A quality is identified by its degrees. The rest follows from these and the table: guide tones, the
core an improviser practices, a chord scale, available tensions.

A plain diminished triad is taken as jazz charts mean it: the symbol says 1 b3 b5, but core and
guide tones hold the diminished seventh, since players sound it under either spelling.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from backing.chart.chord_symbol import read_symbol
from backing.chart.pitch import Degree, degrees
from backing.errors import ChordError

Degrees = tuple[Degree, ...]

# Name (MusicXML's kind where there is one), symbol, degrees; then, where the general rule would not
# give what players use: tensions, scale.
_TABLE = """
major                       |         | 1 3 5
major-flat-fifth            | (b5)    | 1 3 b5
major-sixth                 | 6       | 1 3 5 6
major-sixth-ninth           | 6/9     | 1 3 5 6 9
major-added-ninth           | add9    | 1 3 5 9
major-seventh               | maj7    | 1 3 5 7
major-ninth                 | maj9    | 1 3 5 7 9
major-11th                  | maj11   | 1 3 5 7 9 11
major-13th                  | maj13   | 1 3 5 7 9 13
minor                       | m       | 1 b3 5
minor-sixth                 | m6      | 1 b3 5 6              |        | melodic-minor
minor-sixth-ninth           | m6/9    | 1 b3 5 6 9            |        | melodic-minor
minor-flat-sixth            | mb6     | 1 b3 5 b6
minor-added-ninth           | madd9   | 1 b3 5 9
minor-seventh               | m7      | 1 b3 5 b7
minor-ninth                 | m9      | 1 b3 5 b7 9
minor-11th                  | m11     | 1 b3 5 b7 9 11
minor-13th                  | m13     | 1 b3 5 b7 9 11 13
major-minor                 | m(maj7) | 1 b3 5 7
major-minor-ninth           | m(maj9) | 1 b3 5 7 9
dominant                    | 7       | 1 3 5 b7
dominant-ninth              | 9       | 1 3 5 b7 9
dominant-13th               | 13      | 1 3 5 b7 9 13
augmented-seventh           | 7#5     | 1 3 #5 b7
augmented-ninth             | 9#5     | 1 3 #5 b7 9
dominant-flat-fifth         | 7b5     | 1 3 b5 b7
altered                     | 7alt    | 1 3 b5 #5 b7 b9 #9
suspended-fourth            | sus4    | 1 4 5                 | b7 9 13
suspended-second            | sus2    | 1 2 5                 | 13
dominant-suspended          | 7sus4   | 1 4 5 b7
dominant-ninth-suspended    | 9sus4   | 1 4 5 b7 9
dominant-13th-suspended     | 13sus4  | 1 4 5 b7 9 13
phrygian-suspended          | 7b9sus4 | 1 4 5 b7 b9
augmented                   | aug     | 1 3 #5
augmented-major-seventh     | maj7#5  | 1 3 #5 7
diminished                  | dim     | 1 b3 b5               | bb7 9 11 b13 7
diminished-seventh          | dim7    | 1 b3 b5 bb7
diminished-major-seventh    | dim(maj7) | 1 b3 b5 7
half-diminished             | m7b5    | 1 b3 b5 b7
half-diminished-ninth       | m9b5    | 1 b3 b5 b7 9
power                       | 5       | 1 5                   | 9
"""

# The chord scales of the trade (common practice, no source), by name.
SCALES: dict[str, Degrees] = {
    "ionian": degrees("1 2 3 4 5 6 7"),
    "lydian": degrees("1 2 3 #4 5 6 7"),
    "harmonic-major": degrees("1 2 3 4 5 b6 7"),
    "lydian-augmented": degrees("1 2 3 #4 #5 6 7"),
    "mixolydian": degrees("1 2 3 4 5 6 b7"),
    "lydian-dominant": degrees("1 2 3 #4 5 6 b7"),
    "mixolydian-b13": degrees("1 2 3 4 5 b6 b7"),
    "phrygian-dominant": degrees("1 b2 3 4 5 b6 b7"),
    "half-whole": degrees("1 b2 #2 3 #4 5 6 b7"),
    "spanish-phrygian": degrees("1 b2 #2 3 4 5 b6 b7"),
    "whole-tone": degrees("1 2 3 #4 #5 b7"),
    "altered": degrees("1 b2 #2 3 b5 #5 b7"),
    "dorian": degrees("1 2 b3 4 5 6 b7"),
    "aeolian": degrees("1 2 b3 4 5 b6 b7"),
    "phrygian": degrees("1 b2 b3 4 5 b6 b7"),
    "dorian-b2": degrees("1 b2 b3 4 5 6 b7"),
    "melodic-minor": degrees("1 2 b3 4 5 6 7"),
    "harmonic-minor": degrees("1 2 b3 4 5 b6 7"),
    "locrian": degrees("1 b2 b3 4 b5 b6 b7"),
    "locrian-natural-2": degrees("1 2 b3 4 b5 b6 b7"),
    "whole-half": degrees("1 2 b3 4 b5 b6 bb7 7"),
}

# For each family the scales it may take, the most usual first; the first that holds the chord wins.
_FAMILY_SCALES = {
    "major": "ionian lydian harmonic-major lydian-augmented",
    "augmented": "whole-tone lydian-augmented",
    "minor": "dorian aeolian melodic-minor harmonic-minor phrygian",
    "minor-major": "melodic-minor harmonic-minor",
    "dominant": "mixolydian lydian-dominant mixolydian-b13 phrygian-dominant half-whole "
    "spanish-phrygian whole-tone altered",
    "half-diminished": "locrian locrian-natural-2",
    "diminished": "whole-half",
    "sus": "mixolydian dorian-b2 phrygian ionian lydian",
    "power": "mixolydian",
}


@dataclass(frozen=True, slots=True)
class Quality:
    """What a chord is above its root. Obtain one from ``quality_of`` or from a chord.

    ``degrees``   those of the symbol, root first, upward
    ``core``      the arpeggio an improviser practices: 1 3 5 7 (or 6), in triads 1 3 5
    ``guide``     3 and 7; 6 in sixths, 4 and b7 in sus, b3 and bb7 in dim, 3 and 5 in triads
    ``tensions``  color tones to add to the written ones when the key is not known
    ``scale``     the chord scale, six to eight tones (more where the chord itself is crowded)
    ``family``    major, minor, dominant, half-diminished, diminished, augmented, sus, minor-major
                  or power
    ``symbol``    the suffix we would write for it
    ``name``      a name of the table, with alterations in parentheses: "dominant(b9,#11)"
    """

    name: str
    symbol: str = field(compare=False)
    family: str = field(compare=False)
    degrees: Degrees
    core: Degrees = field(compare=False)
    guide: tuple[Degree, Degree] = field(compare=False)
    tensions: Degrees = field(compare=False)
    scale: Degrees = field(compare=False)

    def __hash__(self) -> int:
        return hash(self.name)  # a string caches its hash


class _Row(NamedTuple):
    name: str
    symbol: str
    degrees: Degrees
    tensions: Degrees
    scale: str


def _row(line: str) -> _Row:
    name, symbol, tones, tensions, scale, *_ = [*map(str.strip, line.split("|")), "", ""]
    return _Row(name, symbol, degrees(tones), degrees(tensions), scale)


_ROWS = {row.degrees: row for row in map(_row, _TABLE.strip().splitlines())}


def quality_of(tones: Iterable[Degree]) -> Quality:
    """The quality with these degrees, in any order.

    A 13 and a 6, 9 and 2, 11 and 4 are told apart by the other tones. Raises ChordError where
    no chord symbol could say them.
    """
    return _quality(_standard(tuple(tones)))


@lru_cache(maxsize=2048)
def _quality(standard: Degrees) -> Quality:
    row = _ROWS.get(standard)
    family = _family(standard)
    name, symbol = (row.name, row.symbol) if row else _altered_name(standard)
    scale = SCALES[row.scale] if row and row.scale else _chord_scale(standard, family)
    tensions = row.tensions if row else ()
    return Quality(
        name=name,
        symbol=symbol,
        family=family,
        degrees=standard,
        core=_core(standard, family),
        guide=_guide(standard, family),
        tensions=tensions or _available(standard, family, scale),
        scale=_spelled_scale(standard, scale),
    )


def _standard(tones: Degrees) -> Degrees:
    """Each tone once, upward, numbered as the rest of the chord has it."""
    tones = _with_one_sixth(tones)
    numbers = {tone.number for tone in tones}
    third, seventh = 3 in numbers, 7 in numbers
    fourth = 4 in numbers or (not third and Degree(11) in tones)
    renamed = {Degree(6): Degree(13), Degree(6, -1): Degree(13, -1)}
    if not seventh:
        renamed = {high: low for low, high in renamed.items()}
    if Degree(5) in tones:  # then b5 and #5 are extensions
        renamed |= {Degree(5, -1): Degree(11, 1), Degree(5, 1): Degree(13 if seventh else 6, -1)}
    renamed |= {Degree(4): Degree(11)} if third else {Degree(11): Degree(4)}
    renamed |= {Degree(2): Degree(9)} if third or fourth else {Degree(9): Degree(2)}
    if Degree(3) in tones:
        renamed[Degree(3, -1)] = Degree(9, 1)
    distinct: dict[int, Degree] = {}
    for tone in sorted(tones, key=lambda tone: tone.number):
        degree = renamed.get(tone, tone)
        distinct.setdefault(degree.pitch_class, degree)
    return tuple(sorted(distinct.values(), key=lambda degree: degree.semitones))


def _with_one_sixth(tones: Degrees) -> Degrees:
    """The bb7 is a seventh in diminished chords only, and a sixth in all others; never both."""
    present = set(tones)
    diminished = {Degree(3, -1), Degree(5, -1)} <= present and not {Degree(3), Degree(5)} & present
    if Degree(7, -2) not in present:
        return tones
    sixth = Degree(7, -2) if diminished else Degree(6)
    return (*(tone for tone in tones if tone.pitch_class != 9), sixth)


def _first(tones: Degrees, *wanted: str) -> Degree | None:
    """The first of the ``wanted`` degrees that the chord has."""
    return next((degree for degree in map(Degree.parse, wanted) if degree in tones), None)


def _third(tones: Degrees) -> Degree | None:
    return _first(tones, "3", "b3", "4", "2")


def _fifth(tones: Degrees) -> Degree | None:
    return _first(tones, "5", "#5", "b5")


def _seventh(tones: Degrees) -> Degree | None:
    return _first(tones, "7", "b7", "bb7", "6", "b6")


def _family(tones: Degrees) -> str:
    third, fifth = _third(tones), _fifth(tones)
    seventh = _first(tones, "7", "b7", "bb7")
    if third is None:
        return "power" if seventh is None else "dominant" if seventh.alter else "major"
    if third.number != 3:
        return "sus"
    if third.alter == 0:
        if Degree(7, -1) in tones:
            return "dominant"
        return "augmented" if fifth == Degree(5, 1) else "major"
    if fifth == Degree(5, -1):
        return "half-diminished" if seventh == Degree(7, -1) else "diminished"
    return "minor-major" if seventh == Degree(7) else "minor"


def _core(tones: Degrees, family: str) -> Degrees:
    seventh = _seventh(tones)
    if seventh is None and family == "diminished":
        seventh = Degree(7, -2)
    voices = (Degree(1), _third(tones), _fifth(tones), seventh)
    return tuple(sorted((v for v in voices if v), key=lambda degree: degree.semitones))


def _guide(tones: Degrees, family: str) -> tuple[Degree, Degree]:
    core = [degree for degree in _core(tones, family) if degree.number != 1]
    high = next((degree for degree in core if degree.number in (6, 7)), None)
    low = _third(tones) or (_fifth(tones) if high else None) or Degree(1)
    high = high or _fifth(tones) or Degree(1)
    return (low, high)


def _chord_scale(tones: Degrees, family: str) -> Degrees:
    """The family's first scale that holds the chord; else its first scale with the chord in it."""
    chord = {degree.pitch_class for degree in tones}
    scales = [SCALES[name] for name in _FAMILY_SCALES[family].split()]
    for scale in scales:
        pitches = {degree.pitch_class for degree in scale}
        # a scale with a natural fifth does not go with an altered one
        if chord <= pitches and (7 in chord or 7 not in pitches or not chord & {6, 8}):
            return scale
    numbers = {(degree.number - 1) % 7 + 1 for degree in tones}
    rest = [degree for degree in scales[0] if degree.number not in numbers]
    kept = [degree for degree in rest if degree.pitch_class not in chord]
    return tuple(sorted([*map(_within_octave, tones), *kept], key=lambda d: d.semitones))


def _within_octave(degree: Degree) -> Degree:
    return Degree((degree.number - 1) % 7 + 1, degree.alter)


def _spelled_scale(tones: Degrees, scale: Degrees) -> Degrees:
    """The scale, its chord tones spelled as the chord spells them."""
    spelled = {degree.pitch_class: _within_octave(degree) for degree in tones}
    return tuple(spelled.get(degree.pitch_class, degree) for degree in scale)


def _available(tones: Degrees, family: str, scale: Degrees) -> Degrees:
    """The scale's 9, 11 and 13 (in diminished chords its 7 too) that clash with no chord tone."""
    chord = {degree.pitch_class for degree in tones}
    upper = [
        Degree(degree.number + 7, degree.alter) for degree in scale if degree.number in (2, 4, 6)
    ]
    if family == "diminished" and Degree(7) in scale:
        upper.append(Degree(7))
    if family == "dominant":  # the altered scale writes its upper tones as fifths
        upper += [_UPPER_FIFTH[degree] for degree in scale if degree in _UPPER_FIFTH]
    return tuple(
        degree
        for degree in upper
        if degree.pitch_class not in chord and not _clashes(degree, chord, family)
    )


_UPPER_FIFTH = {Degree(5, -1): Degree(11, 1), Degree(5, 1): Degree(13, -1)}


def _clashes(degree: Degree, chord: set[int], family: str) -> bool:
    """Whether a tension is an avoid note over these pitch classes."""
    if degree == Degree(9, -1) and family == "dominant":
        return False
    if degree == Degree(13) and family == "minor" and 10 in chord:
        return True  # it gives away the third of the dominant to come
    return (degree.pitch_class - 1) % 12 in chord


def _altered_name(tones: Degrees) -> tuple[str, str]:
    """Name and symbol of a quality outside the table: the nearest row and what differs.

    The symbol of the first row is taken that reads back as this quality.
    """
    rows = sorted(_ROWS.values(), key=lambda row: _distance(row.degrees, tones))
    for row in rows:
        changes = _changes(row.degrees, tones)
        symbol = row.symbol + "".join(f"({change})" for change in changes)
        if _says(symbol, tones):
            return f"{row.name}({','.join(changes)})", symbol
    cause = f"No chord symbol says {' '.join(map(str, tones))} together."
    raise ChordError(cause, "Leave out the tone that is foreign to the chord.")


def _says(symbol: str, tones: Degrees) -> bool:
    try:
        return _standard(read_symbol("C" + symbol).degrees) == tones
    except ChordError:
        return False


def _changes(row: Degrees, tones: Degrees) -> list[str]:
    """What to add to a row's symbol for other tones."""
    removed = [degree for degree in row if degree not in tones]
    changes = []
    for degree in tones:
        if degree not in row:
            removed = [plain for plain in removed if plain.number != degree.number]
            text = "maj7" if degree == Degree(7) else str(degree)
            changes.append(f"add{text}" if _needs_add(degree, tones) else text)
    return changes + [f"no{degree.number}" for degree in removed]


def _needs_add(degree: Degree, tones: Degrees) -> bool:
    """Whether a bare alteration would be read otherwise: as a replacement, or with a seventh."""
    if degree.alter == 0 or Degree(degree.number) in tones:
        return True
    return degree.number == 7 or (degree.number == 9 and 7 not in {t.number for t in tones})


def _distance(row: Degrees, tones: Degrees) -> tuple[int, int, int]:
    added = [degree for degree in tones if degree not in row]
    removed = [degree for degree in row if degree not in tones]
    altered = {d.number for d in added} & {d.number for d in removed if d.alter == 0}
    return (len(added) + len(removed) - len(altered), len(removed), -len(row))


QUALITIES: dict[str, Quality] = {row.name: quality_of(tones) for tones, row in _ROWS.items()}
