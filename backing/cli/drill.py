"""What a track is for, in the words of a teacher: for its tags and its summary."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from backing.routine.keys import CYCLES

TRADES = {2: "twos", 4: "fours", 8: "eights"}
LINES = {"etude": "an étude", "guide": "guide tones", "call": "call and response"}
GUIDES = {"thirds": "guide tones from the third", "sevenths": "guide tones from the seventh"}
CLICKS = {"all": "click", "sparse": "a sparse click"}
ORDERS = {
    "up-and-back": ", up and back",
    "two-up-one-down": ", two up and one down",
    "slow-and-goal": ", each tempo and the goal in turn",
}


def drill(arguments: argparse.Namespace) -> str:
    """The drill of a track ("bars 13-16, climbing 60%-105%, trading fours with the drums").

    Nothing for choruses of the whole tune with the whole band.
    """
    return ", ".join((*_played(arguments), *_drilled(arguments), *_heard(arguments)))


def _played(a: argparse.Namespace) -> Iterator[str]:
    if a.bars:
        yield f"{'bars' if a.bars[0].isdigit() else 'section'} {a.bars}"
    if a.grow:
        yield "grown backwards"
    if a.climb:
        yield f"climbing {a.climb}{ORDERS.get(a.climb_order, '')}"
    if a.keys:
        yield f"keys by {a.keys.lower()}" if a.keys.lower() in CYCLES else f"in {a.keys}"


def _drilled(a: argparse.Namespace) -> Iterator[str]:
    if a.lead_in:
        yield f"{_bars(a.lead_in)} of lead-in"
    if a.breath:
        yield f"{_bars(a.breath)} of hi-hat between rounds"
    if a.ladder:
        yield "wholes to triplets"
    if a.trade:
        yield f"trading {TRADES.get(a.trade, _bars(a.trade))} with the {_partner(a)}"
    if a.lay_out:
        yield f"the last {_bars(a.lay_out)} with the hi-hat alone"


def _heard(a: argparse.Namespace) -> Iterator[str]:
    if a.melody and _partner(a) != "melody" and not a.ladder:
        start = f" on {a.call_on}" if a.call_on else ""
        values = f" in {a.rhythm}" if a.rhythm else ""
        yield f"{LINES.get(a.melody.lower(), a.melody)}{start}{values}"
    if a.guide:
        yield GUIDES.get(a.guide.lower(), "both lines of guide tones")
    if a.click:
        yield CLICKS.get(a.click.lower(), f"click on {a.click}")
    if a.only:
        yield f"{a.only} alone"
    if a.without:
        yield f"without {a.without}"


def _partner(a: argparse.Namespace) -> str:
    return (a.trade_with or "drums").lower()


def _bars(count: int) -> str:
    return f"{count} bar{'s' * (count != 1)}"
