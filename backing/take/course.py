"""What a take is held against: the bars and chords of the track in time, and whose turn it is."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from backing.chart.bar import PlayedBar
from backing.chart.harmony import Chord
from backing.chart.pitch import Degree
from backing.chart.printed import printed_degree
from backing.combo.band import Band
from backing.combo.markers import ordinal
from backing.combo.performance import Performance, PlayedPass
from backing.combo.plan import make_plan, plan_of_bars
from backing.errors import PracticeError
from backing.lines.player import Line
from backing.neck.fingerboard import hand
from backing.neck.path import nearest_shape, path_of
from backing.neck.shapes import Shape
from backing.routine.passes import Purpose
from backing.routine.routine import Routine
from backing.routine.trading import partners_turn

Floats = NDArray[np.float64]
LINE, CALL = "line", "call"
ALTERED = (Degree(9, -1), Degree(9, 1), Degree(11, 1), Degree(13, -1))
"""What a soloist may put on any dominant (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class CourseBar:
    """A bar in time: ``start`` and ``beats`` in beats of the track, ``seconds`` at its start.

    ``label``: as a player points at it; ``where``: which time it is played, "chorus 2" or "2nd
    time at 92 bpm"; ``tempo`` in bpm; ``swing``: the band's long to short eighths; ``yours``:
    whether the player is judged in it (not in a count-in, nor in a partner's turn or a call).
    """

    label: str
    where: str
    start: float
    beats: float
    seconds: float
    tempo: float
    swing: float = 1.0
    yours: bool = True

    @property
    def end(self) -> float:
        """The beat at which the bar ends."""
        return self.start + self.beats

    @property
    def name(self) -> str:
        """ "bar 9, chorus 2"."""
        return f"bar {self.label}" + (f", {self.where}" if self.where else "")


@dataclass(frozen=True, slots=True)
class CourseChord:
    """A chord as it sounds, pushes included: ``start`` and ``end`` in beats of the track.

    Pitch classes are 0-11 with C as 0. ``tones``: 1 3 5 and 7 or 6, the root first; ``tensions``:
    what the symbol adds and what the chord takes; ``degrees`` and ``names``: of each of the twelve
    half steps above ``root``, "" where it has none. ``shape``: the MIDI pitches of its tones under
    the hand in the position practiced, ``reach`` all that lies there; both empty without one.
    """

    start: float
    end: float
    symbol: str
    root: int
    tones: tuple[int, ...]
    tensions: tuple[int, ...]
    degrees: tuple[str, ...]
    names: tuple[str, ...]
    shape: frozenset[int] = frozenset()
    reach: frozenset[int] = frozenset()

    def degree(self, pitch: int) -> str:
        """What a MIDI pitch is in the chord: "b7"; "" for none."""
        return self.degrees[(pitch - self.root) % 12]

    def name(self, pitch: int) -> str:
        """How the chord spells a MIDI pitch."""
        return self.names[(pitch - self.root) % 12]


@dataclass(frozen=True, slots=True)
class LineTone:
    """A note of the line that the track plays: its onset in beats and seconds, and its pitch."""

    beat: float
    seconds: float
    pitch: int


@dataclass(frozen=True)
class Course:
    """The track as a take is held against it.

    ``kind``: "line" where the track plays a line to play along with, "call" where the player
    answers one, else "". ``unbroken``: the line never stops, and neither should the take;
    ``position``: the fret under the first finger, or None.
    """

    title: str
    bars: tuple[CourseBar, ...]
    chords: tuple[CourseChord, ...]
    line: tuple[LineTone, ...] = ()
    kind: str = ""
    unbroken: bool = False
    position: int | None = None

    @property
    def seconds(self) -> float:
        """How long the track is, from the first bar to the end of the last."""
        last = self.bars[-1]
        return last.seconds + last.beats * 60 / last.tempo

    def beats_at(self, seconds: ArrayLike) -> Floats:
        """The played beats at times in seconds; the tempo goes on before and after the track."""
        return self._through(np.asarray(seconds, float), *self._corners[::-1])

    def seconds_at(self, beats: ArrayLike) -> Floats:
        """The times in seconds of played beats."""
        return self._through(np.asarray(beats, float), *self._corners)

    def bar_at(self, beat: float) -> int:
        """The index of the bar that a beat lies in (the first before the start, the last after)."""
        return max(0, bisect_right(self._bar_starts, beat + 1e-9) - 1)

    def chord_at(self, beat: float) -> int | None:
        """The index of the chord that sounds at a beat; None where there is none."""
        at = bisect_right(self._chord_starts, beat + 1e-9) - 1
        return at if at >= 0 and beat < self.chords[at].end else None

    @cached_property
    def _bar_starts(self) -> list[float]:
        return [bar.start for bar in self.bars]

    @cached_property
    def _chord_starts(self) -> list[float]:
        return [chord.start for chord in self.chords]

    @cached_property
    def _corners(self) -> tuple[Floats, Floats]:
        beats = [*(bar.start for bar in self.bars), self.bars[-1].end]
        return np.array(beats), np.array([*(bar.seconds for bar in self.bars), self.seconds])

    @staticmethod
    def _through(values: Floats, given: Floats, found: Floats) -> Floats:
        inside = np.interp(values, given, found)
        first = (found[1] - found[0]) / (given[1] - given[0])
        last = (found[-1] - found[-2]) / (given[-1] - given[-2])
        inside = np.where(values < given[0], found[0] + (values - given[0]) * first, inside)
        return np.where(values > given[-1], found[-1] + (values - given[-1]) * last, inside)


def make_course(routine: Routine, performance: Performance, band: Band) -> Course:
    """What a take over this track is held against."""
    line = band.line if isinstance(band.line, Line) else None
    kind = "" if line is None else line_kind(line)
    tones = tuple(_line(performance)) if line is not None else ()
    bars = tuple(_bars(routine, performance, tones if kind == CALL else ()))
    if line is not None and not line.position:
        line = line.placed(routine.form.played("solos"))
    under = None if line is None else _UnderHand(line, routine.form.played("solos"))
    chords = tuple(_chords(performance, band, under))
    return Course(
        title=performance.title,
        bars=bars,
        chords=chords,
        line=tones,
        kind=kind,
        unbroken=line is not None and never_stops(line),
        position=line.position[0] if line is not None and line.position else None,
    )


def line_kind(line: Line) -> str:
    """Whether a line is one to play along with or a call to answer."""
    return CALL if line.rhythm == "call" else LINE


def never_stops(line: Line) -> bool:
    """Whether a line is eighths from end to end."""
    return line.rhythm in ("eighths", "off-beats")


def _line(performance: Performance) -> Iterator[LineTone]:
    for note in performance.notes("line"):
        yield LineTone(float(note.onset_beats), float(note.onset), note.note.pitch)


def _bars(
    routine: Routine, performance: Performance, calls: Sequence[LineTone]
) -> Iterator[CourseBar]:
    trade = routine.request.trade
    beat = Fraction(0)
    called = {int(tone.beat) for tone in calls}
    for played, where in _told(performance.passes, len(routine.tempos) > 1, len(routine.keys) > 1):
        each = played.routine_pass
        silent = each.purpose in (Purpose.COUNT_IN, Purpose.REST_BAR)
        traded = trade is not None and each.purpose in (Purpose.SOLO, Purpose.TIME)
        for bar in each.bars:
            here = performance.clock.at(beat)
            theirs = traded and trade is not None and partners_turn(bar, trade.partner)
            call = any(beat <= b < beat + bar.length for b in called)
            label = str(each.purpose) if silent else bar.label
            yield CourseBar(
                label,
                where,
                float(beat),
                float(bar.length),
                float(performance.clock.seconds(beat)),
                float(here.tempo),
                float(here.ratio),
                not (silent or theirs or call),
            )
            beat += bar.length


def _told(
    passes: Iterable[PlayedPass], climbing: bool, moving: bool
) -> Iterator[tuple[PlayedPass, str]]:
    """Passes, and which time each of them is, in words; nothing where there is one."""
    passes = tuple(passes)
    times: dict[object, int] = {}
    many = sum(p.routine_pass.purpose is Purpose.TIME for p in passes) > 1
    for played in passes:
        each = played.routine_pass
        words = []
        if each.purpose is Purpose.TIME and many:
            key = _key_of(each.bars)
            times[each.tempo, key] = times.get((each.tempo, key), 0) + 1
            words.append(f"{ordinal(times[each.tempo, key])} time")
            words += [f"at {float(each.tempo):g} bpm"] if climbing else []
            words += [f"in {key}"] if moving else []
        elif each.purpose in (Purpose.SOLO, Purpose.HEAD, Purpose.HEAD_OUT) and each.choruses > 1:
            words.append(f"chorus {each.chorus + 1}")
        yield played, " ".join(words)


def _key_of(bars: Sequence[PlayedBar]) -> str:
    return bars[-1].key.short if bars else ""


class _UnderHand:
    """What lies under the hand in the position of a line: the shapes of the path through the solos,
    which sheets and pages draw, and of other chords the nearest ones."""

    def __init__(self, line: Line, solos: Sequence[PlayedBar]) -> None:
        self._line = line
        self._shapes: dict[Chord, Shape] = {}
        if line.position:
            with suppress(PracticeError):
                plan, position = plan_of_bars(solos), line.position[0]
                path = path_of(plan, line.fingerboard, position, way=line.way)
                self._shapes = {step.chord: step.shape for step in path.steps}

    def chord(self, chord: Chord) -> CourseChord:
        """The chord with its shape, and all that the hand reaches there."""
        found, line = course_chord(chord), self._line
        if not line.position:
            return found
        shape = self._shapes.get(chord.sounding)
        if shape is None:
            try:
                shape, _ = nearest_shape(
                    chord.sounding, line.fingerboard, line.position[0], line.way, {}
                )
            except PracticeError:
                return found
        return replace(
            found,
            shape=frozenset(tone.pitch for tone in shape.tones),
            reach=frozenset(hand(line.fingerboard, shape.position).reach),
        )


def _chords(
    performance: Performance, band: Band, under: _UnderHand | None
) -> Iterator[CourseChord]:
    """The chords in a row; equal ones that follow each other are one."""
    waiting: CourseChord | None = None
    known: dict[Chord, CourseChord] = {}
    made = course_chord if under is None else under.chord
    for played in performance.passes:
        if played.routine_pass.purpose is Purpose.COUNT_IN:
            continue
        for span in make_plan(played.routine_pass, band.feel).spans:
            if span.chord is None:
                continue
            if span.chord not in known:
                known[span.chord] = made(span.chord)
            start = float(played.start + span.start)
            chord = replace(known[span.chord], start=start, end=float(played.start + span.end))
            if (
                waiting is not None
                and waiting.symbol == chord.symbol
                and chord.start <= waiting.end
            ):
                waiting = replace(waiting, end=chord.end)
                continue
            if waiting is not None:
                yield replace(waiting, end=min(waiting.end, chord.start))
            waiting = chord
    if waiting is not None:
        yield waiting
    last = performance.passes[-1]
    following = make_plan(last.routine_pass, band.feel).following
    if following is not None and following.chord is not None:  # a loop leads back to its first bar
        start = float(last.start + last.routine_pass.length_beats)
        yield replace(made(following.chord), start=start, end=start + 1)


def course_chord(chord: Chord) -> CourseChord:
    """A chord as takes are held against it, in no place yet.

    Chord tones are those that counts of soloists take: 1 3 5 and 7 or 6 (Pfleiderer et al. 2017,
    Inside the Jazzomat). What the symbol adds is a tension, and so is what the chord takes.
    """
    heard = chord.sounding
    root = heard.root.pitch_class
    core = heard.core_pitch_classes
    more = [*heard.pitch_classes, *((root + d.pitch_class) % 12 for d in heard.quality.tensions)]
    degrees = [heard.name_of((root + n) % 12) for n in range(12)]
    if heard.is_dominant:
        more += [(root + d.pitch_class) % 12 for d in ALTERED]
        for degree in ALTERED:
            degrees[degree.pitch_class] = degrees[degree.pitch_class] or degree
    return CourseChord(
        0.0,
        0.0,
        str(chord),
        root,
        tuple(core),
        tuple(sorted(set(more) - set(core))),
        tuple("" if d is None else printed_degree(d) for d in degrees),
        tuple("" if d is None else heard.spelled(d).pretty for d in degrees),
    )
