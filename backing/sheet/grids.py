"""Grids: the shapes of a tune in one position, and all arpeggios on a root."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from fractions import Fraction
from typing import Any

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.harmony import Chord, parse_chord
from backing.chart.pitch import PitchName
from backing.chart.printed import PrintedSymbol, printed_degree, printed_symbol
from backing.chart.quality import QUALITIES
from backing.errors import PracticeError
from backing.neck.arpeggio import arpeggio
from backing.neck.path import PathStep
from backing.neck.shapes import positions
from backing.neck.voice_leading import Move
from backing.sheet.diagram import diagram
from backing.sheet.page_setup import PageSetup
from backing.sheet.request import ChosenPosition, SheetRequest, selected_bars

GRIDS_A_ROW, LARGE_GRIDS_A_ROW = 5, 4
PAIRS_A_ROW, LARGE_PAIRS_A_ROW = 3, 2
MOST_BARS_NAMED = 6
FIFTH, OCTAVE = 7, 12
USUAL = ("maj7", "7", "m7", "m7b5", "dim7", "m(maj7)", "6", "m6", "7b9", "7alt",
         "aug", "7sus4")  # fmt: skip
"""Qualities in the order in which they are practiced; the rare ones follow."""
ARPEGGIOS_NOTE = (
    "Each row: one arpeggio in its positions along the neck. The number beside a grid is the fret "
    "of the first finger; the small ones beside the tones are the fingers."
)


def shapes_block(
    form: Form, request: SheetRequest, chosen: ChosenPosition, images: dict[str, str]
) -> dict[str, Any]:
    """The block "shapes" of a sheet; its grids are added to ``images``."""
    found = chosen.path
    places = _bar_numbers(found.steps, selected_bars(form, request))
    cells: dict[PrintedSymbol, dict[str, Any]] = {}
    for step, following in zip(found.steps, [*found.steps[1:], *found.steps[:1]], strict=True):
        symbol = printed_symbol(step.span.chord, signs=request.page.signs)
        if symbol not in cells:
            name = f"shape{len(cells)}.svg"
            images[name] = diagram(step.shape, request.board)
            cells[symbol] = {
                "chord": asdict(symbol),
                "where": _where(places, found.steps, step.span.chord),
                "image": name,
                "below": [],
            }
        moves = _moves(step, following, request.page)
        if moves and moves not in cells[symbol]["below"]:
            cells[symbol]["below"].append(moves)
    note = " ".join([chosen.reason, *map(str, found.troubles)]).strip()
    large = request.page.scale > 1
    return {
        "kind": "shapes",
        "note": note,
        "columns": LARGE_GRIDS_A_ROW if large else GRIDS_A_ROW,
        "cells": list(cells.values()),
        "added": any(step.shape.lighter for step in found.steps),
        "title": f"Shapes in position {found.position}",
    }


def pairs_block(
    form: Form, request: SheetRequest, chosen: ChosenPosition, images: dict[str, str]
) -> dict[str, Any]:
    """The block "pairs" of a sheet: each ii-V and V-I of the tune as two grids side by side.

    Raises PracticeError for a tune without any.
    """
    found = chosen.path
    places = _bar_numbers(found.steps, selected_bars(form, request))
    pairs: dict[str, dict[str, Any]] = {}
    following = [*found.steps[1:], *found.steps[:1]]
    for step, after, place in zip(found.steps, following, places, strict=True):
        moves = _moves(step, after, request.page)
        if not moves or not _leads_home(step.chord, after.chord):
            continue
        symbols = [printed_symbol(s.span.chord, signs=request.page.signs) for s in (step, after)]
        name = " ".join(symbol.text for symbol in symbols)
        if name not in pairs:
            cells: list[dict[str, Any]] = []
            for each, symbol in zip((step, after), symbols, strict=True):
                image = f"pair{len(pairs)}-{len(cells)}.svg"
                images[image] = diagram(each.shape, request.board, fingers=True)
                cells.append({"chord": asdict(symbol), "image": image})
            pairs[name] = {"cells": cells, "below": moves, "where": []}
        pairs[name]["where"].append(place)
    if not pairs:
        raise PracticeError("There is no ii-V and no V-I in these bars.", "Leave out pairs.")
    large = request.page.scale > 1
    return {
        "kind": "pairs",
        "title": f"ii-V and V-I in position {found.position}",
        "columns": LARGE_PAIRS_A_ROW if large else PAIRS_A_ROW,
        "pairs": [pair | {"where": _in_bars(pair["where"])} for pair in pairs.values()],
        "added": any(step.shape.lighter for step in found.steps),
    }


def _leads_home(chord: Chord, after: Chord) -> bool:
    """Whether it is a ii before its V, or a V before its I."""
    falls = (chord.root.pitch_class - after.root.pitch_class) % OCTAVE == FIFTH
    two = chord.family in ("minor", "half-diminished") and after.is_dominant
    return falls and (two or (chord.is_dominant and not after.is_dominant))


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
    return _in_bars(found)


def _in_bars(found: Sequence[str]) -> str:
    numbers = list(dict.fromkeys(found))
    more = " …" if len(numbers) > MOST_BARS_NAMED else ""
    word = "bar" if len(numbers) == 1 else "bars"
    return f"{word} {' '.join(numbers[:MOST_BARS_NAMED])}{more}"


def _moves(step: PathStep, following: PathStep, page: PageSetup) -> str:
    """Where the tones go when the next chord comes."""
    if following.chord == step.chord or not step.moves:
        return ""
    symbol = printed_symbol(following.span.chord, signs=page.signs).text
    return f"to {symbol}: " + "  ".join(map(_move, step.moves))


def _move(move: Move) -> str:
    """A tone that stays is "♭3=♭7"; one that moves a half step down "7↓♭7", a whole step "5↓↓3"."""
    arrow = "↑" if move.semitones > 0 else "↓"
    sign = "=" if move.stays else arrow * min(abs(move.semitones), 3)
    return f"{printed_degree(move.tone)}{sign}{printed_degree(move.to)}"


def arpeggios_block(
    root: PitchName, request: SheetRequest, images: dict[str, str]
) -> dict[str, Any]:
    """The block "arpeggios": every quality on a root in all its positions.

    Qualities with the same practiced tones are one group. Raises PracticeError where the tuning
    does not reach a chord.
    """
    groups = [_group(chords, request, images) for chords in _alike(root)]
    columns = max(len(group["cells"]) for group in groups)
    return {
        "kind": "arpeggios",
        "title": "",
        "note": ARPEGGIOS_NOTE,
        "columns": columns,
        "groups": groups,
        "added": False,
    }


def _alike(root: PitchName) -> list[list[Chord]]:
    """The chords of every quality on a root, those with the same practiced tones together."""
    groups: dict[frozenset[int], list[Chord]] = {}
    symbols = [*USUAL, *(q.symbol for q in QUALITIES.values() if q.symbol not in USUAL)]
    for symbol in symbols:
        chord = parse_chord(f"{root}({symbol})" if symbol[:1] in ("b", "#") else f"{root}{symbol}")
        quality = chord.quality
        tones = frozenset(degree.pitch_class for degree in arpeggio(quality).tones)
        groups.setdefault(tones, []).append(chord)
    return list(groups.values())


def _group(
    chords: Sequence[Chord], request: SheetRequest, images: dict[str, str]
) -> dict[str, Any]:
    cells = []
    for shape in positions(chords[0], request.board):
        name = f"shape{len(images)}.svg"
        images[name] = diagram(replace(shape, lighter=()), request.board, fingers=True)
        cells.append(name)
    signs = request.page.signs
    also = ", ".join(printed_symbol(chord, signs=signs).text for chord in chords[1:])
    tones = " ".join(map(printed_degree, arpeggio(chords[0].quality).tones))
    return {
        "chord": asdict(printed_symbol(chords[0], signs=signs)),
        "also": tones + (f"   ·   also for {also}" if also else ""),
        "cells": cells,
    }
