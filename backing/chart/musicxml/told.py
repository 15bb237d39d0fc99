"""What lead sheets say in words that a tune file says in lines: cues, orders, feels.

``writing`` writes them so, and they are read back; words of others are told in the report.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from backing.chart.bar import Meter
from backing.chart.cue import Break, Center, Cue, LayOut, Pedal, Rit, StopTime
from backing.chart.form import ORDERS, order_name
from backing.chart.musicxml.measures import FERMATA
from backing.chart.musicxml.placing import Bar
from backing.chart.section import SectionUse, WrittenBar
from backing.chart.text.bar_line import read_changes
from backing.chart.text.cue_line import USUAL_RIT, read_cue
from backing.chart.text.header import read_order
from backing.chart.text.source import Piece, Source, Statement
from backing.chart.unfold import playing_order

FEELS = ("swing", "bossa", "ballad", "waltz", "samba", "shuffle", "even")
"""Feels that a heading in words may name."""
_NAMED_FEELS = {"two", "five", "secondline", "doubletime", "blues12"}
"""Feels that stand alone, since their names are other words, too."""
ORDER_WORDS = {order_name(order): order for order in ORDERS} | {"solo chorus": "solos"}
SOLOS = "solos"
_ORDER = re.compile(r"(head|solo chorus|head out): (.*)")
_TIME = re.compile(r"(\d+)(?:st|nd|rd|th) time: (.*)")
_CUE = re.compile(
    r"(hits|break|stop-time|pedal|lay out|hold|center|rit(?=\. to))\.?(?:: ?| |$)(.*)"
)
_SLOWING = re.compile(r"(?i)(?:poco |molto )?(?:rit|ritard|ritardando|rall|rallentando)\b.*")
_IN_TIME = re.compile(r"(?i)a tempo|tempo primo|tempo (?:i|1)\W*|in tempo")
_USUAL_RIT = f"rit. to {float(USUAL_RIT):.0%}"
LONGEST_RIT = 4
"""A ritardando that no "a tempo" ends lasts to the end of its section, or so many bars."""
_SILENCE = "silence"
_PUSH = re.compile(r"(push|late)( by an? (?:eighth|quarter))?")
_LENGTHS = {"": Fraction(1, 2), " by an eighth": Fraction(1, 2), " by a quarter": Fraction(1)}


def ordinal(number: int) -> str:
    """1st, 2nd, 3rd, 4th."""
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10 if number not in (11, 12, 13) else 0, "th")
    return f"{number}{ending}"


@dataclass(slots=True)
class Told:
    """What is told in words about the bars of one section, by the index of the bar.

    ``cues``: for a bar the times it is for (0: all) and the cue as a line of a tune file has it.
    ``slowing``: the bar from which it slows down, until words say that it goes on in time.
    """

    cues: list[tuple[int, int, str]] = field(default_factory=list)
    slowing: int | None = None
    solos: dict[int, WrittenBar] = field(default_factory=dict)
    feel: str = ""


class Listener:
    """Hears the words of bars; those that nothing comes of are in ``unheard``, with their bar."""

    def __init__(self) -> None:
        self.orders: dict[str, tuple[SectionUse, ...]] = {}
        self.unheard: list[tuple[str, str]] = []

    def hear(self, bars: Sequence[Bar]) -> Told:
        """What the words in the bars of a section say; a push moves its chord."""
        told = Told()
        for index, bar in enumerate(bars):
            for at, text in bar.words:
                for part in text.split("; "):
                    if not self._heard(part, at, index, bar, told):
                        self.unheard.append((text, bar.source.number))
                        break
        _slow(told, min(len(bars), (told.slowing or 0) + LONGEST_RIT))
        return told

    def _heard(self, text: str, at: Fraction, index: int, bar: Bar, told: Told) -> bool:
        if found := _ORDER.fullmatch(text):
            source = Source(found[2], "")
            uses = read_order(Piece(found[2], 1), source)
            if uses and not source.problems:
                self.orders[ORDER_WORDS[found[1]]] = tuple(replace(u, span=None) for u in uses)
                return True
        if found := _PUSH.fullmatch(text):
            return _move(bar, at, found[1], found[2] or "")
        if text.startswith(f"{SOLOS}: "):
            source = Source(text, "")
            changes = read_changes(Piece(text, 1).cut(len(SOLOS) + 2), bar.meter, source)
            changes = tuple(replace(change, span=None) for change in changes)
            if changes and not source.problems:
                told.solos[index] = WrittenBar(changes)
                return True
        if text == FERMATA:
            text = f"hold {int(at) + 1}"
        turn, said = 0, text
        if found := _TIME.fullmatch(text):
            turn, said = int(found[1]), found[2]
        if said == _SILENCE or (_CUE.fullmatch(said) and _cue(said, 1, bar.meter)):
            told.cues.append((index, turn, said))
            return True
        if told.slowing is not None and _IN_TIME.fullmatch(text):
            _slow(told, index)
            return True
        if told.slowing is None and _SLOWING.fullmatch(text):
            told.slowing = index
            return True
        feel = _feel(text)
        if feel and index == 0:
            told.feel = told.feel or feel
        return bool(feel)


def _slow(told: Told, end: int) -> None:
    """Slow down in the bars up to ``end`` from where it was told."""
    if told.slowing is not None:
        told.cues += [(index, 0, _USUAL_RIT) for index in range(told.slowing, end)]
    told.slowing = None


def _feel(text: str) -> str:
    said = text.lower()
    if said in _NAMED_FEELS or said.endswith(".toml"):
        return text if said.endswith(".toml") else said
    found = {said.find(feel): feel for feel in FEELS if feel in said}
    return found[min(found)] if found else ""


def _move(bar: Bar, at: Fraction, word: str, by: str) -> bool:
    """Push or delay the chord on a beat; whether there is one."""
    early = _LENGTHS[by] / bar.meter.beat_quarters * (1 if word == "push" else -1)
    moved = tuple(replace(c, early=early) if c.onset == at else c for c in bar.changes)
    there = moved != bar.changes
    bar.changes = moved
    return there


def cues_of(told: Told, written: Sequence[WrittenBar], meter: Meter) -> Iterator[Cue]:
    """The cues of a section of ``written`` bars; what goes on over several bars is one."""
    lines: dict[int, list[str]] = {}
    order = playing_order(written)
    for index, turn, text in told.cues:
        places = [place for place, at in enumerate(order, 1) if at == index]
        for place in places if not turn else places[turn - 1 : turn]:
            lines.setdefault(place, []).append(text)
    yield from _joined(lines, meter)


def _joined(lines: Mapping[int, Sequence[str]], meter: Meter) -> Iterator[Cue]:
    going: list[Cue] = []
    for place in sorted(lines):
        on, going = going, []
        for text in lines[place]:
            cue = Break(place, place, ()) if text == _SILENCE else _cue(text, place, meter)
            assert cue is not None, "only cues that were read are kept"
            before = next((c for c in on if c.last == place - 1 and _goes_on(c, cue)), None)
            if before is not None:
                on.remove(before)
                cue = replace(before, last=place)
            going.append(cue)
        yield from on
    yield from going


def _goes_on(before: Cue, cue: Cue) -> bool:
    if isinstance(before, Break) and isinstance(cue, Break):
        return not cue.beats
    alike = isinstance(cue, StopTime | Pedal | LayOut | Rit | Center) and type(before) is type(cue)
    return alike and replace(before, first=cue.first, last=cue.last) == cue


def _cue(text: str, place: int, meter: Meter) -> Cue | None:
    """A cue for one bar, read as the line of a tune file that it is."""
    found = _CUE.fullmatch(text)
    assert found is not None
    line = Piece(f"{found[1]} {place}: {found[2].replace('♭', 'b').replace('♯', '#')}", 1)
    source = Source(line.text, "")
    cue = read_cue(Statement.of(line), (place, place), meter, source)
    return replace(cue, span=None) if cue and not source.problems else None
