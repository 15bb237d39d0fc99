"""Measures to bars: meters the band plays, whole bars, and every chord on a beat.

A chord off the beat becomes the chord of the beat after it, pushed, or of the beat before it,
delayed. What cannot be had so is told in the report.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor

from backing.chart.bar import Change, Meter
from backing.chart.harmony import Chord
from backing.chart.musicxml.measures import Measure
from backing.chart.musicxml.report import Report
from backing.chart.outline import beat_word
from backing.chart.pitch import MODES, Key, PitchName
from backing.chart.section import WrittenBar
from backing.chart.text.header import METERS

TWO = "two"
"""The feel of cut time."""
_IN: dict[tuple[int, int], tuple[Meter, int | Fraction]] = {
    (2, 2): (Meter(4, 4), 1), (3, 2): (Meter(6, 4), 1), (4, 2): (Meter(4, 4), 1),
    (6, 2): (Meter(6, 4), 1), (1, 1): (Meter(4, 4), 1), (2, 1): (Meter(4, 4), 1),
    (1, 2): (Meter(2, 4), 1), (8, 4): (Meter(4, 4), 1), (10, 4): (Meter(5, 4), 1),
    (9, 4): (Meter(9, 8), Fraction(1, 2)), (12, 4): (Meter(12, 8), Fraction(1, 2)),
    (2, 8): (Meter(2, 4), 2), (3, 8): (Meter(3, 4), 2), (5, 8): (Meter(5, 4), 2),
    (7, 8): (Meter(7, 4), 2), (4, 8): (Meter(2, 4), 1), (8, 8): (Meter(4, 4), 1),
    (10, 8): (Meter(5, 4), 1), (18, 8): (Meter(9, 8), 1), (24, 8): (Meter(12, 8), 1),
    (15, 8): (Meter(5, 4), Fraction(2, 3)), (21, 8): (Meter(7, 4), Fraction(2, 3)),
    (3, 16): (Meter(3, 4), 4), (6, 16): (Meter(6, 8), 2), (9, 16): (Meter(9, 8), 2),
    (12, 16): (Meter(12, 8), 2), (4, 16): (Meter(2, 4), 2), (8, 16): (Meter(4, 4), 2),
}  # fmt: skip
"""Meters the band does not have -> the one they are read in, and how often as long notes are in it.
A longer measure becomes several bars."""
_KEPT, _PUSHED, _DELAYED, _LEFT_OUT = 0, 1, 2, 100
"""What a chord costs on its beat, pushed, delayed, and left out; FAR for each quarter it moves."""
_FAR = 8


@dataclass(slots=True)
class Bar:
    """A bar in its key and meter, its chords on beats; ``source`` is its measure.

    ``first``: whether the measure begins with it, ``last`` whether it ends with it. ``quarter``:
    how many beats a quarter of the measure takes. ``in_two``: it is cut time. ``spots``: where in
    beats its chords are written; ``length``: the beats that its notes fill.
    """

    source: Measure
    key: Key
    meter: Meter
    changes: tuple[Change, ...] = ()
    first: bool = True
    last: bool = True
    in_two: bool = False
    start: Fraction = Fraction(0)
    quarter: Fraction = Fraction(1)
    spots: tuple[tuple[Fraction, Chord | None], ...] = ()
    length: Fraction = Fraction(0)

    @property
    def written(self) -> WrittenBar:
        """The bar with its repeat signs."""
        measure = self.source
        return WrittenBar(
            self.changes,
            "",
            measure.opens and self.first,
            measure.ending if self.first else (),
            measure.closes if self.last else 0,
        )

    @property
    def words(self) -> list[tuple[Fraction, str]]:
        """What stands in words in it, and on which of its beats."""
        found = [(at * self.quarter - self.start, text) for at, text in self.source.words]
        return [
            (at, text)
            for at, text in found
            if (at >= 0 or self.first) and (at < self.meter.beats or self.last)
        ]

    def jumps(self, *names: str) -> bool:
        """Whether any of these jumps is at this bar."""
        here = self.source.jumps & set(names)
        return (self.first and bool(here & {"segno", "coda"})) or (
            self.last and bool(here - {"segno", "coda"})
        )


def placed_bars(measures: Sequence[Measure], report: Report) -> tuple[list[Bar], Fraction]:
    """The bars of all measures, and the beats of the first if it is a pickup (0: it is whole)."""
    bars = list(_cut(measures, report))
    pickup = _pickup(bars[0])
    bars = list(_whole(bars, pickup=pickup > 0, report=report))
    _place(bars, pickup, report)
    return bars, pickup


def _cut(measures: Sequence[Measure], report: Report) -> Iterator[Bar]:
    """Every measure in its key and meter; one that is longer than its meter as several bars."""
    key, meter, scale, in_two = Key(PitchName("C")), Meter(4, 4), Fraction(1), False
    for measure in measures:
        if measure.meter is not None:
            found = respelled(*measure.meter)
            if found is None:
                said = "/".join(map(str, measure.meter))
                report.fault(
                    f"Measure {measure.number} has the meter {said}, which the band doesn't play.",
                    f"Write it in one of {', '.join(map(str, METERS))}.",
                )
            else:
                meter, scale = found
                in_two = measure.meter in ((2, 2), (4, 2))
                if str(meter) != "/".join(map(str, measure.meter)):
                    said = "/".join(map(str, measure.meter))
                    two = " in two" if in_two else ""
                    report.note(f"Measure {measure.number}: {said} is read as {meter}{two}.")
        if measure.fifths is not None:
            key = _key(measure, measures, report) or key
        quarter = scale / meter.beat_quarters
        spots = sorted(((at * quarter, c) for at, c in measure.chords), key=lambda spot: spot[0])
        length = measure.length * quarter
        count = max(1, floor(length / meter.beats))
        if count > 1 and length % meter.beats:
            count = 1
        for at in range(count):
            start, end = Fraction(at * meter.beats), Fraction((at + 1) * meter.beats)
            last = at == count - 1
            yield Bar(
                measure, key, meter,
                first=at == 0, last=last, in_two=in_two, start=start, quarter=quarter,
                spots=tuple((p - start, c) for p, c in spots if start <= p and (p < end or last)),
                length=min(length, end) - start if count > 1 else length,
            )  # fmt: skip


def respelled(upper: int, lower: int) -> tuple[Meter, Fraction] | None:
    """The meter in which the band reads one, and how many times as long notes are in it."""
    if (meter := Meter(upper, lower)) in METERS:
        return meter, Fraction(1)
    found = _IN.get((upper, lower))
    return (found[0], Fraction(found[1])) if found else None


def _key(measure: Measure, measures: Sequence[Measure], report: Report) -> Key | None:
    fifths, mode = measure.fifths or 0, (measure.mode or "").lower()
    if not -7 <= fifths <= 7:
        cause = f"Measure {measure.number} has a key of {abs(fifths)} accidentals."
        report.fault(cause, "Correct its key: there are 7 at most.")
        return None
    if mode not in MODES:
        mode = "minor" if _ends_in_relative_minor(fifths, measures) else "major"
    return Key(PitchName.of_fifths(fifths + MODES[mode]), mode)


def _ends_in_relative_minor(fifths: int, measures: Sequence[Measure]) -> bool:
    """Whether the last chord is the minor tonic of the signature, where no mode is given."""
    last = next((c for m in reversed(measures) for _, c in reversed(m.chords) if c), None)
    return last is not None and last.root.fifths == fifths + 3 and "minor" in last.family


def _pickup(first: Bar) -> Fraction:
    """The beats of a short first measure; 0 where it is whole."""
    beats = Fraction(ceil(first.length))
    return beats if first.length > 0 and beats < first.meter.beats else Fraction(0)


def _whole(bars: list[Bar], *, pickup: bool, report: Report) -> Iterator[Bar]:
    """Bars: halves of a split one joined, and short ones in meters of their own."""
    index = 0
    while index < len(bars):
        bar, after = bars[index], bars[index + 1] if index + 1 < len(bars) else None
        index += 1
        if (pickup and index == 1) or not bar.last or not bar.first:
            yield bar
        elif after is not None and _halves(bar, after):
            _join(bar, after, bars[index + 1] if index + 1 < len(bars) else None)
            index += 1
            yield bar
        elif after is not None and _irregular(bar, after):
            yield _in_its_own_meter(bar, report)
        else:
            if bar.length > bar.meter.beats:
                said = f"{float(bar.length):g} beats in {bar.meter}"
                report.note(f"Measure {bar.source.number} has {said}, and stands as one bar.")
            yield bar


def _halves(bar: Bar, after: Bar) -> bool:
    """Whether two measures are the halves of one bar."""
    short = 0 < bar.length < bar.meter.beats and 0 < after.length < bar.meter.beats
    fits = bar.length + after.length == bar.meter.beats and bar.meter == after.meter
    return short and fits and not (after.source.rehearsal or after.source.ending)


def _join(bar: Bar, after: Bar, following: Bar | None) -> None:
    """Put a second half behind the first; a repeat that begins in it begins after it."""
    half, other = bar.source, after.source
    shift = half.length
    half.length += other.length
    half.words += [(shift + at, text) for at, text in other.words]
    half.jumps |= other.jumps
    half.closes = half.closes or other.closes
    if other.opens and following is not None:
        following.source.opens = True
    bar.spots += tuple((bar.length + at, chord) for at, chord in after.spots)
    bar.length += after.length


def _irregular(bar: Bar, after: Bar) -> bool:
    """Whether a bar is shorter than its meter, and not for a pickup that comes again later."""
    ends = bar.source.closes or after.source.opens or after.source.ending or after.source.rehearsal
    return 0 < bar.length < bar.meter.beats and not ends


def _in_its_own_meter(bar: Bar, report: Report) -> Bar:
    meter = Meter(int(bar.length), 4)
    said = f"Measure {bar.source.number} has {float(bar.length):g} of {bar.meter.beats} beats"
    if bar.length.denominator == 1 and meter in METERS and not bar.meter.compound:
        report.note(f"{said}, and stands as a bar of {meter}.")
        return replace(bar, meter=meter)
    report.note(f"{said}, and stands as a whole bar.")
    return bar


# chords on beats


def _place(bars: Sequence[Bar], pickup: Fraction, report: Report) -> None:
    """Put every chord on a beat; it lasts until the next one."""
    sounding: Chord | None = None
    brought: Change | None = None
    for index, bar in enumerate(bars):
        beats = int(pickup) if pickup and index == 0 else bar.meter.beats
        following = bars[index + 1] if index + 1 < len(bars) else None
        spots = _distinct(bar, brought, report)
        onward = _leads_on(bar, following, spots)
        fixed = brought is not None
        places = _assigned([at for at, _ in spots], beats, bar.meter, onward, fixed)
        changes = [brought] if brought else []
        brought = None
        for (at, chord), place in zip(spots, places, strict=True):
            if place is None:
                name = str(chord or "N.C.")
                where = f"measure {bar.source.number}, beat {beat_word(at)}"
                report.note(f"{name} ({where}) has no beat of its own. It is left out.")
                continue
            if abs(place[0] - place[1] - at) >= 1:
                name = f"{chord or 'N.C.'} (measure {bar.source.number}, beat {beat_word(at)})"
                report.note(f"{name} moves to beat {place[0] + 1}.")
            if place[0] == beats:
                brought = Change(Fraction(0), chord, place[1])
            else:
                changes.append(Change(Fraction(place[0]), chord, place[1]))
        if not changes or changes[0].onset > 0:
            changes.insert(0, Change(Fraction(0), sounding))
        bar.changes = tuple(changes)
        sounding = (brought or changes[-1]).chord


Spots = list[tuple[Fraction, Chord | None]]


def _distinct(bar: Bar, brought: Change | None, report: Report) -> Spots:
    """The chords of a bar but for those on the beat of another: the last of them is kept."""
    spots: Spots = []
    if brought is not None:
        spots.append((Fraction(0), brought.chord))
    for at, chord in bar.spots:
        if spots and spots[-1][0] == at:
            _, other = spots.pop()
            if other != chord:
                said = f"{other or 'N.C.'} and {chord or 'N.C.'} at once"
                report.note(f"Measure {bar.source.number} has {said}; the last is kept.")
        spots.append((at, chord))
    return spots[1:] if brought is not None else spots


def _leads_on(bar: Bar, following: Bar | None, spots: Spots) -> bool:
    """Whether the last chord of a bar may be the first of the next, pushed."""
    if following is None or not spots or bar.source.closes or following.source.ending:
        return False
    first = [chord for at, chord in following.spots if at == 0]
    return not first or first[-1] == spots[-1][1]


Place = tuple[int, Fraction]
"""A beat, and by how many beats the chord on it is pushed."""


def _assigned(
    spots: Sequence[Fraction], beats: int, meter: Meter, onward: bool, fixed: bool
) -> list[Place | None]:
    """A beat for every chord at least cost, each later than the one before; None: left out.

    ``onward``: the first beat of the next bar may be had. ``fixed``: beat 0 is taken.
    """
    quarter = 1 / meter.beat_quarters
    shifts = [Fraction(0), quarter / 2, -quarter / 2]
    if meter.compound:
        shifts += [quarter, -quarter]
    best: dict[tuple[int, Fraction], tuple[Fraction, list[Place | None]]] = {
        (0 if fixed else -1, Fraction(-1)): (Fraction(0), [])
    }
    for at in spots:
        now: dict[tuple[int, Fraction], tuple[Fraction, list[Place | None]]] = {}
        for (taken, sounded), (cost, places) in best.items():
            options: list[tuple[Fraction, Place | None]] = [(cost + _LEFT_OUT, None)]
            near = {floor(at), ceil(at)} if at < beats else {beats - 1, beats}
            for beat in near:
                for shift in shifts:
                    sounds = beat - shift
                    if beat <= taken or (beat == beats and not onward) or sounds <= sounded:
                        continue
                    if shift < 0 and beat == beats:
                        continue
                    own = (_PUSHED if shift > 0 else _DELAYED) if shift else _KEPT
                    own += abs(shift) > quarter / 2  # by a quarter only where it has to be
                    far = _FAR * abs(sounds - at) / quarter
                    options.append((cost + own + far, (beat, shift)))
            for total, place in options:
                state = (taken, sounded) if place is None else (place[0], place[0] - place[1])
                if state not in now or total < now[state][0]:
                    now[state] = (total, [*places, place])
        best = now
    return min(best.values(), key=lambda pair: pair[0])[1]
