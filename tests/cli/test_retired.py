"""Old options and old words are answered with the new ones, which say the same."""

from __future__ import annotations

import re
import shlex

import pytest

from backing.cli.options import COMMANDS
from backing.cli.parser import parse
from backing.cli.retired import GONE, PLAYERS, RETIRED, SERVED
from backing.errors import UserError
from tests.cli.conftest import Run

TRACK = [
    ("--melody etude", "--melody is now --line: write --line etude."),
    ("--melody guide", "--melody is now --line: write --line guide."),
    ("--melody call --call-on 1&",
     '--melody and --call-on are now --line: write --line "call on 1&".'),
    ("--guide", "--guide is now --line: write --line guide."),
    ("--guide thirds", '--guide is now --line: write --line "guide from the 3rd".'),
    ("--guide sevenths", '--guide is now --line: write --line "guide from the 7th".'),
    ("--guide both", '--guide is now --line: write --line "guide both".'),
    ("--melody guide --guide both",
     '--melody and --guide are now --line: write --line "guide both".'),
    ("--guide both --melody etude --level 2",
     '--guide, --melody and --level are now --line: write --line "guide both and etude level 2".'),
    ("--line etude --level 2", '--level is now --line: write --line "etude level 2".'),
    ("--melody etude --rhythm off-beats",
     '--melody and --rhythm are now --line: write --line "etude off-beats".'),
    ("--call-on turn", '--call-on is now --line: write --line "on each in turn".'),
    ("--start 3", '--start is now --line: write --line "from the 3rd".'),
    ("--start 1", '--start is now --line: write --line "from the root".'),
    ("--direction both", '--direction is now --line: write --line "both ways".'),
    ("--direction down", "--direction is now --line: write --line down."),
    ("--way 3-9", "--way is now --line: write --line 3-9."),
    ("--thirds", "--thirds is now --line: write --line thirds."),
    ("--early", "--early is now --line: write --line anticipate."),
    ("--top-strings 4", '--top-strings is now --line: write --line "top 4 strings".'),
    ("--ladder", "--ladder is now --line: write --line subdivisions."),
    ("--position 5", '--position is now --line: write --line "position 5".'),
    ("--melody etude --position '5 7'",
     '--melody and --position are now --line: write --line "etude position 5 7".'),
    ("--tuning drop-d --frets 24",
     '--tuning and --frets are now --neck: write --neck "drop-d 24 frets".'),
    ("--trade 4 --trade-with melody", '--trade-with is now --trade: write --trade "4, with line".'),
    ("--trade 4 --trade-with melody --melody etude",
     ('--trade-with and --melody are now --line and --trade: '
      'write --line "etude eighths" --trade "4, with line".')),
    ("--trade 4 --you-second", '--you-second is now --trade: write --trade "4, drums first".'),
    ("--trade 4 --trade-with melody --you-second",
     '--trade-with and --you-second are now --trade: write --trade "4, with line, line first".'),
    ("--lead-in 2 --breath 1",
     '--lead-in and --breath are now --drill: write --drill "lead-in 2, rest bar".'),
    ("--breath 2", '--breath is now --drill: write --drill "rest bars 2".'),
    ("--grow --same", '--grow and --same are now --drill: write --drill "grow, same".'),
    ("--lay-out 8", '--lay-out is now --drill: write --drill "lay out 8".'),
    ("--climb 80-160:8 --climb-order up-and-back",
     '--climb-order is now --climb: write --climb "80-160:8 up-and-back".'),
    ("--keys fourths", "--keys is now --key: write --key fourths."),
    ("--keys semitones", "--keys is now --key: write --key half-steps."),
    ("--keys 'C F Bb'", '--keys is now --key: write --key "C F Bb".'),
    ("--bits 24", "--bits is now --format: write --format 24-bit."),
    ("--format flac --bits 24", '--bits is now --format: write --format "flac 24-bit".'),
    ("--melody etude --lead-in 2 --keys fifths",
     ("--melody, --lead-in and --keys are now --line, --drill and --key: "
      'write --line etude --drill "lead-in 2" --key fifths.')),
    ("--without piano", "piano is now comp: write --without comp."),
    ("--without bass,comping", "comping is now comp: write --without bass,comp."),
    ("--only 'guitar drums'", 'guitar is now comp: write --only "comp drums".'),
    ("--only melody", "melody is now line: write --only line."),
    ("--without vibes", "vibes is now comp: write --without comp."),
    ("--without organ", "organ is now comp: write --without comp."),
]  # fmt: skip
SHEET = [
    ("--position auto", "--position is now --shapes: write --shapes auto."),
    ("--position 5 --line etude", "--position is now --shapes: write --shapes 5."),
    ("--position 5 --line etude --no-shapes",
     '--position and --no-shapes are now --line: write --line "etude position 5".'),
    ("--no-shapes",
     "--no-shapes has gone: shapes are printed only where --shapes asks for them. Leave it out."),
    ("--line guide --guide both", '--guide is now --line: write --line "guide both".'),
    ("--line etude --rhythm call --call-on 2",
     '--rhythm and --call-on are now --line: write --line "etude call on 2".'),
    ("--set G --left-handed --tuning 'D2 A2'",
     ("--set, --left-handed and --tuning are now --neck and --arpeggios: "
      'write --neck "D2 A2 left-handed" --arpeggios G.')),
    ("--for Bb", "--for is now --part: write --part Bb."),
]  # fmt: skip
PAGE = [
    ("--watch", "--watch is now in backing play: write backing play TUNE."),
    ("--watch --open --share --port 8000",
     ("--watch, --share and --port are now in backing play: "
      "write backing play TUNE --share --port 8000.")),
    ("--no-cache",
     "--no-cache has gone: a page keeps nothing for next time. Leave it out."),
]  # fmt: skip
CASES = [
    *(("track", words, said) for words, said in TRACK),
    *(("sheet", words, said) for words, said in SHEET),
    *(("page", words, said) for words, said in PAGE),
    ("play", *PAGE[-1]),
]


@pytest.mark.parametrize(("command", "words", "said"), CASES)
def test_an_old_option_is_answered_with_the_new_words(
    here: object, run: Run, command: str, words: str, said: str
) -> None:
    told = run(command, "four.tune", *shlex.split(words))
    assert (told.status, told.err) == (2, f"backing: {said}\n")


@pytest.mark.parametrize(("command", "words", "said"), CASES)
def test_the_new_words_are_understood(
    here: object, run: Run, command: str, words: str, said: str
) -> None:
    new = re.search(r"write (.*)\.$", said)
    if new is None:
        return
    written = shlex.split(new[1])
    assert parse(written[1:] if written[0] == "backing" else [command, *written])
    if command == "track":
        players = [] if "--only" not in new[1] else ["--line", "etude"]
        told = run("track", "four.tune", "-o", "x.wav", "--tempo", "60", "--no-cache", "--key", "C",
                   *written, *players, "--soundfont", "none")  # fmt: skip
        # all is understood up to the SoundFont that is not there
        assert "is now" not in told.err
        assert "isn't a word" not in told.err


def test_every_retired_option_has_a_case() -> None:
    for row in RETIRED:
        for command in row.commands.split():
            named = [words for name, words, _ in CASES if name == command]
            if command == "sheet" and row.now == "line":
                named += [words for words, _ in TRACK]  # the same row
            if command == "sheet" and row.now == "neck":
                named += [words for words, _ in TRACK]
            assert any(f"--{row.name}" in words.split() for words in named), (command, row.name)
    for command, option in (*GONE, *(("page", option) for option in SERVED)):
        assert any(name == command and f"--{option}" in words for name, words, _ in CASES)
    for player in PLAYERS:
        assert any(player in words for _, words, _ in CASES)


def test_none_of_them_is_an_option_still() -> None:
    rows = [(command, row.name) for row in RETIRED for command in row.commands.split()]
    for command, name in (*rows, *GONE, *(("page", option) for option in SERVED)):
        assert name not in {option.name for option in COMMANDS[command].options}
        for words in ([], ["5"]):
            with pytest.raises(UserError):
                parse([command, f"--{name}", *words])
