"""The chart of a tune as data for its page: rows of four bars with all that stands over them.

Places in a row are in bars from its left end.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from fractions import Fraction
from itertools import pairwise
from typing import Any

from backing.chart.bar import PLAYER_WORDS, Change, Directions
from backing.chart.form import ORDERS, Form
from backing.chart.lead_sheet import SheetBar, SheetSection, lead_sheet
from backing.chart.outline import beat_word
from backing.neck.parent_scales import Centre, key_centres
from backing.sheet.look import Look
from backing.sheet.symbols import set_name, set_symbol

BARS_A_ROW = 4
ORDER_WORDS = {"head": "Form", "solos": "Solos", "out": "Last time"}
RESTING_WORDS = PLAYER_WORDS | {"guide": "guide tones"}


def chart(form: Form, look: Look) -> dict[str, Any]:
    """The part "chart" of a page."""
    sections = lead_sheet(form)
    centres = {order: _centres(form, order) for order in {s.order for s in sections}}
    before: SheetSection | None = None
    shown = []
    for section in sections:
        shown.append(_section(form, section, before, centres[section.order], look))
        before = section
    for section_data in shown:
        section_data["rows"][-1]["bars"][-1]["double"] = True
    shown[-1]["rows"][-1]["bars"][-1]["final"] = True
    return {"kind": "chart", "title": "", "sections": shown}


def heading(form: Form) -> dict[str, Any]:
    """Title, facts and orders of a tune, for the head of a sheet."""
    dot = "." if form.meter.compound else ""
    facts = [_key(form.key), str(form.meter), f"♩{dot} = {float(form.tempo):g}", form.feel]
    orders = {order: " ".join(map(str, form.order(order))) for order in ORDERS}
    several = len(set(orders.values())) > 1 or " " in orders["head"]
    shown: list[tuple[str, str]] = []
    for order, text in orders.items() if several else ():
        word = ORDER_WORDS[order]
        if shown and shown[-1][1] == text:
            word = f"{shown.pop()[0]}, {word.lower()}"
        shown.append((word, text))
    return {
        "title": form.title,
        "by": form.by,
        "facts": facts,
        "orders": shown,
        "notes": list(form.notes),
    }


def _key(key: Any) -> str:
    return f"{set_name(key.tonic)} {key.mode}"


Centres = dict[tuple[str, int], list[tuple[Fraction, Fraction, Centre]]]
"""For a bar by role and number: the centres in it, from and to which part of the bar."""


def _centres(form: Form, order: str) -> Centres:
    bars = [bar for bar in form.played(order) if not bar.pickup]
    found: Centres = {}
    if not any(change.chord for bar in bars for change in bar.changes):
        return found
    centres = key_centres(bars)
    start = Fraction(0)
    for bar in bars:
        inside = []
        for centre in centres:
            first, last = max(start, centre.start), min(start + bar.length, centre.end)
            if first < last:
                parts = ((first - start) / bar.length, (last - start) / bar.length)
                inside.append((*parts, centre))
        found[bar.role, bar.number] = inside
        start += bar.length
    return found


def _section(
    form: Form, section: SheetSection, before: SheetSection | None, centres: Centres, look: Look
) -> dict[str, Any]:
    endings = list(_ending_brackets(section.bars))
    told: set[str] = set()
    bars = []
    stops = _stop_time(section.bars)
    for bar, ending, stop in zip(section.bars, endings, stops, strict=True):
        cues = list(_cues(bar.directions, stop=stop))
        later = [cue for each in bar.later[:1] for cue in _cues(each, stop=stop)]
        cues += [f"on the repeat: {', '.join(later)}"] if later else []
        bars.append(_bar(bar, ending, cues, told, look))
        told = set(cues)
    rows: list[dict[str, Any]] = []
    last: Centre | None = None
    for pairs in _rows(section.bars, bars):
        row, last = _row(pairs, section, centres, last)
        if rows and rows[-1]["centres"] and row["centres"] and not row["centres"][0]["text"]:
            rows[-1]["centres"][-1]["ends"] = False
        rows.append(row)
    return {
        "name": section.name,
        "label": section.name if section.role == "chorus" else section.name.capitalize(),
        "notes": _section_notes(form, section, before),
        "rows": rows,
    }


def _section_notes(form: Form, section: SheetSection, before: SheetSection | None) -> str:
    """What is other than in the tune or in the section before."""
    told = before or section
    notes = []
    if section.feel != (told.feel if before else form.feel):
        notes.append(f"{section.feel} feel")
    if section.meter != (told.meter if before else form.meter):
        notes.append(str(section.meter))
    if section.key != (told.key if before else form.key):
        notes.append(_key(section.key))
    if section.tempo_ratio != (told.tempo_ratio if before else 1):
        ratio = section.tempo_ratio
        notes.append("in tempo" if ratio == 1 else f"{ratio} times the tempo")
    if section.order not in ("head", told.order if before else "head"):
        notes.append("when soloing" if section.order == "solos" else "last time")
    return " · ".join(notes)


def _rows(
    written: Sequence[SheetBar], bars: Sequence[dict[str, Any]]
) -> Iterator[list[tuple[SheetBar, dict[str, Any]]]]:
    """Four bars a row; a pickup stands before the first."""
    row: list[tuple[SheetBar, dict[str, Any]]] = []
    whole = 0
    for pair in zip(written, bars, strict=True):
        if whole == BARS_A_ROW:
            yield row
            row, whole = [], 0
        row.append(pair)
        whole += bool(pair[0].numbers)
    yield row


def _row(
    pairs: Sequence[tuple[SheetBar, dict[str, Any]]],
    section: SheetSection,
    centres: Centres,
    before: Centre | None,
) -> tuple[dict[str, Any], Centre | None]:
    """A row, and the centre with which it ends; one that goes on from ``before`` has no name."""
    at = Fraction(0)
    lines: list[dict[str, Any]] = []
    last = before
    for bar, data in pairs:
        width = _width(bar, section)
        data |= {"x": float(at), "w": float(width)}
        number = bar.numbers[0] if bar.numbers else 0
        for start, end, centre in centres.get((section.role, number), []):
            if centre is last and lines:
                lines[-1]["to"] = float(at + end * width)
            else:
                name = "" if centre is last else _centre(centre)
                lines.append({"from": float(at + start * width), "to": float(at + end * width),
                              "text": name, "ends": True})  # fmt: skip
            last = centre
        at += width
    row = {"bars": [data for _, data in pairs], "width": float(max(at, Fraction(BARS_A_ROW)))}
    return row | {"centres": lines}, last


def _width(bar: SheetBar, section: SheetSection) -> Fraction:
    """How wide a bar is drawn, in bars: a pickup at least half."""
    return Fraction(1) if bar.numbers else max(bar.length / section.meter.beats, Fraction(1, 2))


def _centre(centre: Centre) -> str:
    return f"{set_name(centre.tonic)} {centre.mode.replace('-', ' ')}"


def _bar(
    bar: SheetBar, ending: dict[str, Any] | None, cues: list[str], told: set[str], look: Look
) -> dict[str, Any]:
    return {
        "number": ", ".join(map(str, bar.numbers)),
        "chords": _chords(bar.changes, bar.length, look) if not bar.sign else [],
        "sign": bar.sign,
        "opens": bar.opens,
        "closes": bar.closes,
        "ending": ending,
        "solos": _chords(bar.solos, bar.length, look) if bar.solos else [],
        "cues": [cue for cue in cues if cue not in told],
        "goes_on": any(cue in told for cue in cues),
        "double": False,
        "final": False,
    }


def _chords(changes: Sequence[Change], length: Fraction, look: Look) -> list[dict[str, Any]]:
    """Chords with their place in the bar, and how much of it they have to themselves."""
    ends = [change.onset for change in changes[1:]] + [length]
    return [
        {
            **asdict(set_symbol(change.chord, signs=look.signs)),
            "at": float(change.onset / length),
            "room": float((end - change.onset) / length),
            "push": _push(change),
        }
        for change, end in zip(changes, ends, strict=True)
    ]


def _push(change: Change) -> str:
    if not change.early:
        return ""
    return "push" if change.early > 0 else "late"


def _ending_brackets(bars: Sequence[SheetBar]) -> Iterator[dict[str, Any] | None]:
    """For each bar the part of an ending's bracket that stands over it."""
    passes: tuple[int, ...] = ()
    for bar, after in pairwise([*bars, None]):
        assert bar is not None
        passes = bar.ending or passes
        if not passes:
            yield None
            continue
        text = " ".join(f"{n}." for n in bar.ending)
        last = bool(bar.closes) or after is None
        yield {"text": text, "left": bool(bar.ending), "right": bool(bar.closes)}
        if last or not _is_closed(bars, bar):
            passes = ()


def _is_closed(bars: Sequence[SheetBar], bar: SheetBar) -> bool:
    """Whether the ending this bar stands in comes to a repeat."""
    for later in bars[bars.index(bar) :]:
        if later.closes:
            return True
        if later.ending and later is not bar:
            return False
    return False


def _stop_time(bars: Sequence[SheetBar]) -> list[bool]:
    """For each bar whether its neighbours strike the same beats alone: then it is stop-time."""
    struck = [None, *(bar.directions.only for bar in bars), None]
    return [
        bool(only) and only in (before, after)
        for before, only, after in zip(struck, struck[1:], struck[2:], strict=False)
    ]


def _cues(told: Directions, *, stop: bool) -> Iterator[str]:
    """What the whole band does in a bar, in players' words; ``stop``: it is stop-time."""
    if told.only is None and told.hits:
        yield f"hits {_beats(told.hits)}"
    if told.only:
        yield f"{'stop-time' if stop else 'break'} {_beats(told.only)}"
    elif told.only is not None:
        yield "silence"
    if told.pedal:
        yield f"pedal {set_name(told.pedal)}"
    if told.lay_out:
        names = sorted(RESTING_WORDS.get(player, player) for player in told.lay_out)
        yield f"{', '.join(names)} out"


def _beats(beats: Sequence[Fraction]) -> str:
    return " ".join(map(beat_word, beats))
