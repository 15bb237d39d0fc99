"""Measures to sections: where a section begins, what it is called, in which order they come."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil

from backing.chart.bar import Change, Meter
from backing.chart.cue import Cue, Push
from backing.chart.form import Form
from backing.chart.musicxml.measures import Measure
from backing.chart.pitch import MODES, Key, PitchName
from backing.chart.section import ROLES, Pickup, Row, Section, SectionUse, WrittenBar
from backing.chart.text.header import FASTEST, SLOWEST
from backing.chart.unfold import playing_order
from backing.errors import UserError

_COMMON = Meter(4, 4)
_DEFAULT_TEMPO = Fraction(120)
_BARS_A_ROW = 4
_EIGHTH_QUARTERS = Fraction(1, 2)
_FEELS = ("swing", "bossa", "ballad", "waltz", "samba", "shuffle", "even")
"""Feels that a heading in words may name."""
_JUMPS = ("dacapo", "dalsegno")


@dataclass(slots=True)
class _Bar:
    """A measure in its key and meter, its chords on beats."""

    source: Measure
    key: Key
    meter: Meter
    changes: tuple[Change, ...]
    cut: bool = False
    name: str = ""


@dataclass(slots=True)
class _Stretch:
    """The bars of one section."""

    bars: list[_Bar]
    name: str = ""
    first: int = 0
    cues: list[Cue] = field(default_factory=list)


def assemble(measures: Sequence[Measure], title: str, by: str, *, unroll: bool = False) -> Form:
    """The form of a lead sheet; with ``unroll`` its repeats are written out.

    Raises UserError for an impossible key, or two chords on a beat.
    """
    pickup = _pickup_length(measures)
    bars = _bars(measures)
    if pickup:
        first, bars = bars[0], bars[1:]
    if not bars:
        raise UserError("This file has only a pickup.", "Write the bars after it.")
    unroll = unroll or _tangled(bars)
    indexes = list(range(len(bars)))
    if unroll:
        indexes = playing_order([_written(bar) for bar in bars])
    stretches = _stretches(bars, indexes, signs=not unroll)
    form = _form(stretches, title, by, unroll=unroll)
    if pickup:
        changes = tuple(c for c in first.changes if c.onset < pickup)
        opening = replace(form.sections[0], pickup=Pickup(changes, pickup))
        form = replace(form, sections=(opening, *form.sections[1:]))
    transpose = next((m.transpose for m in measures if m.transpose), None)
    return form.transposed(transpose) if transpose and transpose.semitones % 12 else form


def _pickup_length(measures: Sequence[Measure]) -> Fraction:
    """The beats of a short first measure; 0 where it is whole."""
    first = measures[0]
    meter = first.meter or _COMMON
    beats = Fraction(ceil(first.length / meter.beat_quarters))
    short = 0 < first.length < meter.beats * meter.beat_quarters and beats < meter.beats
    return beats if short else Fraction(0)


def _bars(measures: Sequence[Measure]) -> list[_Bar]:
    """Every measure in its key and meter; a chord lasts until the next one."""
    key, meter = Key(PitchName("C")), _COMMON
    bars: list[_Bar] = []
    moved: list[Change] = []
    for measure in measures:
        meter = measure.meter or meter
        key = _key(measure, measures) if measure.fifths is not None else key
        changes, late = _on_beats(measure, meter, moved)
        if not changes or changes[0].onset > 0:
            sounding = bars[-1].changes[-1].chord if bars else None
            changes.insert(0, Change(Fraction(0), sounding))
        bars.append(_Bar(measure, key, meter, tuple(changes)))
        moved = late
    return bars


def _on_beats(
    measure: Measure, meter: Meter, before: Iterable[Change]
) -> tuple[list[Change], list[Change]]:
    """The chords of a measure on its beats, and one that is pushed from the next."""
    eighth = _EIGHTH_QUARTERS / meter.beat_quarters
    taken: dict[Fraction, Change] = {change.onset: change for change in before}
    after: list[Change] = []
    for quarters, chord in sorted(measure.chords, key=lambda pair: pair[0]):
        beats = quarters / meter.beat_quarters
        beat = Fraction(ceil(beats - eighth / 2))  # up to a sixteenth late is on the beat
        early = eighth if beat - beats >= eighth / 2 and beat not in taken else Fraction(0)
        if beat >= meter.beats:
            after.append(Change(Fraction(0), chord, early))
            continue
        if beat in taken and quarters == 0:
            early = taken.pop(beat).early  # it is pushed already
        if beat in taken:
            raise UserError(
                f"Measure {measure.number} has two chords on beat {beat + 1}.",
                "Write at most one chord to a beat.",
            )
        taken[beat] = Change(beat, chord, early)
    return [taken[beat] for beat in sorted(taken)], after


def _key(measure: Measure, measures: Sequence[Measure]) -> Key:
    fifths, mode = measure.fifths or 0, (measure.mode or "").lower()
    if not -7 <= fifths <= 7:
        cause = f"Measure {measure.number} has a key of {abs(fifths)} accidentals."
        raise UserError(cause, "Correct its key: there are 7 at most.")
    if mode not in MODES:
        mode = "minor" if _ends_in_relative_minor(fifths, measures) else "major"
    return Key(PitchName.of_fifths(fifths + MODES[mode]), mode)


def _ends_in_relative_minor(fifths: int, measures: Sequence[Measure]) -> bool:
    """Whether the last chord is the minor tonic of the signature, where no mode is given."""
    last = next((c for m in reversed(measures) for _, c in reversed(m.chords) if c), None)
    return last is not None and last.root.fifths == fifths + 3 and "minor" in last.family


def _written(bar: _Bar) -> WrittenBar:
    measure = bar.source
    return WrittenBar(bar.changes, "", measure.opens, measure.ending, measure.closes)


def _stretches(bars: Sequence[_Bar], indexes: Sequence[int], *, signs: bool) -> list[_Stretch]:
    """The bars cut where a section begins; ``signs``: never inside a repeat."""
    within = _inside_repeats(bars) if signs else set()
    stretches: list[_Stretch] = []
    for at, index in enumerate(indexes):
        bar = bars[index]
        before = bars[indexes[at - 1]] if at else None
        forced = before is not None and _changes(before, bar)
        marked = bool(bar.source.rehearsal) or {"segno", "coda"} & bar.source.jumps
        after_jump = before is not None and (
            {"tocoda", "fine", *_JUMPS} & before.source.jumps and signs
        )
        if not stretches or forced or ((marked or after_jump) and index not in within):
            stretches.append(_Stretch([], _name(bar.source), index))
        stretches[-1].bars.append(bar)
    return stretches


def _inside_repeats(bars: Sequence[_Bar]) -> set[int]:
    """The indexes of bars inside a repeat, where no section can begin."""
    within: set[int] = set()
    start = 0
    for index, bar in enumerate(bars):
        measure = bar.source
        if measure.opens:
            start = index
        if measure.ending:
            within |= set(range(start + 1, index + 1))
        if measure.closes:
            within |= set(range(start + 1, index + 1))
            following = bars[index + 1].source if index + 1 < len(bars) else None
            if following is None or not following.ending:
                start = index + 1
    return within


def _tangled(bars: Sequence[_Bar]) -> bool:
    """Whether key or meter change inside a repeat, which a section cannot."""
    within = _inside_repeats(bars)
    changing = (at for at in range(1, len(bars)) if _changes(bars[at - 1], bars[at]))
    return any(at in within for at in changing)


def _changes(before: _Bar, bar: _Bar) -> bool:
    return (before.key, before.meter) != (bar.key, bar.meter)


def _name(measure: Measure) -> str:
    """The name of a section from its mark; "" if that cannot be a name."""
    if "coda" in measure.jumps and not measure.rehearsal:
        return "coda"
    word = re.sub(r"[^\w]|_", "", measure.rehearsal)
    word = word if re.fullmatch(r"[^\W\d].{0,20}", word) else ""
    return word.lower() if word.lower().rstrip("0123456789") in ROLES else word


def _form(stretches: list[_Stretch], title: str, by: str, *, unroll: bool) -> Form:
    first = stretches[0].bars[0]
    tempo = next((b.source.tempo for s in stretches for b in s.bars if b.source.tempo), None)
    sections: dict[str, Section] = {}
    uses: list[str] = []
    for stretch in stretches:
        section = _section(stretch, first, plain=unroll)
        uses.append(_place(section, sections))
    form = Form(
        title=title,
        by=by,
        key=first.key,
        meter=first.meter,
        tempo=_tempo(tempo, first.meter),
        feel=_feel(stretch.bars[0].source for stretch in stretches) or "swing",
        sections=tuple(sections.values()),
    )
    return _ordered(form, stretches, uses)


def _place(section: Section, sections: dict[str, Section]) -> str:
    """Add a section under a name of its own, or find the one that has the same bars."""
    base = section.name or _next_letter(sections)
    name, number = base, 1
    while name in sections:
        if replace(sections[name], name="") == replace(section, name=""):
            return name
        number += 1
        name = f"{base}{number}" if not base[-1].isdigit() else f"{base}v{number}"
    sections[name] = replace(section, name=name)
    return name


def _next_letter(sections: dict[str, Section]) -> str:
    return next(c for c in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" if c not in sections or c == "Z")


def _section(stretch: _Stretch, first: _Bar, *, plain: bool) -> Section:
    key, meter = stretch.bars[0].key, stretch.bars[0].meter
    written = [_written(bar) for bar in stretch.bars]
    if plain:
        written = [WrittenBar(bar.changes) for bar in written]
    cues = tuple(_pushes(written))
    written = [
        replace(bar, changes=tuple(replace(c, early=Fraction(0)) for c in bar.changes))
        for bar in written
    ]
    signed = _with_repeat_signs(written)
    rows = [tuple(signed[i : i + _BARS_A_ROW]) for i in range(0, len(signed), _BARS_A_ROW)]
    return Section(
        name=stretch.name,
        rows=tuple(map(Row, rows)),
        cues=cues,
        key=key if key != first.key else None,
        meter=meter if meter != first.meter else None,
    )


def _with_repeat_signs(bars: Sequence[WrittenBar]) -> list[WrittenBar]:
    """The bars with ``%`` where one is the bar before again."""
    signed = list(bars[:1])
    for before, bar in pairwise(bars):
        alike = before.changes == bar.changes and not before.closes
        again = alike and not bar.opens and not bar.ending
        signed.append(replace(bar, changes=(), sign="%") if again else bar)
    return signed


def _pushes(written: Sequence[WrittenBar]) -> Iterable[Cue]:
    """A cue for every pushed chord, in each bar as it is played."""
    for place, index in enumerate(playing_order(written), 1):
        for change in written[index].changes:
            if change.early:
                yield Push(place, place, (change.onset,), change.early)


def _tempo(quarters: Fraction | None, meter: Meter) -> Fraction:
    if quarters is None:
        return _DEFAULT_TEMPO
    return min(max(quarters / meter.beat_quarters, Fraction(SLOWEST)), Fraction(FASTEST))


def _feel(measures: Iterable[Measure]) -> str | None:
    said = " ".join(word.lower() for measure in measures for word in measure.words)
    found = {said.find(feel): feel for feel in _FEELS if feel in said}
    return found[min(found)] if found else None


def _ordered(form: Form, stretches: Sequence[_Stretch], uses: Sequence[str]) -> Form:
    """The form with its orders, if sections are repeated or there is a jump."""
    bars = [(at, bar.source) for at, stretch in enumerate(stretches) for bar in stretch.bars]
    jump = next(((at, m) for at, m in bars if set(_JUMPS) & m.jumps), None)
    main = [use for use in uses if _is_main(use)]
    if jump is None:
        again = len(set(main)) < len(main)
        return replace(form, head=_uses(main)) if again else form
    end, measure = jump
    start = 0
    if "dalsegno" in measure.jumps:
        start = next((at for at, m in bars if "segno" in m.jumps), 0)
    fine = next((at for at, m in bars if "fine" in m.jumps), None)
    to_coda = next((at for at, m in bars if "tocoda" in m.jumps), None)
    head = [use for use in uses[: end + 1] if _is_main(use)]
    if to_coda is None:
        stop = end if fine is None else fine
        return replace(form, head=_uses([*head, *uses[start : stop + 1]]))
    coda = next((at for at, m in bars if at > end and "coda" in m.jumps), end + 1)
    out = [*uses[start : to_coda + 1], *uses[coda:]]
    return replace(form, head=_uses(head), out=_uses(out))


def _is_main(use: str) -> bool:
    return use.rstrip("0123456789") not in ("coda", "ending", "tag")


def _uses(names: Iterable[str]) -> tuple[SectionUse, ...]:
    return tuple(map(SectionUse, names))
