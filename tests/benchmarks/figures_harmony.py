"""What sounds over the chords, held against tables of its own: tensions, limits, guide tones.

The tables repeat what teachers say, apart from the tables the band plays from. Common practice,
no source, where none is named.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, pairwise

from backing.chart.harmony import Chord
from backing.combo.part import Note, Part
from backing.combo.plan import ChordSpan, Plan
from tests.benchmarks.figures_comping import cadences, chords

LOW_LIMITS = {1: 52, 2: 51, 3: 48, 4: 47, 5: 45, 6: 45, 7: 37, 8: 41, 9: 41, 10: 41, 11: 41}
"""Interval in semitones -> lowest lower note, MIDI (sweetwater.com/insync/low-interval-limit,
whose C3 is middle C; its tritone is a slip of an octave, so the fourth's stands)."""

GUIDE_TONES = {
    "": (4, 7), "m": (3, 7, 10), "6": (4, 9), "m6": (3, 9), "6/9": (4, 9), "m6/9": (3, 9),
    "maj7": (4, 11), "maj9": (4, 11), "maj7#11": (4, 11), "mMaj7": (3, 11),
    "m7": (3, 10), "m9": (3, 10), "m7b5": (3, 10), "dim7": (3, 9), "7sus": (5, 10),
    "7": (4, 10), "9": (4, 10), "13": (4, 10), "7b9": (4, 10), "7alt": (4, 10), "7#11": (4, 10),
    "7b13": (4, 10), "7(b9,b13)": (4, 10),
}  # fmt: skip
"""Suffix of a symbol -> its two guide tones in semitones above the root (coursera blues lecture
8-53; musictheorymanual.com, voice-leading with guide tones; plain triads: third and fifth)."""

MINOR_FAMILIES = ("minor", "minor-major", "half-diminished")
Played = tuple[Plan, Part]


def low_intervals(part: Part) -> int:
    """Pairs of voices that lie closer and lower than the table allows."""
    return sum(
        low.pitch < LOW_LIMITS.get(high.pitch - low.pitch, 0)
        for notes in chords(part)
        for low, high in combinations(notes, 2)
    )


@dataclass(frozen=True, slots=True)
class Context:
    """A chord in its place: what it is in its key, where it comes from and goes."""

    span: ChordSpan
    chord: Chord
    before: Chord | None
    following: Chord | None

    @property
    def degree(self) -> int:
        """Semitones from the tonic of the key to the root."""
        return (self.chord.root.pitch_class - self.span.key.tonic.pitch_class) % 12

    @property
    def plain(self) -> bool:
        """Whether the symbol names nothing but chord tones, over its own root."""
        written = set(self.chord.pitch_classes) == set(self.chord.core_pitch_classes)
        return written and self.chord.bass is None

    @property
    def minor_cadence(self) -> bool:
        """Whether a half-diminished chord a fifth above leads to it: it is a V of minor."""
        before = self.before
        if before is None or before.family != "half-diminished":
            return False
        return (before.root.pitch_class - self.chord.root.pitch_class) % 12 == 7

    @property
    def falls_to_minor(self) -> bool:
        """Whether it goes to a minor chord a fifth below."""
        after = self.following
        if after is None or after.family not in MINOR_FAMILIES:
            return False
        return (self.chord.root.pitch_class - after.root.pitch_class) % 12 == 7


MINOR_TARGET = frozenset({2, 6, 8, 9})
"""Over a plain V7 of a minor chord: 9, #11, b13 beside the fifth and 13 fight it."""
LYDIAN = frozenset({1, 3, 8})
"""Over a plain II7, bII7, bVII7 and the I7 and IV7 of a blues: altered tones.

Over I7 all but its #9, a blue note (common practice, no source).
"""
LYDIAN_DEGREES = (0, 1, 2, 5, 10)


def wrong_tensions(played: Sequence[Played]) -> dict[str, int]:
    """Voices of the comping that are out of place, by the kind of chord they are heard over."""
    found = dict.fromkeys(("V7 of minor", "II7 and its like", "iim7b5, iiim7", "bare tonic"), 0)
    for plan, part in played:
        for context, pitch_classes in _heard(plan, part):
            name, wrong = _forbidden(context)
            if name:
                found[name] += len(wrong & pitch_classes)
    return found


def _forbidden(context: Context) -> tuple[str, frozenset[int]]:
    """The kind of a plain chord and the tones, in semitones above its root, it does not take."""
    chord, degree = context.chord, context.degree
    minor_key = context.span.key.mode == "minor"
    if not context.plain:
        return "", frozenset()
    if chord.family == "dominant" and context.falls_to_minor:
        return "V7 of minor", MINOR_TARGET
    if chord.family == "dominant" and degree in LYDIAN_DEGREES and not context.minor_cadence:
        return "II7 and its like", LYDIAN - ({3} if degree == 0 else set())
    phrygian = chord.family == "minor" and degree == 4 and not minor_key
    if chord.family == "half-diminished" or (phrygian and len(chord.core_pitch_classes) == 4):
        return "iim7b5, iiim7", frozenset({2}) if degree in (2, 4) else frozenset()
    if degree == 0 and len(chord.core_pitch_classes) == 3 and chord.family in ("major", "minor"):
        allowed = {2, 9, *((pc - chord.root.pitch_class) % 12 for pc in chord.core_pitch_classes)}
        allowed |= {5} if chord.family == "minor" else set()  # fights no tone of a minor chord
        return "bare tonic", frozenset(range(12)) - allowed
    return "", frozenset()


def _heard(plan: Plan, part: Part) -> Iterator[tuple[Context, set[int]]]:
    """Every chord of the comping in its place, with the tones above its root that sound."""
    spans = {stroke.onset: stroke.span for stroke in plan.comping}
    before = {b.start: a.chord for a, b in pairwise(plan.spans)}
    for notes in chords(part):
        span = spans[notes[0].onset]
        if span.chord is not None:
            after = plan.after(span)
            chord = span.chord
            goes_to = after.chord if after else None
            tones = {(note.pitch - chord.root.pitch_class) % 12 for note in notes}
            yield Context(span, chord, before.get(span.start), goes_to), tones


def flat_ninth_share(played: Sequence[Played]) -> float:
    """The share of plain V7s of a minor chord that sound their b9 in one stroke at least."""
    found: dict[tuple[int, Fraction], bool] = {}
    for index, (plan, part) in enumerate(played):
        for context, tones in _heard(plan, part):
            if context.plain and context.chord.family == "dominant" and context.falls_to_minor:
                place = index, context.span.start
                found[place] = found.get(place, False) or 1 in tones
    return sum(found.values()) / len(found) if found else 1.0


def wrong_guide_tones(parts: Sequence[Part]) -> int:
    """Notes of a guide line that are no guide tone of their chord by GUIDE_TONES."""
    return sum(_wrong(note) for part in parts for note in part.notes)


def _wrong(note: Note) -> bool:
    chord = note.chord
    assert chord is not None
    suffix = chord.text.partition("/")[0] if chord.bass else chord.text
    tones = GUIDE_TONES.get(suffix.lstrip("ABCDEFG").lstrip("b#"))
    return tones is not None and (note.pitch - chord.root.pitch_class) % 12 not in tones


def guide_moves(played: Sequence[Played]) -> list[int]:
    """By how many semitones the lines move in every II-V-I: the lower voice, then the upper.

    A I without a sixth or seventh is left out: its fifth is no step away from the V's third.
    """
    moves = []
    for plan, part in played:
        struck: dict[Fraction, list[int]] = {}
        for note in part.notes:
            struck.setdefault(note.onset, []).append(note.pitch)
        tops = {bar.start for bar in plan.bars if bar.section_top}
        for starts in cadences(plan):
            for before, after in pairwise(starts):
                # at the head of a section a line that has sunk begins an octave higher
                if before not in struck or after not in struck or after in tops:
                    continue
                if not _is_triad(plan.span_at(after)):
                    pair = zip(sorted(struck[before]), sorted(struck[after]), strict=True)
                    moves += [abs(a - b) for a, b in pair]
    return moves


def _is_triad(span: ChordSpan | None) -> bool:
    return span is None or span.chord is None or len(span.chord.core_pitch_classes) < 4
