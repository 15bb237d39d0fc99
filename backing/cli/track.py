"""``backing track``: tunes become files."""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

from tqdm import tqdm

from backing import __version__
from backing.chart.changes import read_changes
from backing.chart.form import Form
from backing.chart.tune_file import read_file
from backing.cli.asked import band, request
from backing.cli.status import DONE, USERS, in_words, tell
from backing.combo.arrangement import arrange
from backing.combo.performance import Performance
from backing.errors import RoutineError, UserError
from backing.routine.climb import read_tempo
from backing.routine.keys import read_key
from backing.routine.orders import Routine, make_routine
from backing.saving import check_writable, write_whole

MIDI_SUFFIXES = (".mid", ".midi")
PROGRESS = "{desc} {bar:30} {percentage:3.0f} %  {remaining} left"
MOST_TEMPOS_SHOWN = 6
DEFAULT_TEMPO = Fraction(120)
LONGEST_SECONDS = 2 * 3600
WAV_BYTES_A_SECOND = 44_100 * 2 * 2
"""Of 16-bit stereo."""


def track(arguments: argparse.Namespace) -> int:
    """Make the track of each tune; a tune that cannot be made does not stop the others."""
    if bool(arguments.tunes) == bool(arguments.changes):
        raise UserError("What is to be played?", "Name tune files, or give bare --changes.")
    if arguments.changes:
        tempo = read_tempo(arguments.tempo, DEFAULT_TEMPO) if arguments.tempo else DEFAULT_TEMPO
        form = read_changes(arguments.changes, tempo=tempo, feel=arguments.feel or "swing")
        _make_tracks(arguments, form, _target(arguments, Path("changes")))
        return DONE
    status = DONE
    for name in arguments.tunes:
        try:
            _make_tracks(arguments, read_file(name), _target(arguments, Path(name)))
        except UserError as error:
            tell(in_words(error))
            status = USERS
    return status


def _target(arguments: argparse.Namespace, tune: Path) -> Path:
    """Where the track of a tune goes: the file named, or a folder's file of the tune's name."""
    if arguments.output is None:
        return Path(f"{tune.stem}.wav")
    output = Path(arguments.output)
    if len(arguments.tunes) > 1 or output.is_dir():
        return output / f"{tune.stem}.wav"
    return output


def _make_tracks(arguments: argparse.Namespace, form: Form, target: Path) -> None:
    """Make what is asked of the form, in one file or in one for each tempo or key."""
    if arguments.key:
        key = read_key(arguments.key, form.key)
        form = form.transposed(form.key.tonic.interval_to(key.tonic))
    asked = request(arguments, form)
    if not arguments.separate:
        _make_track(arguments, make_routine(form, asked), target)
        return
    for name, one in asked.separate:
        each = target.with_name(f"{target.stem} {name}{target.suffix}")
        _make_track(arguments, make_routine(form, one), each)


def _make_track(arguments: argparse.Namespace, routine: Routine, target: Path) -> None:
    """Arrange a routine and write it to ``target`` by its suffix."""
    check_writable(target)
    performance = arrange(routine, band(arguments))
    _check_length(arguments, performance)
    if target.suffix.lower() in MIDI_SUFFIXES:
        sound = _write_midi(performance, target)
    else:
        sound = _write_audio(arguments, routine, performance, target)
    if not arguments.quiet:
        tell(_summary(arguments, routine, performance, target) + sound)


def _check_length(arguments: argparse.Namespace, performance: Performance) -> None:
    """Refuse what lasts for hours unless it is meant, saying how long and how large it is."""
    seconds = float(performance.clock.length_seconds)
    if seconds > LONGEST_SECONDS and not arguments.long:
        hours, megabytes = seconds / 3600, seconds * WAV_BYTES_A_SECOND / 1e6
        raise RoutineError(
            f"This track lasts {hours:.1f} hours, {megabytes:,.0f} MB as .wav.",
            "Ask for fewer tempos or rounds, or say --long if it is meant.",
        )


def _write_midi(performance: Performance, target: Path) -> str:
    from backing.midi import to_bytes

    write_whole(target, to_bytes(performance))
    return ""


def _write_audio(
    arguments: argparse.Namespace, routine: Routine, performance: Performance, target: Path
) -> str:
    """Render and write; returns what the summary says of the sound."""
    from backing.mixdown import audio_file
    from backing.mixdown.bank import Bank
    from backing.mixdown.mix import render, save
    from backing.mixdown.soundfont import choose
    from backing.mixdown.tags import Tags

    audio_file.check_writable(target)
    font = choose(Path(arguments.soundfont) if arguments.soundfont else None)
    bank = Bank(font, audio_file.sample_rate_of(target))
    tags = Tags(
        title=routine.form.title,
        key=str(routine.form.key),
        tempo=float(routine.tempos[-1]),
        comment=f"backing {__version__}: backing track {shlex.join(arguments.words)}",
    )
    with _progress(arguments, target) as step:
        save(render(performance, bank, stems=arguments.stems, progress=step), target, tags=tags)
    return f"\n  sound: {font.name} ({font.licence})"


@contextmanager
def _progress(
    arguments: argparse.Namespace, target: Path
) -> Iterator[Callable[[float], None] | None]:
    """A bar on a terminal, nothing in a pipe."""
    if arguments.quiet or not sys.stderr.isatty():
        yield None
        return
    with tqdm(total=1.0, desc=target.name, leave=False, bar_format=PROGRESS) as bar:

        def step(done: float) -> None:
            bar.update(done - bar.n)

        yield step


def _summary(
    arguments: argparse.Namespace, routine: Routine, performance: Performance, target: Path
) -> str:
    """File, length, tempos and seed."""
    seconds = round(performance.clock.length_seconds + performance.tail)
    bars = sum(len(each.bars) for each in routine.passes)
    tempos = [f"{float(tempo):g}" for tempo in routine.tempos]
    if len(tempos) > MOST_TEMPOS_SHOWN:
        tempos = [*tempos[:3], "...", tempos[-1]]
    figures = f"{seconds // 60}:{seconds % 60:02} min, {bars} bars, {' '.join(tempos)} bpm"
    seam = ", repeats without a seam" if routine.seamless else ""
    return (
        f"{routine.form.title} -> {target}\n"
        f"  {figures}, {routine.form.key}, seed {arguments.seed}{seam}"
    )
