"""What to work on next: three sentences, the gravest thing first, and the bars to loop.

A fault is told of only where it is clear; where there are fewer than three, what was heard is said
in their place. No sentence grades anybody.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from backing.take.account import Account
from backing.take.course import Course
from backing.take.exercise import Departure
from backing.take.grid import counted
from backing.take.kinds import spelled
from backing.take.timing import DRIFT_MS

EXERCISE = 0.8
"""The share of chord tones from which a take is an exercise in them, not a solo."""
MASTERS_STEP = 0.58
"""Soloists cross changes by step so often (Weimar Jazz Database, 456 solos)."""
FEW_STEPS = 0.35
WIDE_MS = 35.0
"""More than this is scatter: bass and drums of good trios keep within 20 to 26 ms of each other
(Jazz Trio Database, Cheston et al. 2024)."""
FEWEST_TONES, AVOIDED, FAVORED = 32, 0.08, 0.5
LITTLE_SPACE = 0.1
"""Soloists leave a fifth to nearly a half of the time silent (Weimar Jazz Database)."""
ROLES = ("root", "3rd", "5th", "7th")
SENTENCES = {
    "swapped": "Bars {first} and {last}{where} sound swapped: each has the notes of the other.",
    "slipped": "From bar {first} to {last}{where} you are {bars} {way} in the form.",
    "one left": (
        "One note left the chord and led nowhere: {note} on {beat} of {bar}, over {chord}; the "
        "nearest chord tone is {nearest}."
    ),
    "many left": (
        "{count} notes left the chord and led nowhere, the first of them {note} on {beat} of "
        "{bar}, over {chord}."
    ),
    "shift": "{bar} lies {ms} ms {way} the bars around it.",
    "shifts": "{bar} lies {ms} ms {way} the bars around it; so do others: {others}.",
    "drift": "From beginning to end you {way} by {ms} ms.",
    "scatter": (
        "Your notes scatter {ms} ms around their places; play fewer of them, slower, with the "
        "click on 2 and 4."
    ),
    "stopped": "The eighths stopped on {beat} of {bar}{more}.",
    "departs": "{on} {beat} of {bar} the line has {wanted}, and you play {played}.",
    "departures": "{count} notes depart from the line; the first: {first}",
    "answers": (
        "Your answers take up {taken} of {strokes} strokes of the calls: sing the rhythm of the "
        "call before you answer."
    ),
    "leaps": (
        "{steps} of {played} changes are crossed by step or on a held tone, where soloists step "
        "across {masters}: aim for the nearest tone of the next chord."
    ),
    "avoided": (
        "The {role} is {count} of your {total} chord tones: land on it at each change for a chorus."
    ),
    "favored": "The {role} is {count} of your {total} chord tones: begin on another tone.",
    "all inside": "All {count} notes are in their chords or lead there{lead}.",
    "lead": ", {count} of them by a step from outside",
    "tones": "{share} of your notes are chord tones; in soloists' choruses half are.",
    "changes": "Of {played} changes you cross {ways}.",
    "within": "Your notes lie within {ms} ms of their places{swing}.",
    "swing": ", your eighths {mine} to 1, the band's {band} to 1",
    "run": "Your longest run of eighths has {notes} notes, from {bar} on.",
    "space": "You leave {share} of the time silent.",
}
"""The sentences, which the page has too."""
WAYS = (("step", "by step"), ("held", "on a held tone"), ("leap", "by leap"))


@dataclass(frozen=True, slots=True)
class Fault:
    """Something to work on: its ``topic``, a sentence, and its bars (indexes in the course).

    The greater its ``weight``, the sooner it is told.
    """

    topic: str
    sentence: str
    bars: tuple[int, ...]
    weight: float


@dataclass(frozen=True, slots=True)
class Advice:
    """``sentences``: three, of what to work on next; ``faults``: all there are, the gravest first;
    ``loop``: bars to loop, as --bars takes them, "" for none."""

    sentences: tuple[str, ...]
    faults: tuple[Fault, ...]
    loop: str


def advise(course: Course, told: Account) -> Advice:
    """What to work on after a take."""
    faults = tuple(sorted(_faults(course, told), key=lambda fault: -fault.weight))
    sentences = [fault.sentence for fault in faults[:3]]
    topics = {fault.topic for fault in faults[:3]}
    for topic, sentence in _facts(course, told):
        if len(sentences) < 3 and topic not in topics:
            sentences.append(sentence)
    return Advice(tuple(sentences), faults, _loop(course, faults))


def _faults(course: Course, told: Account) -> Iterator[Fault]:
    yield from _slipped(course, told)
    yield from _left(course, told)
    yield from _timed(course, told)
    yield from _stopped(course, told)
    yield from _along(course, told)
    yield from _joined(told)
    yield from _shaped(told)


def _slipped(course: Course, told: Account) -> Iterator[Fault]:
    for slip in told.slips:
        first, last = course.bars[slip.bars[0]], course.bars[slip.bars[-1]]
        count = abs(slip.by)
        text = SENTENCES["swapped" if slip.swapped else "slipped"].format(
            first=first.label,
            last=last.label,
            where=f" ({first.where})" if first.where else "",
            bars=f"{count} bar{'s' * (count != 1)}",
            way="early" if slip.by > 0 else "late",
        )
        yield Fault("place", text, slip.bars, 100)


def _left(course: Course, told: Account) -> Iterator[Fault]:
    """Notes that left the chord and led nowhere, but for those of bars in the wrong place."""
    slipped = {bar for slip in told.slips for bar in slip.bars}
    left = [note for note in told.unresolved if note.bar not in slipped]
    if not left:
        return
    first = left[0]
    text = SENTENCES["one left" if len(left) == 1 else "many left"].format(
        count=len(left),
        note=first.name,
        beat=first.beat,
        bar=course.bars[first.bar].name,
        chord=first.chord,
        nearest=first.nearest,
    )
    weight = 60.0 if (told.tones or 0) >= EXERCISE else 100 * len(left) / max(len(told.notes), 1)
    yield Fault("notes", text, tuple(dict.fromkeys(note.bar for note in left)), weight)


def _timed(course: Course, told: Account) -> Iterator[Fault]:
    time = told.timing
    if time.shifts:
        worst = max(time.shifts, key=lambda shift: abs(shift.ms))
        bar = course.bars[worst.bar].name
        others = [course.bars[s.bar].label for s in time.shifts if s is not worst]
        text = SENTENCES["shifts" if others else "shift"].format(
            bar=bar[0].upper() + bar[1:] + "," * ("," in bar),
            ms=f"{abs(worst.ms):.0f}",
            way="behind" if worst.ms > 0 else "ahead of",
            others=", ".join(others[:4]),
        )
        yield Fault("time", text, tuple(s.bar for s in time.shifts), 50 + abs(worst.ms) / 10)
    if time.drift_ms is not None and abs(time.drift_ms) > DRIFT_MS and not time.shifts:
        way = "fall behind" if time.drift_ms > 0 else "get ahead"
        text = SENTENCES["drift"].format(way=way, ms=f"{abs(time.drift_ms):.0f}")
        yield Fault("time", text, (), 40)
    if time.spread_ms is not None and time.spread_ms > WIDE_MS:
        text = SENTENCES["scatter"].format(ms=f"{time.spread_ms:.0f}")
        yield Fault("steadiness", text, (), 35)


def _stopped(course: Course, told: Account) -> Iterator[Fault]:
    breaks = told.phrases.breaks
    if not (course.unbroken or told.phrases.unbroken) or not breaks:
        return
    first = breaks[0]
    bar = course.bars[first.bar]
    more = len(breaks) - 1
    text = SENTENCES["stopped"].format(
        beat=counted(first.eighth, bar),
        bar=bar.name,
        more=f", and {more} time{'s' * (more != 1)} after that" if more else "",
    )
    yield Fault("run", text, tuple(dict.fromkeys(each.bar for each in breaks)), 55)


def _along(course: Course, told: Account) -> Iterator[Fault]:
    if told.along is not None and told.along.departures:
        known = {bar for slip in told.slips for bar in slip.bars}
        gaps = (
            {each.eighth for each in told.phrases.breaks}
            if course.unbroken or told.phrases.unbroken
            else set()
        )
        left = [d for d in told.along.departures if d.bar not in known and d.eighth not in gaps]
        outside = {(note.bar, note.beat) for note in told.unresolved}
        left = [d for d in left if (d.bar, counted(d.eighth, course.bars[d.bar])) not in outside]
        if left:
            text = _departs(course, left[0], "On" if len(left) == 1 else "on")
            if len(left) > 1:
                text = SENTENCES["departures"].format(count=len(left), first=text)
            yield Fault("line", text, tuple(dict.fromkeys(d.bar for d in left)), 45)
    if told.answers:
        strokes = sum(answer.strokes for answer in told.answers)
        taken = sum(answer.taken_up for answer in told.answers)
        if taken < strokes / 2:
            text = SENTENCES["answers"].format(taken=taken, strokes=strokes)
            yield Fault("answers", text, tuple(a.bar for a in told.answers), 30)


def _departs(course: Course, left: Departure, on: str) -> str:
    bar = course.bars[left.bar]
    at = course.chord_at(left.eighth / 2 + 0.01)
    chord = None if at is None else course.chords[at]
    played = "nothing" if left.played is None else spelled(chord, left.played)
    if left.played is not None and (left.played - left.wanted) % 12 == 0:
        played = f"the {played} {'above' if left.played > left.wanted else 'below'}"
    return SENTENCES["departs"].format(
        on=on,
        beat=counted(left.eighth, bar),
        bar=bar.name,
        wanted=spelled(chord, left.wanted),
        played=played,
    )


def _joined(told: Account) -> Iterator[Fault]:
    played = len(told.crossings) - told.crossed("rest")
    steps = told.crossed("step") + told.crossed("held")
    if played >= 12 and steps < FEW_STEPS * played and not told.slips:
        leaps = [each.bar for each in told.crossings if each.way == "leap"]
        text = SENTENCES["leaps"].format(steps=steps, played=played, masters=f"{MASTERS_STEP:.0%}")
        yield Fault("changes", text, tuple(dict.fromkeys(leaps)), 25)


def _shaped(told: Account) -> Iterator[Fault]:
    total = sum(told.degrees)
    if total >= FEWEST_TONES and told.along is None:
        least = min(range(4), key=told.degrees.__getitem__)
        if told.degrees[least] < AVOIDED * total:
            count = told.degrees[least]
            text = SENTENCES["avoided"].format(role=ROLES[least], count=count, total=total)
            yield Fault("degrees", text, (), 20)
        most = max(range(4), key=told.degrees.__getitem__)
        if told.degrees[most] > FAVORED * total:
            count = told.degrees[most]
            text = SENTENCES["favored"].format(role=ROLES[most], count=count, total=total)
            yield Fault("degrees", text, (), 15)


def _facts(course: Course, told: Account) -> Iterator[tuple[str, str]]:
    """What was heard, in the order in which it is worth saying."""
    leads = len(told.outside) - len(told.unresolved)
    if not told.unresolved and told.notes:
        lead = SENTENCES["lead"].format(count=leads) if leads else ""
        yield "notes", SENTENCES["all inside"].format(count=len(told.notes), lead=lead)
    elif told.tones is not None:
        yield "notes", SENTENCES["tones"].format(share=f"{told.tones:.0%}")
    played = len(told.crossings) - told.crossed("rest")
    if played:
        ways = [f"{told.crossed(w)} {words}" for w, words in WAYS if told.crossed(w)]
        told_ways = " and ".join([", ".join(ways[:-1]), ways[-1]] if ways[1:] else ways)
        yield "changes", SENTENCES["changes"].format(played=played, ways=told_ways)
    time = told.timing
    if time.spread_ms is not None:
        swing = ""
        if time.swing is not None and time.band_swing > 1:
            mine, band = f"{time.swing:.1f}", f"{time.band_swing:.1f}"
            swing = SENTENCES["swing"].format(mine=mine, band=band)
        yield "time", SENTENCES["within"].format(ms=f"{time.spread_ms:.0f}", swing=swing)
    longest = told.phrases.longest
    if longest is not None and longest.notes >= 8:
        first = course.bars[told.notes[longest.first].placed.bar].name
        yield "run", SENTENCES["run"].format(notes=longest.notes, bar=first)
    if told.notes:
        yield "space", SENTENCES["space"].format(share=f"{told.phrases.space:.0%}")


def _loop(course: Course, faults: Sequence[Fault]) -> str:
    """The bars of the gravest fault that has any, with the bar that leads into them."""
    for fault in faults:
        if fault.bars:
            first = fault.bars[0]
            labels = [course.bars[at].label for at in (max(first - 1, 0), first)]
            numbers = [label for label in labels if label.isdigit()]
            if not numbers:
                continue
            return (
                "-".join(numbers) if len(numbers) > 1 and numbers[0] != numbers[1] else numbers[-1]
            )
    return ""
