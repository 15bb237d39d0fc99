"""The help screens: of the whole, of a command, and of a topic. None is higher than a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.resources import files

from backing import __version__
from backing.chart.choice import plain
from backing.chart.text.source import suggestion
from backing.cli.options import COMMANDS, Command, Option
from backing.cli.parser import Words
from backing.cli.status import DONE, show
from backing.errors import UserError, quoted

ABOUT = """\
A band that plays the changes: one short text file becomes practice tracks, a
page to practice with, and sheets to play from."""
FIRST = """\
Play now:  backing play tunes/corner-booth.tune
A track:   backing track tunes/corner-booth.tune -o corner-booth.wav"""
CAUTION = """\
Keep headphones at a level you can talk over, and stop when a hand hurts.
Rights in tunes and recordings are yours to clear."""
QUIETLY = "Keep headphones at a level you can talk over, and stop when a hand hurts."
TOPICS = {
    "lines": "how to say a line: etudes, guide tones, calls, the neck",
    "drills": "loops, climbs, keys in turn, trading, growing, laying out",
    "band": "who plays, feels, swing, the click, the seed",
    "lessons": "a week for students, or a set list, in one file",
    "takes": "what is said of a recording of you, and how to make one",
    "tunes": "how to write a tune file",
    "feels": "how to write a feel of your own",
    "files": "formats, stems, many tunes at once, SoundFonts",
    "keeping": "what is kept for next time",
    "cluster": "many machines at once",
}
COLUMN = 19


def help_(words: Words) -> int:
    """Show the screen of a command or a topic, or that of the whole."""
    name = plain(" ".join(words.names))
    if "version" in words:
        show(f"backing {__version__}")
    elif not words.names:
        show(overview())
    elif name in COMMANDS:
        show(screen(COMMANDS[name]))
    elif name in TOPICS:
        show(topic(name))
    else:
        known = (*COMMANDS, *TOPICS)
        raise UserError(
            f"There is no help on {quoted(name)}.",
            f"{suggestion(name, known)}Choose from: {', '.join(known)}.",
        )
    return DONE


def overview() -> str:
    """What there is: commands and topics, a line each."""
    commands = [_line(name, command.summary) for name, command in COMMANDS.items()]
    topics = [_line(name, about) for name, about in TOPICS.items()]
    return "\n".join((
        f"backing {__version__}", "", ABOUT, "", FIRST, "",
        "Commands (backing COMMAND --help says more)", *commands, "",
        "Topics (backing help TOPIC)", *topics, "",
        CAUTION,
    ))  # fmt: skip


def screen(command: Command) -> str:
    """How a command is used, and all its options."""
    return "\n".join(_screen(command))


def _screen(command: Command) -> Iterator[str]:
    yield command.usage
    yield command.about
    for group in command.groups:
        yield ""
        if group.title:
            yield group.title
        for option in group.options:
            yield _line(_named(option), option.help)
    if command.more:
        yield ""
        yield f"More: backing help {'|'.join(command.more)}"
    if command.name in ("play", "track", "page"):
        yield QUIETLY


def topic(name: str) -> str:
    """What there is to say of a topic."""
    return (files("backing.cli") / "topics" / f"{name}.txt").read_text("utf-8").rstrip()


def _named(option: Option) -> str:
    short = f"{option.short}, " if option.short else ""
    word = f"[{option.word}]" if option.alone is not None else option.word
    return f"{short}{option.spelled} {word}".rstrip()


def _line(name: str, text: str) -> str:
    return f"  {name:<{COLUMN}} {text}"
