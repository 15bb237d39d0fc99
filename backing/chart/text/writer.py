"""Writes a form as a tune file: the inverse of reading one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from backing.chart.bar import Change, Meter
from backing.chart.form import ORDERS, Form, order_name
from backing.chart.section import Row, Section, SectionUse, WrittenBar
from backing.chart.text.bar_line import lengths_without_slashes
from backing.chart.text.cue_line import cue_text
from backing.chart.text.source import free_text


def write(form: Form) -> str:
    """The text of a tune file that reads as ``form``.

    Comments come out on lines of their own, above what they belonged to.
    """
    lines = [f"# {remark}" for remark in form.remarks]
    header = tuple(_header(form))
    width = max(len(word) for word, _ in header) + 2
    lines += [f"{word + ':':<{width}}{value}" for word, value in header]
    for section in form.sections:
        lines += ["", *_section(section, form.meter_of(section))]
    return "\n".join(lines) + "\n"


def _header(form: Form) -> Iterator[tuple[str, str]]:
    yield "title", free_text(form.title)
    if form.by:
        yield "by", free_text(form.by)
    yield "key", str(form.key)
    yield "meter", str(form.meter)
    yield "tempo", _number(form.tempo)
    yield "feel", form.feel
    if form.occasion:
        yield "occasion", form.occasion
    for order in ORDERS:
        uses: tuple[SectionUse, ...] | None = getattr(form, order)
        if uses is not None:
            yield order_name(order), " ".join(map(str, uses))
    for note in form.notes:
        yield "notes", free_text(note)


def _section(section: Section, meter: Meter) -> Iterator[str]:
    yield from (f"# {remark}" for remark in section.remarks)
    yield _opening(section)
    if section.pickup:
        yield f"pickup: | {_written_out(section.pickup.changes, section.pickup.length)} |"
    widths = _widths([row for row in section.rows if len(section.rows) > 1], meter)
    for row in section.rows:
        yield _row(row, meter, widths)
        yield from _solos(row, meter)
    for part in section.replacements:
        bars = f"{part.first}" if part.first == part.last else f"{part.first}-{part.last}"
        yield f"bars {bars}: {_row(part.row, meter, [])}"
        yield from _solos(part.row, meter)
    yield from (cue_text(cue, meter) for cue in section.cues)


def _opening(section: Section) -> str:
    options = {
        "feel": section.feel,
        "key": section.key,
        "meter": section.meter,
        "tempo": section.tempo_ratio and f"x{section.tempo_ratio}",
    }
    base = f" = {SectionUse(section.base, *(section.base_bars or ()))}" if section.base else ""
    said = [f"  {word}: {value}" for word, value in options.items() if value]
    return f"section {section.name}{base}{''.join(said)}"


def _row(row: Row, meter: Meter, widths: Sequence[int]) -> str:
    """A line of bars, aligned with the other lines of its section."""
    text = ""
    closed = ""
    for index, bar in enumerate(row.bars):
        cell = _cell(bar, meter)
        cell = f"{cell:<{widths[index]}}" if index < len(widths) else cell
        text += f"{closed}{'|:' if bar.opens else '|' if not closed else ''} {cell} "
        closed = _closing(bar)
    return f"{text}{closed or '|'}".rstrip()


def _closing(bar: WrittenBar) -> str:
    if not bar.closes:
        return ""
    return ":|" if bar.closes == 2 else f":| x{bar.closes} "


def _solos(row: Row, meter: Meter) -> Iterator[str]:
    if row.solos:
        cells = [f"| {_cell(bar, meter)} " if bar else "| " for bar in row.solos]
        yield f"solos: {''.join(cells)}|"


def _widths(rows: Sequence[Row], meter: Meter) -> list[int]:
    cells = [[len(_cell(bar, meter)) for bar in row.bars] for row in rows]
    columns = max(map(len, cells), default=0)
    return [max(row[i] for row in cells if i < len(row)) for i in range(columns)]


def _cell(bar: WrittenBar, meter: Meter) -> str:
    mark = f"[{','.join(map(str, bar.ending))}] " if bar.ending else ""
    return mark + (bar.sign or bar_text(bar.changes, meter))


def bar_text(changes: Sequence[Change], meter: Meter) -> str:
    """The chords of a bar, with slashes only where they are needed."""
    onsets = [change.onset for change in changes]
    ends = [*onsets[1:], Fraction(meter.beats)]
    lengths = tuple(int(end - onset) for onset, end in zip(onsets, ends, strict=True))
    if lengths == lengths_without_slashes(len(changes), meter):
        return " ".join(map(_chord, changes))
    return _written_out(changes, Fraction(meter.beats))


def _written_out(changes: Sequence[Change], length: Fraction) -> str:
    by_onset = {change.onset: _chord(change) for change in changes}
    return " ".join(by_onset.get(Fraction(beat), "/") for beat in range(int(length)))


def _chord(change: Change) -> str:
    return str(change.chord) if change.chord else "N.C."


def _number(value: Fraction) -> str:
    """A whole number or decimals where these are exact, else a fraction."""
    decimal = str(float(value)).removesuffix(".0")
    return decimal if "e" not in decimal and Fraction(decimal) == value else str(value)
