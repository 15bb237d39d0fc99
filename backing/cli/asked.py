"""What the words of the command line ask for, in the types of the pipeline."""

from __future__ import annotations

import argparse
from fractions import Fraction

from backing.chart.form import Form
from backing.combo.arrangement import Band
from backing.errors import RoutineError
from backing.routine.climb import read_climb, read_tempo
from backing.routine.keys import read_keys
from backing.routine.orders import Request


def request(arguments: argparse.Namespace, form: Form) -> Request:
    """What is asked of the form, in its own types."""
    tempos: tuple[Fraction, ...] = ()
    if arguments.climb:
        tempos = read_climb(arguments.climb, form.tempo, arguments.climb_order).tempos
    elif arguments.tempo:
        tempos = (read_tempo(arguments.tempo, form.tempo),)
    keys = read_keys(arguments.keys, form.key) if arguments.keys else ()
    return Request(
        tempos=tempos,
        choruses=arguments.choruses,
        bars=arguments.bars,
        times=arguments.times,
        lead_in=arguments.lead_in,
        breath=arguments.breath,
        keys=keys,
        count_in=arguments.count_in,
        ending=arguments.ending,
        same=arguments.same,
        grow=arguments.grow,
        trade=arguments.trade,
        drums_first=arguments.drums_first,
        lay_out=arguments.lay_out,
    )


def band(arguments: argparse.Namespace) -> Band:
    """Who plays, and how, in its own types."""
    players = {"bass", "comping", "drums"}
    if arguments.only:
        players = _names(arguments.only)
    if arguments.without:
        players -= _names(arguments.without)
    if arguments.guide:
        players.add("guide")
    if arguments.click:
        players.add("click")
    return Band(
        players=frozenset(players),
        seed=arguments.seed,
        feel=arguments.feel,
        swing=_swing(arguments.swing),
        comp=arguments.comp,
        guide_line=arguments.guide or "thirds",
        click=arguments.click or "all",
    )


ALSO_CALLED = {"piano": "comping", "guitar": "comping", "comp": "comping"}


def _names(text: str) -> set[str]:
    """Players by the names people use for them."""
    words = text.lower().replace(",", " ").split()
    return {ALSO_CALLED.get(word, word) for word in words}


def _swing(text: str | None) -> Fraction | None:

    if text is None:
        return None
    try:
        ratio = Fraction(text)
    except (ValueError, ZeroDivisionError):
        ratio = Fraction(0)
    if not 1 <= ratio <= 4:
        raise RoutineError(
            f"{text!r} is no swing ratio.", "Write long to short from 1 (even) to 4, like 2 or 1.6."
        )
    return ratio.limit_denominator(100)
