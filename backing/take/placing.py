"""Where the track was when a take was recorded: found from its notes, and how surely.

Every moment of the track gives a price to a note of each pitch class: by the chord that sounds
there, by the place in the beat, and by the line where the track plays one. The prices of all notes
at one offset are a correlation, which is computed for all offsets at once by Fourier transform.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from backing.take.course import Course, Floats
from backing.take.heard import HeardNote

STEP = 0.01
"""Seconds between the offsets that are tried."""
TONE, TENSION, OTHER = 0.50, -0.15, -0.75
"""The log of how much likelier than a random pitch a note is on a chord tone, a tension, or
neither, halfway between master soloists (half of their notes are chord tones, a third would be
chance; Weimar Jazz Database) and an exercise."""
BY_CHANCE = (4 / 12, 3 / 12, 5 / 12)
"""Chord tones, tensions and others among pitches at random."""
ON_LINE, OFF_LINE = 2.0, -0.3
"""The same for a note that is at its moment in the line of the track, and for one that isn't."""
OUTSIDE = -1.0
"""The same for a note before the track, in a count-in, or after the end."""
LATE_SPREAD = 0.03
"""Seconds by which onsets lie around their places."""
LINE_SPREAD = 0.06
OWN_WEIGHT = 0.5
"""Notes of a take follow from each other: together they say half as much."""
SURE, HARDLY = 0.9, 0.6
"""The parts of the probability from which a place is sure, and below which it isn't found."""
MOVED_FITS = 8.0
"""Standard deviations from which a take in another key is known as one."""
SLOWEST = 0.5
"""The slowest take looked for, in parts of the track's tempo; the fastest is as much above."""
BLOCK = 1 << 16
"""Steps whose prices are worked out at once."""
AROUND_BEAT = 64
"""Places around a beat at which onsets are counted."""
TEMPO_SECONDS = 90
CLEARLY = 0.2
"""By how much the onsets must gather better at another tempo, in logs of likelihood a note."""
FEWEST = 12
"""Notes without which nothing is said of the place."""


Singles = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Placement:
    """Where a recording lies: its second 0 is ``offset`` seconds after the track's first bar.

    ``sure``: the probability that the bars are right, ``time_sure``: that the time through the
    loop, or the chorus, is right as well; both from 0 to 1. ``moved``: half steps by which the take
    would fit the changes much better, 0 where it fits as it is. ``fits``: by how much the take
    prefers its place to what the same notes in another order would find, in standard deviations.
    ``said``: by the player, not found.
    """

    offset: float
    sure: float
    time_sure: float
    moved: int = 0
    fits: float = 0.0
    said: bool = False


@dataclass(frozen=True, slots=True)
class Prices:
    """By step of STEP from ``first`` seconds on: what a note of each pitch class is worth there,
    and a note of any pitch, in single precision: those of an hour are 100 MB."""

    first: float
    pitches: Singles
    rhythm: Singles


def place(
    course: Course, notes: Sequence[HeardNote], *, around: tuple[float, float] | None = None
) -> Placement:
    """The likeliest place of a take; ``around``: the offsets in seconds between which it lies.

    A take of fewer than FEWEST notes is placed as well as can be, and is not sure.
    """
    onsets = np.array([note.onset for note in notes])
    classes = np.array([note.pitch % 12 for note in notes])
    rough = _roughly(_Correlation(make_prices(course, notes), onsets), classes)
    weights = _weights(course, notes, rough - float(onsets[0]))
    correlation = _Correlation(make_prices(course, notes, weights), onsets)
    score = correlation.score(classes)
    offsets = correlation.first + STEP * np.arange(len(score)) - onsets[0]
    if around is not None:
        score = np.where((offsets >= around[0]) & (offsets <= around[1]), score, -np.inf)
    best = int(np.argmax(score))
    offset = float(offsets[best])
    sure, time_sure = _posterior(course, score, offsets, best, onsets)
    few = len(notes) < FEWEST
    moved, fits = _fit(correlation, classes, float(score[best]))
    return Placement(
        _refined(course, notes, offset),
        0.0 if few and around is None else sure,
        0.0 if few and around is None else time_sure,
        moved=moved,
        fits=fits,
        said=around is not None,
    )


def _roughly(correlation: _Correlation, classes: NDArray[np.int64]) -> float:
    """The likeliest second of the track for the first note."""
    return correlation.first + STEP * int(np.argmax(correlation.score(classes)))


def tempo_ratio(course: Course, notes: Sequence[HeardNote]) -> float:
    """The take's tempo in parts of the track's: 1 where its notes lie on the track's beats well.

    Of a track of one tempo; the onsets, laid around one beat, gather best at the right one.
    """
    if len({bar.tempo for bar in course.bars}) > 1 or len(notes) < FEWEST:
        return 1.0
    onsets = np.array([note.onset - notes[0].onset for note in notes])
    onsets = onsets[onsets < TEMPO_SECONDS]
    beats = onsets * course.bars[-1].tempo / 60
    finest = 0.08 / max(float(beats[-1]), 1.0)
    count = int(np.log(SLOWEST**-2) / finest) + 1
    ratios = np.exp(np.linspace(np.log(SLOWEST), -np.log(SLOWEST), count))
    bar = next(bar for bar in course.bars if bar.yours)
    around = np.arange(AROUND_BEAT) / AROUND_BEAT
    template = np.fft.rfft(_density(around, bar.swing, LATE_SPREAD * bar.tempo / 60))
    best = np.array([_gathered(beats * ratio, template) for ratio in ratios]) / len(beats)
    near = np.abs(np.log(ratios)) < 1.5 * finest
    if best.max() - best[near].max() < CLEARLY:
        return 1.0
    good = np.flatnonzero(best > best.max() - CLEARLY / 3)
    nearest = min(good, key=lambda at: abs(np.log(ratios[at])))
    basin = good[np.abs(good - nearest) <= 4]
    ratio = ratios[max(basin, key=lambda at: best[at])]
    finer = ratio * np.exp(finest * np.linspace(-1, 1, 17))
    return float(max(finer, key=lambda each: _gathered(beats * each, template)))


def _gathered(beats: Floats, template: NDArray[np.complex128]) -> float:
    """How well onsets gather around one beat, wherever it begins."""
    places = np.floor(beats % 1 * AROUND_BEAT).astype(int) % AROUND_BEAT
    counts = np.bincount(places, minlength=AROUND_BEAT).astype(float)
    return float(np.fft.irfft(template * np.conj(np.fft.rfft(counts)), AROUND_BEAT).max())


def _weights(
    course: Course, notes: Sequence[HeardNote], offset: float
) -> tuple[float, float, float]:
    """TONE, TENSION and OTHER as this player has them at the likeliest place: an exercise in chord
    tones tells more than a solo."""
    counts = np.ones(3)
    beats = course.beats_at([note.onset + offset for note in notes])
    for note, beat in zip(notes, map(float, beats), strict=True):
        at = course.chord_at(beat + 0.1)
        if at is not None:
            chord, tone = course.chords[at], note.pitch % 12
            counts[0 if tone in chord.tones else 1 if tone in chord.tensions else 2] += 1
    tone, tension, other = np.log(counts / counts.sum() / np.array(BY_CHANCE))
    return (
        float(np.clip(tone, 0.4, 1.0)),
        float(np.clip(tension, -1.5, 0.1)),
        float(np.clip(other, -2.2, -0.6)),
    )


def make_prices(
    course: Course,
    notes: Sequence[HeardNote],
    weights: tuple[float, float, float] = (TONE, TENSION, OTHER),
) -> Prices:
    """The prices along the track, with room on both sides for a take that hangs over.

    ``weights``: as TONE, TENSION, OTHER.
    """
    room = max(4.0, notes[-1].onset - notes[0].onset if notes else 0.0)
    first = -room
    count = int((course.seconds + 2 * room) / STEP) + 1
    prices = Prices(first, np.empty((count, 12), np.float32), np.empty(count, np.float32))
    for at in range(0, count, BLOCK):
        times = first + STEP * np.arange(at, min(at + BLOCK, count))
        beats = course.beats_at(times)
        here = slice(at, at + BLOCK)
        prices.pitches[here] = _harmony(course, beats, weights) + _line(course, times)
        prices.rhythm[here] = _rhythm(course, beats)
    return prices


def _harmony(course: Course, beats: Floats, weights: tuple[float, float, float]) -> Floats:
    tone, tension, other = weights
    harmony = np.full((len(beats), 12), OUTSIDE)
    for at, chord in enumerate(course.chords):
        if chord.end < beats[0] or chord.start - 0.6 > beats[-1]:
            continue
        row = np.full(12, other)
        row[list(chord.tensions)] = tension
        row[list(chord.tones)] = tone
        low, high = np.searchsorted(beats, (chord.start, chord.end))
        harmony[low:high] = row
        if at:  # the last eighth before may belong to it already
            early = int(np.searchsorted(beats, chord.start - 0.6))
            harmony[early:low] = np.maximum(harmony[early:low], row - 0.1)
    for bar in course.bars:
        if not bar.yours:
            low, high = np.searchsorted(beats, (bar.start, bar.end))
            harmony[low:high] = np.minimum(harmony[low:high], 0.0) + 0.5 * OUTSIDE
    return harmony


def _rhythm(course: Course, beats: Floats) -> Floats:
    starts = [bar.start for bar in course.bars]
    at = np.clip(np.searchsorted(starts, beats, side="right") - 1, 0, len(starts) - 1)
    tempo = np.array([bar.tempo for bar in course.bars])[at]
    ratio = np.array([bar.swing for bar in course.bars])[at]
    inside = (beats - np.array(starts)[at]) % 1.0
    wide = LATE_SPREAD * tempo / 60
    density = _density(inside, ratio, wide)
    inside_track = (beats >= course.bars[0].start) & (beats <= course.bars[-1].end)
    return np.where(inside_track, density, -0.5)


def _density(inside: Floats, ratio: Floats | float, wide: Floats | float) -> Floats:
    """The log of how likely an onset is at places ``inside`` a beat, beside anywhere in it."""
    density = np.full(len(inside), 0.25)
    off = np.asarray(ratio) / (np.asarray(ratio) + 1)
    for places, weight in ((0.0, 0.40), (off, 0.27), (1 / 3, 0.04), (2 / 3, 0.04)):
        away = np.abs((inside - places + 0.5) % 1.0 - 0.5)
        density += weight * np.exp(-0.5 * (away / wide) ** 2) / (wide * np.sqrt(2 * np.pi))
    found: Floats = np.log(density)
    return found


def _line(course: Course, times: NDArray[np.floating]) -> Floats:
    worth = np.zeros((len(times), 12))
    if not course.line or course.kind != "line":
        return worth
    for tone in course.line:
        low, high = np.searchsorted(times, (tone.seconds - LINE_SPREAD, tone.seconds + LINE_SPREAD))
        worth[low:high] = np.where(worth[low:high] > 0, worth[low:high], OFF_LINE)
        worth[low:high, tone.pitch % 12] = ON_LINE
    return worth


class _Correlation:
    """What the take is worth at each offset; index 0: its first note at ``first`` seconds."""

    def __init__(self, prices: Prices, onsets: Floats) -> None:
        self.first = prices.first
        self._steps = np.rint((onsets - onsets[0]) / STEP).astype(int)
        size = len(prices.rhythm)
        self._valid = max(size - int(self._steps[-1]), 1)
        # eight to sixteen times a power of two; what wraps around lies beyond the valid offsets
        part = 1 << max(size.bit_length() - 4, 0)
        self._length = -(-size // part) * part
        self._worth = [self._transform(column) for column in prices.pitches.T]
        rhythm = self._transform(prices.rhythm)
        self._rhythm = rhythm * np.conj(self._impulses(np.ones(len(onsets), bool)))

    def score(self, classes: NDArray[np.int64]) -> Floats:
        """The score with these pitch classes, one for each note."""
        total = self._rhythm.copy()
        for pitch_class in np.unique(classes):
            total += self._worth[pitch_class] * np.conj(self._impulses(classes == pitch_class))
        found = np.fft.irfft(total, self._length, norm="ortho")[: self._valid]
        scaled: Floats = np.sqrt(self._length) * found.astype(float)
        return scaled

    def _impulses(self, which: NDArray[np.bool_]) -> NDArray[np.complexfloating]:
        return self._transform(np.bincount(self._steps[which]))

    def _transform(self, values: NDArray[Any]) -> NDArray[np.complexfloating]:
        # numpy stays in single precision where it scales by a fraction
        return np.fft.rfft(np.asarray(values, np.float32), self._length, norm="ortho")


def _posterior(
    course: Course, score: Floats, offsets: Floats, best: int, onsets: Floats
) -> tuple[float, float]:
    """The probability of the bars of the best offset, and of the time through as well.

    Offsets within a quarter of a beat are one place; so are those at which the take begins in the
    same bar, at the same beat and tempo, another time through.
    """
    weight = np.exp(OWN_WEIGHT * (score - score[best]))
    begins = course.beats_at(offsets + onsets[0])
    near = np.abs(begins - begins[best]) < 0.25
    alike = _alike(course, begins, float(begins[best]))
    total = float(weight.sum())
    return float(weight[alike | near].sum()) / total, float(weight[near].sum()) / total


def _alike(course: Course, begins: Floats, best: float) -> NDArray[np.bool_]:
    """Where the first note would lie in the same bar of the form, at the same beat and tempo."""
    home = course.bars[course.bar_at(best)]
    found = np.zeros(len(begins), bool)
    for bar in course.bars:
        if (bar.label, bar.tempo, bar.beats) == (home.label, home.tempo, home.beats):
            found |= np.abs(begins - (bar.start + best - home.start)) < 0.25
    return found


def _fit(correlation: _Correlation, classes: NDArray[np.int64], best: float) -> tuple[int, float]:
    """By how many half steps the take would fit much better, and how well it fits at all.

    Against the same rhythm with its pitches in another order, which knows nothing of the changes.
    """
    dice = np.random.default_rng(0)
    others = [correlation.score(dice.permutation(classes)).max() for _ in range(8)]
    usual = float(np.mean(others))
    spread = max(float(np.std(others)), 0.15 * np.sqrt(len(classes)))
    moved = {n: float(correlation.score((classes + n) % 12).max()) for n in range(1, 12)}
    far = max(moved, key=moved.__getitem__)
    better = moved[far] - best > max(6.0, 0.12 * len(classes))
    if better and (moved[far] - usual) / spread > MOVED_FITS:
        return far if far <= 6 else far - 12, (best - usual) / spread
    return 0, (best - usual) / spread


def _refined(course: Course, notes: Sequence[HeardNote], offset: float) -> float:
    """The offset with which the notes near their places lie on them, by the middle one."""
    onsets = np.array([note.onset for note in notes])
    for _ in range(3):
        late = np.array([ms for ms in lateness(course, onsets + offset) if ms is not None])
        if len(late) < 3:
            break
        offset -= float(np.median(late)) / 1000
    return offset


def lateness(course: Course, seconds: Iterable[float]) -> list[float | None]:
    """By how many ms onsets lie behind the beat, or the band's off-beat, that is nearest.

    None where it is as near to neither.
    """
    found: list[float | None] = []
    for beat in map(float, course.beats_at(np.asarray(list(seconds), float))):
        bar = course.bars[course.bar_at(beat)]
        inside = beat - bar.start
        places = (np.floor(inside), np.floor(inside) + bar.swing / (bar.swing + 1), np.ceil(inside))
        nearest = min(places, key=lambda place: abs(place - inside))
        away = (inside - nearest) * 60 / bar.tempo
        found.append(1000 * away if abs(away) < 0.12 and abs(inside - nearest) < 0.2 else None)
    return found
