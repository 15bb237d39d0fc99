"""A line through the changes in staff and tablature: etude or guide-tone lines."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.harmony import Chord
from backing.chart.pitch import Degree
from backing.chart.printed import printed_degree, printed_symbol
from backing.combo.band import GUIDE_LINES
from backing.combo.guide_tones import lines as guide_lines
from backing.combo.plan import plan_of_bars
from backing.errors import PracticeError
from backing.lines.etude import etude
from backing.neck.fingerboard import Fingerboard, StringFret, hand
from backing.neck.path import Path
from backing.sheet.engraving import engrave
from backing.sheet.notation import StaffNote, StaffPitch, notated
from backing.sheet.request import (
    LINES,
    ChosenPosition,
    SheetRequest,
    chord_interval,
    chosen_position,
    selected_bars,
)
from backing.sheet.staff import (
    StaffLine,
    line_for_engraving,
    line_musicxml,
    whole_octaves,
    written_tones,
)

BARS_A_SYSTEM, FEW_BARS_A_SYSTEM = 4, 2
MOST_NOTES_A_BAR = 10
"""In a system of four bars; with more of them, or in large print, the degrees need more room."""


def line_block(
    form: Form, request: SheetRequest, chosen: ChosenPosition, images: dict[str, str]
) -> dict[str, Any]:
    """The block "line" of a sheet; its systems are added to ``images``. Raises: see staff_line."""
    line = staff_line(form, request, chosen)
    full = max((sum(bool(value.tones) for value in bar) for bar in line.values), default=0)
    wide = request.page.scale > 1 or full > MOST_NOTES_A_BAR
    per_system = FEW_BARS_A_SYSTEM if wide else BARS_A_SYSTEM
    chords = [
        printed_symbol(change.chord, signs=request.page.signs)
        for bar in line.bars
        for change in bar.changes
    ]
    written = line_for_engraving(line, per_system)
    systems = engrave(written, chords, voices=line.voices, scale=request.page.scale)
    names = [f"system{index}.svg" for index in range(len(systems))]
    images.update(zip(names, systems, strict=True))
    return {
        "kind": "line",
        "note": "",
        "systems": [{"image": name, "width": 1} for name in names],
        "title": line.title,
    }


def staff_line(form: Form, request: SheetRequest, chosen: ChosenPosition) -> StaffLine:
    """The etude or the guide-tone lines of a tune, notated for a player's part.

    Raises PracticeError for a line that can't be played, SelectionError for bars not there.
    """
    if request.line not in LINES:
        raise PracticeError(f'"{request.line}" isn\'t a line.', f"Choose {' or '.join(LINES)}.")
    bars = selected_bars(form, request)
    title, sounds = {"etude": _etude, "guide": _guide}[request.line](bars, chosen.path, request)
    interval = whole_octaves([tone for sound in sounds for tone in sound.tones], request.part)
    written = chord_interval(request.part)
    moved = [replace(s, tones=written_tones(s.tones, interval + written)) for s in sounds]
    shown = tuple(bar.transposed(written) for bar in bars)
    values = tuple(tuple(values) for values in notated(moved, shown))
    part = request.part.with_strings(request.board.strings)
    return StaffLine(title, form.by, shown, values, part, written, request.board)


def line_file(form: Form, request: SheetRequest) -> str:
    """The line of a tune as a MusicXML file. Raises: see staff_line."""
    line = staff_line(form, request, chosen_position(form, request))
    return line_musicxml(replace(line, title=f"{form.title}: {line.title}"))


def _etude(
    bars: Sequence[PlayedBar], taken: Path, request: SheetRequest
) -> tuple[str, list[StaffNote]]:
    line = replace(request.etude, position=(taken.position,), fingerboard=request.board)
    notes = etude(plan_of_bars(bars), line, random.Random(f"{request.seed} sheet"))
    sounds = [
        StaffNote(
            note.onset,
            note.length,
            (StaffPitch(note.pitch, note.name, _degree(note.degree), note.place),),
        )
        for note in notes
    ]
    return f"Etude in position {taken.position}" if request.part.frets else "Etude", sounds


def _guide(
    bars: Sequence[PlayedBar], taken: Path, request: SheetRequest
) -> tuple[str, list[StaffNote]]:
    """Guide tones, each as long as its chord."""
    if request.guide not in GUIDE_LINES:
        raise PracticeError(
            f'"{request.guide}" isn\'t a guide-tone line.', f"Choose {', '.join(GUIDE_LINES)}."
        )
    upper, lower = guide_lines(plan_of_bars(bars))
    chosen = {"3rd": (upper,), "7th": (lower,), "both": (upper, lower)}[request.guide]
    sounds = []
    octaves = _octaves_into_hand([tone.pitch for tone in chosen[0]], taken, request)
    for voices in zip(*chosen, strict=True):
        span = voices[0].span
        assert span.chord is not None
        pitches = sorted({voice.pitch + octaves for voice in voices})
        places = _places(pitches, taken.position, request.board)
        tones = [
            _guide_tone(span.chord.sounding, pitch, place)
            for pitch, place in zip(pitches, places, strict=True)
        ]
        sounds.append(StaffNote(span.start, span.end - span.start, tuple(tones)))
    words = {"both": "Guide-tone lines", "3rd": "Guide-tone line from the 3rd",
             "7th": "Guide-tone line from the 7th"}  # fmt: skip
    return words[request.guide], sounds


def _octaves_into_hand(pitches: Sequence[int], taken: Path, request: SheetRequest) -> int:
    """The octaves, in half steps, that bring pitches under the hand; none without tablature."""
    if not request.part.tablature:
        return 0
    low, high = hand(request.board, taken.position).extent
    middle = (low + high) / 2
    return 12 * round((middle - sum(pitches) / len(pitches)) / 12)


def _guide_tone(chord: Chord, pitch: int, place: StringFret | None) -> StaffPitch:
    degree = chord.name_of(pitch % 12) or Degree(1)
    return StaffPitch(pitch, chord.spelled(degree), _degree(degree), place)


def _degree(degree: Degree | None) -> str:
    return printed_degree(degree) if degree else ""


def _places(pitches: Sequence[int], position: int, board: Fingerboard) -> list[StringFret | None]:
    """A place for each pitch on strings of their own, under the hand or nearest to it."""
    reach = hand(board, position).reach
    taken: set[int] = set()
    places: list[StringFret | None] = []
    for pitch in reversed(pitches):
        offered = [*reach.get(pitch, ()), *board.places(pitch)]
        free = [place for place in offered if place.string not in taken]
        nearest = min(free, key=lambda p: abs(p.fret - position - 1.5), default=None)
        places.append(nearest)
        if nearest is not None:
            taken.add(nearest.string)
    return places[::-1]
