"""A line as it is notated: notes cut at bar lines and beats, beamed, with the accidentals needed.

Times are in quarter notes from the start of a bar once a line has been cut into bars.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise, takewhile

from backing.chart.bar import Meter, PlayedBar
from backing.chart.pitch import LETTERS, NATURAL_SEMITONES, Key, PitchName
from backing.neck.fingerboard import StringFret

EIGHTH = Fraction(1, 2)
VALUES = {
    Fraction(6): ("whole", 1), Fraction(4): ("whole", 0),
    Fraction(3): ("half", 1), Fraction(2): ("half", 0),
    Fraction(3, 2): ("quarter", 1), Fraction(1): ("quarter", 0), Fraction(3, 4): ("eighth", 1),
    EIGHTH: ("eighth", 0), Fraction(3, 8): ("16th", 1), Fraction(1, 4): ("16th", 0),
    Fraction(2, 3): ("quarter", 0), Fraction(1, 3): ("eighth", 0), Fraction(1, 6): ("16th", 0),
}  # fmt: skip
"""Lengths in quarters that one note shows -> its type and dots; thirds stand in triplets."""


@dataclass(frozen=True, slots=True)
class StaffPitch:
    """One pitch of a sound: sounding MIDI ``pitch``, spelled ``name``, its degree of the chord
    (``degree``, as it is printed), and where it is played."""

    pitch: int
    name: PitchName
    degree: str = ""
    place: StringFret | None = None


@dataclass(frozen=True, slots=True)
class StaffNote:
    """Tones that begin and end together; ``onset`` and ``length`` in beats of the bars."""

    onset: Fraction
    length: Fraction
    tones: tuple[StaffPitch, ...]


@dataclass(frozen=True, slots=True)
class Value:
    """A note, chord or rest (no ``tones``) of one printed value.

    ``onset`` and ``length`` in quarters of the bar. ``tied``: to the value before, and on to the
    next one. ``beam``: "begin", "continue", "end" or nothing. ``accidentals``: for each tone the
    alteration whose sign stands before it, None where none does. ``tuplet``: "start" or "stop".
    """

    onset: Fraction
    length: Fraction
    tones: tuple[StaffPitch, ...] = ()
    tied: tuple[bool, bool] = (False, False)
    beam: str = ""
    accidentals: tuple[int | None, ...] = ()
    tuplet: str = ""

    @property
    def triplet(self) -> bool:
        """Whether three of its kind stand for two."""
        return self.length.denominator % 3 == 0

    @property
    def end(self) -> Fraction:
        """Where it ends, in quarters of the bar."""
        return self.onset + self.length


def octave_of(pitch: int, name: PitchName) -> int:
    """The octave in scientific notation in which a MIDI pitch of this name is written."""
    return (pitch - NATURAL_SEMITONES[LETTERS.index(name.letter)] - name.alter) // 12 - 1


def notated(sounds: Sequence[StaffNote], bars: Sequence[PlayedBar]) -> list[list[Value]]:
    """The values of every bar, rests included; what lies outside the bars is left out.

    ``sounds`` come one after another.
    """
    written = []
    start = Fraction(0)
    for bar in bars:
        inside = list(_inside(sounds, start, bar))
        values = [value for each in _with_rests(inside, bar) for value in _split(each, bar.meter)]
        beamed = _beamed(values, bar.meter)
        written.append(_with_accidentals(_with_tuplets(beamed), bar.key))
        start += bar.length
    return written


def _inside(sounds: Sequence[StaffNote], start: Fraction, bar: PlayedBar) -> Iterator[Value]:
    quarter = bar.meter.beat_quarters
    at = bisect_right(sounds, start, key=lambda sound: sound.onset + sound.length)
    for sound in takewhile(lambda sound: sound.onset < start + bar.length, sounds[at:]):
        first = max(sound.onset, start)
        last = min(sound.onset + sound.length, start + bar.length)
        if first < last:
            tied = (first > sound.onset and sound.onset >= 0, last < sound.onset + sound.length)
            yield Value((first - start) * quarter, (last - first) * quarter, sound.tones, tied)


def _with_rests(values: Sequence[Value], bar: PlayedBar) -> Iterator[Value]:
    now = Fraction(0)
    for value in values:
        if value.onset > now:
            yield Value(now, value.onset - now)
        yield value
        now = value.end
    length = bar.length * bar.meter.beat_quarters
    if now < length:
        yield Value(now, length - now)


def _split(value: Value, meter: Meter) -> Iterator[Value]:
    """The value in pieces that one note each can show, tied together."""
    if not value.tones and value.length == meter.beats * meter.beat_quarters:
        yield value
        return
    pieces: list[tuple[Fraction, Fraction]] = []
    now = value.onset
    while now < value.end:
        length = _shown(now, value.end, meter, rest=not value.tones)
        pieces.append((now, length))
        now += length
    for index, (onset, length) in enumerate(pieces):
        before = value.tied[0] if index == 0 else True
        after = value.tied[1] if index == len(pieces) - 1 else True
        tied = (before, after) if value.tones else (False, False)
        yield Value(onset, length, value.tones, tied)


def _shown(now: Fraction, end: Fraction, meter: Meter, *, rest: bool) -> Fraction:
    """The longest value from ``now`` in which a reader finds the beat."""
    beat = meter.beat_quarters
    on_beat = now % beat == 0
    barriers = [point for point in _groups(meter) if now < point < end]
    limit = end
    # a note may lie across the middle of a bar, a rest may not (Gould, "Behind Bars", from memory)
    whole_beats = on_beat and (end - now) % beat == 0
    if barriers and (not whole_beats or (rest and not meter.compound)):
        limit = barriers[0]
    if not on_beat and limit - now > beat:
        limit = now - now % beat + beat
    length = limit - now
    values = [value for value in VALUES if value <= length and _same_kind(value, length)]
    if meter.compound and on_beat and length >= beat:
        values = [value for value in values if value % beat == 0]  # dotted, as the beat is
    elif rest:
        values = [value for value in values if not VALUES[value][1]]
    return max(values, default=length)


def _same_kind(value: Fraction, length: Fraction) -> bool:
    """Whether both are of triplets, or neither."""
    return (value.denominator % 3 == 0) == (length.denominator % 3 == 0)


def _groups(meter: Meter) -> list[Fraction]:
    """Where the groups of a bar begin after the first, in quarters."""
    points = []
    total = Fraction(0)
    for beats in meter.groups[:-1]:
        total += beats * meter.beat_quarters
        points.append(total)
    if meter.compound:
        points = [n * meter.beat_quarters for n in range(1, meter.beats)]
    return points


def _beamed(values: Sequence[Value], meter: Meter) -> list[Value]:
    """Eighths and shorter joined within a group of beats; triplets, and all in 3/4, in a beat."""
    unit = [Fraction(0), *_groups(meter)]
    if meter.groups == (3,) and not meter.compound:
        unit = [Fraction(n) for n in range(meter.beats)]

    def group(value: Value) -> int:
        if value.triplet:
            return value.onset.__floor__()
        return sum(value.onset >= point for point in unit)

    joined = [
        bool(a.tones and b.tones) and max(a.length, b.length) <= EIGHTH
        and group(a) == group(b) and a.triplet == b.triplet
        for a, b in pairwise(values)
    ]  # fmt: skip
    names = {(False, True): "begin", (True, True): "continue", (True, False): "end"}
    return [
        replace(value, beam=names.get((before, after), ""))
        for value, before, after in zip(values, [False, *joined], [*joined, False], strict=True)
    ]


def _with_tuplets(values: Sequence[Value]) -> list[Value]:
    """Triplets bracketed beat by beat."""
    marked = list(values)
    for index, value in enumerate(values):
        if value.triplet and value.onset.denominator == 1:
            marked[index] = replace(value, tuplet="start")
        elif value.triplet and value.end.denominator == 1:
            marked[index] = replace(value, tuplet="stop")
    return marked


def _with_accidentals(values: Sequence[Value], key: Key) -> list[Value]:
    """Signs where a note is altered otherwise than the signature and the bar so far say."""
    signature = {name.letter: name.alter for name in key.scale}
    heard: dict[tuple[str, int], int] = {}
    marked = []
    for value in values:
        signs: list[int | None] = []
        for tone in value.tones:
            at = (tone.name.letter, octave_of(tone.pitch, tone.name))
            expected = heard.get(at, signature[tone.name.letter])
            shown = tone.name.alter != expected and not value.tied[0]
            signs.append(tone.name.alter if shown else None)
            heard[at] = tone.name.alter
        marked.append(replace(value, accidentals=tuple(signs)))
    return marked
