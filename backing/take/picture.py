"""A take as a picture: time from left to right, four bars a row, chord tones as lanes.

Shapes, not colors, tell the notes apart: a solid bar is a chord tone, a hollow one a tension, a
thin one leads into the chord by step, and a cross stands on what left the chord and led nowhere.
Where the track plays a line, what the take leaves out of it is a dotted outline.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape

from backing.chart.harmony import parse_chord
from backing.chart.printed import printed_symbol
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
    notes: dict[float, list[JudgedNote]] = {}
    for note in told.notes:
        notes.setdefault(course.bars[note.placed.bar].start, []).append(note)
    low, high = _range(told)
    height = (high - low + 1) * HALF_STEP
    step = TOP + height + GAP
    width = LEFT + max((_beats(row) for row in rows), default=16) * BEAT + 12
    parts = [
        _text(LEFT, 24, course.title, 17, INK, bold=True),
        _text(LEFT, 44, heading, 12.5),
    ]
    parts += _legend(LEFT, 62)
    for at, row in enumerate(rows):
        mine = [note for bar in row for note in notes.get(bar.start, ())]
        parts += _row(
            course,
            told,
            row,
            mine,
            _Row(row[0].start, row[-1].end, low, high, HEAD + at * step + TOP),
        )
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


@dataclass(frozen=True, slots=True)
class _Row:
    """Bars side by side: from which beat to which, and the pitches from the lowest lane up."""

    start: float
    end: float
    low: int
    high: int
    top: float

    @property
    def bottom(self) -> float:
        return self.top + (self.high - self.low + 1) * HALF_STEP

    def x(self, beat: float) -> float:
        return LEFT + (beat - self.start) * BEAT

    def y(self, pitch: int) -> float:
        return self.top + (self.high - pitch) * HALF_STEP


def _row(
    course: Course,
    told: Account,
    bars: Sequence[CourseBar],
    notes: Sequence[JudgedNote],
    row: _Row,
) -> Iterator[str]:
    top = row.top
    for chord in course.chords:
        if chord.start < row.end and chord.end > row.start:
            yield from _lanes(chord, row)
    for bar in bars:
        yield _upright(row.x(bar.start), row)
        yield _text(row.x(bar.start) + 3, row.bottom + 11, bar.label, 9.5)
        if not bar.yours:
            yield (
                f'<rect x="{row.x(bar.start):g}" y="{top:g}" width="{bar.beats * BEAT:g}" '
                f'height="{row.bottom - top:g}" fill="#ffffff" fill-opacity="0.75"/>'
            )
    yield _upright(row.x(row.end), row)
    yield _text(row.x(row.start), top - 21, bars[0].where, 9.5)
    if told.along is not None:
        for left in told.along.departures:
            if left.played is None and row.start <= left.eighth / 2 < row.end:
                yield _missing(row.x(left.eighth / 2), row.y(left.wanted))
    names = {(note.bar, note.beat): note.name for note in told.unresolved}
    for note in notes:
        yield from _note(note, row, names.get((note.placed.bar, note.placed.counted(course))))


def _lanes(chord: CourseChord, row: _Row) -> Iterator[str]:
    start, end = max(chord.start, row.start), min(chord.end, row.end)
    low, high = row.low, row.high
    x, y, top = row.x, row.y, row.top
    for pitch in range(low, high + 1):
        if pitch % 12 in chord.tones:
            root = pitch % 12 == chord.root
            yield (
                f'<rect x="{x(start) + 1:g}" y="{y(pitch) + 0.5:g}" '
                f'width="{(end - start) * BEAT - 2:g}" height="{HALF_STEP - 1:g}" '
                f'fill="{ROOT if root else LANE}"/>'
            )
            yield _text(x(start) + 3, y(pitch) + HALF_STEP - 0.5, chord.degree(pitch), 7)
    yield _text(x(start) + 3, top - 6, _printed(chord.symbol), 12, INK, bold=True)


def _printed(symbol: str) -> str:
    """A chord symbol with the signs of print: Am7♭5."""
    return printed_symbol(parse_chord(symbol)).text


def _note(note: JudgedNote, row: _Row, name: str | None) -> Iterator[str]:
    placed = note.placed
    left, top = row.x(placed.beat), row.y(placed.pitch)
    width = max(5.0, (min(placed.end, row.end) - placed.beat) * BEAT - 1.5)
    yield from sign(note.kind, left, top, width)
    if note.kind is Kind.UNRESOLVED and name:
        yield _text(left - 3, top - 4, name, 9.5, INK, bold=True)


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
        yield _text(x + 21, top, words, 9.5)
        x += 34 + 5.2 * len(words)


def _missing(left: float, top: float) -> str:
    return (
        f'<rect x="{left:.1f}" y="{top + 0.5:.1f}" width="{0.4 * BEAT:.1f}" '
        f'height="{HALF_STEP - 1:g}" fill="none" stroke="{QUIET}" stroke-dasharray="2 2"/>'
    )


def _upright(x: float, row: _Row) -> str:
    ends = f'x1="{x:g}" y1="{row.top - 4:g}" x2="{x:g}" y2="{row.bottom:g}"'
    return f'<line {ends} stroke="{EDGE}" stroke-width="1.4"/>'


def _text(
    x: float, y: float, text: str, size: float, ink: str = QUIET, *, bold: bool = False
) -> str:
    weight = ' font-weight="700"' if bold else ""
    where = f'x="{x:g}" y="{y:g}" font-size="{size:g}" fill="{ink}"'
    return f"<text {where}{weight}>{escape(text)}</text>"
