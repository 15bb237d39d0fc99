"""The path of a tune in one position: the shape of each chord there, and how they connect.

Where a chord is out of reach in the position, the path says so and takes the nearest position
that has it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain, product

from backing.chart.bar import PlayedBar
from backing.chart.harmony import Chord
from backing.combo.plan import ChordSpan, Plan, plan_of_bars
from backing.errors import PracticeError
from backing.neck.arpeggio import arpeggio, arpeggio_pitches
from backing.neck.fingerboard import Fingerboard, StringFret, hand
from backing.neck.grip import JUMP, SECOND_ROLL, STRETCH, Grip, grips
from backing.neck.shapes import Shape, shape
from backing.neck.voice_leading import Move, voice_leading

ASTRAY = JUMP + STRETCH
"""What a place costs that is not the one taken throughout."""
MOST_CHOICES = 6
"""The most pitches with two places that are settled together."""
LEAVING = 1_000
"""The cost of leaving the position, in tenths of a stretch."""
HIGHEST_CHOICE = 12
MIDDLE = 5
"""Where a hand likes to sit (common practice, no source: between the third and eighth position)."""
CHORDS_PER_FRET = 20
"""A fret away from MIDDLE costs a stretch in one of so many chords."""


@dataclass(frozen=True, slots=True)
class PathStep:
    """A chord of the path, from where the band plays it to where the next one comes.

    ``span`` is in beats from the start of the bars; ``moves`` lead to the next chord, from the
    last one to the first.
    """

    span: ChordSpan
    chord: Chord
    shape: Shape
    moves: tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class Trouble:
    """A chord out of reach in the position; ``bar`` is its label ("13", "intro:1"), ``position``
    the nearest one that has the chord, where the path takes it (None: there is none)."""

    bar: str
    chord: Chord
    position: int | None
    cause: str

    def __str__(self) -> str:
        cure = f"Play it in position {self.position}."
        if self.position is None:
            cure = "No position has all of it."
        return f"Bar {self.bar}, {self.chord}: {self.cause} {cure}"


@dataclass(frozen=True, slots=True)
class Path:
    """The way through the changes in one ``position``; N.C. has no step."""

    fingerboard: Fingerboard
    position: int
    steps: tuple[PathStep, ...]
    troubles: tuple[Trouble, ...]
    way: str = "1-7"

    @property
    def shapes(self) -> tuple[Shape, ...]:
        """The different shapes, in the order in which they first come."""
        return tuple(
            {(s.shape.chord.root, s.shape.chord.quality): s.shape for s in self.steps}.values()
        )

    @property
    def effort(self) -> int:
        """The cost of the path, in tenths of a stretch, over all its chords."""
        asked = STRETCH * (self.stretches + self.open_strings) + SECOND_ROLL // 10 * self.rolls
        return asked + LEAVING * len(self.troubles)

    @property
    def stretches(self) -> int:
        """How many tones need a stretch, summed over its chords."""
        return sum(len(step.shape.stretches) for step in self.steps)

    @property
    def rolls(self) -> int:
        """How many times a finger rolls over two strings, but for one in each chord."""
        return sum(max(0, step.shape.rolls - 1) for step in self.steps)

    @property
    def open_strings(self) -> int:
        """How many tones are open strings, which cannot be transposed or damped at will."""
        return sum(tone.finger == 0 for step in self.steps for tone in step.shape.tones)


@dataclass(frozen=True, slots=True)
class BestPosition:
    """A path in the position that suits a tune best, and the ``reason`` in a sentence."""

    path: Path
    reason: str


def path_of(plan: Plan, fingerboard: Fingerboard, position: int, *, way: str = "1-7") -> Path:
    """The path through the chords of a plan, in a position.

    ``way``: see arpeggio.WAYS. Raises PracticeError where the position is off the neck, there is
    no chord, or a chord cannot be reached anywhere on this tuning.
    """
    hand(fingerboard, position)
    spans = [(span, span.chord.sounding) for span in plan.spans if span.chord is not None]
    if not spans:
        raise PracticeError("There is no chord in these bars.", "Choose bars with changes.")
    preferred = _alike([chord for _, chord in spans], fingerboard, position, way)
    shapes: dict[Chord, tuple[Shape, str]] = {}
    steps, troubles = [], []
    for at, (span, chord) in enumerate(spans):
        if chord not in shapes:
            shapes[chord] = nearest_shape(chord, fingerboard, position, way, preferred)
        taken, cause = shapes[chord]
        if cause:
            bar = plan.bar_at(max(span.written, Fraction(0))).bar.label
            troubles.append(Trouble(bar, chord, taken.position if taken.whole else None, cause))
        following = spans[(at + 1) % len(spans)][1]
        steps.append(PathStep(span, chord, taken, voice_leading(chord, following, way)))
    return Path(fingerboard, position, tuple(steps), tuple(troubles), way)


def nearest_shape(
    chord: Chord, board: Fingerboard, position: int, way: str, preferred: Mapping[int, StringFret]
) -> tuple[Shape, str]:
    """The shape in the position, or the nearest complete one, and why.

    Raises PracticeError where no position has the chord.
    """
    nearest = sorted(range(1, board.highest_position + 1), key=lambda p: abs(p - position))
    broken: Shape | None = None
    cause = ""
    for away in nearest:
        try:
            found = shape(chord, board, away, way=way, preferred=preferred)
        except PracticeError as error:
            cause = cause or error.cause
            continue
        if found.whole:
            return found, cause
        broken = broken or found
        cause = cause or f"{', '.join(_names(found))} cannot be reached in position {away}."
    if broken is None:
        raise PracticeError(
            f"{chord} cannot be reached in any position of this tuning.",
            "Tune the strings closer together.",
        )
    return broken, cause


def _names(broken: Shape) -> Iterator[str]:
    chord = broken.chord
    for pitch in broken.missing:
        degree = next(
            d
            for d in (*arpeggio(chord.quality).tones, *arpeggio(chord.quality, "3-9").tones)
            if (chord.root.pitch_class + d.pitch_class - pitch) % 12 == 0
        )
        yield f"{chord.spelled(degree).pretty} (the {degree})"


def _alike(
    chords: Sequence[Chord], board: Fingerboard, position: int, way: str
) -> dict[int, StringFret]:
    """For each pitch with two places the one to use in all chords: that with the least motion."""
    counted = Counter(arpeggio_pitches(chord, way) for chord in chords)
    options = [(grips(board, position, c), count) for c, count in counted.items()]
    ambiguous = _ambiguous([c for c, _ in counted.most_common()], board, position)
    # a set of places is a number: one bit for each place of each ambiguous pitch
    bits = {place: 1 << at for at, place in enumerate(chain.from_iterable(ambiguous.values()))}
    ways = [(_ways(found, bits), count) for found, count in options]

    def cost(table: tuple[StringFret, ...]) -> int:
        others = sum(bits.values()) - sum(bits[place] for place in table)
        return sum(
            count * min((own + ASTRAY * (way & others).bit_count() for way, own in here), default=0)
            for here, count in ways
        )

    best = min(product(*ambiguous.values()), key=cost)
    return dict(zip(ambiguous, best, strict=True))


def _ambiguous(
    classes: Sequence[frozenset[int]], board: Fingerboard, position: int
) -> dict[int, tuple[StringFret, ...]]:
    """The pitches with a choice of places that the most chords need."""
    reach = hand(board, position).reach
    needed = Counter(
        pitch for each in classes for pitch, p in reach.items() if len(p) > 1 and pitch % 12 in each
    )
    return {pitch: reach[pitch] for pitch, _ in needed.most_common(MOST_CHOICES)}


def _ways(found: Sequence[Grip], bits: Mapping[StringFret, int]) -> list[tuple[int, int]]:
    """The sets of places that grips take of the ambiguous pitches, each with its least cost."""
    ways: dict[int, int] = {}
    for grip in found:
        way = sum(bits.get(place, 0) for place in grip.places)
        ways[way] = min(grip.cost, ways.get(way, grip.cost))
    return list(ways.items())


def best_position(
    bars: Sequence[PlayedBar], fingerboard: Fingerboard, *, way: str = "1-7"
) -> BestPosition:
    """The easiest position for these bars, up to the twelfth.

    Raises PracticeError: see ``path_of``.
    """
    plan = plan_of_bars(bars)
    last = min(HIGHEST_CHOICE, fingerboard.highest_position)
    paths = [path_of(plan, fingerboard, p, way=way) for p in range(1, last + 1)]
    ranked = sorted(paths, key=asked_of_the_hand)
    reason = f"Position {ranked[0].position}: {_in_words(ranked[0])}."
    for other in ranked[1:2]:
        reason += f" Next best is position {other.position}: {_in_words(other)}"
        reason += f"{_against(other, ranked[0])}."
    return BestPosition(ranked[0], reason)


def _against(other: Path, best: Path) -> str:
    """What makes another path harder than the best one where its stretches do not say so."""
    asked, least = ((p.stretches + p.open_strings, len(p.troubles)) for p in (other, best))
    easier = asked[1] <= least[1] and asked[0] < least[0]
    said = []
    if easier and other.rolls > best.rolls:
        said.append("a finger rolls over the strings more often")
    if abs(other.position - MIDDLE) > abs(best.position - MIDDLE):
        said.append("farther from the middle of the neck")
    return f", {'but' if easier else 'and'} {' and '.join(said)}" if said else ""


def asked_of_the_hand(taken: Path) -> float:
    """What a path asks of the hand, and of where it lies on the neck: the less, the better."""
    away = abs(taken.position - MIDDLE)
    return taken.effort + STRETCH * away * len(taken.steps) / CHORDS_PER_FRET


def _in_words(taken: Path) -> str:
    """The stretches and open strings of a path, in words."""
    words = [f"{taken.stretches or 'no'} {'stretch' if taken.stretches == 1 else 'stretches'}"]
    if taken.open_strings:
        words.append(f"{taken.open_strings} open-string tones")
    if taken.troubles:
        words.append(f"{len(taken.troubles)} chords out of reach")
    return f"{' and '.join(words)} over {len(taken.steps)} chords"
