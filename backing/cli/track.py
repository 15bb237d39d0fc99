"""``backing track``: tunes become files."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backing.chart.form import Form
from backing.chart.phrase import Grammar, Term
from backing.cli.job import MIDI_SUFFIXES, Job
from backing.cli.options import BAND, REQUEST, refuse_idle
from backing.cli.parser import Words
from backing.cli.progress import many_done, share_done
from backing.cli.retired import refuse_old_players
from backing.cli.status import DONE, USERS, in_words, tell, worst
from backing.cli.tag_text import command_again, purpose
from backing.cli.tunes import changes_form, check_changes, check_folder, check_targets, read_tune
from backing.combo.band import Band
from backing.errors import OutputError, PracticeError, UserError
from backing.memory import SOUND_BYTES, check_room
from backing.routine.phrase import read_drill
from backing.routine.request import Request
from backing.routine.routine import separated
from backing.saving import file_words, is_folder, is_there, shortened_name

if TYPE_CHECKING:
    from backing.lines.phrase import Phrase

TEMPOS = re.compile(r"[0-9]+(?:\.[0-9]+)?(?:\s*bpm|%)?(?=[\s,]|$)")
NAMED = (
    "tempo", "choruses", "times", "key", "ending", "count-in", "comp", "feel", "occasion", "swing",
    "seed", "neck",
)  # fmt: skip
"""Options that the purpose of a track does not tell, and its name does."""
LONGEST_PLAYER = len("-count-in")
FORMATS = ("wav", "flac", "mp3", "ogg", "opus", "m4a", "mid")
FORMAT = Grammar(
    "a format",
    (Term("format", "|".join(FORMATS)), Term("bits", "(16|24)-bit", "24-bit, 16-bit")),
    OutputError,
)


@dataclass(frozen=True, slots=True)
class Order:
    """What is ordered for every tune, in the types of the pipeline.

    ``format``: of files that are not named, or None; ``bits`` of .wav and .flac.
    """

    request: Request
    band: Band
    purpose: str
    format: str | None
    bits: int


def track(words: Words) -> int:
    """Make the tracks of all tunes; one that cannot be made does not stop the others."""
    check_changes(words, "play")
    orders = [(each, read_order(each), number) for each, number in each_tempo(words)]
    jobs: list[Job] = []
    status = DONE
    for tune in words.names or ("",):
        try:
            form = read_tune(Path(tune)) if tune else changes_form(words)
            for each, order, number in orders:
                jobs += jobs_of(each, order, form, tune, number)
        except UserError as error:
            tell(in_words(error))
            status = USERS
    check_targets(words.names, words.text("output"), (job.target for job in jobs))
    if len(jobs) == 1 and "cluster" not in words:
        _make_one(jobs[0], quiet="quiet" in words)
    elif jobs:
        status = worst(status, _make_all(words, jobs))
    return status


def each_tempo(words: Words) -> Iterator[tuple[Words, int]]:
    """The words for each tempo of ``--tempo "80 100 120"`` and its number, 0 for a single one."""
    tempos = TEMPOS.findall(words.text("tempo") or "")
    if len(tempos) < 2 or TEMPOS.sub("", words.said["tempo"]).strip(" ,"):
        yield words, 0
        return
    for number, tempo in enumerate(tempos, 1):
        yield replace(words, said={**words.said, "tempo": tempo}), number


def read_order(words: Words) -> Order:
    """What a command line orders. Raises UserError for what makes no sense."""
    order, facts = understood(words)
    refuse_idle(words.command.options, facts)
    return order


def understood(words: Words) -> tuple[Order, set[str]]:
    """What a command line orders, and the options and facts by which some would change nothing."""
    refuse_old_players(words.said)
    drill = read_drill(words.said["drill"]) if "drill" in words else {}
    asked: dict[str, Any] = words.filling(REQUEST) | drill
    trade = Request(trade=asked.get("trade"), times=1).trade
    phrase = _phrase(words, traded=trade is not None and trade.partner == "line")
    request = Request(**asked, subdivisions=phrase is not None and phrase.subdivisions)
    band = Band(
        **words.filling(BAND),
        guide_line=phrase.guide if phrase else None,
        line=phrase.line if phrase and phrase.solo else None,
    )
    form = FORMAT.read(words.said["format"]) if "format" in words else {}
    facts = set(words.said) | set(_facts(words, request, band, form))
    order = Order(
        request,
        band,
        purpose(words, request, band, phrase),
        form.get("format"),
        int(form.get("bits", "16")),
    )
    return order, facts


def _phrase(words: Words, *, traded: bool) -> Phrase | None:
    """The line that is asked for; one to trade with goes in phrases if nothing else is said."""
    if "line" not in words and not traded:
        return None
    # the neck takes as long to load as a tune to arrange
    from backing.lines.phrase import Phrase, read_phrase
    from backing.lines.player import Line
    from backing.neck.phrase import read_neck

    usual: dict[str, Any] = {"rhythm": "phrases"} if traded else {}
    if "neck" in words:
        usual["fingerboard"] = read_neck(words.said["neck"])
    if "line" not in words:
        return Phrase(Line(**usual))
    phrase = read_phrase(words.said["line"], **usual)
    if phrase.bass:
        raise PracticeError(
            "The bass plays in every track; its line is for a sheet.",
            "Leave --line out, or write --only bass.",
        )
    if not phrase.solo and phrase.said:
        raise PracticeError(
            f"Guide tones of a track have no {min(phrase.said)} on the neck.",
            "Leave it out, or write etude in place of guide.",
        )
    return Phrase(Line(**usual), phrase.guide) if traded and not phrase.solo else phrase


def _facts(words: Words, request: Request, band: Band, form: dict[str, str]) -> Iterator[str]:
    """What is so of a track beside its options, as the table of options names it."""
    ending = Path(words.text("output") or "").suffix.lower()
    if ending in MIDI_SUFFIXES or form.get("format") == "mid":
        yield "midi"
    if request.key and request.key.in_turn:
        yield "keys in turn"
    if band.line:
        yield "a line"
    if "comp" not in band.players:
        yield "no comp"


def jobs_of(words: Words, order: Order, form: Form, tune: str, number: int = 0) -> Iterator[Job]:
    """What is ordered of a form: a track, or one for each tempo or key.

    ``tune``: its file, "" for bare changes; ``number`` is that of its tempo among several.
    """
    name, tempo = "", order.request.tempo
    if number and tempo:
        name = f"{number:02} {float(tempo.bpm(form.tempo)):g} bpm"
    target = _target(words, order, Path(tune or "changes"), name)
    suffix = target.suffix.lower().lstrip(".")
    bits = [f"{order.bits}-bit"] if order.bits != 16 else []
    font = words.text("soundfont")
    job = partial(
        Job,
        form,
        band=order.band,
        soundfont=words.path("soundfont"),
        bits=order.bits,
        stems="stems" in words,
        recipe=command_again(words, tune, more=(
            *(("--soundfont", font) if font else ()),
            "--seed", str(order.band.seed), "--format", " ".join((suffix, *bits)),
        )),
        drill=order.purpose,
        long="long" in words,
        cached="no-cache" not in words,
    )  # fmt: skip
    jobs = [job(order.request, target=target, name=name)]
    if "separate" in words:
        jobs = [
            job(one, target=_beside(words, target, each), name=f"{name} {each}".lstrip())
            for each, one in separated(form, order.request)
        ]
    for each in jobs:
        _keep_others(each, words.text("output"))
        yield each


def _keep_others(job: Job, output: str | None) -> None:
    """Raise OutputError where a name that nobody chose is that of another command's track.

    In a folder that is named (``output``), files that are no tracks of ours give way.
    """
    if job.midi or not (output is None or is_folder(Path(output))) or not _is_file(job.target):
        return
    from backing.take.track_tags import recipe_of

    made = shlex.join(("backing", *recipe_of(job.target)))
    if made == job.recipe or (output is not None and made == "backing"):
        return
    by = f"was made by another command, {made}" if made != "backing" else "is there already"
    raise OutputError(f"{job.target} {by}.", "Name another file with -o, or take that one away.")


def _is_file(path: Path) -> bool:
    return is_there(path) and path.is_file()


def _beside(words: Words, target: Path, name: str) -> Path:
    ending = f"-{file_words(name)}{target.suffix}"
    return target.with_name(shortened_name(target.stem, ending, _room(words)))


def _target(words: Words, order: Order, tune: Path, name: str) -> Path:
    """Where a track goes: the file named, or one that is called by the tune and the drill."""
    suffix = f".{order.format or FORMATS[0]}"
    named = words.text("output")
    check_folder(named or "")
    output = Path(named or "")
    if named is None or len(words.names) > 1 or is_folder(output):
        told = _told(words, order, named=bool(name)) if named is None else ()
        drill = "-".join(filter(None, map(file_words, (*told, name))))
        ending = f"-{drill}{suffix}" if drill else suffix
        return output / shortened_name(tune.stem, ending, _room(words))
    if order.format and output.suffix.lower() != suffix:
        raise OutputError(
            f"{output} doesn't end in {suffix}.", "Leave out --format, or the ending."
        )
    return _beside(words, output, name) if name else output


def _told(words: Words, order: Order, *, named: bool) -> Iterator[str]:
    """What the name of a file says that nobody named: the drill, and what else was asked.

    ``named``: it says the tempo already.
    """
    yield order.purpose
    for name in NAMED[named:]:
        word = words.text(name)
        told = (name == "key" and order.request.key and order.request.key.in_turn) or (
            name == "seed" and order.band.seed == Band().seed
        )
        if word and not told:
            yield f"{word} bpm" if name == "tempo" and word.isdecimal() else f"{name} {word}"


def _room(words: Words) -> int:
    """What the names of players take in the names of files, in bytes."""
    return LONGEST_PLAYER if "stems" in words else 0


def _make_one(job: Job, *, quiet: bool) -> None:
    with share_done(job.target.name, quiet=quiet) as progress:
        made = job.make(progress)
    if not quiet:
        tell(made.summary)


def _make_all(words: Words, jobs: Sequence[Job]) -> int:
    """Make many tracks, saying what became of each; returns the worst exit status."""
    from backing.cli.batch import outcomes

    status, quiet = DONE, "quiet" in words
    if "cluster" not in words and not all(job.midi for job in jobs):
        check_sound(jobs[0].soundfont)
    with many_done(len(jobs), quiet=quiet) as one_more:
        for outcome in outcomes(jobs, words.text("cluster")):
            silent = quiet and outcome.status == DONE
            one_more("" if silent else outcome.words)
            status = worst(status, outcome.status)
    return status


def check_sound(soundfont: Path | None) -> None:
    """Say once what would be wrong with every track: no FluidSynth, no SoundFont."""
    from backing.mixdown.soundfont import choose

    check_room(SOUND_BYTES)
    from backing.mixdown.synth import load_library

    choose(soundfont)
    load_library()
