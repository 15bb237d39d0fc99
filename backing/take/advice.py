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
        if slip.swapped:
            text = f"Bars {first.label} and {last.label}{_time(first.where)} sound swapped: each"
            text += " has the notes of the other."
        else:
            way = "early" if slip.by > 0 else "late"
            count = abs(slip.by)
            text = f"From bar {first.label} to {last.label}{_time(first.where)} you are "
            text += f"{count} bar{'s' * (count != 1)} {way} in the form."
        yield Fault("place", text, slip.bars, 100)


def _time(where: str) -> str:
    return f" ({where})" if where else ""


def _left(course: Course, told: Account) -> Iterator[Fault]:
    """Notes that left the chord and led nowhere, but for those of bars in the wrong place."""
    slipped = {bar for slip in told.slips for bar in slip.bars}
    left = [note for note in told.unresolved if note.bar not in slipped]
    if not left:
        return
    first = left[0]
    bar = course.bars[first.bar]
    where = f"{first.name} on {first.beat} of {bar.name}, over {first.chord}"
    if len(left) == 1:
        text = f"One note left the chord and led nowhere: {where}; the nearest chord tone is "
        text += f"{first.nearest}."
    else:
        text = f"{len(left)} notes left the chord and led nowhere, the first of them {where}."
    weight = 60.0 if (told.tones or 0) >= EXERCISE else 100 * len(left) / max(len(told.notes), 1)
    yield Fault("notes", text, tuple(dict.fromkeys(note.bar for note in left)), weight)


def _timed(course: Course, told: Account) -> Iterator[Fault]:
    time = told.timing
    if time.shifts:
        worst = max(time.shifts, key=lambda shift: abs(shift.ms))
        way = "behind" if worst.ms > 0 else "ahead of"
        bar = course.bars[worst.bar].name
        text = f"{bar[0].upper()}{bar[1:]}, lies {abs(worst.ms):.0f} ms {way} the bars around it."
        text = text.replace(", lies", " lies") if "," not in bar else text
        if len(time.shifts) > 1:
            others = [course.bars[s.bar].label for s in time.shifts if s is not worst]
            text = f"{text[:-1]}; so do others: {', '.join(others[:4])}."
        yield Fault("time", text, tuple(s.bar for s in time.shifts), 50 + abs(worst.ms) / 10)
    if time.drift_ms is not None and abs(time.drift_ms) > DRIFT_MS and not time.shifts:
        way = "fall behind" if time.drift_ms > 0 else "get ahead"
        text = f"From beginning to end you {way} by {abs(time.drift_ms):.0f} ms."
        yield Fault("time", text, (), 40)
    if time.spread_ms is not None and time.spread_ms > WIDE_MS:
        text = f"Your notes scatter {time.spread_ms:.0f} ms around their places; "
        text += "play fewer of them, slower, with the click on 2 and 4."
        yield Fault("steadiness", text, (), 35)


def _stopped(course: Course, told: Account) -> Iterator[Fault]:
    breaks = told.phrases.breaks
    if not (course.unbroken or told.phrases.unbroken) or not breaks:
        return
    first = breaks[0]
    bar = course.bars[first.bar]
    text = f"The eighths stopped on {counted(first.eighth, bar)} of {bar.name}"
    more = len(breaks) - 1
    text += f", and {more} time{'s' * (more != 1)} after that." if more else "."
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
            text = f"{_departs(course, left[0])}"
            if len(left) > 1:
                text = f"{len(left)} notes depart from the line; the first: {text}"
            yield Fault("line", text, tuple(dict.fromkeys(d.bar for d in left)), 45)
    if told.answers:
        strokes = sum(answer.strokes for answer in told.answers)
        taken = sum(answer.taken_up for answer in told.answers)
        if taken < strokes / 2:
            text = f"Your answers take up {taken} of {strokes} strokes of the calls: sing the "
            text += "rhythm of the call before you answer."
            yield Fault("answers", text, tuple(a.bar for a in told.answers), 30)


def _departs(course: Course, left: Departure) -> str:
    bar = course.bars[left.bar]
    at = course.chord_at(left.eighth / 2 + 0.01)
    chord = None if at is None else course.chords[at]
    where = f"on {counted(left.eighth, bar)} of {bar.name} the line has "
    text = where + spelled(chord, left.wanted)
    return (
        f"{text}, and you play {'nothing' if left.played is None else spelled(chord, left.played)}."
    )


def _joined(told: Account) -> Iterator[Fault]:
    played = len(told.crossings) - told.crossed("rest")
    steps = told.crossed("step") + told.crossed("held")
    if played >= 12 and steps < FEW_STEPS * played and not told.slips:
        leaps = [each.bar for each in told.crossings if each.way == "leap"]
        text = f"{steps} of {played} changes are crossed by step or on a held tone, where soloists "
        text += f"step across {MASTERS_STEP:.0%}: aim for the nearest tone of the next chord."
        yield Fault("changes", text, tuple(dict.fromkeys(leaps)), 25)


def _shaped(told: Account) -> Iterator[Fault]:
    total = sum(told.degrees)
    if total >= FEWEST_TONES and told.along is None:
        least = min(range(4), key=told.degrees.__getitem__)
        if told.degrees[least] < AVOIDED * total:
            text = f"The {ROLES[least]} is {told.degrees[least]} of your {total} chord tones: "
            text += "land on it at each change for a chorus."
            yield Fault("degrees", text, (), 20)
        most = max(range(4), key=told.degrees.__getitem__)
        if told.degrees[most] > FAVORED * total:
            text = f"The {ROLES[most]} is {told.degrees[most]} of your {total} chord tones: "
            text += "begin on another tone."
            yield Fault("degrees", text, (), 15)


def _facts(course: Course, told: Account) -> Iterator[tuple[str, str]]:
    """What was heard, in the order in which it is worth saying."""
    leads = len(told.outside) - len(told.unresolved)
    if not told.unresolved and told.notes:
        lead = f", {leads} of them by a step from outside" if leads else ""
        yield "notes", f"All {len(told.notes)} notes are in their chords or lead there{lead}."
    elif told.tones is not None:
        yield (
            "notes",
            f"{told.tones:.0%} of your notes are chord tones; in soloists' choruses half are.",
        )
    played = len(told.crossings) - told.crossed("rest")
    if played:
        counts = {"by step": "step", "on a held tone": "held", "by leap": "leap"}
        ways = [f"{told.crossed(w)} {words}" for words, w in counts.items() if told.crossed(w)]
        yield "changes", f"Of {played} changes you cross {' and '.join(ways)}."
    time = told.timing
    if time.spread_ms is not None:
        text = f"Your notes lie within {time.spread_ms:.0f} ms of their places"
        if time.swing is not None and time.band_swing > 1:
            text += f", your eighths {time.swing:.1f} to 1, the band's {time.band_swing:.1f} to 1"
        yield "time", f"{text}."
    longest = told.phrases.longest
    if longest is not None and longest.notes >= 8:
        first = course.bars[told.notes[longest.first].placed.bar].name
        yield "run", f"Your longest run of eighths has {longest.notes} notes, from {first} on."
    if told.notes:
        yield "space", f"You leave {told.phrases.space:.0%} of the time silent."


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
