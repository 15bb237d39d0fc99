"""``backing track``: tunes become files."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import partial
from pathlib import Path

from backing.chart.changes import read_changes
from backing.chart.choice import one_of
from backing.chart.form import Form
from backing.cli.asked import band, in_key, request
from backing.cli.drill import drill
from backing.cli.given import check_track, track_as_usual
from backing.cli.job import Job, make
from backing.cli.parser import make_parser
from backing.cli.progress import share_done, tracks_done
from backing.cli.recipe import recipe
from backing.cli.status import DONE, OURS, USERS, in_words, tell
from backing.cli.tunes import check_folder, check_targets, read_tune
from backing.combo.feel_file import load_feel
from backing.combo.player import Soloist
from backing.errors import OutputError, UserError
from backing.routine.routine import separated
from backing.saving import is_folder, shortened_name

DEFAULT_TEMPO = Fraction(120)
LONGEST_PART = len(".acoustic grand piano")
FORMATS = ("wav", "flac", "mp3", "ogg", "opus", "m4a", "mid")


def track(arguments: argparse.Namespace) -> int:
    """Make the tracks of all tunes; one that cannot be made does not stop the others."""
    check_track(arguments)
    if not arguments.tunes and not arguments.changes:
        raise UserError("What is to be played?", "Name tune files, or give bare --changes.")
    if arguments.tunes and arguments.changes:
        raise UserError(
            "Tune files and bare --changes are not played together.", "Give one of them, not both."
        )
    arguments = track_as_usual(arguments)
    jobs: list[Job] = []
    status = DONE
    for tune in arguments.tunes or [""]:
        try:
            jobs += _jobs(arguments, tune)
        except UserError as error:
            tell(in_words(error))
            status = USERS
    check_targets(arguments.tunes, arguments.output, (job.target for job in jobs))
    if len(jobs) == 1 and not arguments.cluster:
        _make_one(arguments, jobs[0])
    elif jobs:
        status = _worst(status, _make_all(arguments, jobs))
    return status


def _melody(arguments: argparse.Namespace, form: Form) -> Soloist | None:
    if not (arguments.melody or arguments.ladder):
        return None
    # the neck takes as long to load as a tune to arrange
    from backing.cli.line import melody

    return melody(arguments, form)


def _jobs(arguments: argparse.Namespace, tune: str) -> Iterator[Job]:
    """What is asked of a tune (of bare changes: "") in one track, or one for each tempo or key."""
    form = in_key(arguments, _changes(arguments) if arguments.changes else read_tune(Path(tune)))
    target = _target(arguments, Path(tune or "changes"))
    asked = request(arguments)
    usual = track_as_usual(make_parser().parse_args(["track"]))
    job = partial(
        Job,
        form,
        band=band(arguments, _melody(arguments, form)),
        soundfont=Path(arguments.soundfont) if arguments.soundfont else None,
        bits=arguments.bits,
        stems=arguments.stems,
        recipe=recipe(arguments, usual, tune, target.suffix),
        drill=drill(arguments),
        long=arguments.long,
        cached=not arguments.no_cache,
    )
    if not arguments.separate:
        yield job(asked, target=target)
        return
    for name, one in separated(form, asked):
        each = target.with_name(
            shortened_name(target.stem, f" {name}{target.suffix}", _room(arguments))
        )
        yield job(one, target=each, name=name)


def _changes(arguments: argparse.Namespace) -> Form:
    feel = arguments.feel or "swing"
    meter = load_feel(feel).meters[0]
    return read_changes(arguments.changes, meter=meter, tempo=DEFAULT_TEMPO, feel=feel)


def _target(arguments: argparse.Namespace, tune: Path) -> Path:
    """Where the track of a tune goes: the file named, or a folder's file of the tune's name."""
    asked = one_of(arguments.format.lstrip("."), FORMATS, "format") if arguments.format else None
    name = shortened_name(tune.stem, f".{asked or FORMATS[0]}", _room(arguments))
    if arguments.output is None:
        return Path(name)
    output = Path(arguments.output)
    check_folder(arguments.output)
    if len(arguments.tunes) > 1 or is_folder(output):
        return output / name
    if asked and output.suffix.lower() != f".{asked}":
        raise OutputError(f"{output} is no .{asked} file.", "Leave out --format, or the suffix.")
    return output


def _room(arguments: argparse.Namespace) -> int:
    """What the names of the parts take, in bytes."""
    return LONGEST_PART if arguments.stems else 0


def _make_one(arguments: argparse.Namespace, job: Job) -> None:
    with share_done(job.target.name, quiet=arguments.quiet) as progress:
        made = make(job, progress)
    if not arguments.quiet:
        tell(made.summary)


def _make_all(arguments: argparse.Namespace, jobs: Sequence[Job]) -> int:
    """Make many tracks, saying what became of each; returns the worst exit status."""
    from backing.cli.batch import outcomes

    status = DONE
    if not arguments.cluster and not all(job.midi for job in jobs):
        _check_sound(jobs[0].soundfont)
    with tracks_done(len(jobs), quiet=arguments.quiet) as one_more:
        for outcome in outcomes(jobs, arguments.cluster):
            silent = arguments.quiet and outcome.status == DONE
            one_more("" if silent else outcome.words)
            status = _worst(status, outcome.status)
    return status


def _check_sound(soundfont: Path | None) -> None:
    """Say once what would be wrong with every track: no FluidSynth, no SoundFont."""
    from backing.mixdown.soundfont import choose
    from backing.mixdown.synth import load_library

    choose(soundfont)
    load_library()


def _worst(*statuses: int) -> int:
    """A fault of ours, else a mistake of the user's, else done."""
    return next((status for status in (OURS, USERS) if status in statuses), DONE)
