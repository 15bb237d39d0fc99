"""Spelled pitches: names without octave, intervals, degrees of a chord or scale, keys.

Spelling is kept on the line of fifths (... Bb F C G D A E B F# ...), where every spelled pitch
class has one whole number: F -1, C 0, G 1, F# 6, Bb -2. Transposing is then an addition.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from backing.errors import ChordError

LETTERS = "CDEFGAB"
NATURAL_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_LETTERS_BY_FIFTHS = "FCGDAEB"

# The accidentals a note name can carry, ASCII and Unicode, and what each does in semitones.
_ACCIDENTALS = {"b": -1, "♭": -1, "𝄫": -2, "#": 1, "♯": 1, "x": 2, "𝄪": 2, "♮": 0}
ACCIDENTAL = "[b♭]{1,3}|𝄫|[#♯]{1,3}|x|𝄪|♮"
_NAME = re.compile(rf"(?P<letter>[A-G])(?P<accidental>{ACCIDENTAL})?")


@dataclass(frozen=True, slots=True)
class Interval:
    """A spelled interval: ``steps`` of the staff and ``semitones``, both negative downward.

    A minor third up is ``Interval(2, 3)``, a perfect fourth down ``Interval(-3, -5)``.
    """

    steps: int
    semitones: int

    def __neg__(self) -> Interval:
        return Interval(-self.steps, -self.semitones)

    def __add__(self, other: Interval) -> Interval:
        return Interval(self.steps + other.steps, self.semitones + other.semitones)

    @property
    def fifths(self) -> int:
        """How far the interval moves a pitch name along the line of fifths."""
        return 7 * self.semitones - 12 * self.steps

    @classmethod
    def of_semitones(cls, semitones: int) -> Interval:
        """The usual spelling of so many semitones up (or down): 3 is a minor third, 6 a
        diminished fifth."""
        octaves, rest = divmod(abs(semitones), 12)
        steps = 7 * octaves + (0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6)[rest]
        return cls(steps, abs(semitones)) if semitones >= 0 else cls(-steps, semitones)


@dataclass(frozen=True, slots=True)
class PitchName:
    """A note name without octave: ``letter`` A-G, ``alter`` in semitones (-1 is a flat)."""

    letter: str
    alter: int = 0

    def __str__(self) -> str:
        return self.letter + ("b" * -self.alter if self.alter < 0 else "#" * self.alter)

    @property
    def pretty(self) -> str:
        """The name with typographic accidentals: B♭, F♯, B𝄫."""
        signs = {-2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪"}
        if self.alter in signs:
            return self.letter + signs[self.alter]
        return str(self).replace("b", "♭").replace("#", "♯")

    @property
    def fifths(self) -> int:
        """The position on the line of fifths: F -1, C 0, G 1, F# 6, Bb -2."""
        return _LETTERS_BY_FIFTHS.index(self.letter) - 1 + 7 * self.alter

    @classmethod
    def of_fifths(cls, fifths: int) -> PitchName:
        """The name at a position on the line of fifths: the inverse of ``fifths``."""
        alter, letter = divmod(fifths + 1, 7)
        return cls(_LETTERS_BY_FIFTHS[letter], alter)

    @property
    def pitch_class(self) -> int:
        """Semitones above C, 0-11."""
        return 7 * self.fifths % 12

    @classmethod
    def parse(cls, text: str) -> PitchName:
        """Read a whole text as a note name: C, Bb, B♭, F#, F♯, Ebb, Fx, B♮.

        Raises ChordError with the offsets of what isn't a note name.
        """
        name, end = read_pitch_name(text)
        if end < len(text):
            raise ChordError(
                f'"{text[end:]}" does not belong to the note name {name}.',
                "Write a letter A-G and at most one accidental, such as Bb or F#.",
                end,
                len(text),
            )
        return name

    def transposed(self, interval: Interval) -> PitchName:
        """The name that lies ``interval`` away, spelled exactly (a minor second over Cb is Dbb)."""
        return PitchName.of_fifths(self.fifths + interval.fifths)

    def simplified(self, key: Key | None = None) -> PitchName:
        """The same pitch without double accidentals, Cb, Fb, E# or B#, unless ``key`` has it."""
        if key is not None and self in key.scale:
            return self
        fifths = self.fifths
        while fifths < -6:  # beyond Gb
            fifths += 12
        while fifths > 10:  # beyond A#
            fifths -= 12
        return PitchName.of_fifths(fifths)

    def within(self, lowest: int, highest: int) -> PitchName:
        """The same pitch by a name between two places on the line of fifths, 11 apart or more."""
        fifths = self.fifths
        while fifths < lowest:
            fifths += 12
        while fifths > highest:
            fifths -= 12
        return PitchName.of_fifths(fifths)

    def interval_to(self, other: PitchName) -> Interval:
        """The interval up to ``other``, within the octave.

        Where the spelling would point downward (C to Cb) the octave above is meant.
        """
        steps = (LETTERS.index(other.letter) - LETTERS.index(self.letter)) % 7
        naturals = NATURAL_SEMITONES[LETTERS.index(other.letter)]
        naturals -= NATURAL_SEMITONES[LETTERS.index(self.letter)]
        interval = Interval(steps, naturals % 12 + other.alter - self.alter)
        return interval + Interval(7, 12) if interval.semitones < 0 else interval


def read_pitch_name(text: str, start: int = 0) -> tuple[PitchName, int]:
    """Read the note name that begins at ``start``; return it and the offset after it.

    Raises ChordError at ``start`` where there is none (German H and small letters are explained).
    """
    match = _NAME.match(text, start)
    if match is None:
        raise _no_pitch_name(text, start)
    signs = match["accidental"] or ""
    return PitchName(match["letter"], sum(_ACCIDENTALS[sign] for sign in signs)), match.end()


def _no_pitch_name(text: str, start: int) -> ChordError:
    found = text[start : start + 1]
    if not found.strip():
        cause, cure = "A note name is missing here.", "Write a letter A-G, such as C, Bb or F#."
        return ChordError(cause, cure, start, start + len(found))
    if found in "Hh":
        cause = f'"{found}" is the German name of a note.'
        cure = "Write B for the note below C, and Bb for a half step lower."
    elif found in "abcdefg":
        upper = text[start:].replace(found, found.upper(), 1)
        cause, cure = f'"{found}" is a lowercase letter.', f"Write {upper}, with a capital letter."
    else:
        cause = f'"{found}" isn\'t a note name.'
        cure = "Begin with a letter A-G, such as C, Bb or F#."
    return ChordError(cause, cure, start, start + 1)


@dataclass(frozen=True, slots=True)
class Degree:
    """A tone counted from a root: ``number`` 1-13 against the major scale, ``alter`` in semitones.

    The flat ninth is ``Degree(9, -1)``, a diminished seventh ``Degree(7, -2)``.
    """

    number: int
    alter: int = 0

    def __str__(self) -> str:
        return ("b" * -self.alter if self.alter < 0 else "#" * self.alter) + str(self.number)

    @property
    def semitones(self) -> int:
        """Semitones above the root, octave included: 9 is 14, b13 is 20."""
        octaves, step = divmod(self.number - 1, 7)
        return 12 * octaves + NATURAL_SEMITONES[step] + self.alter

    @property
    def pitch_class(self) -> int:
        """Semitones above the root within the octave, 0-11."""
        return self.semitones % 12

    @property
    def interval(self) -> Interval:
        """The spelled interval from the root."""
        return Interval(self.number - 1, self.semitones)

    @classmethod
    @lru_cache(maxsize=256)
    def parse(cls, text: str) -> Degree:
        """Read 1-13 with accidentals before it: 5, b9, #11, bb7, ♭13. Raises ChordError."""
        match = re.fullmatch(r"(?P<signs>[b♭]{0,2}|[#♯]{0,2})(?P<number>1[0-3]|[1-9])", text)
        if match is None:
            raise ChordError(
                f'"{text}" isn\'t a degree.', "Write 1 to 13, such as 5, b9 or #11.", 0, len(text)
            )
        return cls(int(match["number"]), sum(_ACCIDENTALS[sign] for sign in match["signs"]))


@lru_cache(maxsize=256)
def degrees(text: str) -> tuple[Degree, ...]:
    """Read degrees with spaces between them: ``degrees("1 b3 5 b7")``. Raises ChordError."""
    return tuple(Degree.parse(word) for word in text.split())


# Steps on the line of fifths from the tonic of the major key with the same signature to the tonic
# of each mode.
MODES = {
    "lydian": -1,
    "major": 0,
    "ionian": 0,
    "mixolydian": 1,
    "dorian": 2,
    "minor": 3,
    "aeolian": 3,
    "phrygian": 4,
    "locrian": 5,
}
MODE_SPELLINGS = {
    **{mode: mode for mode in MODES},
    **dict.fromkeys(("", "M", "maj", "ma"), "major"),
    **dict.fromkeys(("m", "min", "mi", "-", "−"), "minor"),
}


_MEANT_MODES = {"moll": "minor", "dur": "major", "m": "minor"} | {mode: mode for mode in MODES}
"""What is meant by modes after a small letter, and by the German words."""


@dataclass(frozen=True, slots=True)
class Key:
    """A key: its ``tonic`` and its ``mode``, major, minor or a church mode.

    Raises ChordError where the signature would need more than seven accidentals.
    """

    tonic: PitchName
    mode: str = "major"

    def __post_init__(self) -> None:
        if abs(self.fifths) > 7:
            usual = self._respelled()
            cause = f"{self} would need {abs(self.fifths)} accidentals in its key signature."
            raise ChordError(cause, f"Write {usual}.", 0, len(str(self.tonic)))

    def __str__(self) -> str:
        return f"{self.tonic} {self.mode}"

    @property
    def pretty(self) -> str:
        """The key as it is printed: "B♭ major", "F♯ minor"."""
        return f"{self.tonic.pretty} {self.mode}"

    @property
    def short(self) -> str:
        """The key as a player says it for short, which ``parse`` reads: "C", "Bm", "D dorian"."""
        sign = {"major": "", "minor": "m"}.get(self.mode, f" {self.mode}")
        return f"{self.tonic}{sign}"

    @property
    def fifths(self) -> int:
        """The key signature: sharps positive, flats negative, -7 to 7 (as in SMF, MusicXML)."""
        return self.tonic.fifths - MODES[self.mode]

    @property
    def scale(self) -> tuple[PitchName, ...]:
        """The seven notes of the signature, from the tonic up (minor is natural minor)."""
        first = LETTERS.index(self.tonic.letter)
        letters = LETTERS[first:] + LETTERS[:first]
        signature = map(PitchName.of_fifths, range(self.fifths - 1, self.fifths + 6))
        names = {name.letter: name for name in signature}
        return tuple(names[letter] for letter in letters)

    def _respelled(self) -> Key:
        """The same key by its enharmonic name, with six accidentals at most."""
        away = -12 if self.fifths > 0 else 12
        return Key(PitchName.of_fifths(self.tonic.fifths + away), self.mode)

    def transposed(self, interval: Interval) -> Key:
        """The key ``interval`` away, under the enharmonic name with six accidentals at most."""
        fifths = self.tonic.fifths + interval.fifths
        if fifths == self.tonic.fifths:
            return self
        while fifths - MODES[self.mode] > 6:
            fifths -= 12
        while fifths - MODES[self.mode] < -6:
            fifths += 12
        return Key(PitchName.of_fifths(fifths), self.mode)

    def spelled(self, interval: Interval) -> Interval:
        """The interval as all names of this key have to go to be in ``transposed(interval)``.

        From B up a major second it is the way to Db, not to C#.
        """
        exact = self.tonic.fifths + interval.fifths
        turns = (self.transposed(interval).tonic.fifths - exact) // 12
        return Interval(interval.steps - turns, interval.semitones)

    @classmethod
    def parse(cls, text: str) -> Key:
        """Read a key: "G minor", "Gm", "F", "Bb major", "D dorian".

        Raises ChordError with the offsets of the culprit.
        """
        start = len(text) - len(text.lstrip())
        first = text[start : start + 1]
        meant = _MEANT_MODES.get(text[start + 1 :].strip("-b# ").lower())
        if first in "abcdefg" and first and meant is not None:
            sign = "b" if text[start + 1 : start + 2] == "b" else ""
            cure = f"Write {first.upper()}{sign} {meant}."
            raise ChordError(f'"{text.strip()}" isn\'t a key.', cure, start, start + 1)
        tonic, end = read_pitch_name(text, start)
        word = text[end:].strip()
        mode = MODE_SPELLINGS.get(word) or MODE_SPELLINGS.get(word.lower())
        if mode is None:
            begin = text.index(word, end)
            cause = f'"{word}" isn\'t a mode.'
            cure = f"Write {tonic} major, {tonic} minor, or a church mode such as {tonic} dorian."
            if word.lower() in ("moll", "dur"):
                cure = f"Write {tonic} {_MEANT_MODES[word.lower()]}."
            raise ChordError(cause, cure, begin, begin + len(word))
        return cls(tonic, mode)
