"""A take as a picture: time from left to right, four bars a row, the tones of each chord as lanes.

Shapes, not colors, tell the notes apart: a solid bar is a chord tone, a hollow one a tension, a thin
one leads into the chord by step, and a cross stands on what left the chord and led nowhere. Where
the track plays a line, what the take leaves out of it is a dotted outline.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from html import escape

from backing.take.account import Account
from backing.take.course import Course, CourseBar, CourseChord
from backing.take.kinds import JudgedNote, Kind

BARS = 4
"""In a row."""
BEAT, HALF_STEP = 58.0, 6.0
"""The width of a beat and the height of a half step, in the units of the picture."""
LEFT, TOP, GAP = 44.0, 30.0, 20.0
HEAD = 74.0
"""Room for the title and the three sentences' first line; for chord symbols; between rows."""
INK, QUIET, LANE, ROOT, EDGE = "#23272e", "#5a626c", "#e6eaed", "#cfd6dc", "#c3cad1"
FONT = "'Backing Text', Lato, sans-serif"
LEGEND = (
    (Kind.TONE, "chord tone"),
    (Kind.TENSION, "tension"),
    (Kind.APPROACH, "leads in by step"),
    (Kind.UNRESOLVED, "left the chord"),
    (Kind.UNCLEAR, "not heard clearly"),
)


def picture(course: Course, told: Account, heading: str) -> str:
    """The take as SVG, ``heading`` above it."""
    rows = list(_rows(course, told))
    low, high = _range(told)
    height = (high - low + 1) * HALF_STEP
    step = TOP + height + GAP
    width = LEFT + max((_beats(row) for row in rows), default=16) * BEAT + 12
    parts = [_text(LEFT, 24, course.title, 17, INK, bold=True), _text(LEFT, 44, heading, 12.5, QUIET)]
    parts += _legend(LEFT, 62)
    for at, row in enumerate(rows):
        parts += _row(course, told, row, HEAD + at * step + TOP, (low, high))
    total = HEAD + len(rows) * step
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {total:g}" '
        f'width="{width:g}" height="{total:g}" font-family="{FONT}" role="img" '
        f'aria-label="{escape(heading, quote=True)}">'
        f'<rect width="100%" height="100%" fill="#ffffff"/>{"".join(parts)}</svg>'
    )


def _rows(course: Course, told: Account) -> Iterator[list[CourseBar]]:
    """The bars that the take has notes in, and those between, four at a time."""
    if not told.notes:
        return
    first, last = told.notes[0].placed.bar, told.notes[-1].placed.bar
    row: list[CourseBar] = []
    for bar in course.bars[first : last + 1]:
        if row and (len(row) == BARS or bar.where != row[0].where):
            yield row
            row = []
        row.append(bar)
    yield row


def _beats(row: Sequence[CourseBar]) -> float:
    return sum(bar.beats for bar in row)


def _range(told: Account) -> tuple[int, int]:
    pitches = [note.placed.pitch for note in told.notes] or [60]
    return min(pitches) - 2, max(pitches) + 2


def _row(
    course: Course, told: Account, row: Sequence[CourseBar], top: float, pitches: tuple[int, int]
) -> list[str]:
    low, high = pitches
    start, end = row[0].start, row[-1].end
    height = (high - low + 1) * HALF_STEP

    def x(beat: float) -> float:
        return LEFT + (beat - start) * BEAT

    def y(pitch: int) -> float:
        return top + (high - pitch) * HALF_STEP

    parts = []
    for chord in course.chords:
        if chord.start < end and chord.end > start:
            parts += _lanes(chord, max(chord.start, start), min(chord.end, end), x, y, pitches, top)
    for bar in row:
        parts.append(_line(x(bar.start), top - 4, x(bar.start), top + height, EDGE, 1.4))
        parts.append(_text(x(bar.start) + 3, top + height + 11, bar.label, 9.5, QUIET))
        if not bar.yours:
            parts.append(
                f'<rect x="{x(bar.start):g}" y="{top:g}" width="{bar.beats * BEAT:g}" '
                f'height="{height:g}" fill="#ffffff" fill-opacity="0.75"/>'
            )
    parts.append(_line(x(end), top - 4, x(end), top + height, EDGE, 1.4))
    if row[0].where:
        parts.append(_text(x(start), top - 18, row[0].where, 9.5, QUIET))
    if told.along is not None:
        for left in told.along.departures:
            if left.played is None and start <= left.eighth / 2 < end:
                parts.append(_box(x(left.eighth / 2), y(left.wanted), 0.4 * BEAT, QUIET, "2 2"))
    for note in told.notes:
        if start - 0.3 <= note.placed.beat < end - 0.3 or (
            note.placed.beat < end and course.bars[note.placed.bar] in row
        ):
            parts += _note(note, x, y)
    return parts


def _lanes(
    chord: CourseChord,
    start: float,
    end: float,
    x: Callable[[float], float],
    y: Callable[[int], float],
    pitches: tuple[int, int],
    top: float,
) -> Iterator[str]:
    low, high = pitches
    for pitch in range(low, high + 1):
        if pitch % 12 in chord.tones:
            root = pitch % 12 == chord.root
            yield (
                f'<rect x="{x(start) + 1:g}" y="{y(pitch) + 0.5:g}" '
                f'width="{(end - start) * BEAT - 2:g}" height="{HALF_STEP - 1:g}" '
                f'fill="{ROOT if root else LANE}"/>'
            )
            yield _text(x(start) + 3, y(pitch) + HALF_STEP - 0.8, chord.degree(pitch), 5.6, QUIET)
    yield _text(x(start) + 3, top - 6, chord.symbol, 12, INK, bold=True)


def _note(
    note: JudgedNote, x: Callable[[float], float], y: Callable[[int], float]
) -> Iterator[str]:
    placed = note.placed
    left, width = x(placed.beat), max(5.0, (placed.end - placed.beat) * BEAT - 1.5)
    top = y(placed.pitch)
    yield from sign(note.kind, left, top, width)


def sign(kind: Kind, left: float, top: float, width: float) -> Iterator[str]:
    """How a note of a kind is drawn in the lane whose upper edge is ``top``."""
    height = HALF_STEP
    box = f'x="{left:.1f}" width="{width:.1f}"'
    if kind is Kind.TONE:
        yield f'<rect {box} y="{top:.1f}" height="{height:g}" rx="2" fill="{INK}"/>'
    elif kind is Kind.TENSION:
        yield (
            f'<rect {box} y="{top + 0.6:.1f}" height="{height - 1.2:g}" rx="2" fill="#ffffff" '
            f'stroke="{INK}" stroke-width="1.2"/>'
        )
    elif kind is Kind.UNCLEAR:
        yield (
            f'<rect {box} y="{top + 0.6:.1f}" height="{height - 1.2:g}" rx="2" fill="none" '
            f'stroke="{QUIET}" stroke-dasharray="1.5 1.5" stroke-width="1"/>'
        )
    else:
        yield f'<rect {box} y="{top + 1.8:.1f}" height="{height - 3.6:g}" fill="{INK}"/>'
        if kind is Kind.UNRESOLVED:
            middle, size = top + height / 2, 5.5
            yield (
                f'<path d="M{left - size:.1f} {middle - size:.1f} l{2 * size:g} {2 * size:g} '
                f'm0 {-2 * size:g} l{-2 * size:g} {2 * size:g}" stroke="#b23a1e" '
                f'stroke-width="2.2" fill="none"/>'
            )


def _legend(left: float, top: float) -> Iterator[str]:
    x = left
    for kind, words in LEGEND:
        yield from sign(kind, x, top - 6, 16)
        yield _text(x + 21, top, words, 9.5, QUIET)
        x += 34 + 5.2 * len(words)


def _box(left: float, top: float, width: float, ink: str, dashes: str) -> str:
    return (
        f'<rect x="{left:.1f}" y="{top + 0.5:.1f}" width="{width:.1f}" height="{HALF_STEP - 1:g}" '
        f'fill="none" stroke="{ink}" stroke-dasharray="{dashes}"/>'
    )


def _line(x1: float, y1: float, x2: float, y2: float, ink: str, width: float) -> str:
    ends = f'x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}"'
    return f'<line {ends} stroke="{ink}" stroke-width="{width:g}"/>'


def _text(x: float, y: float, text: str, size: float, ink: str, *, bold: bool = False) -> str:
    weight = ' font-weight="700"' if bold else ""
    return f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" fill="{ink}"{weight}>{escape(text)}</text>'
