"""The words of the command line. Nothing heavy is imported: --help answers at once."""

from __future__ import annotations

import argparse
import difflib
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, NoReturn

from backing import __version__
from backing.cli.status import USERS

TUNING = 'a tuning by name (drop-d), or as notes: "D2 A2 D3 G3 B3 E4"'
COMPS = "piano, guitar, four (guitar on every beat), vibes or organ"
CAUTION = (
    "Keep headphones at a level you can talk over, and stop when a hand hurts. "
    "Rights in tunes and recordings are yours to clear."
)

NO_WORD = ": expected one argument"
"""How argparse ends its sentence on an option that needs a word and has none."""


class _Parser(argparse.ArgumentParser):
    """Says a mistake in one sentence and offers the nearest right word."""

    def error(self, message: str) -> NoReturn:
        said = message.removeprefix("argument ").removesuffix(".")
        if said.endswith(NO_WORD):
            option = said.removesuffix(NO_WORD).rpartition("/")[-1]
            said = f"Nothing is said after {option}"
        known = [option for parser in self._family() for option in parser._option_string_actions]
        words = (word.strip(":,.") for word in said.split())
        wrong = [word for word in words if word.startswith("--")]
        near = difflib.get_close_matches(wrong[0], known, 1) if wrong else []
        hint = f" Did you mean {near[0]}?" if near and near[0] not in wrong else ""
        self.exit(USERS, f"backing: {said}.{hint} See {self.prog} --help.\n")

    def refuse(self, words: Sequence[str]) -> NoReturn:
        """Say that nobody knows what these words belong to, and end."""
        if words[0].startswith("-"):
            self.error(f"There is no option {words[0]}")
        self.error(
            f'Nothing here takes "{" ".join(words)}"; '
            'words that belong together go in quotes, such as --keys "C F"'
        )

    def _family(self) -> Iterator[_Parser]:
        """This parser and those of its commands, whose unknown words it is given."""
        yield self
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                yield from action.choices.values()


def parse(words: Sequence[str]) -> argparse.Namespace:
    """What the words of a command line say; ends with a sentence where they say nothing."""
    parser = make_parser()
    arguments, left = parser.parse_known_args(words)
    if left:
        command = next(p for p in parser._family() if p.prog.split()[1:] == [arguments.command])
        command.refuse(left)
    return arguments


def whole_number(text: str) -> int:
    """The number an option takes. Raises ArgumentTypeError for any other word."""
    try:
        return int(text)
    except ValueError:
        cause = f'"{text}" is no whole number; write one such as 4'
        raise argparse.ArgumentTypeError(cause) from None


@lru_cache(maxsize=1)
def make_parser() -> _Parser:
    """The whole command line."""
    parser = _Parser(
        prog="backing",
        description="A band that plays the changes: one short text file becomes practice tracks.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"backing {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    _add_check(commands)
    _add_track(commands)
    _add_page(commands)
    _add_sheet(commands)
    _add_sounds(commands)
    _add_cache(commands)
    return parser


if TYPE_CHECKING:
    Commands = argparse._SubParsersAction[_Parser]


def _add_check(commands: Commands) -> None:
    check = commands.add_parser(
        "check",
        help="read tunes and show them as the band will play them, or all their mistakes",
        description="Read tunes and show them as the band will play them, or all their mistakes.",
    )
    check.add_argument("tunes", nargs="*", metavar="TUNE", help="tune files")
    check.add_argument("--json", action="store_true", help="the same as JSON on stdout")
    check.add_argument("--tidy", action="store_true", help="the tune file itself, tidily written")
    check.add_argument("--feels", action="store_true", help="list the feels, a sentence each")


def _add_page(commands: Commands) -> None:
    page = commands.add_parser(
        "page",
        help="make a page to practise with: one file that plays in any browser, offline",
        description="Make a page to practise with: one HTML file that plays the tune's band live, "
        "shows the chords, the guide tones and the neck, and needs no network.",
        epilog=CAUTION,
    )
    page.add_argument("tunes", nargs="+", metavar="TUNE", help="tune files")
    page.add_argument(
        "-o", "--output", metavar="FILE", help="where to: a file.html, or a folder (default: here)"
    )
    page.add_argument("--tempo", metavar="BPM", help="the tempo it opens with (120, or 80%%)")
    page.add_argument("--key", metavar="KEY", help="the key it opens in (Bb)")
    page.add_argument("--feel", metavar="NAME", help="another feel (check --feels lists them)")
    page.add_argument("--comp", default="piano", metavar="WHAT", help=COMPS)
    page.add_argument(
        "--seed", type=whole_number, default=1, metavar="N", help="another number, other notes"
    )
    page.add_argument("--soundfont", metavar="FILE", help="play it with this SoundFont")
    page.add_argument("--open", action="store_true", help="open it in the browser")
    page.add_argument("--quiet", action="store_true", help="no summary")
    bench = page.add_argument_group("while the tune is being written")
    bench.add_argument(
        "--watch", action="store_true", help="serve it here, changed whenever the file is saved"
    )
    bench.add_argument(
        "--share", action="store_true", help="with --watch: to phones on the home network, too"
    )
    bench.add_argument(
        "--port",
        type=whole_number,
        default=0,
        metavar="N",
        help="with --watch: at this port (default: any)",
    )


def _add_sheet(commands: Commands) -> None:
    sheet = commands.add_parser(
        "sheet",
        help="print the chart of a tune, shapes on the neck, and lines in staff and tablature",
        description="Print the chart of a tune, the shapes of its chords on the neck, and lines "
        "through its changes. The suffix of FILE says what is written: .pdf .svg .png are pages, "
        ".musicxml is for notation programs.",
    )
    sheet.add_argument("tunes", nargs="*", metavar="TUNE", help="tune files")
    sheet.add_argument(
        "-o", "--output", metavar="FILE", help="where to: a file, or a folder (default: here)"
    )
    sheet.add_argument("--key", metavar="KEY", help="print it in this key (Bb)")
    sheet.add_argument("--no-chart", action="store_true", help="leave the chart out")
    sheet.add_argument("--quiet", action="store_true", help="no summary")
    neck = sheet.add_argument_group("the neck")
    neck.add_argument(
        "--position", metavar="N", help="shapes of all chords in this position; auto: the easiest"
    )
    neck.add_argument(
        "--no-shapes", action="store_true", help="with --position: for the line alone"
    )
    neck.add_argument("--set", metavar="ROOT", help="without a tune: all arpeggios on this root")
    neck.add_argument("--tuning", metavar="NOTES", help=TUNING)
    neck.add_argument("--frets", type=whole_number, metavar="N", help="frets (default 22)")
    neck.add_argument("--left-handed", action="store_true", help="grids for left-handed players")
    line = sheet.add_argument_group("a line through the changes")
    line.add_argument("--line", metavar="WHAT", help="etude or guide, in staff and tablature")
    line.add_argument(
        "--bars", metavar="WHICH", help="the line or the shapes of these bars: 13-16, B, B:5-8"
    )
    line.add_argument(
        "--guide", metavar="LINE", help="with --line guide: thirds, sevenths or both (default)"
    )
    _add_line(line)
    line.add_argument(
        "--seed", type=whole_number, metavar="N", help="another number, another etude"
    )
    print_ = sheet.add_argument_group("the print")
    print_.add_argument("--paper", metavar="SIZE", help="a4 (default) or letter")
    print_.add_argument("--large", action="store_true", help="large print")
    print_.add_argument("--for", dest="reader", metavar="WHOM",
                        help="guitar (default), C, Bb, Eb or bass")  # fmt: skip
    print_.add_argument("--clef", metavar="CLEF", help="treble or bass")
    print_.add_argument("--no-tab", action="store_true", help="no tablature under the staff")
    print_.add_argument(
        "--signs", action="store_true", help="triangles and circles for words in chord symbols"
    )


def _add_line(line: argparse._ArgumentGroup) -> None:
    """How a line through the changes is to go, on a sheet or in a track."""
    line.add_argument("--level", type=whole_number, metavar="N",
                      help="1 chord tones, 2 approaches, 3 enclosures, 4 scale tones")  # fmt: skip
    line.add_argument("--rhythm", metavar="WHAT",
                      help="wholes, halves, quarters, eighths (default), triplets, off-beats, "
                      "phrases or call")  # fmt: skip
    line.add_argument(
        "--call-on",
        metavar="BEAT",
        help='where calls start: 1, "1&", 2, 3, or each in turn (turn, default)',
    )
    line.add_argument("--start", type=whole_number, metavar="TONE", help="begin on 1, 3, 5 or 7")
    line.add_argument("--direction", metavar="WAY", help="runs go up, down or both (default)")
    line.add_argument("--way", metavar="TONES", help="through 1-7 (default) or 3-9")
    line.add_argument("--thirds", action="store_true", help="land on the third at every change")
    line.add_argument("--early", action="store_true", help="arrive an eighth before each chord")
    line.add_argument(
        "--top-strings", type=whole_number, metavar="N", help="stay on so many strings"
    )


def _add_sounds(commands: Commands) -> None:
    sounds = commands.add_parser(
        "sounds",
        help="SoundFonts found, their licence, which one is used and why",
        description="SoundFonts found, their licence, which one is used and why.",
    )
    sounds.add_argument("--soundfont", metavar="FILE", help="look at this one too")


def _add_cache(commands: Commands) -> None:
    cache = commands.add_parser(
        "cache",
        help="tracks and notes that are kept, so that they need not be made again",
        description="Tracks that were made, and the notes of SoundFonts, are kept, so that they "
        "need not be made again.",
    )
    cache.add_argument("--clear", action="store_true", help="take them all away")
    cache.add_argument("--limit", metavar="SIZE", help="keep so much at most: 500M, 2G; 0: nothing")


def _add_drills(drills: argparse._ArgumentGroup, files: argparse._ArgumentGroup) -> None:
    drills.add_argument(
        "--lead-in",
        type=whole_number,
        default=0,
        metavar="BARS",
        help="bars played before a loop begins",
    )
    drills.add_argument(
        "--breath",
        type=whole_number,
        default=0,
        metavar="BARS",
        help="bars of hi-hat alone between rounds",
    )
    drills.add_argument(
        "--grow", action="store_true", help="a loop grown backwards: its last bar, two, four, all"
    )
    drills.add_argument(
        "--ladder", action="store_true",
        help="hear an etude in wholes, halves, quarters, eighths and triplets in turn",
    )  # fmt: skip
    drills.add_argument(
        "--trade", type=whole_number, default=0, metavar="BARS",
        help="trade fours (4), you and a partner, in solo choruses or rounds",
    )  # fmt: skip
    drills.add_argument(
        "--trade-with", metavar="WHO",
        help="drums (alone, the default), or melody: a line, with the band playing on",
    )  # fmt: skip
    drills.add_argument("--you-second", action="store_true", help="your partner begins the trading")
    files.add_argument("--separate", action="store_true", help="one file for each tempo or key")
    drills.add_argument(
        "--lay-out", type=whole_number, default=0, metavar="BARS",
        help="all but the hi-hat rest for the last bars of each solo chorus or round",
    )  # fmt: skip
    drills.add_argument(
        "--same", action="store_true", help="every round has the same accompaniment"
    )


def _add_track(commands: Commands) -> None:
    track = commands.add_parser(
        "track",
        help="play a tune as a practice track, as audio or MIDI",
        description="Play a tune as a practice track. The suffix of FILE says what is written: "
        ".wav .flac .mp3 .ogg .opus .m4a are audio, .mid is MIDI.",
        epilog=CAUTION,
    )
    track.add_argument("tunes", nargs="*", metavar="TUNE", help="tune files")
    track.add_argument(
        "--changes", metavar="BARS", help='bare changes without a tune: "Dm7 | G7 | Cmaj7 | %%"'
    )
    track.add_argument(
        "-o", "--output", metavar="FILE", help="where to (a folder for several tunes)"
    )
    titles = (
        "what is played", "drills", "the band", "a line through the changes", "sound and files",
    )  # fmt: skip
    what, drills, band, melody, sound = map(track.add_argument_group, titles)
    what.add_argument("--tempo", metavar="BPM", help="beats a minute (120) or of the tune's (80%%)")
    what.add_argument(
        "--choruses",
        type=whole_number,
        metavar="N",
        help="head, solos and out together (default 3)",
    )
    what.add_argument(
        "--bars", metavar="WHICH", help="go round bars 13-16, a section B, or B:5-8 of it"
    )
    what.add_argument(
        "--times",
        type=whole_number,
        metavar="N",
        help="rounds at each tempo (default: a minute, 8 at most)",
    )
    what.add_argument(
        "--climb",
        metavar="FROM-TO:STEP",
        help="step the tempo up: 80-160:8, 60%%-105%%:5%%; 60%%: to 105%%, then the tune's own",
    )
    what.add_argument(
        "--climb-order", metavar="ORDER",
        help="up, up-and-back, two-up-one-down or slow-and-goal",
    )  # fmt: skip
    what.add_argument("--key", metavar="KEY", help="play it in this key (Bb)")
    what.add_argument(
        "--keys",
        metavar="KEYS",
        help='go through keys without a stop: fourths, fifths, semitones, or "C F Bb"',
    )
    what.add_argument("--ending", metavar="HOW", help="held, short, tag or slow (default held)")
    _add_drills(drills, sound)
    band.add_argument(
        "--without", metavar="WHO", help="leave out bass, piano or drums, or several: bass,drums"
    )
    band.add_argument("--only", metavar="WHO", help="these alone: bass, piano, drums, guide, click")
    band.add_argument(
        "--guide", nargs="?", const="thirds", metavar="LINE",
        help="hear guide tones: thirds (default), sevenths or both",
    )  # fmt: skip
    band.add_argument(
        "--click", nargs="?", const="all", metavar="BEATS",
        help='hear a click: all, "2 and 4", 4, or sparse (1 of every second bar)',
    )  # fmt: skip
    band.add_argument("--comp", metavar="WHAT", help=COMPS)
    band.add_argument("--feel", metavar="NAME", help="another feel (check --feels lists them)")
    band.add_argument("--swing", metavar="RATIO", help="long to short eighths, 1 (even) to 4")
    band.add_argument(
        "--count-in", type=whole_number, metavar="BARS", help="bars counted before (0: none)"
    )
    band.add_argument(
        "--seed", type=whole_number, default=1, metavar="N", help="another number, other notes"
    )
    melody.add_argument(
        "--melody", metavar="WHAT",
        help="hear one: etude, guide (tones), or call (two bars, then two for your answer)",
    )  # fmt: skip
    melody.add_argument(
        "--position", metavar="N",
        help='where on the neck ("5 7": another in each chorus); auto: the easiest',
    )  # fmt: skip
    melody.add_argument("--tuning", metavar="NOTES", help=TUNING)
    melody.add_argument("--frets", type=whole_number, metavar="N", help="frets (default 22)")
    _add_line(melody)
    sound.add_argument("--soundfont", metavar="FILE", help="play it with this SoundFont")
    sound.add_argument(
        "--stems", action="store_true", help="also write one file a part; together they are the mix"
    )
    sound.add_argument(
        "--format", metavar="NAME", help="of files in a folder: wav, flac, mp3, ogg, opus, m4a, mid"
    )
    sound.add_argument("--bits", type=int, choices=(16, 24), default=16, help="of .wav and .flac")
    sound.add_argument("--long", action="store_true", help="make it even if it lasts for hours")
    sound.add_argument(
        "--no-cache", action="store_true", help="make it anew, even if it was made before"
    )
    sound.add_argument(
        "--cluster", metavar="ADDRESS", help="let the workers of a Dask scheduler make the tracks"
    )
    sound.add_argument("--quiet", action="store_true", help="no progress, no summary")
