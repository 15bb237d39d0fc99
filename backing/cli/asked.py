"""What the words of the command line ask for, in the types of the pipeline."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from fractions import Fraction

from backing.chart.bar import RHYTHM_SECTION
from backing.chart.form import Form
from backing.chart.pitch import Key
from backing.chart.text.source import suggestion
from backing.combo.band import LINES, Band
from backing.combo.click import BEATS
from backing.combo.instruments import COMPING
from backing.errors import RoutineError, SelectionError, UserError, quoted
from backing.routine.climb import SHAPES, read_climb, read_tempo
from backing.routine.ending import ENDINGS
from backing.routine.keys import CYCLES, read_key, read_keys
from backing.routine.orders import Request
from backing.routine.trading import PARTNERS

LONGEST_KEY = 3
"""In letters, like Bbm; a longer word is the name of a way through the keys."""
PLAYERS = {
    "bass": "bass",
    "piano": "comping",
    "drums": "drums",
    "guide": "guide",
    "click": "click",
    "melody": "melody",
    "comping": "comping",
    "comp": "comping",
    "guitar": "comping",
    "vibes": "comping",
    "organ": "comping",
}
"""What people call a player -> the name of the part."""


def in_key(arguments: argparse.Namespace, form: Form) -> Form:
    """The form in the key that is asked for."""
    if not arguments.key:
        return form
    key = read_key(arguments.key, form.key)
    return form.transposed(form.key.tonic.interval_to(key.tonic))


def request(arguments: argparse.Namespace, form: Form) -> Request:
    """What is asked of the form, in its own types."""
    tempos: tuple[Fraction, ...] = ()
    if arguments.climb:
        order = one_of(arguments.climb_order, SHAPES, "order of a climb")
        tempos = read_climb(arguments.climb, form.tempo, order).tempos
    elif arguments.tempo:
        tempos = (read_tempo(arguments.tempo, form.tempo),)
    keys = _keys(arguments.keys, form) if arguments.keys else ()
    return Request(
        tempos=tempos,
        choruses=arguments.choruses,
        bars=arguments.bars,
        times=arguments.times,
        lead_in=arguments.lead_in,
        breath=arguments.breath,
        keys=keys,
        count_in=arguments.count_in,
        ending=one_of(arguments.ending, ENDINGS, "ending"),
        same=arguments.same,
        grow=arguments.grow,
        ladder=arguments.ladder,
        trade=arguments.trade,
        trade_with=one_of(arguments.trade_with or PARTNERS[0], PARTNERS, "partner to trade with"),
        partner_first=arguments.you_second,
        lay_out=arguments.lay_out,
    )


def _keys(text: str, form: Form) -> tuple[Key, ...]:
    if text.isalpha() and len(text) > LONGEST_KEY:
        text = one_of(text, CYCLES, "way through the keys")
    return read_keys(text, form.key)


def band(arguments: argparse.Namespace) -> Band:
    """Who plays, and how, in its own types."""
    guide = one_of(arguments.guide or LINES[0], LINES, "line of guide tones")
    click = one_of(arguments.click or "all", BEATS, "click")
    return Band(
        players=players(arguments),
        seed=arguments.seed,
        feel=arguments.feel,
        swing=_swing(arguments.swing),
        comp=one_of(arguments.comp, COMPING, "comping instrument"),
        guide_line=guide,
        click=click,
    )


def one_of(word: str, known: Iterable[str], what: str) -> str:
    """The known word that is meant; raises UserError listing what there is."""
    known = tuple(known)
    plain = " ".join(word.lower().split())
    if plain in known:
        return plain
    raise UserError(
        f"There is no {what} called {quoted(word)}.",
        f"{suggestion(word, known)}Choose from: {', '.join(known)}.",
    )


def players(arguments: argparse.Namespace) -> frozenset[str]:
    """The parts that play; raises SelectionError if nobody is left."""
    chosen = parts(arguments.only) if arguments.only else RHYTHM_SECTION
    if arguments.without:
        chosen -= parts(arguments.without)
    chosen |= {name for name in ("guide", "click", "melody") if getattr(arguments, name)}
    if arguments.melody == "guide":
        chosen = (chosen - {"melody"}) | {"guide"}
    if not chosen:
        raise SelectionError("Nobody is left to play.", "Leave out fewer, or add --click.")
    return chosen


def parts(text: str) -> frozenset[str]:
    """Parts by the names people use for their players."""
    words = text.replace(",", " ").split()
    return frozenset(PLAYERS[one_of(word, PLAYERS, "player")] for word in words)


def _swing(text: str | None) -> Fraction | None:
    if text is None:
        return None
    try:
        # an exponent may stand for more figures than a machine holds
        ratio = Fraction(0) if "e" in text.lower() else Fraction(text)
    except (ValueError, ZeroDivisionError):
        ratio = Fraction(0)
    if not 1 <= ratio <= 4:
        raise RoutineError(
            f"{quoted(text)} is no swing ratio.",
            "Write long to short from 1 (even) to 4, like 2 or 1.6.",
        )
    return ratio.limit_denominator(100)
