"""Pages of grids: the shapes of a tune in one place, and all arpeggios on one root."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from fractions import Fraction
from typing import Any

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.harmony import Chord, parse_chord
from backing.chart.pitch import PitchName
from backing.chart.quality import QUALITIES
from backing.neck.arpeggio import arpeggio
from backing.neck.path import PathStep
from backing.neck.shapes import positions
from backing.neck.voice_leading import Move
from backing.sheet.asked import Asked, ChosenPosition, bars_of
from backing.sheet.diagram import diagram
from backing.sheet.look import Look
from backing.sheet.symbols import SetSymbol, set_degree, set_symbol

GRIDS_A_ROW, LARGE_GRIDS_A_ROW = 5, 4
MOST_BARS_NAMED = 6
SET_NOTE = (
    "Each row: one arpeggio in its positions along the neck. The number beside a grid is the fret "
    "of the first finger."
)


def shapes_part(
    form: Form, asked: Asked, place: ChosenPosition, images: dict[str, str]
) -> dict[str, Any]:
    """The part "shapes" of a page; its grids are added to ``images``."""
    found = place.path
    places = _bar_numbers(found.steps, bars_of(form, asked))
    cells: list[dict[str, Any]] = []
    shown: set[SetSymbol] = set()
    for index, step in enumerate(found.steps):
        symbol = set_symbol(step.span.chord, signs=asked.look.signs)
        if symbol in shown:
            continue
        shown.add(symbol)
        name = f"shape{len(cells)}.svg"
        images[name] = diagram(step.shape, asked.board)
        following = found.steps[(index + 1) % len(found.steps)]
        cells.append({
            "chord": asdict(symbol),
            "where": _where(places, found.steps, step.span.chord),
            "image": name,
            "below": _moves(step, following, asked.look),
        })  # fmt: skip
    note = " ".join([place.reason, *map(str, found.troubles)]).strip()
    large = asked.look.scale > 1
    return {
        "kind": "shapes",
        "note": note,
        "columns": LARGE_GRIDS_A_ROW if large else GRIDS_A_ROW,
        "cells": cells,
        "further": any(step.shape.lighter for step in found.steps),
        "title": f"Shapes in position {found.position}",
    }


def _bar_numbers(steps: Sequence[PathStep], bars: Sequence[PlayedBar]) -> list[str]:
    """The label of the bar in which each step is written."""
    starts: list[tuple[Fraction, str]] = []
    start = Fraction(0)
    for bar in bars:
        starts.append((start, bar.label))
        start += bar.length
    return [
        next(label for at, label in reversed(starts) if at <= max(step.span.written, Fraction(0)))
        for step in steps
    ]


def _where(places: Sequence[str], steps: Sequence[PathStep], chord: Chord | None) -> str:
    """The bars a chord stands in, the first of them."""
    found = [
        place for place, step in zip(places, steps, strict=True)
        if step.span.chord is not None and chord is not None and step.span.chord.text == chord.text
    ]  # fmt: skip
    numbers = list(dict.fromkeys(found))
    more = " …" if len(numbers) > MOST_BARS_NAMED else ""
    word = "bar" if len(numbers) == 1 else "bars"
    return f"{word} {' '.join(numbers[:MOST_BARS_NAMED])}{more}"


def _moves(step: PathStep, following: PathStep, look: Look) -> str:
    """Where the tones go when the next chord comes."""
    if following.chord == step.chord or not step.moves:
        return ""
    symbol = set_symbol(following.span.chord, signs=look.signs).text
    return f"to {symbol}: " + "  ".join(map(_move, step.moves))


def _move(move: Move) -> str:
    """A tone that stays is "♭3=♭7"; one that moves a half step down "7↓♭7", a whole step "5↓↓3"."""
    arrow = "↑" if move.semitones > 0 else "↓"
    sign = "=" if move.stays else arrow * min(abs(move.semitones), 3)
    return f"{set_degree(move.tone)}{sign}{set_degree(move.to)}"


def set_part(root: PitchName, asked: Asked, images: dict[str, str]) -> dict[str, Any]:
    """The part "set": every quality in all its positions on a root, by practised tones.

    Raises PracticeError where the tuning does not reach a chord.
    """
    groups = [_group(chords, asked, images) for chords in _alike(root)]
    columns = max(len(group["cells"]) for group in groups)
    return {"kind": "set", "title": "", "note": SET_NOTE, "columns": columns, "groups": groups,
            "further": False}  # fmt: skip


def _alike(root: PitchName) -> list[list[Chord]]:
    """The chords of every quality on a root, those with the same practised tones together."""
    groups: dict[frozenset[int], list[Chord]] = {}
    for quality in QUALITIES.values():
        symbol = f"({quality.symbol})" if quality.symbol.startswith(("b", "#")) else quality.symbol
        chord = parse_chord(f"{root}{symbol}")
        tones = frozenset(degree.pitch_class for degree in arpeggio(quality).tones)
        groups.setdefault(tones, []).append(chord)
    return list(groups.values())


def _group(chords: Sequence[Chord], asked: Asked, images: dict[str, str]) -> dict[str, Any]:
    cells = []
    for shape in positions(chords[0], asked.board):
        name = f"shape{len(images)}.svg"
        images[name] = diagram(replace(shape, lighter=()), asked.board)
        cells.append(name)
    signs = asked.look.signs
    also = ", ".join(set_symbol(chord, signs=signs).text for chord in chords[1:])
    tones = " ".join(map(set_degree, arpeggio(chords[0].quality).tones))
    return {
        "chord": asdict(set_symbol(chords[0], signs=signs)),
        "also": tones + (f"   ·   also for {also}" if also else ""),
        "cells": cells,
    }
