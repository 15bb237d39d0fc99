"""Cues in players' words: ``hits 7: 1 2& 4&``, ``pedal 1-8: G``, ``push 5: 3 by a quarter``.

==========================  ====================================================================
``hits 7: 1 2& 4&``         the whole band hits these beats of bar 7 together
``break 8: 1``              the band hits beat 1 and is silent for the rest of these bars
``stop-time 1-4: 1``        the band plays only beat 1 of each of these bars
``pedal 1-8: G``            the bass holds to G
``lay out 1-4: comp``       these players rest (bass, comp, drums, guide, line)
``push 5: 3``               the chord written on beat 3 is played an eighth early
``late 5: 1 by a quarter``  the chord written on beat 1 is played a quarter late
``hold 8: 3``              the band holds beat 3, and what is left of the bar, twice as long
``rit 7-8: to 70%``        the tempo falls to 70 % in these bars, and returns after them
``center 5-8: Ab``          the key center printed over these bars; with none, none is printed
==========================  ====================================================================

Bars count from 1 as the section is played. A beat is its number; ``&`` is the eighth after it.
In 6/8, 9/8 and 12/8 the eighths of beat 2 are ``2``, ``2.2`` and ``2.3``.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from backing.chart.bar import PLAYERS, Meter
from backing.chart.cue import Break, Center, Cue, Hits, Hold, LayOut, Pedal, Push, Rit, StopTime
from backing.chart.pitch import Key, PitchName
from backing.chart.text.source import Piece, Source, Statement, suggestion
from backing.errors import ChordError

CUE_WORDS = (
    "hits",
    "break",
    "stop-time",
    "pedal",
    "lay out",
    "push",
    "late",
    "hold",
    "rit",
    "center",
)
_OTHER_WORDS = {
    "hit": "hits",
    "pushes": "push",
    "breaks": "break",
    "stop time": "stop-time",
    "stoptime": "stop-time",
    "layout": "lay out",
    "lay-out": "lay out",
    "lays out": "lay out",
    "fermata": "hold",
    "ritardando": "rit",
    "ritard": "rit",
    "rall": "rit",
    "rallentando": "rit",
    "centre": "center",
    "key center": "center",
}
_OTHER_PLAYERS = {
    "piano": "comp",
    "comping": "comp",
    "keys": "comp",
    "melody": "line",
    "drum": "drums",
    "drummer": "drums",
    "bassist": "bass",
    "pianist": "comp",
}
_SIMPLE_BEAT = re.compile(r"(?P<beat>\d{1,2})(?P<half>[&+])?")
_COMPOUND_BEAT = re.compile(r"(?P<beat>\d{1,2})(?:\.(?P<third>[123]))?")
_BY = re.compile(r"(?P<beats>.*?)(?:\s*\bby\s+(?:an?\s+)?(?P<by>\w+))?\s*")
_STRUCK: dict[str, Callable[..., Hits | Break | StopTime]] = {
    "hits": Hits, "break": Break, "stop-time": StopTime,
}  # fmt: skip
_LENGTHS = {"eighth": Fraction(1, 2), "quarter": Fraction(1)}  # in quarter notes

NO_CENTER = "none"

Bars = tuple[int, int]


_EXAMPLES = {
    "hits": "hits 7: 1 2& 4&",
    "stop-time": "stop-time 1-4: 1",
    "pedal": "pedal 1-8: G",
    "lay out": "lay out 1-4: comp bass",
    "push": "push 5: 3",
    "late": "late 5: 1",
    "hold": "hold 8: 1",
    "rit": "rit 7-8: to 70%",
    "center": "center 5-8: Ab",
}
USUAL_RIT = Fraction(7, 10)
"""Where nothing is said, the tempo falls so far (common practice, no source)."""
_SLOWEST_RIT, _FASTEST_RIT = 30, 95
_TO = re.compile(r"(?:to\s+)?(\d{1,3})\s*%|")


def cue_word(found: Statement) -> str:
    """Which of CUE_WORDS a line begins with, however it is spelled; empty for any other line."""
    word = _OTHER_WORDS.get(found.word, found.word)
    return word if word in CUE_WORDS else ""


def read_cue(found: Statement, bars: Bars, meter: Meter, source: Source) -> Cue | None:
    """Read a line that begins with one of CUE_WORDS, for some ``bars``; None after a problem."""
    word = cue_word(found)
    if word == "pedal" and found.rest.text:
        return _pedal(bars, found, source)
    if word == "lay out" and found.rest.text:
        return _lay_out(bars, found, source)
    if word == "center" and found.rest.text:
        return _center(bars, found, source)
    if word in ("push", "late"):
        return _push(bars, found, meter, source)
    if word == "rit":
        return _rit(bars, found, source)
    beats = _beats(found.rest, meter, source)
    if beats is None:
        return None
    if not beats and word != "break":
        _refuse_nothing(found, source)
        return None
    if word == "hold":
        return _hold(bars, beats, found, source)
    return _STRUCK[word](*bars, beats, span=found.line.span)


def _refuse_nothing(found: Statement, source: Source) -> None:
    word = cue_word(found)
    cure = f"Write a line such as {_EXAMPLES[word]}."
    source.problem(found.line, f'Nothing follows "{word}".', cure)


def _pedal(bars: Bars, found: Statement, source: Source) -> Pedal | None:
    try:
        return Pedal(*bars, PitchName.parse(found.rest.text), span=found.line.span)
    except ChordError as error:
        source.refuse(found.rest, error)
        return None


def _center(bars: Bars, found: Statement, source: Source) -> Center | None:
    if found.rest.text.lower() == NO_CENTER:
        return Center(*bars, None, span=found.line.span)
    try:
        return Center(*bars, Key.parse(found.rest.text), span=found.line.span)
    except ChordError as error:
        source.refuse(found.rest, error)
        return None


def _lay_out(bars: Bars, found: Statement, source: Source) -> LayOut | None:
    players = []
    for piece in found.rest.find(r"[^\s,]+"):
        name = piece.text.lower()
        name = _OTHER_PLAYERS.get(name, name)
        if name in PLAYERS:
            players.append(name)
        elif name != "and":
            near = suggestion(name, PLAYERS, _OTHER_PLAYERS)
            cause = f'Nobody in the band is called "{piece}".'
            source.problem(piece, cause, f"{near}The band is {', '.join(PLAYERS)}.")
            return None
    if not players:
        _refuse_nothing(found, source)
        return None
    return LayOut(*bars, frozenset(players), span=found.line.span)


def _push(bars: Bars, found: Statement, meter: Meter, source: Source) -> Push | None:
    word = cue_word(found)
    match = _BY.fullmatch(found.rest.text)
    by = match["by"] if match else None
    if match is None or (by and by.lower() not in _LENGTHS):
        cause = f'"by {by}" isn\'t how far a chord can move.'
        source.problem(found.rest, cause, "Write by an eighth (or nothing), or by a quarter.")
        return None
    beats = _beats(found.rest.group(match, "beats"), meter, source)
    if beats is None:
        return None
    if not beats:
        _refuse_nothing(found, source)
        return None
    early = _LENGTHS[(by or "eighth").lower()] / meter.beat_quarters
    return Push(*bars, beats, early if word == "push" else -early, span=found.line.span)


def _hold(bars: Bars, beats: tuple[Fraction, ...], found: Statement, source: Source) -> Hold | None:
    if len(beats) > 1 or beats[0].denominator > 1:
        cause = "A bar is held from one beat on, on the beat."
        source.problem(found.rest, cause, f"Write that beat, such as {_EXAMPLES['hold']}.")
        return None
    return Hold(*bars, beats[0], span=found.line.span)


def _rit(bars: Bars, found: Statement, source: Source) -> Rit | None:
    match = _TO.fullmatch(found.rest.text)
    percent = Fraction(match[1] or USUAL_RIT * 100) if match else Fraction(0)
    if not _SLOWEST_RIT <= percent <= _FASTEST_RIT:
        cause = f'"{found.rest}" isn\'t a tempo to slow down to.'
        cure = f"Write {_SLOWEST_RIT}% to {_FASTEST_RIT}%, such as {_EXAMPLES['rit']}."
        source.problem(found.rest, cause, cure)
        return None
    return Rit(*bars, percent / 100, span=found.line.span)


def _beats(rest: Piece, meter: Meter, source: Source) -> tuple[Fraction, ...] | None:
    """Beats from 0, in order; None after a problem."""
    beats = set()
    pattern = _COMPOUND_BEAT if meter.compound else _SIMPLE_BEAT
    for piece in rest.find(r"[^\s,]+"):
        match = pattern.fullmatch(piece.text)
        if match is None:
            how = "1, 1.2 and 1.3" if meter.compound else "1 and 1&"
            cause = f'"{piece}" isn\'t a beat of {meter}.'
            source.problem(piece, cause, f"The eighths of a beat are written {how}.")
            return None
        if not 1 <= int(match["beat"]) <= meter.beats:
            cause = f"There is no beat {match['beat']} in a bar of {meter}."
            source.problem(piece, cause, f"Its beats are 1 to {meter.beats}.")
            return None
        beats.add(int(match["beat"]) - 1 + _part_of_beat(match))
    return tuple(sorted(beats))


def _part_of_beat(match: re.Match[str]) -> Fraction:
    groups = match.groupdict()
    if groups.get("third"):
        return Fraction(int(groups["third"]) - 1, 3)
    return Fraction(1, 2) if groups.get("half") else Fraction(0)


def cue_text(cue: Cue, meter: Meter) -> str:
    """The line that says a cue; the inverse of ``read_cue``."""
    bars = str(cue.first) if cue.first == cue.last else f"{cue.first}-{cue.last}"
    match cue:
        case Pedal():
            word, rest = "pedal", str(cue.note)
        case Rit():
            word, rest = "rit", f"to {float(cue.last_ratio):.0%}"
        case Hold():
            word, rest = "hold", beat_text(cue.beat)
        case Center():
            word, rest = "center", str(cue.key) if cue.key else NO_CENTER
        case LayOut():
            word, rest = "lay out", " ".join(name for name in PLAYERS if name in cue.players)
        case _:
            rest = " ".join(map(beat_text, cue.beats))
            word = next((word for word, kind in _STRUCK.items() if type(cue) is kind), "push")
    if isinstance(cue, Push):
        word = "push" if cue.early > 0 else "late"
        rest += " by a quarter" if abs(cue.early) * meter.beat_quarters == 1 else ""
    return f"{word} {bars}: {rest}".rstrip()


def beat_text(beat: Fraction) -> str:
    """A beat from 0 as a player writes it: 3/2 is "2&", 1/3 is "1.2"."""
    whole = int(beat)
    rest = {Fraction(0): "", Fraction(1, 2): "&", Fraction(1, 3): ".2", Fraction(2, 3): ".3"}
    return f"{whole + 1}{rest[beat - whole]}"
