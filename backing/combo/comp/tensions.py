"""The color tones comping may add to a chord, by where it comes from and goes.

The band must not fight the chord tones of the soloist, so a tone a half step above a chord tone
is left out unless the symbol asks for it (a b9 over the root of a dominant is the exception of
the trade). Common practice, no source, where none is named.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from backing.chart.harmony import Chord
from backing.chart.pitch import Degree, Key
from backing.chart.quality import Quality
from backing.combo.plan import Plan, leads_as_two

MINOR_FAMILIES = frozenset({"minor", "minor-major", "half-diminished", "diminished"})
LYDIAN_DEGREES = frozenset({0, 1, 2, 5, 8, 10})
"""I7, bII7, II7, IV7, bVI7 and bVII7: dominants that take 9, #11 and 13."""
BLUES = frozenset({0, 5})
"""Where I7 and IV7 are dominants, the tune is a blues (common practice, no source)."""
BLUE_DEGREES = frozenset({0, 7})
"""I7 and V7 of a blues, whose #9 is a blue note: the key's flat third, and its flat seventh."""


@dataclass(frozen=True, slots=True)
class Colors:
    """The tones of a chord by function, in semitones above the root (0-11).

    ``thirds``, ``fifths`` and ``sevenths`` hold the chord's own (the fourth of a sus, the sixth of
    a sixth chord; a plain triad may borrow one), ``ninths``, ``elevenths`` and ``thirteenths``
    what may be added. ``core`` are the soloist's chord tones, ``written`` the color tones that
    the symbol says and that have to be heard; ``altered``: any two or three of them will do.
    """

    root: int
    family: str
    core: tuple[int, ...]
    thirds: tuple[int, ...]
    fifths: tuple[int, ...]
    sevenths: tuple[int, ...]
    ninths: tuple[int, ...]
    elevenths: tuple[int, ...]
    thirteenths: tuple[int, ...]
    written: frozenset[int]
    altered: bool = False


def colors_of(plan: Plan) -> dict[Fraction, Colors]:
    """The colors of every chord of the plan by the start of its span, the following one too.

    N.C. has none. A chord whose quality alone changes looks ahead to where the root goes.
    """
    spans = [*plan.spans, plan.following] if plan.following else list(plan.spans)
    found = {}
    blues = {_degree(s.chord, s.key) for s in spans if s.chord and s.chord.is_dominant} >= BLUES
    target: Chord | None = plan.spans[1].chord if plan.circular and len(plan.spans) > 1 else None
    for index in range(len(spans) - 1, -1, -1):
        chord = spans[index].chord
        before = spans[index - 1].chord if index else None
        after = spans[index + 1].chord if index + 1 < len(spans) else target
        if chord is None:
            continue
        if after is None or _root(after) != _root(chord):
            target = after
        last = plan.ends and index == len(spans) - 1
        found[spans[index].start] = colors(
            chord, target, before, spans[index].key, last=last, blues=blues and not plan.plain
        )
    return found


@lru_cache(maxsize=4096)
def colors(
    chord: Chord,
    target: Chord | None,
    before: Chord | None,
    key: Key,
    *,
    last: bool = False,
    blues: bool = False,
) -> Colors:
    """The colors of ``chord`` in ``key``, coming from ``before`` and going to ``target``.

    ``last``: the music rests on it, and an eleventh, which would turn it into another chord, is
    left out unless it is written. ``blues``: I7 and V7 may have their #9.
    """
    chord = chord.sounding
    quality = chord.quality
    place = _Context(chord, target.sounding if target else None, before, key)
    core = tuple(degree.pitch_class for degree in quality.core)
    written = {d for d in quality.degrees if d.pitch_class not in core}
    bass = (chord.bass_pitch_class - chord.root.pitch_class) % 12
    rubbing = {(bass + 1) % 12, (bass - 1) % 12} if bass not in core else set()
    wanted = _added(place)
    blue = blues and not last and quality.family == "dominant" and place.degree in BLUE_DEGREES
    if blue and Degree(9) in wanted:
        wanted = [*wanted, Degree(9, 1)]
    added = [d for d in wanted if _fits(d, written, core, quality)]
    added = [d for d in added if d.pitch_class not in rubbing and not (last and d.number == 11)]
    tones = [*sorted(written, key=lambda d: d.number), *added]
    sevenths = [d.pitch_class for d in quality.core if d.number in (6, 7)]
    if not sevenths:
        sevenths = [tone for tone in _borrowed_sevenths(place) if tone not in rubbing]
    return Colors(
        root=chord.root.pitch_class,
        family=quality.family,
        core=core,
        thirds=tuple(d.pitch_class for d in quality.core if d.number in (2, 3, 4)),
        fifths=tuple(d.pitch_class for d in quality.core if d.number == 5),
        sevenths=tuple(sevenths),
        ninths=_numbered(tones, 2, 9),
        elevenths=_numbered(tones, 4, 11) + _written_fifths(written, -1),
        thirteenths=_numbered(tones, 6, 13) + _written_fifths(written, 1),
        written=frozenset(d.pitch_class for d in written),
        altered=quality.name == "altered",
    )


@dataclass(frozen=True, slots=True)
class _Context:
    """A chord, what comes before and after, and its key."""

    chord: Chord
    target: Chord | None
    before: Chord | None
    key: Key

    @property
    def scale(self) -> frozenset[int]:
        return _scale(self.key)

    @property
    def degree(self) -> int:
        """Semitones from the tonic up to the root."""
        return _degree(self.chord, self.key)

    @property
    def diatonic(self) -> bool:
        """Whether the root is in the key's scale."""
        return self.chord.root.pitch_class in self.scale

    def falls_by(self) -> int:
        """By how many semitones the root falls into the target; -1 where there is none."""
        if self.target is None:
            return -1
        return (_root(self.chord) - _root(self.target)) % 12

    def has(self, semitones: int) -> bool:
        """Whether a tone above the root is in the key, or the root is not."""
        return not self.diatonic or (_root(self.chord) + semitones) % 12 in self.scale


def _degree(chord: Chord, key: Key) -> int:
    return (_root(chord) - key.tonic.pitch_class) % 12


@lru_cache(maxsize=64)
def _scale(key: Key) -> frozenset[int]:
    return frozenset(name.pitch_class for name in key.scale)


def _root(chord: Chord) -> int:
    return chord.root.pitch_class


def _added(place: _Context) -> list[Degree]:
    """The color tones to add to the written ones, the most usual first."""
    quality = place.chord.quality
    if quality.family == "dominant":
        return _dominant_colors(place)
    if quality.family == "major":
        dominant = _is_dominant_triad(place)
        return [] if dominant else _in_key(place, Degree(9), Degree(13))
    if quality.family == "minor":
        return _in_key(place, Degree(9), Degree(11))
    if quality.family == "sus":
        return _in_key(place, Degree(9), Degree(13))
    if quality.family in ("minor-major", "power"):
        return [Degree(9)]
    return []


def _in_key(place: _Context, *wanted: Degree) -> list[Degree]:
    return [degree for degree in wanted if place.has(degree.pitch_class)]


def _dominant_colors(place: _Context) -> list[Degree]:
    """9 and 13, b9 alone, or 9, #11 and 13: by the dominant's target and degree."""
    natural = [Degree(9), Degree(13)]
    lydian = [Degree(9), Degree(13), Degree(11, 1)]
    if _half_diminished_before(place):
        return [Degree(9, -1)]
    if place.falls_by() == 7 and place.target is not None:
        if place.target.family in MINOR_FAMILIES:
            return [Degree(9, -1)]
        return lydian if place.degree == 2 else natural
    if place.falls_by() == 1 or place.degree in LYDIAN_DEGREES or not place.diatonic:
        return lydian
    if place.has(2):
        return _in_key(place, *natural)
    return [Degree(9, -1)] if place.has(1) else []


def _half_diminished_before(place: _Context) -> bool:
    """Whether the dominant is the fifth chord of a minor cadence: Dm7b5 before G7."""
    before = place.before
    return (
        before is not None
        and before.family == "half-diminished"
        and (_root(before) - _root(place.chord)) % 12 == 7
    )


def _is_dominant_triad(place: _Context) -> bool:
    """Whether a plain triad is a dominant in all but name: E before Am."""
    falls = place.falls_by() == 7 and place.target is not None
    return falls and place.target is not None and place.target.family in MINOR_FAMILIES


def _borrowed_sevenths(place: _Context) -> list[int]:
    """The sixth or seventh that comping adds to a triad."""
    quality = place.chord.quality
    if 7 not in {d.pitch_class for d in quality.core} or Degree(6, -1) in quality.degrees:
        return []
    if quality.family == "major":
        return [] if _is_dominant_triad(place) or not place.has(9) else [9]
    if quality.family == "minor":
        if leads_as_two(place.chord, place.target, place.key):
            return [10]
        tonic = place.degree == 0 or _resolves(place.before, place.chord)
        return [9] if tonic or place.has(9) else []
    return [10] if quality.name == "suspended-fourth" else []


def _resolves(before: Chord | None, chord: Chord) -> bool:
    """Whether a dominant comes home: G7 to Cm."""
    return before is not None and before.is_dominant and (_root(before) - _root(chord)) % 12 == 7


def _fits(degree: Degree, written: set[Degree], core: tuple[int, ...], quality: Quality) -> bool:
    """Whether an added tone goes with what is written and with the soloist's chord tones."""
    numbers = {d.number for d in written} | {d.number - 7 for d in written if d.number > 7}
    taken = degree.number in numbers or degree.pitch_class in core
    if taken or any(abs(degree.pitch_class - d.pitch_class) in (1, 11) for d in written):
        return False
    if degree == Degree(9, -1) and quality.family == "dominant":
        return True
    return (degree.pitch_class - 1) % 12 not in core


def _numbered(tones: list[Degree], *numbers: int) -> tuple[int, ...]:
    return tuple(dict.fromkeys(d.pitch_class for d in tones if d.number in numbers))


def _written_fifths(written: set[Degree], alter: int) -> tuple[int, ...]:
    """A second, altered fifth that is written: it takes the place of #11 or b13."""
    return tuple(d.pitch_class for d in written if d == Degree(5, alter))
