"""The chart of a tune as data for page.typ: rows of four bars, with what stands over and under.

Places in a row are in bars from its left end.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from fractions import Fraction
from typing import Any

from backing.chart.bar import Change
from backing.chart.form import ORDERS, Form
from backing.chart.lead_sheet import SheetBar, SheetSection, endings_over, lead_sheet
from backing.chart.outline import directions, stop_time
from backing.chart.pitch import Key
from backing.chart.printed import printed_symbol
from backing.combo.plan import plan_of_bars
from backing.neck.parent_scales import KeyCenter, key_centers
from backing.sheet.page_setup import PageSetup
from backing.sheet.ribbon import Pieces, RibbonPiece, section_ribbons

BARS_A_ROW = 4
ORDER_WORDS = {"head": "Form", "solos": "Solos", "out": "Head out"}


def chart_block(form: Form, written: Form, page: PageSetup) -> dict[str, Any]:
    """The block "chart" of a sheet: ``form`` as it sounds, ``written`` as the player reads it."""
    sections = lead_sheet(written)
    centers = {order: _centers(written, order) for order in {s.order for s in sections}}
    before: SheetSection | None = None
    shown = []
    for section, ribbons in zip(sections, section_ribbons(form), strict=True):
        shown.append(_section(written, section, before, centers[section.order], ribbons, page=page))
        before = section
    for section_data in shown:
        section_data["rows"][-1]["bars"][-1]["double"] = True
    shown[-1]["rows"][-1]["bars"][-1]["final"] = True
    return {"kind": "chart", "title": "", "sections": shown}


def heading(form: Form) -> dict[str, Any]:
    """Title, facts and orders of a tune, for the head of a sheet."""
    dot = "." if form.meter.compound else ""
    facts = [form.key.pretty, str(form.meter), f"♩{dot} = {float(form.tempo):g}", form.feel]
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


KeyCenters = dict[tuple[str, int], list[tuple[Fraction, Fraction, KeyCenter]]]
"""For a bar by role and number: the key centers in it, from and to which part of the bar."""


def _centers(form: Form, order: str) -> KeyCenters:
    bars = [bar for bar in form.played(order) if not bar.pickup]
    found: KeyCenters = {}
    if not any(change.chord for bar in bars for change in bar.changes):
        return found
    centers = key_centers(plan_of_bars(bars).spans)
    start = Fraction(0)
    heard = [center for center in centers if center.established]
    written: dict[Key, KeyCenter] = {}
    for bar in bars:
        inside = []
        if bar.directions.centers is not None:
            # the same center in the bars it is written over
            inside = [
                (Fraction(0), Fraction(1), written.setdefault(key, _written_center(key)))
                for key in bar.directions.centers
            ]
        for center in heard if bar.directions.centers is None else ():
            first, last = max(start, center.start), min(start + bar.length, center.end)
            if first < last:
                parts = ((first - start) / bar.length, (last - start) / bar.length)
                inside.append((*parts, center))
        found[bar.role, bar.number] = inside
        start += bar.length
    return found


def _written_center(key: Key) -> KeyCenter:
    return KeyCenter(Fraction(0), Fraction(0), key.tonic, key.mode, ())


def _section(
    form: Form,
    section: SheetSection,
    before: SheetSection | None,
    centers: KeyCenters,
    ribbons: Sequence[Pieces],
    *,
    page: PageSetup,
) -> dict[str, Any]:
    told: set[str] = set()
    bars = []
    stops = stop_time([bar.directions for bar in section.bars])
    endings = endings_over(section.bars)
    for bar, (ending, _), stop, pieces in zip(section.bars, endings, stops, ribbons, strict=True):
        cues = directions(bar.in_words, stops=stop)
        later = [cue for each in bar.later[:1] for cue in directions(each, stops=stop)]
        cues += [f"on the repeat: {', '.join(later)}"] if later else []
        shown = _bar(bar, cues, told, page)
        if ending:
            text = " ".join(f"{n}." for n in bar.ending)
            shown["ending"] = {"text": text, "left": bool(text), "right": bool(bar.closes)}
        bars.append(shown | {"ribbon": [_piece(piece) for piece in pieces]})
        told = set(cues)
    rows: list[dict[str, Any]] = []
    last: KeyCenter | None = None
    for pairs in _rows(section.bars, bars):
        row, last = _row(pairs, section, centers, last)
        if rows and rows[-1]["centers"] and row["centers"] and not row["centers"][0]["text"]:
            rows[-1]["centers"][-1]["ends"] = False
        rows.append(row)
    return {
        "name": section.name,
        "label": section.name if section.role == "chorus" else section.name.capitalize(),
        "notes": _section_notes(form, section, before, over=_first_text(rows[0]["centers"])),
        "rows": rows,
    }


def _first_text(centers: Sequence[dict[str, Any]]) -> str:
    return str(centers[0]["text"]) if centers else ""


def _section_notes(
    form: Form, section: SheetSection, before: SheetSection | None, *, over: str
) -> str:
    """What is other than in the tune or in the section before; ``over`` names its first center."""
    told = before or section
    notes = []
    if section.feel != (told.feel if before else form.feel):
        notes.append(f"{section.feel} feel")
    if section.meter != (told.meter if before else form.meter):
        notes.append(str(section.meter))
    if section.key != (told.key if before else form.key) and section.key.pretty != over:
        notes.append(section.key.pretty)
    if section.tempo_ratio != (told.tempo_ratio if before else 1):
        ratio = section.tempo_ratio
        notes.append("in tempo" if ratio == 1 else f"{ratio} times the tempo")
    if section.order not in ("head", told.order if before else "head"):
        notes.append("solos" if section.order == "solos" else "head out")
    return " · ".join(notes)


def _rows(
    written: Sequence[SheetBar], bars: Sequence[dict[str, Any]]
) -> Iterator[list[tuple[SheetBar, dict[str, Any]]]]:
    """Four bars a row; a pickup stands before the first. ``%%`` keeps its two bars together."""
    row: list[tuple[SheetBar, dict[str, Any]]] = []
    whole = 0
    for pair in zip(written, bars, strict=True):
        if whole == BARS_A_ROW or (whole == BARS_A_ROW - 1 and pair[0].sign == "%%"):
            yield row
            row, whole = [], 0
        row.append(pair)
        whole += bool(pair[0].numbers)
    yield row


def _row(
    pairs: Sequence[tuple[SheetBar, dict[str, Any]]],
    section: SheetSection,
    centers: KeyCenters,
    before: KeyCenter | None,
) -> tuple[dict[str, Any], KeyCenter | None]:
    """A row, and the center with which it ends; one that goes on from ``before`` has no name."""
    at = Fraction(0)
    lines: list[dict[str, Any]] = []
    last = before
    for bar, data in pairs:
        width = _width(bar, section)
        data |= {"x": float(at), "w": float(width)}
        number = bar.numbers[0] if bar.numbers else 0
        for start, end, center in centers.get((section.role, number), []):
            if center is last and lines:
                lines[-1]["to"] = float(at + end * width)
            else:
                name, short = ("", "") if center is last else (center.name, center.short)
                lines.append({"from": float(at + start * width), "to": float(at + end * width),
                              "text": name, "short": short, "ends": True})  # fmt: skip
            last = center
        at += width
    row = {"bars": [data for _, data in pairs], "width": float(max(at, Fraction(BARS_A_ROW)))}
    return row | {"centers": lines}, last


def _width(bar: SheetBar, section: SheetSection) -> Fraction:
    """How wide a bar is drawn, in bars: a pickup at least half."""
    return Fraction(1) if bar.numbers else max(bar.length / section.meter.beats, Fraction(1, 2))


def _bar(bar: SheetBar, cues: list[str], told: set[str], page: PageSetup) -> dict[str, Any]:
    return {
        "number": ", ".join(map(str, bar.numbers)),
        "beats": float(bar.length),
        "chords": _chords(bar.changes, bar.length, page) if not bar.sign else [],
        "sign": bar.sign,
        "opens": bar.opens,
        "closes": bar.closes,
        "ending": None,
        "solos": _chords(bar.solos, bar.length, page) if bar.solos else [],
        "cues": [cue for cue in cues if cue not in told],
        "goes_on": any(cue in told for cue in cues),
        "hold": None if bar.hold is None else float(bar.hold / bar.length),
        "double": False,
        "final": False,
    }


def _chords(changes: Sequence[Change], length: Fraction, page: PageSetup) -> list[dict[str, Any]]:
    """Chords with their place in the bar, and how much of it they have to themselves."""
    ends = [change.onset for change in changes[1:]] + [length]
    return [
        {
            **asdict(printed_symbol(change.chord, signs=page.signs)),
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


def _piece(piece: RibbonPiece) -> dict[str, Any]:
    return asdict(piece) | {"start": float(piece.start), "end": float(piece.end)}
