"""The practice log: a JSON line for each take, in the player's own file, and its plot."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime
from html import escape
from pathlib import Path
from typing import Any

from backing.errors import UserError
from backing.reading import LOG_BYTES, read_bytes
from backing.saving import write_file

Json = dict[str, Any]
KEPT = ("title", "sentences", "tones", "changes", "longest_run", "time", "phrases")
PLOTTED: tuple[tuple[str, Callable[[Json], float | None]], ...] = (
    ("tempo, bpm", lambda take: take["tempo"]),
    ("chord tones, %", lambda take: _times(take["tones"], 100)),
    ("changes by step or held, %", lambda take: _joined(take["changes"])),
    ("longest run, eighths", lambda take: take["longest_run"]),
    ("spread, ms", lambda take: take["time"]["spread_ms"]),
)
"""What is plotted: its name, and where it is in a take."""
PLOT_TITLE = "Your takes, {count} from {first} to {last}"
FIGURE = 1e6
"""No figure of a take is as large."""
INK, QUIET, EDGE = "#23272e", "#5a626c", "#c3cad1"
WIDTH, HEIGHT, LEFT = 640.0, 110.0, 60.0


def entry(data: Json, tempo: float, when: datetime) -> Json:
    """A take as the log keeps it: no sound, and no notes."""
    kept = {"when": when.isoformat(timespec="minutes"), "tempo": tempo}
    return kept | {name: data[name] for name in KEPT} | {"left": _left(data)}


def _left(data: Json) -> int:
    return sum(note["kind"] == "unresolved" for note in data["outside"])


def keep(path: Path, take: Json) -> None:
    """Add a take to the end of the log; raises UserError, OutputError."""
    before = path.read_text("utf-8") if path.exists() and read(path) else ""
    if before and not before.endswith("\n"):
        before += "\n"
    write_file(path, (before + json.dumps(take, ensure_ascii=False) + "\n").encode())


def read(path: Path) -> list[Json]:
    """The takes of a log, the oldest first. Raises UserError for what is no log."""
    try:
        text = read_bytes(path, LOG_BYTES, "a log of takes").decode("utf-8")
    except UnicodeDecodeError:
        raise UserError(f"{path} isn't a log of takes.", "Name another file.") from None
    takes = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        try:
            takes.append(_take(json.loads(line)))
        except Exception:
            raise UserError(
                f"{path}:{number} isn't a take of a practice log.",
                "Correct the line, or delete it.",
            ) from None
    return takes


def _take(line: Json) -> Json:
    """A take as it was kept; raises whatever comes of another shape."""
    take = {name: line[name] for name in ("when", "tempo", "left", *KEPT)}
    datetime.fromisoformat(take["when"])
    if not isinstance(take["title"], str):
        raise TypeError
    plotted = (value(take) for _, value in PLOTTED)
    for figure in (take["tempo"], take["left"], *(each for each in plotted if each is not None)):
        if not abs(figure) < FIGURE:
            raise ValueError
    return take


def compared(old: Json, new: Json) -> Iterator[str]:
    """How a take differs from an older one of the same tune, a line a figure."""
    yield f"Beside the take of {old['when'].replace('T', ' ')} at {old['tempo']:g} bpm"
    for name, value in PLOTTED:
        before, now = value(old), value(new)
        if before is not None and now is not None:
            yield f"  {name:<28} {before:.0f} then, {now:.0f} now"
    yield f"  {'notes that left the chord':<28} {old['left']} then, {new['left']} now"


def latest(takes: Sequence[Json], title: str) -> Json:
    """The last take of a tune. Raises UserError where there is none."""
    mine = [take for take in takes if take["title"] == title]
    if not mine:
        raise UserError(f"The log has no take of {title}.", "Name another log, or leave it out.")
    return mine[-1]


def plot(takes: Sequence[Json]) -> str:
    """The log as SVG: each figure over the days. Raises UserError for a log without takes."""
    if not takes:
        raise UserError("There is no take in the log.", "Add one with --log first.")
    days = _days(takes)
    title = PLOT_TITLE.format(count=len(takes), first=days[0], last=days[-1])
    parts = [
        f'<text x="{LEFT:g}" y="24" font-size="16" font-weight="700" fill="{INK}">{title}</text>'
    ]
    for row, (name, points) in enumerate(series(takes).items()):
        top = 44 + row * (HEIGHT + 34)
        parts += _figure(name, points, days, top)
    height = 44 + len(PLOTTED) * (HEIGHT + 34)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH + 80:g} {height:g}" '
        f'width="{WIDTH + 80:g}" height="{height:g}" font-family="Lato, sans-serif">'
        f'<rect width="100%" height="100%" fill="#ffffff"/>{"".join(parts)}</svg>'
    )


def _days(takes: Iterable[Json]) -> list[date]:
    return [datetime.fromisoformat(take["when"]).date() for take in takes]


def series(takes: Sequence[Json]) -> dict[str, list[tuple[int, float]]]:
    """Each figure of the plot: days since the first take, and its value, where a take has one."""
    first, *_ = dates = _days(takes)
    days = [(each - first).days for each in dates]
    return {
        name: [
            (after, known)
            for after, take in zip(days, takes, strict=True)
            if (known := value(take)) is not None
        ]
        for name, value in PLOTTED
    }


def _figure(
    name: str, found: Sequence[tuple[int, float]], days: Sequence[date], top: float
) -> Iterator[str]:
    known = [value for _, value in found]
    yield f'<text x="{LEFT:g}" y="{top + 10:g}" font-size="11" fill="{INK}">{escape(name)}</text>'
    if not known:
        return
    low, high = min(0.0, *known), max(known) or 1.0
    span = max((days[-1] - days[0]).days, 1)
    base = top + HEIGHT + 10
    yield f'<path d="M{LEFT:g} {base:g}h{WIDTH:g}" stroke="{EDGE}"/>'
    points = []
    for day, value in found:
        x = LEFT + 8 + (WIDTH - 16) * day / span
        y = base - (HEIGHT - 14) * (value - low) / ((high - low) or 1)
        points.append((x, y, value))
    way = " ".join(f"{x:.1f},{y:.1f}" for x, y, _ in points)
    yield f'<polyline points="{way}" fill="none" stroke="{QUIET}" stroke-width="1.2"/>'
    for x, y, value in points:
        told = f"<title>{value:.0f}</title>"
        yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{INK}">{told}</circle>'
    for edge, told_day in ((LEFT + 8, days[0]), (LEFT + WIDTH - 60, days[-1])):
        yield (
            f'<text x="{edge:g}" y="{base + 13:g}" font-size="9.5" fill="{QUIET}">{told_day}</text>'
        )
    yield (
        f'<text x="{LEFT - 6:g}" y="{base - HEIGHT + 18:g}" font-size="9.5" fill="{QUIET}" '
        f'text-anchor="end">{high:.0f}</text>'
    )


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _joined(changes: dict[str, int]) -> float | None:
    played = changes["step"] + changes["held"] + changes["leap"]
    return 100 * (changes["step"] + changes["held"]) / played if played else None
