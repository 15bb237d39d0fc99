"""What the band agrees on before anyone plays a pass.

Where each chord comes in, the energy, the hits of the whole band, who rests, where there are
fills: every player reads the same plan.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from backing.chart.bar import PLAYERS, RHYTHM_SECTION, Change, Meter, PlayedBar
from backing.chart.harmony import Chord
from backing.chart.pitch import Key, PitchName
from backing.combo.arc import Chapter, chapter, staged
from backing.combo.feel_file import Feel, feel_names, load_feel
from backing.routine import Pass, Purpose

SHORT_LOOP_BARS = 8
"""Loops of fewer bars get a light set-up in place of a fill, and not always a crash."""


@dataclass(frozen=True, slots=True)
class PlanBar:
    """A bar of the pass and its place in it.

    ``start`` in beats from the start of the pass; ``energy`` from 0 to 1; ``section_top`` and
    ``section_end``: the first and last bar of a section (a chorus that wraps around counts);
    ``phrase_end``: the last bar of four; ``fill``: how many beats at the end of the bar are a
    drum fill (0: none); ``set_up``: a light drum set-up leads into the next bar instead;
    ``light``: beats of the bar that the whole band hits in the head, and comp and drums touch here.
    """

    bar: PlayedBar
    index: int
    start: Fraction
    feel: Feel
    energy: float
    section_top: bool
    section_end: bool
    phrase_end: bool
    fill: Fraction = Fraction(0)
    set_up: bool = False
    light: tuple[Fraction, ...] = ()

    @property
    def end(self) -> Fraction:
        """The beat at which the bar ends, from the start of the pass."""
        return self.start + self.bar.length

    @property
    def chorus_top(self) -> bool:
        """Whether this is bar 1 of the chorus."""
        return self.bar.role == "chorus" and self.bar.number == 1


@dataclass(frozen=True, slots=True)
class ChordSpan:
    """A chord, from where the band plays it to where the next one comes.

    ``start`` and ``end`` in beats from the start of the pass, pushes included (``start`` of the
    first span may be negative); ``written`` is the onset on paper. Equal chords in a row are one
    span. ``chord`` is None for N.C. ``pedal`` is the note the bass holds to. ``early``: see
    Change.
    """

    chord: Chord | None
    start: Fraction
    end: Fraction
    written: Fraction
    key: Key
    pedal: PitchName | None = None
    early: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class Accent:
    """A hit of the whole band; ``kind``: "hit", "stop", "push", "hold" or "last".

    ``onset`` and ``length`` in beats from the start of the pass; a push on the first bar has a
    negative onset. ``span`` is the chord that sounds.
    """

    onset: Fraction
    length: Fraction
    kind: str
    span: ChordSpan


@dataclass(frozen=True, slots=True)
class Rest:
    """Beats in which ``players`` rest but for hits of the whole band."""

    start: Fraction
    end: Fraction
    players: frozenset[str]


@dataclass(frozen=True, slots=True)
class CompStroke:
    """One stroke of the comping rhythm, chosen before anyone plays so that the drums can answer it.

    ``span`` is the chord that sounds: the next one where the stroke anticipates it.
    ``accent``: 1 accented, 0 plain, -1 soft. ``swung`` and ``tempos``: see Note.
    """

    onset: Fraction
    length: Fraction
    span: ChordSpan
    accent: int = 0
    swung: bool = True
    together: bool = False
    tempos: tuple[int, int] | None = None


@dataclass(frozen=True)
class Plan:
    """All that the band knows about a pass before it plays.

    ``tempo`` is the reference in bpm; ``spans`` cover the pass without a gap (but for silent bars
    before the first chord); ``following`` is the chord after the end (None: the music ends),
    its ``start`` before ``length`` where it is pushed. ``careful``: a first chorus or a short
    loop, in which the bass keeps to the roots so that a learner hears the form. ``plain``: in a
    lesson all is careful, and as simple as it can be. ``ends``: the
    arrangement ends with this pass. ``ostinato``, from 0 to 1, chooses among figures that have to
    be the same in every pass (which way round a clave goes). ``take``, ``value``
    and ``earlier``: see Pass.
    ``resting_next``: who is told to rest in the bar after the end. ``lean``: for each beat how far
    bass, comp and kick lean back together.
    """

    purpose: Purpose
    tempo: Fraction
    bars: tuple[PlanBar, ...]
    spans: tuple[ChordSpan, ...]
    following: ChordSpan | None
    accents: tuple[Accent, ...]
    rests: tuple[Rest, ...]
    length: Fraction
    chorus: int
    choruses: int
    circular: bool
    careful: bool
    ends: bool
    comping: tuple[CompStroke, ...] = ()
    ostinato: float = 0.0
    take: int = 0
    value: str = ""
    earlier: int = 0
    resting_next: frozenset[str] = frozenset()
    lean: tuple[float, ...] = ()
    plain: bool = False

    def leaning(self, beat: Fraction) -> float:
        """How far the players lean back on a beat, in spreads of their lateness; 0 is not."""
        at = beat.__floor__()
        return self.lean[at] if 0 <= at < len(self.lean) else 0.0

    def span_at(self, beat: Fraction) -> ChordSpan | None:
        """The chord that sounds at ``beat``, pushes included; the following one past the end."""
        if self.following is not None and beat >= self.following.start:
            return self.following
        at = bisect_right(self.spans, beat, key=lambda span: span.start) - 1
        return self.spans[max(at, 0)] if self.spans else None

    def bar_at(self, beat: Fraction) -> PlanBar:
        """The bar that ``beat`` lies in (the first one before the start, the last after)."""
        at = bisect_right(self.bars, beat, key=lambda bar: bar.start) - 1
        return self.bars[max(at, 0)]

    def after(self, span: ChordSpan) -> ChordSpan | None:
        """The chord that follows ``span``; None where the music ends."""
        at = bisect_right(self.spans, span.start, key=lambda s: s.start)
        return self.spans[at] if at < len(self.spans) else self.following

    def resting(self, player: str, beat: Fraction) -> bool:
        """Whether ``player`` rests at ``beat``, but for hits of the whole band.

        At the end and after it: in the bar that follows.
        """
        if beat >= self.length:
            return player in self.resting_next
        return any(r.start <= beat < r.end and player in r.players for r in self.rests)


def leads_as_two(chord: Chord, target: Chord | None, key: Key) -> bool:
    """Whether a plain minor triad is a II in all but name: it leads to a dominant a fourth up.

    The tonic is none: Cm in C minor stays at home, whatever follows it.
    """
    heard = chord.sounding
    plain = heard.quality.family == "minor" and len(heard.core_pitch_classes) == 3
    if not plain or target is None or heard.root.pitch_class == key.tonic.pitch_class:
        return False
    up = (target.sounding.root.pitch_class - heard.root.pitch_class) % 12
    return up == 5 and target.sounding.is_dominant


def make_plan(
    played: Pass,
    feel: str | None = None,
    seed: int = 1,
    occasion: str | None = None,
    *,
    as_written: bool = False,
) -> Plan:
    """The plan of a pass; ``feel`` overrides the feels of its bars, ``seed`` chooses the arc.

    ``occasion``: one of bar.OCCASIONS, None for rehearsal. ``as_written``: hits are played in solos
    as they are in heads. Raises FeelError for a feel that is unknown.
    """
    mine, plain = chapter(played, seed), occasion == "lesson"
    if not plain:
        played = replace(played, bars=staged(played.bars, mine.texture))
    if played.purpose is Purpose.SOLO and played.choruses > 2 and not as_written:
        bars = tuple(map(_lightened, _bars(played, feel, mine)))
    else:
        bars = _bars(played, feel, mine)
    length = played.length_beats
    following = _following(played, length)
    spans = _spans(bars, following.start if following else length)
    return Plan(
        purpose=played.purpose,
        tempo=played.reference_tempo or played.tempo,
        bars=bars,
        spans=spans,
        following=following,
        accents=_accents(bars, spans),
        rests=_rests(bars, rest_bar=played.purpose is Purpose.REST_BAR),
        length=length,
        chorus=played.chorus,
        choruses=played.choruses,
        circular=played.circular,
        careful=plain or (occasion != "gig" and _heard_little(played, len(bars))),
        plain=plain,
        ends=bool(bars) and bool(bars[-1].bar.final),
        take=played.take,
        value=played.value,
        earlier=played.earlier,
        resting_next=played.leads_to.directions.lay_out if played.leads_to else frozenset(),
    )


def plan_of_bars(bars: Sequence[PlayedBar]) -> Plan:
    """What the band would agree on for these bars as one time through a loop."""
    return make_plan(
        Pass(Purpose.SOLO, tuple(bars), Fraction(120), circular=True, leads_to=bars[0])
        if bars
        else Pass(Purpose.SOLO, (), Fraction(120))
    )


def _heard_little(played: Pass, bars: int) -> bool:
    """Whether the bars are heard for the first time, or are a short loop."""
    first = played.chorus == 0 and played.take == 0
    return first or (played.circular and bars <= SHORT_LOOP_BARS)


def feel_of(name: str, meter: Meter) -> Feel:
    """The feel called ``name``, or its nearest relative made for ``meter``.

    A swing feel in three is the waltz, the waltz in four is swing: a relative is the feel whose
    first meter it is. A feel of even eighths plays the meter it is given.
    """
    feel = load_feel(name)
    if str(meter) in feel.meters or feel.ratio(Fraction(120)) == 1:
        return feel
    for other in ("swing", *feel_names()):
        relative = load_feel(other)
        if str(meter) == relative.meters[0] and relative.ratio(Fraction(120)) > 1:
            return relative
    return feel


def _bars(played: Pass, feel: str | None, mine: Chapter) -> tuple[PlanBar, ...]:
    start, bars = Fraction(0), []
    for index, bar in enumerate(played.bars):
        nxt = played.bars[index + 1] if index + 1 < len(played.bars) else played.leads_to
        planned = PlanBar(
            bar=bar,
            index=index,
            start=start,
            feel=_bar_feel(played, bar, feel),
            energy=_energy(bar, mine.energy(index, len(played.bars))),
            section_top=bar.section_bar == 1 or index == 0,
            section_end=nxt is not None and _new_section(bar, nxt),
            phrase_end=bar.section_bar % 4 == 0,
        )
        bars.append(_with_fill(planned, played, nxt, feel))
        start += bar.length
    return tuple(bars)


def _lightened(planned: PlanBar) -> PlanBar:
    """A bar of a solo: the hits of the head are touched, and the bass walks on."""
    told = planned.bar.directions
    if not told.hits or told.only is not None:
        return planned
    plain = replace(planned.bar, directions=replace(told, hits=()))
    return replace(planned, bar=plain, light=told.hits)


def _new_section(bar: PlayedBar, nxt: PlayedBar) -> bool:
    same = (bar.section, bar.section_use, bar.role) == (nxt.section, nxt.section_use, nxt.role)
    return not same or nxt.section_bar <= bar.section_bar


def _bar_feel(played: Pass, bar: PlayedBar, feel: str | None) -> Feel:
    mine = feel_of(feel or bar.feel, bar.meter)
    whole_choruses = played.choruses >= 2 and played.chorus == 0
    if whole_choruses and mine.two_first and str(bar.meter) in mine.meters:
        return load_feel(mine.two_first)
    return mine


def _next_feel(bar: PlanBar, played: Pass, nxt: PlayedBar, feel: str | None) -> Feel:
    """The feel of the bar after ``bar``: only the first chorus is in two, not what follows it."""
    inside = bar.index + 1 < len(played.bars)
    return _bar_feel(played, nxt, feel) if inside else feel_of(feel or nxt.feel, nxt.meter)


def _energy(bar: PlayedBar, base: float) -> float:
    """From 0 to 1: what the arc says, and a section grows toward its end."""
    within = 0.12 * (bar.section_bar - 1) / max(1, bar.section_bars - 1)
    return min(1.0, base + within)


def _with_fill(bar: PlanBar, played: Pass, nxt: PlayedBar | None, feel: str | None) -> PlanBar:
    """The bar with its fill or set-up: a whole bar into another feel, else by what comes next."""
    if nxt is None or bar.bar.pickup:
        return bar
    if _next_feel(bar, played, nxt, feel).name != bar.feel.name:
        return replace(bar, fill=bar.bar.length)
    short_loop = played.circular and len(played.bars) < SHORT_LOOP_BARS
    if not bar.section_end or short_loop:
        at_joint = bar.phrase_end or bar.index == len(played.bars) - 1
        return replace(bar, set_up=at_joint)
    into_chorus = nxt.role != bar.bar.role or nxt.number <= bar.bar.number
    beats = bar.bar.length if into_chorus and bar.energy > 0.6 else bar.bar.length / 2
    return replace(bar, fill=max(Fraction(1), Fraction(beats.__floor__())))


def _following(played: Pass, length: Fraction) -> ChordSpan | None:
    bar = played.leads_to
    if bar is None or not bar.changes:
        return None
    return replace(_written(bar, bar.changes[0], length), end=length + bar.length)


def _written(bar: PlayedBar, change: Change, bar_start: Fraction) -> ChordSpan:
    """The span of a change, its end not yet known."""
    written = bar_start + change.onset
    start, pedal = written - change.early, bar.directions.pedal
    return ChordSpan(change.chord, start, start, written, bar.key, pedal, change.early)


def _spans(bars: Sequence[PlanBar], end: Fraction) -> tuple[ChordSpan, ...]:
    spans: list[ChordSpan] = []
    counted = False  # a chord that a pickup has begins anew where the band comes in
    for planned in bars:
        for change in planned.bar.changes:
            span = _written(planned.bar, change, planned.start)
            last = spans[-1] if spans and not counted else None
            counted = planned.bar.pickup
            if last and not span.early and (last.chord, last.pedal) == (span.chord, span.pedal):
                continue
            spans.append(span)
    ends = [*(span.start for span in spans[1:]), end]
    return tuple(replace(span, end=stop) for span, stop in zip(spans, ends, strict=False))


def _accents(bars: Sequence[PlanBar], spans: Sequence[ChordSpan]) -> tuple[Accent, ...]:
    if not spans:
        return ()
    found: dict[Fraction, tuple[str, Fraction]] = {}
    for span in spans:
        if span.early and span.chord is not None:
            found[span.start] = ("push", min(Fraction(3, 2), span.end - span.start))
    for planned in bars:
        directions = planned.bar.directions
        for beat in directions.hits:
            found[planned.start + beat] = ("hit", Fraction(1, 2))
        for beat in directions.only or ():
            found[planned.start + beat] = ("stop", Fraction(1, 2))
        for onset, end in pairwise(_held(planned, spans)):
            found[onset] = ("hold", end - onset)
        if planned.bar.final:
            onset, length = _last(planned, spans)
            found[onset] = ("last", length)
    starts = [span.start for span in spans]
    accents = []
    for onset in sorted(found):
        kind, length = found[onset]
        span = spans[max(0, bisect_right(starts, onset) - 1)]
        accents.append(Accent(onset, length, kind, span))
    cut = [replace(a, length=min(a.length, b.onset - a.onset)) for a, b in pairwise(accents)]
    return (*cut, accents[-1]) if accents else ()


def _held(bar: PlanBar, spans: Sequence[ChordSpan]) -> list[Fraction]:
    """The beats of a bar that are struck and held, each until the next, and its end; or none."""
    if bar.bar.directions.hold is None:
        return []
    first = bar.start + bar.bar.directions.hold
    return [first, *(span.start for span in spans if first < span.start < bar.end), bar.end]


def _last(bar: PlanBar, spans: Sequence[ChordSpan]) -> tuple[Fraction, Fraction]:
    """Onset and length of the last stroke: on the push if its chord is pushed."""
    pushed = (span.start for span in spans if span.early and span.written == bar.start)
    *_, onset, _ = _held(bar, spans) or (next(pushed, bar.start), bar.end)
    return onset, bar.end - onset if bar.bar.final == "held" else Fraction(1, 2)


def _rests(bars: Sequence[PlanBar], *, rest_bar: bool) -> tuple[Rest, ...]:
    """Who rests where; in a rest bar between times the hi-hat foot goes on alone."""
    counted = frozenset(PLAYERS) - {"click"}
    if rest_bar:
        counted = counted - {"drums"} | {"kit"}
    rests = []
    for planned in bars:
        directions = planned.bar.directions
        if directions.hits:
            rests.append(Rest(planned.start, planned.end, frozenset({"bass", "comp"})))
        if directions.hold is not None:
            rests.append(Rest(planned.start + directions.hold, planned.end, RHYTHM_SECTION))
        elif directions.only is not None or planned.bar.final:
            rests.append(Rest(planned.start, planned.end, RHYTHM_SECTION))
        if planned.bar.pickup or not planned.bar.changes:
            rests.append(Rest(planned.start, planned.end, counted))
        if directions.lay_out:
            rests.append(Rest(planned.start, planned.end, directions.lay_out))
    return tuple(rests)
