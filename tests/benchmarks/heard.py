"""What the band plays of our tunes and of random changes, kept by pass, to be measured.

Everything goes the way a track goes: form, routine, arrangement, performance; times are those of
the performance, in seconds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from backing.chart.bar import RHYTHM_SECTION
from backing.chart.form import Form
from backing.chart.text.tune_file import read, read_file
from backing.combo.arrangement import arrange, plan_pass
from backing.combo.band import Band
from backing.combo.instruments import JAZZ_KIT
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedNote, PlayedPass
from backing.combo.plan import Plan
from backing.routine import Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine
from tests.benchmarks.changes import random_form

TUNES = tuple(sorted((Path(__file__).parents[2] / "tunes").glob("*.tune")))
HALF = Fraction(1, 2)
LONG = """\
title: Four Doors
key: D dorian

section A
| Dm7 | % | % | % | % | % | % | % |
| Fm7 | % | % | % | % | % | % | % |
| Ebmaj7 | % | % | % | % | % | % | % |
| G7 | % | % | % | % | % | % | % |
"""
Played = tuple[Plan, Part]
METERS = {"waltz": "3/4", "five": "5/4", "blues12": "12/8"}
"""Feels made for another meter than 4/4."""


@dataclass(frozen=True, slots=True)
class Timed:
    """A note, when it begins in seconds, and by how many ms it is behind the ride's place."""

    note: Note
    seconds: float
    late_ms: float


@dataclass(frozen=True, slots=True)
class Heard:
    """One pass as it was played: its plan, its parts, and the performance it is part of."""

    plan: Plan
    played: PlayedPass
    performance: Performance = field(repr=False)
    _timed: dict[str, tuple[Timed, ...]] = field(default_factory=dict, repr=False)

    def part(self, name: str) -> Part:
        """The part of a player, empty if there is none."""
        found = (part for part in self.played.parts if part.name == name)
        return next(found, Part(name, JAZZ_KIT, ()))

    def notes(self, name: str) -> tuple[Timed, ...]:
        """The notes of a player in seconds, those that are played at this tempo."""
        if name not in self._timed:
            alone = replace(self.performance, passes=(self.played,))
            self._timed[name] = tuple(map(self._in_time, alone.notes(name)))
        return self._timed[name]

    def _in_time(self, played: PlayedNote) -> Timed:
        seconds = float(played.onset)
        return Timed(played.note, seconds, (seconds - self.place(played.note.onset)) * 1000)

    def place(self, onset: Fraction) -> float:
        """Where the ride has the written beat ``onset`` of the pass, in seconds."""
        clock = self.performance.clock
        return float(clock.seconds(clock.played(self.played.start + onset)))

    def in_beat(self, note: Note) -> Fraction:
        """Where in its beat a note is written, from 0 up to 1."""
        return (note.onset - self.plan.bar_at(note.onset).start) % 1

    @property
    def feel(self) -> str:
        """The feel of all its bars, "" where they are not of one feel."""
        names = {bar.feel.name for bar in self.plan.bars}
        return names.pop() if len(names) == 1 else ""


def take(form: Form, asked: Request, band: Band) -> list[Heard]:
    """The passes of a routine, count-ins and all."""
    performance = arrange(make_routine(form, asked), band)
    own = form.solos is not None
    plans = {
        each.routine_pass: plan_pass(each.routine_pass, band, as_written=own)
        for each in performance.passes
    }
    return [Heard(plans[each.routine_pass], each, performance) for each in performance.passes]


def band(seed: int, **how: object) -> Band:
    """The whole band with its guide tones, both lines, unless it is said who plays ``how``."""
    usual = {"players": RHYTHM_SECTION | {"guide"}, "guide_line": "both"}
    return Band(seed=seed, **({} if "players" in how else usual) | how)  # type: ignore[arg-type]


def choruses(tempo: int, bars: int, feel: str = "swing", **how: object) -> list[Heard]:
    """Passes in one feel, of at least so many bars: our tunes in that feel, then random ones.

    Three choruses of each tune: head, one for soloing, out-chorus with its ending. Only the
    choruses after the head are counted, for it may be in two.
    """
    found: list[Heard] = []
    for number, form in enumerate(_forms(tempo, feel)):
        asked = Request(tempo=tempo, choruses=3)
        found += [
            heard
            for heard in take(form, asked, band(tempo + number, **how))
            if heard.feel == feel and heard.plan.purpose in (Purpose.SOLO, Purpose.HEAD_OUT)
        ]
        if sum(len(heard.plan.bars) for heard in found) >= bars:
            break
    return found


def first_choruses(tempo: int, bars: int) -> list[Heard]:
    """Heads of whole choruses in swing, which are played in two, of at least so many bars."""
    found: list[Heard] = []
    for number, form in enumerate(_forms(tempo, "swing")):
        asked = Request(tempo=tempo, choruses=2)
        heads = take(form, asked, band(tempo + number))
        found += [heard for heard in heads if heard.plan.purpose is Purpose.HEAD]
        if sum(len(heard.plan.bars) for heard in found) >= bars:
            break
    return found


def loops(tempo: int, bars: str, tunes: int = 4, times: int = 4) -> list[list[Heard]]:
    """Rounds of a loop of some random tunes, tune by tune, after a count-in."""
    asked = Request(tempo=tempo, bars=bars, times=times)
    numbers = range(tempo, tempo + tunes)
    return [take(random_form(n, tempo=tempo), asked, band(n)) for n in numbers]


def long_chords(tempo: int) -> list[Heard]:
    """Solo choruses over chords of eight bars."""
    asked = Request(tempo=tempo, choruses=6)
    heard = take(read(LONG), asked, band(tempo))
    return [each for each in heard if each.plan.purpose is Purpose.SOLO]


def told(tempo: int, tunes: int = 4) -> list[Heard]:
    """Choruses of random tunes with hits, stops and pushes for the whole band."""
    asked = Request(tempo=tempo, choruses=4)
    numbers = range(tempo, tempo + tunes)
    found = [take(random_form(n, tempo=tempo, cues=True), asked, band(n)) for n in numbers]
    return [heard for tune in found for heard in tune if heard.plan.purpose is not Purpose.COUNT_IN]


def _forms(tempo: int, feel: str) -> Iterator[Form]:
    """Our tunes in a feel, then random changes in it without an end."""
    ours = [read_file(path) for path in TUNES]
    mine = [f for f in ours if {b.feel for b in f.played("solos")} == {feel}]
    yield from mine
    number = tempo  # every tempo draws other tunes
    while True:
        yield random_form(number, tempo=tempo, feel=feel, meter=METERS.get(feel, "4/4"))
        number += 1


def parts(passes: Sequence[Heard], name: str) -> list[Played]:
    """The plans of some passes with the part of one player."""
    return [(heard.plan, heard.part(name)) for heard in passes]
