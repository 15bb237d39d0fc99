"""What the words of the command line ask for, in the types of the pipeline."""

from __future__ import annotations

import argparse

from backing.chart.bar import RHYTHM_SECTION
from backing.chart.choice import one_of
from backing.chart.form import Form
from backing.combo.band import GUIDE_LINES, Band
from backing.combo.player import Soloist
from backing.errors import SelectionError
from backing.routine.keys import Keys
from backing.routine.request import Request
from backing.routine.trading import Trade

PLAYERS = {
    "bass": "bass",
    "piano": "comp",
    "drums": "drums",
    "guide": "guide",
    "click": "click",
    "melody": "line",
    "line": "line",
    "comping": "comp",
    "comp": "comp",
    "guitar": "comp",
    "vibes": "comp",
    "organ": "comp",
}
"""What people call a player -> the name of the part."""
GUIDES = dict(zip(("thirds", "sevenths", "both"), GUIDE_LINES, strict=True))
PARTNERS = {"drums": "drums", "melody": "line", "line": "line"}


def in_key(arguments: argparse.Namespace, form: Form) -> Form:
    """The form in the key that is asked for."""
    if not arguments.key:
        return form
    key = Keys.of(arguments.key).in_tune(form.key)[0]
    return form.transposed(form.key.tonic.interval_to(key.tonic))


def request(arguments: argparse.Namespace) -> Request:
    """What is asked of a tune."""
    trade = None
    if arguments.trade:
        partner = one_of(arguments.trade_with or "drums", PARTNERS, "partner to trade with")
        trade = Trade(arguments.trade, PARTNERS[partner], arguments.you_second)
    return Request(
        tempo=arguments.tempo,
        climb=arguments.climb and f"{arguments.climb} {arguments.climb_order}",
        choruses=arguments.choruses,
        bars=arguments.bars,
        times=arguments.times,
        lead_in=arguments.lead_in,
        rest_bars=arguments.breath,
        key=arguments.keys,
        count_in=arguments.count_in,
        ending=arguments.ending,
        same=arguments.same,
        grow=arguments.grow,
        subdivisions=arguments.ladder,
        trade=trade,
        lay_out=arguments.lay_out,
    )


def band(arguments: argparse.Namespace, line: Soloist | None = None) -> Band:
    """Who plays, and how."""
    guide = arguments.guide and GUIDES[one_of(arguments.guide, GUIDES, "line of guide tones")]
    return Band(
        players(arguments),
        arguments.seed,
        feel=arguments.feel,
        swing=arguments.swing,
        comp=arguments.comp,
        guide_line=guide,
        click=arguments.click,
        line=line,
    )


def players(arguments: argparse.Namespace) -> frozenset[str]:
    """The parts that play; raises SelectionError if nobody is left."""
    chosen = parts(arguments.only) if arguments.only else RHYTHM_SECTION
    if arguments.without:
        chosen -= parts(arguments.without)
    chosen |= {name for name in ("guide", "click") if getattr(arguments, name)}
    if arguments.melody:
        chosen |= {"guide" if arguments.melody == "guide" else "line"}
    if not chosen:
        raise SelectionError("Nobody is left to play.", "Leave out fewer, or add --click.")
    return chosen


def parts(text: str) -> frozenset[str]:
    """Parts by the names people use for their players."""
    words = text.replace(",", " ").split()
    return frozenset(PLAYERS[one_of(word, PLAYERS, "player")] for word in words)
