"""Which options were given: what would change nothing is refused, what was left out is as usual."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from backing.chart.bar import RHYTHM_SECTION
from backing.cli.asked import parts, players
from backing.errors import UserError
from backing.routine.orders import SOLO_CHORUSES

LINE: Mapping[str, object] = {
    "level": 1, "start": None, "direction": "both", "way": "1-7",
}  # fmt: skip
NECK: Mapping[str, object] = {"position": "auto", "tuning": "standard", "frets": 22}
TRACK: Mapping[str, object] = {
    "choruses": 3, "climb_order": "up", "ending": "held", "comp": "piano", **NECK, **LINE,
}  # fmt: skip
SHEET: Mapping[str, object] = {
    "guide": "both", "seed": 1, "paper": "a4", "reader": "guitar",
    "tuning": "standard", "frets": 22, **LINE,
}  # fmt: skip
"""What an option of a track, of a sheet or of a line is where it was not given."""
LOOPING = frozenset({"bars", "climb", "keys", "times", "grow", "ladder"})
"""Each of these makes a loop of a track."""
NONE_AT_ALL = frozenset({"lead_in", "breath", "trade", "lay_out"})
"""Options that are not given with 0."""
SHAPING = frozenset({*LINE, "rhythm", "call_on", "thirds", "early", "top_strings"})
"""How a line goes that is not of guide tones."""
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
        for option in sorted(self.options):
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
        ("trade_with", "you_second"),
        lambda given: "trade" not in given,
        "{} is for trading.",
        "Add --trade 4, or leave {} out.",
    ),
    _Needless(
        ("lay_out",),
        lambda given: "grow" in given,
        "{} silences the last bars, and those are where --grow begins.",
        "Leave one of them out.",
    ),
)
"""What would change nothing in a track, or leave nothing of it, and what to do."""
NEEDLESS_ON_SHEETS = (
    _Needless(
        {"key", "position", "no_shapes", "no_chart", "line", "bars", "guide", "seed", "reader",
         "clef", "no_tab", *SHAPING},
        lambda given: "set" in given,
        "{} is for the sheet of a tune, and --set has none.",
        "Leave {} out.",
    ),
    _Needless(
        ("large", "paper", "signs"),
        lambda given: "musicxml" in given,
        "{} is for pages, and MusicXML leaves the print to another program.",
        "Leave {} out, or end the name in .pdf.",
    ),
    _Needless(
        ("no_chart", "no_shapes", "position"),
        lambda given: "musicxml" in given and "line" not in given,
        "{} is for pages: of a tune without a line MusicXML has the chart alone.",
        "Add a line, leave {} out, or end the name in .pdf.",
    ),
    _Needless(
        (SHAPING - {"way"}) | {"seed"},
        lambda given: "etude" not in given,
        "{} is for an etude, and none is printed.",
        "Add --line etude, or leave {} out.",
    ),
    _Needless(
        ("way",),  # the position of guide tones follows from it, too
        lambda given: "line" not in given,
        "{} is for an etude, and none is printed.",
        "Add --line etude, or leave {} out.",
    ),
    _Needless(
        ("guide",),
        lambda given: "guide tones" not in given,
        "{} is for guide tones, and none are printed.",
        "Add --line guide, or leave {} out.",
    ),
    _Needless(
        ("clef", "no_tab"),
        lambda given: "line" not in given,
        "{} is for the staff of a line, and none is printed.",
        "Add --line etude or --line guide, or leave {} out.",
    ),
    _Needless(
        ("bars",),
        lambda given: not given & {"line", "position"},
        "{} is for shapes or a line, and the chart is printed whole.",
        "Add --position or --line, or leave {} out.",
    ),
    _Needless(
        ("no_shapes",),
        lambda given: not given >= {"line", "position"},
        "{} leaves the position to a line alone.",
        "Add --position and --line, or leave {} out.",
    ),
    _Needless(
        ("tuning", "frets"),
        lambda given: not given & {"line", "position", "set"},
        "{} is for shapes or a line, and none is printed.",
        "Add --position or --line, or leave {} out.",
    ),
    _Needless(
        ("left_handed",),
        lambda given: "set" not in given and ("position" not in given or "no_shapes" in given),
        "{} is for shapes, and none are printed.",
        "Add --position, or leave {} out.",
    ),
)  # fmt: skip
"""The same of a sheet. Beside its options: "musicxml" as which it is written, "etude" or "guide
tones" for its line."""


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
        _check_melody_trades(melody)
    elif melody in ("", "guide"):
        _check_no_line(given)
    heard = {"guide"} if arguments.guide or melody == "guide" else set[str]()
    heard |= {"click"} if arguments.click else set()
    heard |= {"melody"} if partner == "melody" or melody not in ("", "guide") else set()
    playing = players(arguments)
    _check_left_out(arguments, heard)
    _check_lay_out(arguments, given)
    if "melody" in playing and not melody and partner != "melody":
        raise UserError("Nobody has a melody to play.", "Add --melody etude, or name others.")
    if "comp" in given and "comping" not in playing:
        raise UserError("Nobody comps, so --comp would change nothing.", "Leave --comp out.")
    if arguments.trade and partner != "melody" and not playing & {"drums", "click"}:
        raise UserError(
            "Without the drums there is nobody to trade with.",
            "Keep them, add --click, or write --trade-with melody.",
        )


def _check_left_out(arguments: argparse.Namespace, heard: set[str]) -> None:
    """Refuse to leave out who was asked for (``heard``), or does not play anyway."""
    if not arguments.without:
        return
    left_out = parts(arguments.without)
    if not left_out:
        raise UserError("Nobody is named after --without.", "Name a player, such as bass.")
    others = parts(arguments.only) if arguments.only else RHYTHM_SECTION
    for part in sorted(left_out):
        name = "piano" if part == "comping" else part
        if part in heard:
            raise UserError(
                f"The {name} is asked for and left out at once.", "Leave out one or the other."
            )
        if part not in others:
            raise UserError(
                f"There is no {name} here to leave out.", f"Take {name} out of --without."
            )


def _check_lay_out(arguments: argparse.Namespace, given: set[str]) -> None:
    """Refuse to let the band lay out in solo choruses where there are none."""
    choruses = arguments.choruses
    if arguments.lay_out and not given & LOOPING and choruses and choruses < SOLO_CHORUSES:
        raise UserError(
            "--lay-out is for solo choruses, and there is none between head and out-chorus.",
            f"Ask for {SOLO_CHORUSES} choruses or more, or for a loop.",
        )


def _check_melody_trades(melody: str) -> None:
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


def check_sheet(arguments: argparse.Namespace, *, musicxml: bool = False) -> None:
    """Raise UserError for an option of a sheet that would change nothing, or has no word.

    ``musicxml``: it is not written as pages.
    """
    _check_words(arguments, "sheet")
    beside = {"etude": "etude", "guide": "guide tones"}.get(_word(arguments.line), "")
    given = _given(arguments) | {beside} | ({"musicxml"} if musicxml else set())
    for needless in NEEDLESS_ON_SHEETS:
        needless.check(given)


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
    return {
        name
        for name, value in vars(arguments).items()
        if not (value is None or value is False or (value == 0 and name in NONE_AT_ALL))
    }


def _spelled(option: str) -> str:
    return f"--{'for' if option == 'reader' else option.replace('_', '-')}"


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
    return _completed(arguments, SHEET)


def _completed(arguments: argparse.Namespace, usual: Mapping[str, object]) -> argparse.Namespace:
    left_out = {name: value for name, value in usual.items() if getattr(arguments, name) is None}
    return argparse.Namespace(**(vars(arguments) | left_out))
