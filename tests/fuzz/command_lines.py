"""Command lines of words that are almost right, and the phrases and numbers in them."""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import shlex
from functools import cache
from pathlib import Path

from backing.chart.text.tune_file import read
from backing.cli import main
from backing.cli.options import COMMANDS
from backing.cli.parser import parse
from backing.cli.retired import RETIRED
from backing.cli.tag_text import command_again
from backing.cli.track import read_order
from backing.combo.band import Band
from backing.errors import UserError
from backing.lines.phrase import read_phrase
from backing.neck.phrase import read_neck
from backing.routine.climb import Climb
from backing.routine.keys import Keys
from backing.routine.phrase import read_drill
from backing.routine.request import Request
from backing.routine.routine import make_routine
from backing.routine.tempo import Tempo
from backing.routine.trading import Trade
from tests.fuzz.harness import Target, Wrong
from tests.fuzz.mutation import NUMBERS, ODD, damaged, encoded
from tests.fuzz.readers import SMALL, folder

PHRASES = (
    "120", "80%", "60%-105%:5% up-and-back", "80-160:8", "13-16", "B:5-8", "31-2", "A B", "1-4",
    "fourths", "half-steps from G", "C F Bb", "Bb", "4 drums first", "4 with line", "twos", "all",
    "lead-in 2, rest bar, grow, lay out 8, same", "etude level 2 off-beats position 5", "2 and 4",
    "guide both", "call on 1&", "drop-d 24 frets", "left-handed", "bass,drums", "comp", "guide",
    "swing", "bossa", "1.6", "flac 24-bit", "mid", "500M", "2G", "0", "held", "slow", "auto",
    "Dm7 | G7 | Cmaj7 | %", "E2 A2 D3 G3", "a4", "letter", "treble", "sparse", "subdivisions",
)  # fmt: skip
WORDS = encoded((
    " ", ",", "-", ":", "%", "&", "from", "to", "and", "level", "position", "1&", "up",
    "each in turn",
    "guide", "etude", "call", "bars", "grow", "same", "C#", "Cb", "H", "minor", "fifths from",
))  # fmt: skip


def _phrase(rng: random.Random) -> bytes:
    return damaged(rng, [phrase.encode() for phrase in PHRASES], WORDS)


@cache
def _form():
    return read(SMALL.decode(), "x.tune")


def _read_phrase(data: bytes) -> str:
    text = data.decode("utf-8", "replace")
    readers = (
        Tempo.of, Climb.of, Keys.of, Trade.of, read_drill, read_phrase, read_neck,
        lambda words: make_routine(_form(), Request(bars=words, times=1)),
        lambda words: Request(choruses=words), lambda words: Request(times=words),
        lambda words: Request(count_in=words), lambda words: Band(seed=words),
        lambda words: Band(without=words), lambda words: Band(players=words),
        lambda words: Band(click=words), lambda words: Band(swing=words),
        lambda words: Band(comp=words),
    )  # fmt: skip
    understood, said = 0, None
    for reader in readers:
        try:
            reader(text)
            understood += 1
        except UserError as error:
            said = error
    if not understood and said is not None:
        raise said
    return "read"


NAMES = ("four.tune", "four.tune", "four.tune", "four.musicxml", "nowhere.tune", "bad.tune", ".")
OUTPUTS = ("x.mid", "x.musicxml", "out/", "out", "nowhere/x.mid", "x.wav", "four.tune", "x",
           "/dev/null", "link.mid", "null.mid", "\x1b[31mx.mid", "é.mid",
           "x" * 300 + ".mid")  # fmt: skip
RUNS = (
    "track",
    "track",
    "track",
    "check",
    "sheet",
    "help",
    "cache",
    "sounds",
    "page",
    "tracks",
    "",
)


def _line(rng: random.Random) -> bytes:
    name = rng.choice(RUNS)
    command = COMMANDS.get(name)
    options = list(command.options) if command else []
    words = [name, *rng.choices(NAMES, k=rng.choice((0, 1, 1, 1, 2)))]
    for option in rng.sample(options, min(len(options), rng.choice((0, 1, 2, 2, 3, 5)))):
        spelled = option.short if option.short and rng.random() < 0.5 else option.spelled
        given = rng.choice(PHRASES)
        if rng.random() < 0.2:
            given = rng.choice((*NUMBERS, *ODD)).replace("\0", "")
        given = rng.choice(OUTPUTS) if option.name == "output" else given
        words += [f"{spelled}={given}"] if rng.random() < 0.2 else [spelled]
        if option.word and "=" not in words[-1]:
            words.append(given)
    if rng.random() < 0.05:
        words.append(f"--{rng.choice(RETIRED).name}")
    if rng.random() < 0.1:
        rng.shuffle(words)
    if rng.random() < 0.2:
        words.insert(rng.randrange(len(words) + 1), rng.choice((*NUMBERS, *ODD)).replace("\0", ""))
    return json.dumps(words).encode()


@cache
def _place() -> Path:
    """A folder with a tune, the same as MusicXML, one with mistakes, and links to devices."""
    place = folder() / "lines"
    place.mkdir(exist_ok=True)
    os.environ["XDG_CACHE_HOME"] = str(place / "cache")
    os.environ["BROWSER"] = "true"
    (place / "null.mid").symlink_to(os.devnull)
    (place / "link.mid").symlink_to("four.tune")
    (place / "out").mkdir()
    return place


def _run(data: bytes) -> str:
    words = json.loads(data)
    if "play" in words or "--cluster" in " ".join(words) or "--open" in " ".join(words):
        return "not run"
    place = _place()
    os.chdir(place)
    (place / "four.tune").write_bytes(SMALL)
    (place / "bad.tune").write_bytes(SMALL.replace(b"G7", b"Q"))
    said, told = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(told):
        # sound takes longer than all else, and is left to the kill matrix
        quick = words if _is_quick(words) else [*words, "--soundfont", "nowhere.sf2"]
        status = main(quick)
    text = told.getvalue()
    if status not in (0, 2):
        raise Wrong(f"status {status}: {text[-300:]}")
    if status == 2 and not text.strip():
        raise Wrong("a mistake that is told of in no words")
    if "Traceback" in text or "\x1b" in text + said.getvalue():
        raise Wrong(f"what no terminal should see: {text[-300:]!r}")
    if (place / "four.tune").read_bytes() != SMALL:
        raise Wrong("the tune was replaced")
    left = [path.name for path in place.rglob("*") if ".part" in path.name]
    if left or not Path(os.devnull).is_char_device():
        raise Wrong(f"left behind: {left}")
    _same_again(words)
    return "done" if status == 0 else "refused"


def _is_quick(words: list[str]) -> bool:
    return words[:1] not in (["track"], ["page"]) or any(w.endswith((".mid", "mid")) for w in words)


def _same_again(words: list[str]) -> None:
    """The recipe of a track orders what its words order."""
    try:
        asked = parse(words)
        order = read_order(asked)
    except UserError:
        return
    if asked.command.name != "track":
        return
    recipe = shlex.split(command_again(asked, asked.names[0] if asked.names else ""))
    again = read_order(parse(recipe[1:]))
    if again.request != order.request:
        raise Wrong(f"the recipe {recipe} orders something else")


TARGETS = (
    Target("words", _phrase, _read_phrase),
    Target("command-lines", _line, _run),
)
