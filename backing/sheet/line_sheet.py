"""A line through the changes in staff and tablature: étude or guide tones."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.harmony import Chord
from backing.chart.pitch import Degree
from backing.combo.guide_tones import lines as guide_lines
from backing.errors import PracticeError
from backing.lines.etude import etude
from backing.neck.fingerboard import Fingerboard, hand
from backing.neck.fingerboard import StringFret as NeckPlace
from backing.neck.path import Path, plan_of_bars
from backing.sheet.asked import (
    GUIDES,
    LINES,
    Asked,
    ChosenPosition,
    bars_of,
    chord_interval,
    place_of,
)
from backing.sheet.engraving import engrave
from backing.sheet.notation import StaffNote, StaffPitch, notated
from backing.sheet.staff import (
    StaffLine,
    line_for_engraving,
    line_musicxml,
    whole_octaves,
    written_tones,
)
from backing.sheet.symbols import set_degree, set_symbol

BARS_A_SYSTEM, FEW_BARS_A_SYSTEM = 4, 2
MOST_NOTES_A_BAR = 10
"""In a system of four bars; with more of them, or in large print, the degrees need more room."""


def line_part(
    form: Form, asked: Asked, place: ChosenPosition, images: dict[str, str]
) -> dict[str, Any]:
    """The part "line" of a page; its systems are added to ``images``. Raises: see staff_line."""
    line = staff_line(form, asked, place)
    full = max((sum(bool(value.tones) for value in bar) for bar in line.values), default=0)
    wide = asked.look.scale > 1 or full > MOST_NOTES_A_BAR
    per_system = FEW_BARS_A_SYSTEM if wide else BARS_A_SYSTEM
    chords = [
        set_symbol(change.chord, signs=asked.look.signs)
        for bar in line.bars
        for change in bar.changes
    ]
    written = line_for_engraving(line, per_system)
    systems = engrave(written, chords, voices=line.voices, scale=asked.look.scale)
    names = [f"system{index}.svg" for index in range(len(systems))]
    images.update(zip(names, systems, strict=True))
    return {
        "kind": "line",
        "note": "",
        "systems": [{"image": name, "width": 1} for name in names],
        "title": line.title,
    }


def staff_line(form: Form, asked: Asked, place: ChosenPosition) -> StaffLine:
    """The étude or the guide tones of a tune, notated for their reader.

    Raises PracticeError for a line that cannot be had, SelectionError for bars not there.
    """
    if asked.line not in LINES:
        raise PracticeError(f'"{asked.line}" is no line.', f"Choose {' or '.join(LINES)}.")
    bars = bars_of(form, asked)
    title, sounds = {"etude": _etude, "guide": _guide}[asked.line](bars, place.path, asked)
    interval = whole_octaves([tone for sound in sounds for tone in sound.tones], asked.reader)
    written = chord_interval(asked.reader)
    moved = [replace(s, tones=written_tones(s.tones, interval + written)) for s in sounds]
    shown = tuple(bar.transposed(written) for bar in bars)
    values = tuple(tuple(values) for values in notated(moved, shown))
    reader = asked.reader.with_strings(asked.board.strings)
    return StaffLine(title, form.by, shown, values, reader, written, asked.board)


def line_file(form: Form, asked: Asked) -> str:
    """The line of a tune as a MusicXML file. Raises: see staff_line."""
    line = staff_line(form, asked, place_of(form, asked))
    return line_musicxml(replace(line, title=f"{form.title}: {line.title}"))


def _etude(bars: Sequence[PlayedBar], taken: Path, asked: Asked) -> tuple[str, list[StaffNote]]:
    line = replace(asked.etude, positions=(taken.position,), fingerboard=asked.board)
    notes = etude(plan_of_bars(bars), line, random.Random(f"{asked.seed} sheet"))
    sounds = [
        StaffNote(
            note.onset,
            note.length,
            (StaffPitch(note.pitch, note.name, _degree(note.degree), note.place),),
        )
        for note in notes
    ]
    return f"Étude in position {taken.position}" if asked.reader.frets else "Étude", sounds


def _guide(bars: Sequence[PlayedBar], taken: Path, asked: Asked) -> tuple[str, list[StaffNote]]:
    """Guide tones, each as long as its chord."""
    if asked.guide not in GUIDES:
        raise PracticeError(f'"{asked.guide}" is no guide line.', f"Choose {', '.join(GUIDES)}.")
    upper, lower = guide_lines(plan_of_bars(bars))
    chosen = {"thirds": (upper,), "sevenths": (lower,), "both": (upper, lower)}[asked.guide]
    sounds = []
    octaves = _octaves_into_hand([tone.pitch for tone in chosen[0]], taken, asked)
    for voices in zip(*chosen, strict=True):
        span = voices[0].span
        assert span.chord is not None
        pitches = sorted({voice.pitch + octaves for voice in voices})
        places = _places(pitches, taken.position, asked.board)
        tones = [
            _guide_tone(span.chord.sounding, pitch, place)
            for pitch, place in zip(pitches, places, strict=True)
        ]
        sounds.append(StaffNote(span.start, span.end - span.start, tuple(tones)))
    words = {"both": "Guide tones", "thirds": "Guide tones from the third",
             "sevenths": "Guide tones from the seventh"}  # fmt: skip
    return words[asked.guide], sounds


def _octaves_into_hand(pitches: Sequence[int], taken: Path, asked: Asked) -> int:
    """The octaves, in semitones, that bring pitches under the hand; none without tablature."""
    if not asked.reader.tablature:
        return 0
    low, high = hand(asked.board, taken.position).extent
    middle = (low + high) / 2
    return 12 * round((middle - sum(pitches) / len(pitches)) / 12)


def _guide_tone(chord: Chord, pitch: int, place: NeckPlace | None) -> StaffPitch:
    degree = chord.name_of(pitch % 12) or Degree(1)
    return StaffPitch(pitch, chord.spelled(degree), _degree(degree), place)


def _degree(degree: Degree | None) -> str:
    return set_degree(degree) if degree else ""


def _places(pitches: Sequence[int], position: int, board: Fingerboard) -> list[NeckPlace | None]:
    """A place for each pitch on strings of their own, under the hand or nearest to it."""
    reach = hand(board, position).reach
    taken: set[int] = set()
    places: list[NeckPlace | None] = []
    for pitch in reversed(pitches):
        offered = [*reach.get(pitch, ()), *board.places(pitch)]
        free = [place for place in offered if place.string not in taken]
        nearest = min(free, key=lambda p: abs(p.fret - position - 1.5), default=None)
        places.append(nearest)
        if nearest is not None:
            taken.add(nearest.string)
    return places[::-1]
