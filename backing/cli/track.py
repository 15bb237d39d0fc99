"""``backing track``: tunes become files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backing.chart.phrase import Grammar, Term
from backing.cli.job import MIDI_SUFFIXES, Job, make
from backing.cli.options import BAND, REQUEST, refuse_idle
from backing.cli.parser import Words
from backing.cli.progress import share_done, tracks_done
from backing.cli.retired import refuse_old_players
from backing.cli.status import DONE, OURS, USERS, in_words, tell
from backing.cli.tag_text import command_again, purpose
from backing.cli.tunes import changes_form, check_changes, check_folder, check_targets, read_tune
from backing.combo.band import Band
from backing.errors import OutputError, PracticeError, UserError
from backing.memory import SOUND_BYTES, check_room
from backing.routine.phrase import read_drill
from backing.routine.request import Request
from backing.routine.routine import separated
from backing.saving import is_folder, shortened_name

if TYPE_CHECKING:
    from backing.lines.phrase import Phrase

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
    order = read_order(words)
    jobs: list[Job] = []
    status = DONE
    for tune in words.names or ("",):
        try:
            jobs += _jobs(words, order, tune)
        except UserError as error:
            tell(in_words(error))
            status = USERS
    check_targets(words.names, words.text("output"), (job.target for job in jobs))
    if len(jobs) == 1 and "cluster" not in words:
        _make_one(jobs[0], quiet="quiet" in words)
    elif jobs:
        status = _worst(status, _make_all(words, jobs))
    return status


def read_order(words: Words) -> Order:
    """What a command line orders. Raises UserError for what makes no sense."""
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
    refuse_idle(words.command.options, set(words.said) | set(_facts(words, request, band, form)))
    return Order(
        request,
        band,
        purpose(words, request, band, phrase),
        form.get("format"),
        int(form.get("bits", "16")),
    )


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


def _jobs(words: Words, order: Order, tune: str) -> Iterator[Job]:
    """What is ordered of a tune ("" for bare changes): a track, or one for each tempo or key."""
    form = read_tune(Path(tune)) if tune else changes_form(words)
    target = _target(words, order, Path(tune or "changes"))
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
        recipe=command_again(words, tune, (
            *(("--soundfont", font) if font else ()),
            "--seed", str(order.band.seed), "--format", " ".join((suffix, *bits)),
        )),
        drill=order.purpose,
        long="long" in words,
        cached="no-cache" not in words,
    )  # fmt: skip
    if "separate" not in words:
        yield job(order.request, target=target)
        return
    for name, one in separated(form, order.request):
        ending = f"-{name.replace(' ', '-')}{target.suffix}"
        each = target.with_name(shortened_name(target.stem, ending, _room(words)))
        yield job(one, target=each, name=name)


def _target(words: Words, order: Order, tune: Path) -> Path:
    """Where the track of a tune goes: the file named, or a folder's file of the tune's name."""
    name = shortened_name(tune.stem, f".{order.format or FORMATS[0]}", _room(words))
    named = words.text("output")
    if named is None:
        return Path(name)
    output = Path(named)
    check_folder(named)
    if len(words.names) > 1 or is_folder(output):
        return output / name
    if order.format and output.suffix.lower() != f".{order.format}":
        raise OutputError(
            f"{output} doesn't end in .{order.format}.", "Leave out --format, or the ending."
        )
    return output


def _room(words: Words) -> int:
    """What the names of players take in the names of files, in bytes."""
    return LONGEST_PLAYER if "stems" in words else 0


def _make_one(job: Job, *, quiet: bool) -> None:
    with share_done(job.target.name, quiet=quiet) as progress:
        made = make(job, progress)
    if not quiet:
        tell(made.summary)


def _make_all(words: Words, jobs: Sequence[Job]) -> int:
    """Make many tracks, saying what became of each; returns the worst exit status."""
    from backing.cli.batch import outcomes

    status, quiet = DONE, "quiet" in words
    if "cluster" not in words and not all(job.midi for job in jobs):
        _check_sound(jobs[0].soundfont)
    with tracks_done(len(jobs), quiet=quiet) as one_more:
        for outcome in outcomes(jobs, words.text("cluster")):
            silent = quiet and outcome.status == DONE
            one_more("" if silent else outcome.words)
            status = _worst(status, outcome.status)
    return status


def _check_sound(soundfont: Path | None) -> None:
    """Say once what would be wrong with every track: no FluidSynth, no SoundFont."""
    from backing.mixdown.soundfont import choose

    check_room(SOUND_BYTES)
    from backing.mixdown.synth import load_library

    choose(soundfont)
    load_library()


def _worst(*statuses: int) -> int:
    """A fault of ours, else a mistake of the user's, else done."""
    return next((status for status in (OURS, USERS) if status in statuses), DONE)
