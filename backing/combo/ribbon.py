"""The two guide-tone lines of a chorus as a drawing: on sheets and pages, on covers, in text.

They are the lines that ``guide_tones`` plays: one that starts on a 3rd, drawn solid, and one that
starts on a 7th, drawn dashed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.harmony import Chord
from backing.chart.pitch import Degree
from backing.combo.guide_tones import lines
from backing.combo.plan import Plan, plan_of_bars

SOLID, DASHED = "─", "╌"
RIBBON_LEGEND = f"guide tones: {SOLID}{SOLID} from the 3rd, {DASHED}{DASHED} from the 7th"
OPENING_BARS = 8
"""Where there is room for the beginning of a tune only: on covers, and over the text of a chart."""
ROWS, COLUMNS = 4, 64
"""The size of a ribbon in text, in characters."""


@dataclass(frozen=True, slots=True)
class RibbonTone:
    """A tone of a line, from where its chord is written to where the next chord is.

    ``bar`` counts the bars drawn from 0, ``beat`` the beats of that bar from 0; ``start`` and
    ``end`` in beats from the first bar; ``pitch`` is MIDI, ``degree`` what it is in ``chord``.
    """

    bar: int
    beat: Fraction
    start: Fraction
    end: Fraction
    pitch: int
    degree: Degree
    chord: Chord


@dataclass(frozen=True, slots=True)
class Ribbon:
    """The line from the 3rd and the line from the 7th, tone by tone; empty without chords."""

    from_3rd: tuple[RibbonTone, ...]
    from_7th: tuple[RibbonTone, ...]

    @property
    def lines(self) -> tuple[tuple[RibbonTone, ...], tuple[RibbonTone, ...]]:
        """Both lines, the solid one first."""
        return self.from_3rd, self.from_7th

    @property
    def pitches(self) -> tuple[int, ...]:
        """The MIDI pitches of both lines, from the highest down, each once."""
        return tuple(sorted({tone.pitch for line in self.lines for tone in line}, reverse=True))


def make_ribbon(bars: Sequence[PlayedBar]) -> Ribbon:
    """The ribbon of ``bars`` played as a loop."""
    return ribbon_of_plan(plan_of_bars(bars))


def opening_ribbon(form: Form) -> Ribbon:
    """The beginning of a tune's ribbon, OPENING_BARS of the solos: our mark."""
    bars = form.played("solos")
    end = sum((bar.length for bar in bars[:OPENING_BARS]), Fraction(0))
    return Ribbon(*(
        tuple(replace(tone, end=min(tone.end, end)) for tone in line if tone.start < end)
        for line in make_ribbon(bars).lines
    ))  # fmt: skip


def ribbon_of_plan(plan: Plan) -> Ribbon:
    """The ribbon of what a band has planned to play."""
    starts = [max(span.written, Fraction(0)) for span in plan.spans]
    ends = dict(zip(starts, [*starts[1:], plan.length], strict=True))
    made = []
    for line in lines(plan):
        tones = []
        for tone in line:
            chord, start = tone.span.chord, max(tone.span.written, Fraction(0))
            assert chord is not None  # lines have no tone where there is no chord
            degree = chord.sounding.name_of(tone.pitch % 12)
            assert degree is not None
            bar = plan.bar_at(start)
            tones.append(
                RibbonTone(
                    bar.index, start - bar.start, start, ends[start], tone.pitch, degree, chord
                )
            )
        made.append(tuple(tones))
    return Ribbon(*made)


def ribbon_text(ribbon: Ribbon, rows: int = ROWS, columns: int = COLUMNS) -> str:
    """A ribbon drawn with box-drawing characters, in ``rows`` at most; empty without chords.

    Pitches share the rows evenly, so that even a half step shows where there are few of them.
    """
    beats = max((tone.end for line in ribbon.lines for tone in line), default=Fraction(0))
    heights = {
        pitch: rank * rows // max(len(ribbon.pitches), rows)
        for rank, pitch in enumerate(ribbon.pitches)
    }
    canvas = [[" "] * columns for _ in range(rows)]
    for line, pen in zip(reversed(ribbon.lines), (DASHED, SOLID), strict=True):
        sounding = [_pitch_at(line, beats * x / columns) for x in range(columns)]
        _draw(canvas, [None if pitch is None else heights[pitch] for pitch in sounding], pen)
    drawn = ("".join(row).rstrip() for row in canvas)
    return "\n".join(row for row in drawn if row)


def _pitch_at(line: Sequence[RibbonTone], beat: Fraction) -> int | None:
    return next((tone.pitch for tone in line if tone.start <= beat < tone.end), None)


def _draw(canvas: list[list[str]], heights: Sequence[int | None], pen: str) -> None:
    before = None
    for x, height in enumerate(heights):
        if height is not None:
            if before is None or before == height:
                canvas[height][x] = pen
            else:
                for between, sign in _step(before, height):
                    canvas[between][x] = sign
        before = height


def _step(before: int, height: int) -> Iterator[tuple[int, str]]:
    """The signs of a line that goes from one row to another in one column."""
    down = height > before
    yield before, "╮" if down else "╯"
    for between in range(min(before, height) + 1, max(before, height)):
        yield between, "│"
    yield height, "╰" if down else "╭"
