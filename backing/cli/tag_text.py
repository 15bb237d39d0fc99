"""What the tags of a track say: the command that makes it again, and what it is for."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from backing.chart.bar import PlayedBar
from backing.chart.outline import BARS_A_LINE, chords
from backing.chart.text.source import readable
from backing.cli.parser import Words
from backing.combo.band import Band
from backing.errors import how_many
from backing.routine import Purpose
from backing.routine.request import Request
from backing.routine.routine import Routine

if TYPE_CHECKING:
    from backing.lines.phrase import Phrase

SILENT = (Purpose.COUNT_IN, Purpose.REST_BAR, Purpose.LEAD_IN)
TRADES = {2: "twos", 4: "fours", 8: "eights"}
GUIDES = {
    "3rd": "guide-tone line from the 3rd",
    "7th": "guide-tone line from the 7th",
    "both": "both guide-tone lines",
}
ORDERS = {
    "up-and-back": ", up and back",
    "two-up-one-down": ", two up and one down",
    "slow-and-goal": ", each tempo and the goal in turn",
}


def command_again(words: Words, *tunes: str, more: Sequence[str] = ()) -> str:
    """The command that makes the same of these tunes again, ``more`` words at its end."""
    again = ["backing", words.command.name, *filter(None, tunes)]
    for option in words.command.options:
        if option.heard and option.name in words:
            again += [option.spelled, *([words.said[option.name]] if option.word else [])]
    return shlex.join(map(readable, [*again, *more]))


def chord_lines(routine: Routine) -> str:
    """The chords of a track for a player's display: four bars a line, each key and order once."""
    played: dict[str, tuple[PlayedBar, ...]] = {}
    for each in routine.passes:
        if each.purpose in SILENT:
            continue
        key = each.bars[0].key.pretty
        name = key if each.purpose is Purpose.TIME else str(each.purpose)
        if len(each.bars) > len(played.get(name, ())) and each.bars not in played.values():
            played[name] = each.bars  # of a loop that grows the whole
    return "\n\n".join(f"{name}\n{_rows(bars)}" for name, bars in played.items())


def _rows(bars: Sequence[PlayedBar]) -> str:
    rows: list[list[str]] = []
    for bar in bars:
        if not rows or len(rows[-1]) == BARS_A_LINE or bar.section_bar == 1:
            rows.append([])
        rows[-1].append(chords(bar))
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def purpose(words: Words, request: Request, band: Band, phrase: Phrase | None) -> str:
    """What a track is for ("bars 13-16, climbing 60%-105%, trading fours with the drums").

    Nothing for choruses of the whole tune with the whole band.
    """
    return ", ".join((*_played(request), *_drilled(request), *_heard(words, band, request, phrase)))


def _played(request: Request) -> Iterator[str]:
    if request.bars:
        runs = request.bars.split()
        several = "bars" if request.bars[0].isdigit() else f"section{'s' * (len(runs) > 1)}"
        yield f"{several} {' and '.join(runs)}"
    if request.grow:
        yield "growing backwards"
    if climb := request.climb:
        tempos = str(climb).removesuffix(f" {climb.order}")
        yield f"climbing {tempos}{ORDERS.get(climb.order, '')}"
    if request.key and request.key.in_turn:
        yield f"{'keys by' if request.key.cycle else 'in'} {request.key}"


def _drilled(request: Request) -> Iterator[str]:
    if request.lead_in:
        yield f"{how_many(request.lead_in, 'bar')} of lead-in"
    if request.rest_bars:
        yield f"{how_many(request.rest_bars, 'rest bar')} between times"
    if request.subdivisions:
        yield "subdivisions from wholes to triplets"
    if request.trade:
        trade = request.trade
        first = f", {trade.partner} first" if trade.partner_first else ""
        length = TRADES.get(trade.bars, how_many(trade.bars, "bar"))
        yield f"trading {length} with the {trade.partner}{first}"
    if request.lay_out:
        yield f"the last {how_many(request.lay_out, 'bar')} with the hi-hat alone"


def _heard(words: Words, band: Band, request: Request, phrase: Phrase | None) -> Iterator[str]:
    traded = request.trade is not None and request.trade.partner == "line"
    if band.line and phrase and not (request.subdivisions or traded):
        yield _line(phrase)
    if band.guide_line:
        yield GUIDES[band.guide_line]
    if band.click:
        yield {"all": "click", "sparse": "a sparse click"}.get(band.click, f"click on {band.click}")
    if "only" in words:
        yield f"{words.said['only']} alone"
    if "without" in words:
        yield f"without {words.said['without']}"


def _line(phrase: Phrase) -> str:
    line = phrase.line
    if line.rhythm == "call":
        return f"call and response{f' on {line.call_on}' if line.call_on != 'turn' else ''}"
    if line.number:
        return line.name()
    return f"an etude{f' in {line.rhythm}' if 'rhythm' in phrase.said else ''}"
