"""A form in words and figures, as the band will play it: for reading, and as plain data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from backing.chart.bar import Directions, PlayedBar
from backing.chart.form import ORDERS, Form

BARS_A_LINE = 4
NARROWEST, WIDEST = 13, 24
"""A bar on the page, in characters; a longer one pushes the bars after it aside."""


def as_text(form: Form) -> str:
    """The form as it is played: head, solos and out, four bars a line with their numbers.

    An order that is the same as the one before it is not written twice.
    """
    lines = [
        form.title,
        f"  {form.key}, {form.meter}, {float(form.tempo):g} bpm, {form.feel}"
        + (f"; {form.by}" if form.by else ""),
    ]
    shown: dict[tuple[PlayedBar, ...], str] = {}
    for order in ORDERS:
        bars = form.played(order)
        chorus = sum(1 for bar in bars if bar.role == "chorus" and not bar.pickup)
        head = f"{order} ({chorus} bar{'s' * (chorus != 1)}{_beside(bars, chorus)})"
        if bars in shown:
            lines.append(f"\n{head}: as the {shown[bars]}")
            continue
        shown[bars] = order
        lines.append(f"\n{head}")
        lines.extend(_rows(bars, form))
    return "\n".join(lines)


def _beside(bars: Sequence[PlayedBar], chorus: int) -> str:
    others = len(bars) - chorus
    return f" and {others} beside" if others else ""


def _rows(bars: Sequence[PlayedBar], form: Form) -> Iterator[str]:
    width = min(WIDEST, max([NARROWEST, *(len(chords(bar)) for bar in bars)]))
    row: list[PlayedBar] = []
    for bar in bars:
        if row and (len(row) == BARS_A_LINE or _starts(bar) or row[-1].pickup):
            yield _row(row, form, width)
            row = []
        row.append(bar)
    if row:
        yield _row(row, form, width)


def _starts(bar: PlayedBar) -> bool:
    return bar.section_bar == 1


def _row(bars: Sequence[PlayedBar], form: Form, width: int) -> str:
    first = bars[0]
    name = _heading(first, form) if _starts(first) else ""
    cells = " | ".join(f"{chords(bar):<{width}}" for bar in bars)
    text = f"  {name:<10} {first.label:>9} | {cells} |"
    notes = [f"{bar.label}: {said}" for bar in bars if (said := directions(bar.directions))]
    return "\n".join([text, *(f"{'':24}{note}" for note in notes)])


def _heading(bar: PlayedBar, form: Form) -> str:
    feel = form.feel_of(form.section(bar.section))
    others = [
        str(mine)
        for mine, usual in ((bar.key, form.key), (bar.meter, form.meter), (feel, form.feel))
        if mine != usual
    ]
    return f"{bar.section} ({', '.join(others)})" if others else bar.section


def chords(bar: PlayedBar) -> str:
    """The chords of a bar as written, with slashes for beats where they are not the usual ones.

    An early chord is followed by ``<`` (a late one by ``>``) and by how many beats.
    """
    words = []
    for change, end in zip(
        bar.changes, [c.onset for c in bar.changes[1:]] + [bar.length], strict=True
    ):
        word = change.chord.text if change.chord else "N.C."
        if change.early:
            word += ("<" if change.early > 0 else ">") + f"{abs(change.early)}"
        words.append((word, end - change.onset))
    even = len({length for _, length in words}) <= 1
    if even:
        return " ".join(word for word, _ in words)
    return " ".join(word + " /" * max(0, int(length) - 1) for word, length in words)


def directions(said: Directions) -> str:
    """What the whole band does in a bar, in words; empty where it just plays."""
    words = []
    if said.hits:
        words.append(f"hits on {_beats(said.hits)}")
    if said.only is not None:
        words.append(f"only {_beats(said.only)}" if said.only else "silence")
    if said.pedal:
        words.append(f"pedal {said.pedal}")
    if said.lay_out:
        words.append(f"{', '.join(sorted(said.lay_out))} out")
    return "; ".join(words)


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
    }
