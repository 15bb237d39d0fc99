"""Whether the signs of a section can be played: repeats, endings, and what % stands for."""

from __future__ import annotations

from collections.abc import Sequence

from backing.chart.section import WrittenBar
from backing.chart.text.bar_line import ReadBar
from backing.chart.text.source import Piece, Source


def check_repeats(cells: Sequence[ReadBar], source: Source) -> None:
    """Note repeats that are not closed, and endings that are missing or never reached."""
    opened: Piece | None = None
    endings: list[ReadBar] = []
    closed = False
    for cell in cells:
        if cell.bar.opens:
            if not endings:
                _check_closed(opened, source)
            _check_endings(endings, closed, source)
            opened, endings, closed = cell.left, [], False
        _check_step(cell, endings, closed, source)
        if cell.bar.ending:
            endings.append(cell)
            closed = False
        if cell.bar.closes:
            opened, closed = None, True
    if not endings:
        _check_closed(opened, source)
    _check_endings(endings, closed, source)


def _check_step(cell: ReadBar, endings: Sequence[ReadBar], closed: bool, source: Source) -> None:
    """Note an ending that does not follow the one before it as it should."""
    if cell.bar.ending and endings and not closed:
        cause = "The ending before this one goes on into it."
        source.problem(cell.mark, cause, "End it with :| before this one begins.")
    if not cell.bar.ending and endings and closed:
        turn = max(endings[-1].bar.ending, default=0) + 1
        cause = f"Ending {turn} does not begin where the one before it ends."
        source.problem(
            cell.bar.span or cell.left, cause, f"Write [{turn}] at the start of this bar."
        )
    if cell.bar.closes not in (0, 2) and (endings or cell.bar.ending):
        cause = "Endings already say how often the repeat is played."
        source.problem(cell.right, cause, "Take the count away, or the endings.")


def _check_closed(opened: Piece | None, source: Source) -> None:
    if opened is not None:
        source.problem(
            opened, "This repeat is not closed.", "Write :| where it ends, in the same section."
        )


def _check_endings(endings: Sequence[ReadBar], closed: bool, source: Source) -> None:
    """Together the endings of a repeat stand for each pass once, in order."""
    if not endings:
        return
    passes = [turn for cell in endings for turn in cell.bar.ending]
    missing = next((n for n in range(1, max(passes, default=0) + 2) if n not in passes), 1)
    last = endings[-1].mark
    if passes != sorted(set(passes)):
        cause = "These endings name a pass twice, or out of order."
        source.problem(last, cause, "Write each pass once, such as [1,2] and then [3].")
    elif missing < max(passes) or passes == [1]:
        source.problem(last, f"Ending {missing} is missing.", f"Write [{missing}] where it begins.")
    elif closed and len(endings) > 0:
        source.problem(
            last,
            "The last ending goes on and is not repeated.",
            "Take its :| away, or add an ending.",
        )


def reach(bars: Sequence[WrittenBar]) -> list[int]:
    """How many bars % may look back from each bar: to the start of its section, repeat or ending.

    Counts bars, so a ``%%`` has two entries.
    """
    reaches: list[int] = []
    back = 0
    for bar in bars:
        if bar.opens or bar.ending:
            back = 0
        for _ in range(bar.count):
            reaches.append(back)
            back += 1
    return reaches


def check_sign(bar: WrittenBar, back: int, source: Source) -> None:
    """Note a % that has no bar before it to repeat, ``back`` bars being there."""
    needed = {"%": 1, "%%": 2}.get(bar.sign, 0)
    if needed > back and bar.span is not None:
        bars = "a bar" if needed == 1 else "two bars"
        cause = f"{bar.sign} repeats {bars} before it, but a section, repeat or ending begins here."
        source.problem(bar.span, cause, "Write the chords out.")
