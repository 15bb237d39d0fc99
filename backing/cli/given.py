"""Which options were given: what would change nothing is refused, what was left out is as usual."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from backing.cli.asked import parts_named, players
from backing.errors import UserError

LINE: Mapping[str, object] = {
    "level": 1, "start": None, "direction": "both", "way": "1-7",
}  # fmt: skip
NECK: Mapping[str, object] = {"position": "auto", "tuning": "standard", "frets": 22}
TRACK: Mapping[str, object] = {
    "choruses": 3, "climb_order": "up", "ending": "held", "comp": "piano", **NECK, **LINE,
}  # fmt: skip
"""What an option of a track or a line is where it was not given."""
LOOPING = frozenset({"bars", "climb", "keys", "times", "grow", "ladder"})
"""Each of these makes a loop of a track."""
ETUDE = frozenset({"rhythm", "call_on"})
"""When the notes of a line fall that is not of guide tones."""
SHAPING = frozenset({*LINE, *ETUDE, "thirds", "early", "top_strings"})
"""How a line goes."""
TUNES = (".tune", ".musicxml", ".mxl")
FILES = ("output", "soundfont", "feel")
"""Options whose word is a file, which says itself what is wrong with it."""


@dataclass(frozen=True, slots=True)
class _Needless:
    """Options that change nothing where ``beside`` holds of all that was given.

    In both sentences {} is the option's name.
    """

    options: Collection[str]
    beside: Callable[[set[str]], bool]
    cause: str
    cure: str

    def check(self, given: set[str]) -> None:
        """Raise UserError for the first of the options that was given."""
        for option in self.options:
            if option in given and self.beside(given):
                name = _spelled(option)
                raise UserError(self.cause.format(name), self.cure.format(name))


NEEDLESS = (
    _Needless(
        ("tempo",),
        lambda given: "climb" in given,
        "{} has no say beside --climb, which names the tempos.",
        "Leave one of them out.",
    ),
    _Needless(
        ("climb_order",),
        lambda given: "climb" not in given,
        "{} is for a climb.",
        "Add --climb, or leave {} out.",
    ),
    _Needless(
        ("choruses",),
        lambda given: bool(given & LOOPING),
        "{} counts whole choruses to an ending, and this is a loop.",
        "Leave it out; --times says how often a loop goes round.",
    ),
    _Needless(
        ("ending",),
        lambda given: bool(given & LOOPING),
        "{} is for whole choruses, and a loop does not end.",
        "Leave {} out.",
    ),
    _Needless(
        ("same",),
        lambda given: not given & LOOPING,
        "{} is for the rounds of a loop.",
        "Choose its bars with --bars, or leave {} out.",
    ),
    _Needless(
        ("separate",),
        lambda given: not given & {"climb", "keys"},
        "{} makes a file for each tempo or key, and there is one.",
        "Add --climb or --keys, or leave {} out.",
    ),
    _Needless(
        ("trade_with", "you_second", "drums_first"),
        lambda given: "trade" not in given,
        "{} is for trading.",
        "Add --trade 4, or leave {} out.",
    ),
)
"""What would change nothing in a track, and what to do."""


def check_track(arguments: argparse.Namespace) -> None:
    """Raise UserError for an option of a track that would change nothing, or has no word."""
    _check_words(arguments, "track")
    given = _given(arguments)
    for needless in NEEDLESS:
        needless.check(given)
    partner, melody = _word(arguments.trade_with), _word(arguments.melody)
    if not melody and arguments.ladder:
        melody = "etude"
    if partner == "melody":
        _check_melody_trades(arguments, melody)
    elif melody in ("", "guide"):
        _check_no_line(given)
    _check_without(arguments, partner, melody)
    playing = players(arguments)
    if "melody" in playing and not melody and partner != "melody":
        raise UserError("Nobody has a melody to play.", "Add --melody etude, or name others.")
    if "comp" in given and "comping" not in playing:
        raise UserError("Nobody comps, so --comp would change nothing.", "Leave --comp out.")
    if arguments.trade and partner != "melody" and not playing & {"drums", "click"}:
        raise UserError(
            "Without the drums there is nobody to trade with.",
            "Keep them, add --click, or write --trade-with melody.",
        )


def _check_without(arguments: argparse.Namespace, partner: str, melody: str) -> None:
    """Refuse to leave out what is asked for."""
    asked = {
        "guide": "guide" if arguments.guide else "melody" if melody == "guide" else "",
        "click": "click" if arguments.click else "",
        "melody": "trade_with" if partner == "melody" else "",
    }
    if not asked["melody"] and melody not in ("", "guide"):
        asked["melody"] = "melody" if arguments.melody else "ladder"
    left_out = parts_named(arguments.without or "")
    for part, option in asked.items():
        if option and part in left_out:
            raise UserError(
                f"--without {part} leaves out what {_spelled(option)} asks for.",
                "Keep one of them.",
            )


def _check_melody_trades(arguments: argparse.Namespace, melody: str) -> None:
    if arguments.drums_first:
        raise UserError("The drums do not trade here.", "Write --you-second for --drums-first.")
    if melody == "guide":
        raise UserError(
            "Guide tones are no partner to trade with.", "Write --melody etude, or leave it out."
        )


def _check_no_line(given: set[str]) -> None:
    for option in sorted((SHAPING | set(NECK)) & given):
        name = _spelled(option)
        raise UserError(
            f"{name} is for a line through the changes, and none is heard.",
            f"Add --melody etude, or leave {name} out.",
        )


def check_sheet(arguments: argparse.Namespace) -> None:
    """Raise UserError for an option of a sheet that would change nothing, or has no word."""
    _check_words(arguments, "sheet")
    needless = {"": SHAPING, "guide": ETUDE}.get(_word(arguments.line), frozenset())
    for option in sorted(needless & _given(arguments)):
        name = _spelled(option)
        raise UserError(
            f"{name} is for an étude, and none is printed.",
            f"Add --line etude, or leave {name} out.",
        )


def _check_words(arguments: argparse.Namespace, command: str) -> None:
    """Refuse an option that has taken a tune file for its own word."""
    for name, value in vars(arguments).items():
        if name not in FILES and isinstance(value, str) and Path(value).suffix.lower() in TUNES:
            option = _spelled(name)
            raise UserError(
                f"{option} has taken {value} for its own word.",
                f"Write the tune first: backing {command} {value} {option}.",
            )


def _given(arguments: argparse.Namespace) -> set[str]:
    return {name for name, value in vars(arguments).items() if value not in (None, False, 0)}


def _spelled(option: str) -> str:
    return f"--{option.replace('_', '-')}"


def _word(text: str | None) -> str:
    return " ".join((text or "").lower().split())


def track_as_usual(arguments: argparse.Namespace) -> argparse.Namespace:
    """The words of a track, with what was left out.

    Trading with a melody brings an étude in phrases along, a ladder one in its own note values.
    """
    usual = dict(TRACK)
    if arguments.ladder:
        usual |= {"melody": "etude"}
    elif _word(arguments.trade_with) == "melody" and not arguments.melody:
        usual |= {"melody": "etude", "rhythm": "phrases"}
    return _completed(arguments, usual)


def sheet_as_usual(arguments: argparse.Namespace) -> argparse.Namespace:
    """The words of a sheet, with what was left out."""
    return _completed(arguments, LINE)


def _completed(arguments: argparse.Namespace, usual: Mapping[str, object]) -> argparse.Namespace:
    left_out = {name: value for name, value in usual.items() if getattr(arguments, name) is None}
    return argparse.Namespace(**(vars(arguments) | left_out))
