"""Arpeggio shapes: a chord's tones under the hand in one position, and all positions of a chord."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from backing.chart.harmony import Chord
from backing.chart.pitch import Degree
from backing.errors import PracticeError
from backing.neck.arpeggio import Arpeggio, arpeggio, arpeggio_pitches
from backing.neck.fingerboard import SPAN, Fingerboard, Hand, StringFret, hand
from backing.neck.grip import SECOND_LOW_STRETCH, Grip, chosen, grips, rolls_and_jumps


@dataclass(frozen=True, slots=True)
class ShapeTone:
    """A tone of a shape: its ``place``, MIDI ``pitch``, ``degree`` of the chord, and ``finger``.

    Fingers: 1 index to 4 little finger, 0 an open string. ``role``: see Arpeggio (0: a lighter
    tone). ``stretched``: the finger leaves its home fret.
    """

    place: StringFret
    pitch: int
    degree: Degree
    role: int
    finger: int
    stretched: bool = False


@dataclass(frozen=True, slots=True)
class Shape:
    """A chord under the hand: ``tones`` from the lowest pitch up, each pitch once.

    ``lighter`` are further written tones (a 9, the root of a rootless arpeggio); ``rolls``: how
    often one finger rolls over two strings; ``missing``: MIDI pitches inside the shape that the
    hand cannot take.
    """

    chord: Chord
    position: int
    tones: tuple[ShapeTone, ...]
    lighter: tuple[ShapeTone, ...] = ()
    rolls: int = 0
    missing: tuple[int, ...] = ()

    @property
    def stretches(self) -> tuple[ShapeTone, ...]:
        """The tones for which a finger leaves home."""
        return tuple(tone for tone in self.tones if tone.stretched)

    @property
    def whole(self) -> bool:
        """Whether a part of the shape has every tone of the chord without a gap."""
        return not self.missing or _has_whole_run(self)

    @property
    def frets(self) -> tuple[int, int]:
        """The lowest and the highest fret of its tones."""
        frets = [tone.place.fret for tone in self.tones]
        return min(frets), max(frets)

    @property
    def pitches(self) -> tuple[int, ...]:
        """The MIDI pitches, upward."""
        return tuple(tone.pitch for tone in self.tones)

    def at(self, pitch: int) -> ShapeTone | None:
        """The tone with a MIDI pitch, if the shape has it."""
        return next((tone for tone in self.tones if tone.pitch == pitch), None)


def _has_whole_run(broken: Shape) -> bool:
    """Whether all the degrees are between two gaps, or beyond one."""
    degrees = {tone.degree for tone in broken.tones}
    for low, high in pairwise([-1, *broken.missing, 128]):
        if {tone.degree for tone in broken.tones if low < tone.pitch < high} == degrees:
            return True
    return False


def shape(
    chord: Chord,
    fingerboard: Fingerboard,
    position: int,
    *,
    way: str = "1-7",
    preferred: Mapping[int, StringFret] | None = None,
) -> Shape:
    """The shape of a chord in a position.

    ``way``: see arpeggio.WAYS; ``preferred``: places to keep to where the rules of the hand allow
    (MIDI pitch -> place). Raises PracticeError where the position is off the neck or a tone of the
    chord is out of reach on this tuning.
    """
    chord = chord.sounding
    figure = arpeggio(chord.quality, way)
    classes = arpeggio_pitches(chord, way)
    options = grips(fingerboard, position, classes)
    by_class = {
        (chord.root.pitch_class + degree.pitch_class) % 12: degree for degree in figure.tones
    }
    reached = _reached(fingerboard, options)
    for pitch_class, degree in by_class.items():
        if pitch_class not in reached:
            name = chord.spelled(degree).pretty
            raise PracticeError(
                f"{name}, the {degree} of {chord}, is out of reach in position {position}.",
                "Choose another position, or a tuning whose strings lie closer.",
            )
    grip = chosen(options, preferred or {}, fingerboard)
    here = hand(fingerboard, position)
    roles = dict(zip(figure.tones, figure.roles, strict=True))
    degrees = [by_class[fingerboard.pitch(place) % 12] for place in grip.places]
    tones = [_tone(here, p, d, roles[d]) for p, d in zip(grip.places, degrees, strict=True)]
    rolls, _ = rolls_and_jumps(here, grip.places)
    lighter = tuple(_lighter(chord, figure, here, preferred or {}))
    return Shape(chord, position, tuple(tones), lighter, rolls, grip.missing)


def _reached(fingerboard: Fingerboard, options: tuple[Grip, ...]) -> set[int]:
    """The pitch classes that the grips of a chord have."""
    return {fingerboard.pitch(place) % 12 for grip in options[:1] for place in grip.places}


def _tone(here: Hand, place: StringFret, degree: Degree, role: int) -> ShapeTone:
    pitch = here.fingerboard.pitch(place)
    return ShapeTone(place, pitch, degree, role, here.finger(place), here.stretched(place))


def _lighter(
    chord: Chord, figure: Arpeggio, here: Hand, preferred: Mapping[int, StringFret]
) -> Iterator[ShapeTone]:
    by_class = {(chord.root.pitch_class + d.pitch_class) % 12: d for d in figure.lighter}
    for pitch, places in here.reach.items():
        if pitch % 12 in by_class:
            place = preferred.get(pitch, places[0])
            yield _tone(here, place, by_class[pitch % 12], 0)


def positions(chord: Chord, fingerboard: Fingerboard, *, way: str = "1-7") -> tuple[Shape, ...]:
    """The shapes of a chord along one octave of the neck, each where it is easiest.

    The octave is the lowest one, unless the wide frets there would ask for two stretches at once.
    Positions with a root under the hand on the same strings are one place to a player, of
    which the easiest is taken; those with roots on more strings come first. In standard tuning
    that gives five (the trade's five forms, with roots on strings 5 and 2, 5 and 3, 6 3 and 1, 6 4
    and 1, 4 and 2). A chord that repeats along the neck has one shape for each of its steps: a
    diminished seventh every three frets, an augmented triad every four. Raises PracticeError where
    no position reaches the whole chord.
    """
    chord = chord.sounding
    figure = arpeggio(chord.quality, way)
    classes = arpeggio_pitches(chord, way)
    every = range(1, fingerboard.highest_position + 1)
    found = {p: _cost(fingerboard, p, classes, figure) for p in every}
    reachable = {p: cost for p, cost in found.items() if cost is not None}
    if not reachable:
        raise PracticeError(
            f"No position reaches every tone of {chord} on this tuning.",
            "Tune the strings closer together, or leave tones out.",
        )
    step, root = period(classes), chord.root.pitch_class
    rows = [
        _along({p: c for p, c in reachable.items() if 0 <= p - first < 12}, fingerboard, root, step)
        for first in range(1, max(1, fingerboard.highest_position - 11) + 1)
    ]
    # the row that misses fewest tones and least needs two stretches over wide frets
    best = min(
        filter(None, rows), key=lambda row: sum(reachable[p] >= SECOND_LOW_STRETCH for p in row)
    )
    if step > SPAN:
        best = _over_open_strings(best, reachable, fingerboard, root)
    return tuple(shape(chord, fingerboard, p, way=way) for p in best)


def _over_open_strings(
    row: list[int], cost: Mapping[int, int], fingerboard: Fingerboard, root: int
) -> list[int]:
    """The positions, with the first one in place of the last if that is the same form an octave up
    and the first one is easy."""
    if 1 in row or cost.get(1, SECOND_LOW_STRETCH) >= SECOND_LOW_STRETCH:
        return row
    strings, last = _root_strings(fingerboard, root, 1), row[-1]
    high = last > 11 and _root_strings(fingerboard, root, last) == strings
    return [1, *row[:-1]] if high else row


def period(pitch_classes: frozenset[int]) -> int:
    """After how many frets the same tones come again: 3 for a diminished seventh, else 4, 6, 12."""
    return next(
        step
        for step in (1, 2, 3, 4, 6, 12)
        if {(pitch + step) % 12 for pitch in pitch_classes} == pitch_classes
    )


def _cost(
    fingerboard: Fingerboard, position: int, classes: frozenset[int], figure: Arpeggio
) -> int | None:
    options = grips(fingerboard, position, classes)
    whole = len(_reached(fingerboard, options)) == len(figure.tones)
    return options[0].cost if whole else None


def _along(cost: Mapping[int, int], fingerboard: Fingerboard, root: int, step: int) -> list[int]:
    """The positions to know among those of an octave of the neck."""
    if step > SPAN or not cost:
        return _anchored(fingerboard, root, cost) if cost else []
    series = [[p for p in cost if p % step == rest] for rest in range(step)]
    return min(filter(None, series), key=lambda row: sum(map(cost.__getitem__, row)))


def _anchored(fingerboard: Fingerboard, root: int, cost: Mapping[int, int]) -> list[int]:
    """The positions to know: one for each set of strings with a root under the hand.

    Subsets of another set do not count, unless the hand would skip frets without them.
    """
    rows: dict[frozenset[int], list[int]] = {}
    for position in cost:
        rows.setdefault(_root_strings(fingerboard, root, position), []).append(position)
    largest = [strings for strings in rows if not any(strings < other for other in rows)]
    best = sorted(min(rows[strings], key=lambda p: (cost[p], p)) for strings in largest)
    return _without_leaps(best, cost)


def _root_strings(fingerboard: Fingerboard, root: int, position: int) -> frozenset[int]:
    """The strings with a root under the hand; in first position over open ones it lies a fret
    lower, or a form over the open strings and the next one would be one."""
    strings = range(1, len(fingerboard.strings) + 1)
    over_open = position == 1 and any(fingerboard.open_pitch(s) % 12 == root for s in strings)
    first = 0 if over_open else position
    return frozenset(
        string
        for string in strings
        for fret in range(first, first + SPAN)
        if fingerboard.pitch(StringFret(string, fret)) % 12 == root
    )


def _without_leaps(best: list[int], cost: Mapping[int, int]) -> list[int]:
    """The positions, with more between two that leave frets uncovered."""
    for low, high in pairwise([*best, best[0] + 12]):
        between = [p for p in range(low + 2, high - 1) if p in cost]
        if high - low > SPAN + 1 and between:
            return _without_leaps(sorted([*best, min(between, key=lambda p: cost[p])]), cost)
    return best
