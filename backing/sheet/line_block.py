"""A line through the changes in staff and tablature: etude, guide-tone lines or walking bass."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate, pairwise, product
from typing import Any

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.harmony import Chord
from backing.chart.pitch import Degree, Interval, PitchName
from backing.chart.printed import printed_degree, printed_symbol
from backing.combo.arrangement import arrange
from backing.combo.band import GUIDE_LINES, Band
from backing.combo.guide_tones import lines as guide_lines
from backing.combo.plan import plan_of_bars
from backing.errors import PracticeError
from backing.lines.player import heard
from backing.lines.spelling import beside, in_key
from backing.neck.fingerboard import Fingerboard, StringFret
from backing.neck.path import Path
from backing.routine.passes import Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine
from backing.sheet.engraving import PAGE_UNITS, engrave
from backing.sheet.notation import StaffNote, StaffPitch, notated
from backing.sheet.octaves import octaves_of
from backing.sheet.page_setup import PageSetup
from backing.sheet.request import (
    LINES,
    ChosenPosition,
    SheetRequest,
    chord_interval,
    chosen_position,
    selected_bars,
)
from backing.sheet.room import symbol_width, value_width
from backing.sheet.staff import (
    StaffLine,
    line_for_engraving,
    line_musicxml,
    written_tones,
)

WHOLE_STEP, OCTAVE = 2, 12
BASS_STAFF = 38
"""The middle line of a bass's staff, as it sounds (MIDI): D, written an octave higher."""
SHORTEST_REST = Fraction(1, 2)
"""Beats. A note that is let go just before the next one is written up to it."""
BARS_A_SYSTEM = 4
MARGIN_MM, TITLE_MM, SYSTEM_GAP_MM = 13.0, 8.5, 1.8
"""Of page.typ: its margins, the title of a block, and what lies between two systems."""
RIGID_MM = 3.5
"""What does not get smaller with the systems of a page: the gaps, and room about the staves."""
HEAD_MM, TITLE_LINE_MM, NOTE_MM, LETTERS_A_LINE = 11.0, 9.0, 4.5, 40
"""What the head of a sheet takes, with each line of its title and each note."""
CLEF_UNITS = 2600
"""What clef, signature and meter take at most at the left of a system, in its units."""
BAR_LINE_UNITS = 350
"""What a bar line and the space about it take."""
SMALLEST = 0.7
"""Systems get smaller down to this where a line then fits one page: 32 bars of eighths in the demo
tunes take .715 to .77."""


def line_block(
    form: Form,
    request: SheetRequest,
    chosen: ChosenPosition,
    images: dict[str, str],
    *,
    first: bool = False,
) -> dict[str, Any]:
    """The block "line" of a sheet; its systems are added to ``images``. ``first``: it stands under
    the head of the sheet. Raises: see staff_line."""
    taken = _head_mm(form, request.page) if first else 0.0
    line = staff_line(form, request, chosen)
    chords = [
        printed_symbol(change.chord, signs=request.page.signs)
        for bar in line.bars
        for change in bar.changes
    ]
    scale = request.page.scale
    starts = _system_starts(line, PAGE_UNITS * 10 / scale - CLEF_UNITS)
    written = line_for_engraving(line, starts)
    last = len(line.bars) - starts[-1]
    ragged = len(starts) > 1 and 2 * last < starts[-1] - starts[-2]

    def engraved(scale: float) -> list[str]:
        return engrave(written, chords, voices=line.voices, scale=scale, ragged=ragged)

    systems = _fitted(engraved, scale, request.page, taken)
    names = [f"system{index}.svg" for index in range(len(systems))]
    images.update(zip(names, systems, strict=True))
    return {
        "kind": "line",
        "note": "",
        "pages": _pages(names, _heights(systems, request.page), request.page, taken),
        "title": line.title,
    }


def _fitted(
    engraved: Callable[[float], list[str]], scale: float, page: PageSetup, taken: float
) -> list[str]:
    """The systems, smaller where they fill one page then."""
    systems = engraved(scale)
    heights, room = sum(_heights(systems, page)), _room(page, taken)
    fit = (room - RIGID_MM * page.scale) / heights
    return engraved(scale * fit) if heights > room and fit >= SMALLEST else systems


def _system_starts(line: StaffLine, width: float) -> list[int]:
    """The bars that begin a system: every section does, four bars are halved where they have no
    room for their symbols or notes. ``width`` in the units of a system.
    """
    needs = [
        max(
            sum(symbol_width(printed_symbol(change.chord)) for change in bar.changes),
            sum(value_width(value, tablature=line.part.tablature) for value in values),
        )
        + BAR_LINE_UNITS
        for bar, values in zip(line.bars, line.values, strict=True)
    ]

    def halved(bars: range) -> Iterator[int]:
        if len(bars) == 1 or sum(needs[bar] for bar in bars) <= width:
            yield bars.start
            return
        middle = bars.start + (len(bars) + 1) // 2
        yield from halved(range(bars.start, middle))
        yield from halved(range(middle, bars.stop))

    begins = [at for at, bar in enumerate(line.bars) if at == 0 or bar.section_bar == 1]
    starts: list[int] = []
    for begin, end in pairwise([*begins, len(line.bars)]):
        for first in range(begin, end, BARS_A_SYSTEM):
            starts += halved(range(first, min(first + BARS_A_SYSTEM, end)))
    return starts


def _head_mm(form: Form, page: PageSetup) -> float:
    """What the head of a sheet takes: lines of the title, and of each note."""
    title = 1 + len(form.title) // LETTERS_A_LINE
    return (HEAD_MM + TITLE_LINE_MM * title + NOTE_MM * len(form.notes)) * page.scale


def _room(page: PageSetup, taken: float) -> float:
    """How much of a page systems may take, in mm; ``taken`` is what stands above their title."""
    return page.height_mm - 2 * MARGIN_MM - TITLE_MM * page.scale - taken


def _heights(systems: Sequence[str], page: PageSetup) -> list[float]:
    """What each system takes of a page, in mm, with the gap above it."""
    width = page.width_mm - 2 * MARGIN_MM
    heights = []
    for system in systems:
        found = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', system)
        assert found is not None, "Verovio tells how large a system is"
        heights.append(width * float(found[2]) / float(found[1]) + SYSTEM_GAP_MM * page.scale)
    return heights


def _pages(
    names: Sequence[str], heights: Sequence[float], page: PageSetup, taken: float
) -> list[Sequence[str]]:
    """The systems of each page: on no more pages than they need, as many on one as on the next."""

    def room(pages: int) -> float:
        return _room(page, 0 if pages else taken)

    full: list[int] = [0]
    left = room(0)
    for height in heights:
        if full[-1] and height > left:
            full.append(0)
            left = room(len(full) - 1)
        full[-1] += 1
        left -= height
    few, more = divmod(len(names), len(full))
    even = [few] * (len(full) - more) + [few + 1] * more
    for counts in (even, full):
        ends = list(accumulate(counts, initial=0))
        parts = [slice(*part) for part in pairwise(ends)]
        if all(sum(heights[part]) <= room(at) for at, part in enumerate(parts)):
            break
    return [names[part] for part in parts]


def staff_line(form: Form, request: SheetRequest, chosen: ChosenPosition) -> StaffLine:
    """The etude, the guide-tone lines or the bass of a tune, notated for a player's part.

    Raises PracticeError for a line that can't be played, SelectionError for bars not there.
    """
    if request.line not in LINES:
        raise PracticeError(f'"{request.line}" isn\'t a line.', f"Choose {' or '.join(LINES)}.")
    bars = selected_bars(form, request)
    if request.line == "bass":
        title, sounds = _bass(form, bars, request)
    else:
        made = {"etude": _etude, "guide": _guide}[request.line]
        title, sounds = made(bars, chosen.path, request)
    written = chord_interval(request.part)
    shown = selected_bars(form.transposed(written), request)
    ways = _ways(bars, shown, written)
    moved = []
    for sound, octaves in zip(sounds, octaves_of(sounds, request.part), strict=True):
        way = ways[max(0, bisect_right(ways, sound.onset, key=lambda each: each[0]) - 1)][1]
        interval = Interval(7 * octaves + way.steps, 12 * octaves + way.semitones)
        moved.append(replace(sound, tones=written_tones(sound.tones, interval)))
    values = tuple(tuple(values) for values in notated(moved, shown))
    part = request.part.with_strings(request.board.strings)
    tempo, ratio = _time(form, bars)
    return StaffLine(
        title, form.by, shown, values, part, written, request.board, tempo, ratio, request.recipe
    )


def _ways(
    bars: Sequence[PlayedBar], shown: Sequence[PlayedBar], written: Interval
) -> list[tuple[Fraction, Interval]]:
    """From which beat on names go which way to be spelled as the chord over them is."""
    ways, start = [(Fraction(-1), written)], Fraction(0)
    for bar, other in zip(bars, shown, strict=True):
        way = bar.key.spelled(written)
        for change, moved in zip(bar.changes, other.changes, strict=True):
            if change.chord and moved.chord:
                exact = change.chord.root.fifths + written.fifths
                turns = (moved.chord.root.fifths - exact) // 12
                way = Interval(written.steps - turns, written.semitones)
            ways.append((start + change.onset, way))
        start += bar.length
    return ways


def _time(form: Form, bars: Sequence[PlayedBar]) -> tuple[Fraction, Fraction]:
    """The tempo of the first bar, and how much longer its first eighths are than the second."""
    tempo = form.tempo * bars[0].tempo_ratio
    return tempo, plan_of_bars(bars).bars[0].feel.ratio(tempo)


def line_file(form: Form, request: SheetRequest) -> str:
    """The line of a tune as a MusicXML file. Raises: see staff_line."""
    line = staff_line(form, request, chosen_position(form, request))
    return line_musicxml(replace(line, title=f"{form.title}: {line.title}"))


def _etude(
    bars: Sequence[PlayedBar], taken: Path, request: SheetRequest
) -> tuple[str, list[StaffNote]]:
    line = replace(request.etude, position=(taken.position,), fingerboard=request.board)
    notes = heard(plan_of_bars(bars), line)
    sounds = [
        StaffNote(
            note.onset,
            note.length,
            (StaffPitch(note.pitch, note.name, _degree(note.degree), note.place),),
        )
        for note in notes
    ]
    name = line.name(frets=request.part.frets)
    return name[0].upper() + name[1:], sounds


def _bass(
    form: Form, bars: Sequence[PlayedBar], request: SheetRequest
) -> tuple[str, list[StaffNote]]:
    """The walking line of the band's bass, the first time through the bars; no ornaments."""
    asked = Request(bars=request.bars, times=1 if request.bars else None)
    played = arrange(
        make_routine(form, asked), Band(seed=request.seed, players=frozenset({"bass"}))
    ).passes
    first = next(p for p in played if p.routine_pass.purpose in (Purpose.SOLO, Purpose.TIME))
    notes = [note for part in first.parts for note in part.notes if note.tempos is None]
    if request.part.tablature and min(note.pitch for note in notes) < min(request.board.strings):
        notes = [replace(note, pitch=note.pitch + OCTAVE) for note in notes]
    ends = [*(note.onset for note in notes[1:]), first.routine_pass.length_beats]
    starts = list(accumulate((bar.length for bar in bars), initial=Fraction(0)))
    sounds: list[StaffNote] = []
    name: PitchName | None = None
    for note, end, after in reversed(list(zip(notes, ends, [*notes[1:], None], strict=True))):
        bar = bars[max(0, bisect_right(starts, note.onset) - 1)]
        degree = note.chord.name_of(note.pitch % 12) if note.chord else None
        move = note.pitch - after.pitch if after else 0
        if note.chord and degree:
            name = note.chord.spelled(degree)
        elif name is not None and 1 <= abs(move) <= WHOLE_STEP:
            name = beside(name, move, bar.key)
        else:
            name = in_key(note.pitch, bar.key)
        length = end - note.onset if end - note.end < SHORTEST_REST else note.length
        place = _lowest_place(note.pitch, request.board)
        tone = StaffPitch(note.pitch, name, _degree(degree), place)
        sounds.append(StaffNote(note.onset, length, (tone,)))
    return "Walking bass, the first solo chorus", sounds[::-1]


def _lowest_place(pitch: int, board: Fingerboard) -> StringFret | None:
    """Where a bass has a pitch in the first position, open strings included; else the lowest."""
    return min(board.places(pitch), key=lambda place: place.fret, default=None)


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
    octaves = _octaves_onto_neck([tone.pitch for line in chosen for tone in line], request)
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


def _octaves_onto_neck(pitches: Sequence[int], request: SheetRequest) -> int:
    """The octaves, in half steps, by which the line lies lower than the band plays it: on a bass
    those that bring it into the staff, else none, unless it is higher than the tablature goes."""
    if not request.part.tablature:
        return 0
    strings = request.board.strings
    wanted = 0
    if request.part.with_strings(strings).clef == "octave-bass":
        wanted = round((BASS_STAFF - Fraction(sum(pitches), len(pitches))) / OCTAVE)
    highest, lowest = max(strings) + request.board.frets, min(strings)
    most = (highest - max(pitches)) // OCTAVE
    least = -((min(pitches) - lowest) // OCTAVE)
    return OCTAVE * min(0, most, max(wanted, least))


def _guide_tone(chord: Chord, pitch: int, place: StringFret | None) -> StaffPitch:
    degree = chord.name_of(pitch % 12) or Degree(1)
    return StaffPitch(pitch, chord.spelled(degree), _degree(degree), place)


def _degree(degree: Degree | None) -> str:
    return printed_degree(degree) if degree else ""


def _places(
    pitches: Sequence[int], position: int, board: Fingerboard
) -> Sequence[StringFret | None]:
    """A place for each pitch on strings of their own, under the hand or nearest to it; none where
    the neck has no such places."""

    def away(taken: Sequence[StringFret]) -> float:
        return sum(abs(place.fret - position - 1.5) for place in taken)

    found = product(*(board.places(pitch) for pitch in pitches))
    apart = (taken for taken in found if len({place.string for place in taken}) == len(taken))
    return min(apart, key=away, default=[None] * len(pitches))
