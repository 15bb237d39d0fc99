"""A form as text, as the band will play it: for reading on a terminal, and as plain data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from backing.chart.bar import Directions, PlayedBar
from backing.chart.form import ORDERS, Form, order_name
from backing.chart.printed import printed_symbol
from backing.errors import how_many

BARS_A_LINE = 4
NARROWEST, WIDEST = 13, 24
"""The width of a bar in characters; a longer one pushes the bars after it aside."""
_TO_ASCII = str.maketrans({
    "♭": "b", "♯": "#", "𝄫": "bb", "𝄪": "x", "△": "^", "°": "o", "ø": "m7b5",
    "─": "=", "╌": "-", "│": "|", "╭": ".", "╮": ".", "╰": "'", "╯": "'",
})  # fmt: skip


def as_text(form: Form, ribbon: str = "") -> str:
    """The form as it is played: head, solos and head out, four bars a line with their numbers.

    An order that is the same as the one before it is not written twice. ``ribbon``: the drawing
    that stands below the title (see combo.ribbon).
    """
    lines = [
        form.title,
        *(f"  {row}" for row in ribbon.splitlines()),
        f"  {form.key.pretty}, {form.meter}, {float(form.tempo):g} bpm, {form.feel}"
        + (f"; {form.by}" if form.by else ""),
    ]
    shown: dict[tuple[PlayedBar, ...], str] = {}
    for order in ORDERS:
        bars = form.played(order)
        head = f"{order_name(order)} ({_counted(bars)})"
        if bars in shown:
            lines.append(f"\n{head}: same as the {shown[bars]}")
            continue
        shown[bars] = order_name(order)
        lines.append(f"\n{head}")
        lines.extend(_rows(bars, form))
    return "\n".join(lines)


def in_ascii(text: str) -> str:
    """Text for a terminal that has no more than ASCII: Bb for B♭, = and - for the two lines."""
    return text.replace("ø7", "ø").translate(_TO_ASCII)


def _counted(bars: Sequence[PlayedBar]) -> str:
    """How many bars a chorus has, and what stands around it: "32 bars, intro 4"."""
    counts = Counter("pickup" if bar.pickup else bar.role for bar in bars)
    chorus = counts.pop("chorus", 0)
    others = (name if name == "pickup" else f"{name} {count}" for name, count in counts.items())
    return ", ".join((how_many(chorus, "bar"), *others))


def _rows(bars: Sequence[PlayedBar], form: Form) -> Iterator[str]:
    width = min(WIDEST, max([NARROWEST, *(len(chords(bar)) for bar in bars)]))
    stops = stop_time([bar.directions for bar in bars])
    row: list[tuple[PlayedBar, bool]] = []
    for bar, stop in zip(bars, stops, strict=True):
        if row and (len(row) == BARS_A_LINE or bar.section_bar == 1 or row[-1][0].pickup):
            yield _row(row, form, width)
            row = []
        row.append((bar, stop))
    yield _row(row, form, width)


def _row(bars: Sequence[tuple[PlayedBar, bool]], form: Form, width: int) -> str:
    first = bars[0][0]
    name = _heading(first, form) if first.section_bar == 1 else ""
    cells = " | ".join(f"{chords(bar):<{width}}" for bar, _ in bars)
    text = f"  {name:<10} {first.label:>9} | {cells} |"
    notes = [
        f"{bar.label}: {'; '.join(said)}"
        for bar, stop in bars
        if (said := [*_pushes(bar), *directions(bar.directions, stops=stop)])
    ]
    return "\n".join([text, *(f"{'':24}{note}" for note in notes)])


def _heading(bar: PlayedBar, form: Form) -> str:
    feel = form.feel_of(form.section(bar.section))
    usual = form.key.pretty, str(form.meter), form.feel
    others = [said for said in (bar.key.pretty, str(bar.meter), feel) if said not in usual]
    return f"{bar.section} ({', '.join(others)})" if others else bar.section


def chords(bar: PlayedBar) -> str:
    """The chords of a bar, with slashes for beats where they are not the usual ones."""
    words = []
    for change, end in zip(
        bar.changes, [c.onset for c in bar.changes[1:]] + [bar.length], strict=True
    ):
        words.append((printed_symbol(change.chord).text, end - change.onset))
    even = len({length for _, length in words}) <= 1
    if even:
        return " ".join(word for word, _ in words)
    return " ".join(word + " /" * max(0, int(length) - 1) for word, length in words)


def _pushes(bar: PlayedBar) -> list[str]:
    """The chords that come before or after their beat, as a tune file says it: push 1."""
    return [
        f"{'push' if change.early > 0 else 'late'} {beat_word(change.onset)}"
        + (" by a quarter" if abs(change.early) * bar.meter.beat_quarters == 1 else "")
        for change in bar.changes
        if change.early
    ]


def stop_time(bars: Sequence[Directions]) -> list[bool]:
    """For each bar whether its neighbors have the same stops: then it is stop-time, no break."""
    struck = [None, *(said.only for said in bars), None]
    return [
        bool(only) and only in (before, after)
        for before, only, after in zip(struck, struck[1:], struck[2:], strict=False)
    ]


def directions(said: Directions, *, stops: bool = False) -> list[str]:
    """What the whole band does in a bar, in players' words; empty where it just plays.

    ``stops``: the bar is one of stop-time, see ``stop_time``.
    """
    words = []
    if said.only is None and said.hits:
        words.append(f"hits {_beats(said.hits)}")
    if said.only:
        words.append(f"{'stop-time' if stops else 'break'} {_beats(said.only)}")
    elif said.only is not None:
        words.append("silence")
    if said.pedal:
        words.append(f"pedal {said.pedal.pretty}")
    if said.lay_out:
        words.append(f"lay out: {', '.join(sorted(said.lay_out))}")
    if said.slows:
        words.append(f"rit. to {float(said.slows.last):.0%}")
    if said.hold is not None:
        words.append(f"hold {beat_word(said.hold)}")
    return words


def _beats(beats: Sequence[Fraction]) -> str:
    return " ".join(beat_word(beat) for beat in beats)


def beat_word(beat: Fraction) -> str:
    """A beat as a player counts it: 0 is "1", 3/2 is "2&", 1/3 is "1.2"."""
    whole, part = divmod(beat, 1)
    after = {
        Fraction(0): "", Fraction(1, 2): "&", Fraction(1, 3): ".2", Fraction(2, 3): ".3",
        Fraction(1, 4): "e", Fraction(3, 4): "a",
    }  # fmt: skip
    return f"{whole + 1}{after.get(part, f'+{part}')}"


def as_data(form: Form) -> dict[str, Any]:
    """The same as plain data for JSON: beats as numbers, chords as written."""
    return {
        "title": form.title,
        "by": form.by,
        "key": str(form.key),
        "meter": str(form.meter),
        "tempo_bpm": float(form.tempo),
        "feel": form.feel,
        **{order: [_bar_data(bar, form) for bar in form.played(order)] for order in ORDERS},
    }


def _bar_data(bar: PlayedBar, form: Form) -> dict[str, Any]:
    said = bar.directions
    return {
        "bar": bar.label,
        "section": bar.section,
        "key": str(bar.key),
        "meter": str(bar.meter),
        "feel": form.feel_of(form.section(bar.section)),
        "beats": float(bar.length),
        "chords": [
            {
                "chord": c.chord.text if c.chord else None,
                "beat": float(c.onset) + 1,
                "early_beats": float(c.early),
            }
            for c in bar.changes
        ],
        "hits": [float(beat) + 1 for beat in said.hits],
        "only": None if said.only is None else [float(beat) + 1 for beat in said.only],
        "pedal": str(said.pedal) if said.pedal else None,
        "lay_out": sorted(said.lay_out),
        "hold": None if said.hold is None else float(said.hold) + 1,
        "slows_to": None if said.slows is None else float(said.slows.end),
    }
