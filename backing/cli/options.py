"""The table of the command line: every command, its options, and what would change nothing.

The parser, the help screens, the refusal of what would change nothing and the recipe in the tags
are all made of it.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from backing.errors import UserError


@dataclass(frozen=True, slots=True)
class Idle:
    """Where an option would change nothing: ``beside`` any of these, or ``without`` all of them.

    Both name options, or facts of what is made. {} in ``cause`` and ``cure`` is the option.
    """

    cause: str
    cure: str
    beside: Collection[str] = ()
    without: Collection[str] = ()

    def holds(self, said: Collection[str]) -> bool:
        """Whether it holds where these options and facts are ``said``."""
        beside = any(name in said for name in self.beside)
        return beside or (bool(self.without) and not any(name in said for name in self.without))


@dataclass(frozen=True, slots=True)
class Option:
    """An option: its ``name`` without dashes and, where it takes one, what its ``word`` is.

    ``alone``: what it says where no word follows (None: a word must). ``fills``: REQUEST or BAND,
    where a value of the same name, or of that in ``value``, takes the word as it is. ``file``: the
    word names a file. ``heard``: whether it belongs to the command that makes a track again.
    """

    name: str
    word: str
    help: str
    alone: str | None = None
    fills: str = ""
    value: str = ""
    file: bool = False
    heard: bool = True
    short: str = ""
    idle: tuple[Idle, ...] = ()

    @property
    def spelled(self) -> str:
        """As it is written: "--count-in"."""
        return f"--{self.name}"


@dataclass(frozen=True, slots=True)
class Group:
    """Options that a player thinks of together; ``title`` heads them on a help screen."""

    title: str
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class Command:
    """A command: what it does in a line, how it is used, and its options."""

    name: str
    summary: str
    usage: str
    about: str
    groups: tuple[Group, ...]
    more: tuple[str, ...] = ()

    @property
    def options(self) -> tuple[Option, ...]:
        """All its options in their order."""
        return tuple(option for group in self.groups for option in group.options)


def refuse_idle(options: Collection[Option], said: Collection[str]) -> None:
    """Raise UserError for the first of the options said that would change nothing."""
    for option in options:
        for idle in option.idle if option.name in said else ():
            if idle.holds(said):
                name = option.spelled
                raise UserError(idle.cause.format(name), idle.cure.format(name))


REQUEST = "request"
BAND = "band"
COMPS = "piano, guitar, four (guitar on every beat), vibes or organ"

OUTPUT = Option("output", "FILE", "where to; a folder for several tunes", short="-o", file=True,
                heard=False)  # fmt: skip
CHANGES = Option("changes", "BARS", 'changes in place of a tune: "Dm7 | G7 | Cmaj7 | %"')
QUIET = Option("quiet", "", "no progress, no summary", heard=False)
SOUNDFONT = Option("soundfont", "FILE", "play it with this SoundFont (see backing sounds)",
                   file=True, heard=False,
                   idle=(Idle("MIDI has no sound of its own, so {} would change nothing.",
                              "Leave {} out.", beside=("midi",)),))  # fmt: skip
TEMPO = Option("tempo", "BPM", "beats a minute (132), or a percentage of the tune's (80%)",
               fills=REQUEST)  # fmt: skip
BARS = Option("bars", "WHICH", 'loop these: 13-16, B, B:5-8, 31-2 (over the top), "A B"',
              fills=REQUEST)  # fmt: skip
FEEL = Option("feel", "NAME", "another feel (backing check --feels lists them)", fills=BAND,
              file=True)  # fmt: skip
OCCASION = Option(
    "occasion", "WHAT", "what the band plays at: lesson, rehearsal or gig", fills=BAND
)
SEED = Option("seed", "N", "another number gives other notes", fills=BAND,
              heard=False)  # fmt: skip
COMP = Option(
    "comp", "WHAT", COMPS, fills=BAND,
    idle=(Idle("The comp isn't playing, so {} would change nothing.", "Leave {} out.",
               beside=("no comp",)),),
)  # fmt: skip
LINE = Option("line", "PHRASE", 'a line: guide, "etude 7 level 2 position 5", "call on 1&"')
NECK = Option(
    "neck", "PHRASE", 'the neck it lies on: drop-d, "24 frets", left-handed',
    idle=(Idle("{} is for a line or shapes on the neck.", "Add --line etude, or leave {} out.",
               without=("a line",)),),
)  # fmt: skip

TRACK = Command(
    "track",
    "write practice tracks, as sound or MIDI",
    "backing track TUNE ... [options]",
    "The ending of FILE decides what is written: .wav .flac .mp3 .ogg .opus and\n"
    ".m4a are sound, .mid is MIDI.",
    (
        Group("", (
            OUTPUT,
            CHANGES,
        )),
        Group("What is played", (
            replace(TEMPO, help='beats a minute (132, 80%); a track at each: "80 100 120"'),
            Option("climb", "PHRASE", 'step the tempo up: 80-160:8, 60%, "60%-105% up-and-back"',
                   fills=REQUEST),
            Option("choruses", "N", "head, solos and head out together; otherwise 3",
                   fills=REQUEST),
            BARS,
            Option("times", "N", "times through the loop at each tempo; otherwise a minute",
                   fills=REQUEST),
            Option("key", "KEYS", 'another key (Bb), or several in turn: fourths, "C F Bb"',
                   fills=REQUEST),
            Option("ending", "HOW", "of whole choruses: held, short, tag or slow", fills=REQUEST),
            Option("count-in", "BARS", "bars counted before; 0 for none", fills=REQUEST),
        )),
        Group("Practice", (
            LINE,
            NECK,
            Option("trade", "PHRASE", 'trade fours: 4, "4 drums first", "4 with line"',
                   fills=REQUEST),
            Option("drill", "PHRASE", '"lead-in 2, rest bar, grow, lay out 8, same"'),
        )),
        Group("The band", (
            Option("without", "WHO", "leave out bass, comp or drums; several: bass,drums",
                   fills=BAND),
            Option("only", "WHO", "these alone: bass, comp, drums, guide, line, click",
                   fills=BAND, value="players"),
            COMP,
            Option("click", "BEATS", 'hear a click: all, "2 and 4", 4 or sparse', alone="all",
                   fills=BAND),
            FEEL,
            OCCASION,
            Option("swing", "RATIO", "long to short eighths, from 1 (even) to 4", fills=BAND),
            SEED,
        )),
        Group("Files", (
            Option(
                "separate", "", "a file for each tempo or key, in the order of practicing",
                idle=(Idle("{} makes a file for each tempo or key, and there is one.",
                           "Add --climb or several keys, or leave {} out.",
                           without=("climb", "keys in turn")),),
            ),
            Option(
                "stems", "", "a file for each player as well: fours-bass.wav, ...",
                idle=(Idle("MIDI has a track for each player already.", "Leave {} out.",
                           beside=("midi",)),),
            ),
            SOUNDFONT,
            Option("format", "PHRASE", "wav, flac, mp3, ogg, opus, m4a, mid; \"flac 24-bit\"",
                   heard=False),
            Option("long", "", "allow more than two hours"),
            Option("no-cache", "", "make it anew, and keep nothing for next time", heard=False),
            Option("cluster", "ADDRESS", "let the workers of a Dask scheduler make them",
                   heard=False),
            QUIET,
        )),
    ),
    ("lines", "drills", "band", "tunes", "files"),
)  # fmt: skip

OPENING = (
    Option("tempo", "BPM", "the tempo it opens at (132, or 80%)"),
    Option("key", "KEY", "the key it opens in (Bb)"),
    FEEL,
    OCCASION,
    COMP,
    replace(SEED, heard=True),
    Option("line", "PHRASE", 'the line it plays: "etude level 2 off-beats position 5"'),
    Option("neck", "PHRASE", "the neck it shows: drop-d, left-handed"),
    Option("part", "WHOM", "for whom the chords are: C (guitar), Bb, Eb; or alto, ..."),
    replace(SOUNDFONT, heard=True, idle=()),
    QUIET,
)

PLAY = Command(
    "play",
    "open the band in the browser, and play now",
    "backing play TUNE [options]",
    "Opens a page that plays the tune's band live and shows the chords, the guide\n"
    "tones and the neck. Whenever the tune file is saved, the page follows. Ctrl-C\n"
    "ends it.",
    (
        Group("How it opens", OPENING),
        Group("Where", (
            Option("share", "", "let phones on the home network open it, too", heard=False),
            Option("port", "N", "serve it at this port; otherwise at any that is free",
                   heard=False),
            Option("no-browser", "", "serve it, and open nothing", heard=False),
        )),
    ),
    ("tunes", "lines", "band"),
)  # fmt: skip
PAGE = Command(
    "page",
    "write the practice page as one file, for use offline",
    "backing page TUNE ... [options]",
    "Writes one HTML file that plays the tune's band live in any browser, shows the\n"
    "chords, the guide tones and the neck, and needs no network.",
    (
        Group("", (OUTPUT, CHANGES)),
        Group("How it opens", OPENING),
        Group("Afterwards", (Option("open", "", "open it in the browser", heard=False),)),
    ),
    ("tunes", "lines", "band"),
)

NO_TUNE = Idle("{} is for the sheet of a tune, and --arpeggios has none.", "Leave {} out.",
               beside=("arpeggios",))  # fmt: skip
NO_PAGES = Idle("MusicXML leaves the print to another program, so {} would change nothing.",
                "Leave {} out, or end the name in .pdf.", beside=("musicxml",))  # fmt: skip
NO_FRETS = Idle("This part has no frets, so {} would change nothing.",
                "Leave {} out, or write --part guitar or bass.", beside=("no frets",))  # fmt: skip
NO_STAFF = Idle("{} is for the staff of a line, and there is none.",
                "Add --line etude or guide, or leave {} out.", without=("line",))  # fmt: skip

SHEET = Command(
    "sheet",
    "print the chart, shapes on the neck, and lines",
    "backing sheet TUNE ... [options]",
    "Prints the chart of a tune, the shapes of its chords on the neck, and lines\n"
    "through its changes in staff and tablature. The ending of FILE decides what is\n"
    "written: .pdf .svg .png are pages, .musicxml is for notation programs.",
    (
        Group("", (
            replace(OUTPUT, help="where to: one for all tunes, or a folder for one each"),
            CHANGES,
        )),
        Group("What is on it", (
            Option("line", "PHRASE", 'a line: guide, bass, "etude 7 level 2 position 5"',
                   idle=(NO_TUNE,)),
            Option("shapes", "POSITION", 'shapes of all chords: 5, auto, "5 pairs" (ii-V and V-I)',
                   alone="", idle=(NO_TUNE, NO_PAGES, NO_FRETS)),
            Option("arpeggios", "ROOT", "without a tune: all arpeggios on this root"),
            Option("neck", "PHRASE", 'the neck: drop-d, "24 frets", left-handed',
                   idle=(Idle("{} is for shapes or a line, and there are none.",
                              "Add --shapes or --line, or leave {} out.",
                              without=("line", "shapes", "arpeggios")),)),
            Option("bars", "WHICH", "the line, or the shapes, of these bars: 13-16, B, B:5-8",
                   idle=(NO_TUNE, Idle("{} is for shapes or a line; the chart is printed whole.",
                                       "Add --shapes or --line, or leave {} out.",
                                       without=("line", "shapes")))),
            Option("key", "KEYS", 'print it in this key (Bb), or in each: fourths, "C F Bb"',
                   idle=(NO_TUNE,)),
            Option("no-chart", "", "leave the chart out", idle=(NO_TUNE, NO_PAGES)),
            Option("seed", "N", "of the band, whose bass it is: --line bass",
                   idle=(NO_TUNE, Idle("{} is for --line bass; etudes are told by their number.",
                                       'Leave {} out, or write --line "etude 7".',
                                       without=("walking",)))),
        )),
        Group("Who reads it", (
            Option("part", "WHOM", "guitar, C, Bb, Eb or bass; or alto, trumpet, flute, ...",
                   idle=(NO_TUNE,)),
            Option("clef", "CLEF", "treble or bass", idle=(NO_TUNE, NO_STAFF)),
            Option("no-tab", "", "no tablature under the staff", idle=(NO_TUNE, NO_STAFF)),
        )),
        Group("The print", (
            Option("paper", "SIZE", "a4 or letter", idle=(NO_PAGES,)),
            Option("large", "", "large print", idle=(NO_PAGES,)),
            Option("signs", "", "triangles and circles for words in chord symbols",
                   idle=(NO_PAGES,)),
            QUIET,
        )),
    ),
    ("lines", "tunes"),
)  # fmt: skip

_TRACK = {option.name: option for option in TRACK.options}


def _of_track(*names: str) -> tuple[Option, ...]:
    """Options that say of a take's track what they say of a track."""
    return tuple(replace(_TRACK[name], idle=()) for name in names)


TAKE = Command(
    "take",
    "hear a recording of you, and say what to work on next",
    "backing take TUNE RECORDING [options]",
    "Holds a recording of you, or a MIDI file, against the track you played over:\n"
    "which notes left the chord, how each change was crossed, how the time sat.\n"
    "The track itself may stand in place of TUNE. It is heard one note at a time.",
    (
        Group("", (
            Option("output", "FILE", "the take over the chords, as .svg, .png or .html", short="-o",
                   file=True),
            Option("json", "", "as JSON, for programs"),
            Option("starts-at", "PLACE", "where it begins, if it can't be found: bar 3, or 0:12"),
            Option("log", "FILE", "add it to your practice log; alone with -o, plot the log",
                   file=True),
            Option("compare", "FILE", "beside your last take of this tune in a log", file=True),
        )),
        Group("What the track played, if TUNE isn't the track", (
            TEMPO,
            *_of_track("climb", "choruses", "bars", "times", "key", "ending", "count-in"),
            *_of_track("line", "neck", "trade", "drill", "feel", "swing"),
            SEED,
            QUIET,
        )),
    ),
    ("takes", "lines", "drills"),
)  # fmt: skip

NO_MAKING = Idle("Nothing is made here, so {} would change nothing.", "Leave {} out.",
                 beside=("log", "dry-run"))  # fmt: skip
LOGS_READ = Idle("With --log nothing is made, so {} would change nothing.", "Leave {} out.",
                 beside=("log",))  # fmt: skip
LESSON = Command(
    "lesson",
    "make a week for students, or a set list, from one file",
    "backing lesson FILE.toml [options]",
    "Makes what a lesson file asks for: a folder for each student with tracks in\n"
    "order, one PDF of sheets, the page, and a first page that says what to do; or\n"
    "without a student the album and the charts of a set list.",
    (
        Group("", (
            Option("output", "DIR", "the folder they go to, or FILE.zip; otherwise FILE",
                   short="-o", file=True, heard=False, idle=(LOGS_READ,)),
            Option("dry-run", "", "list what would be made, how long and how large",
                   idle=(LOGS_READ,)),
            Option("log", "FILE", "practice logs of students: what got steady, and what next",
                   file=True),
            Option("no-cache", "", "make everything anew, and keep nothing for next time",
                   heard=False, idle=(NO_MAKING,)),
            Option("cluster", "ADDRESS", "let the workers of a Dask scheduler make them",
                   heard=False, idle=(NO_MAKING,)),
            replace(QUIET, idle=(NO_MAKING,)),
        )),
    ),
    ("lessons", "files"),
)  # fmt: skip
NO_TROUBLE = Idle("{} is for --trouble.", "Add --trouble, or leave {} out.", without=("trouble",))
CHECK = Command(
    "check",
    "show what the band makes of tunes, or all their mistakes",
    "backing check TUNE ... [options]",
    "Reads tunes and shows them as the band will play them, or all their mistakes\n"
    "at once, each with where it stands and what to do; lesson files as well.",
    (
        Group("", (
            Option("json", "", "as JSON, for programs"),
            Option("tidy", "", "the tune file itself, neatly written"),
            Option("mend", "", "a rough chart as a tune file, each change told"),
            Option("feels", "", "list the feels"),
        )),
        Group("Which changes are hard", (
            Option("trouble", "WHERE", "rank them: in a position (5), the best one, or no neck",
                   alone="auto"),
            replace(TEMPO, help="at this tempo (132, or 80% of the tune's)", idle=(NO_TROUBLE,)),
            replace(NECK, help="on this neck: drop-d, bass, left-handed", idle=(NO_TROUBLE,)),
        )),
    ),
    ("tunes", "feels"),
)  # fmt: skip
SOUNDS = Command(
    "sounds",
    "list the SoundFonts found, and say which one is used",
    "backing sounds [options]",
    "Lists the SoundFonts found, their license, and which one is used and why.",
    (Group("", (Option("soundfont", "FILE", "look at this one too", file=True),)),),
    ("files",),
)
CACHE = Command(
    "cache",
    "show, limit or clear what is kept for next time",
    "backing cache [options]",
    "Tracks that were made are kept, so that they need not be made again.",
    (
        Group("", (
            Option("clear", "", "delete everything"),
            Option("limit", "SIZE", "keep at most this much: 500M, 2G; 0: nothing"),
        )),
    ),
    ("keeping",),
)  # fmt: skip
HELP = Command(
    "help",
    "say more about a command or a topic",
    "backing help [COMMAND or TOPIC]",
    "Shows the help of a command, or says more about a topic.",
    (Group("", (Option("version", "", "the version of this program"),)),),
)

COMMANDS = {
    command.name: command
    for command in (PLAY, TRACK, SHEET, PAGE, LESSON, TAKE, CHECK, SOUNDS, CACHE, HELP)
}
