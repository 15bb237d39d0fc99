"""Rendering beside the `fluidsynth` program: time, memory, equality, and where our time goes.

    python -m tests.benchmarks.render [--soundfont FILE] [--repeat 5] [--tune FILE]

A tune of 32 bars is played three times round at each of ten tempos, and once at its own. The peer
renders the same notes, as our own MIDI files, with the same SoundFont, one call per tempo. Every
run is a fresh process that writes WAV files; ours arranges, balances, adds the room, levels and
limits as well. The runs alternate, and medians are printed.

The residual is that of the dry band against pyfluidsynth's own dry rendering of the same notes, on
its blocks of 64 samples. Stages are seconds of processor time of one more run on one processor.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from statistics import median
from typing import Any, NamedTuple

import numpy as np
from backing.mixdown.copies import Copies
from backing.mixdown.sample_clock import sample_of
from backing.mixdown.timeline import Timeline

from backing.combo.part import Note, Part
from backing.combo.performance import Performance
from backing.mixdown.bank import Bank
from backing.mixdown.soundfont import SoundFont, choose
from backing.mixdown.synth import BLOCK
from tests.benchmarks.bank_null import null
from tests.mixdown.band import INSTRUMENTS, RATE, performance
from tests.mixdown.reference import played_by_fluidsynth, residual_db

TUNE = Path(__file__).parents[2] / "tunes" / "corner-booth.tune"
CLIMB = ("--climb", "96-204:12", "--times", "3")
SINGLE = ("--choruses", "3")
TARGETS = {"climb": 10.0, "single": 3.0}


class Run(NamedTuple):
    """What a run took: seconds on the clock and of processor time, and memory at its peak (MB).

    The memory is that of the largest process.
    """

    seconds: float
    processor: float
    megabytes: float


def main() -> None:
    """Print the whole report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--soundfont", type=Path)
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--tune", type=Path, default=TUNE)
    parser.add_argument("--stages", type=Path, metavar="WAV", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.stages:
        print_stages(asked.tune, asked.soundfont, asked.stages)
        return
    font = choose(asked.soundfont)
    print(f"{font.name} ({font.path}), {asked.tune.name}, medians of {asked.repeat}")
    with tempfile.TemporaryDirectory() as folder:
        print_times(asked.tune, font, asked.repeat, Path(folder))
        print_presets(font)
        for name, what in (("climb", CLIMB), ("single", SINGLE)):
            print(f"  dry band, one chorus of the {name}: {band_null(asked.tune, font, what)}")
        command = [sys.executable, "-m", "tests.benchmarks.render", "--tune", str(asked.tune)]
        command += ["--soundfont", str(font.path), "--stages", f"{folder}/stages.wav"]
        subprocess.run(command, check=True)


def print_times(tune: Path, font: SoundFont, repeat: int, folder: Path) -> None:
    """Time both programs in turn; print medians and ratios."""
    midi = folder / "midi"
    midi.mkdir()
    ours("--separate", "--format", "mid", *CLIMB, tune=tune, font=None, to=midi)
    files = sorted(midi.iterdir())
    own = folder / "own.mid"
    ours(*SINGLE, tune=tune, font=None, to=own)
    out = folder / "out"
    out.mkdir()
    wav = out / "out.wav"
    # notes kept from an earlier track are not cold: these rows are shown besides
    kept = folder / "kept"
    for what in (CLIMB, SINGLE):
        ours(*what, tune=tune, font=font, to=wav, kept=kept)
    rows: dict[str, Callable[[], Run]] = {
        "climb: fluidsynth, ten calls": lambda: peer(files, font, wav),
        "climb: ours, one file": lambda: ours(*CLIMB, tune=tune, font=font, to=wav),
        "climb: ours, with stems": lambda: ours("--stems", *CLIMB, tune=tune, font=font, to=wav),
        "climb: ours, ten files": lambda: ours(
            "--separate", *CLIMB, tune=tune, font=font, to=out
        ),
        "single: fluidsynth": lambda: peer([own], font, wav),
        "climb: ours, notes kept": lambda: ours(*CLIMB, tune=tune, font=font, to=wav, kept=kept),
        "single: ours": lambda: ours(*SINGLE, tune=tune, font=font, to=wav),
        "single: ours, notes kept": lambda: ours(*SINGLE, tune=tune, font=font, to=wav, kept=kept),
    }  # fmt: skip
    runs: dict[str, list[Run]] = defaultdict(list)
    for _ in range(repeat):
        for name, run in rows.items():
            runs[name].append(run())
            for written in out.iterdir():
                written.unlink()
    theirs: dict[str, float] = {}
    print(f"  {'':30} {'clock':>9} {'processor':>13} {'memory':>9}")
    for name, taken in runs.items():
        seconds = median(run.seconds for run in taken)
        kind = name.split(":")[0]
        ratio = theirs.setdefault(kind, seconds) / seconds
        against = f"{ratio:5.1f} x (target {TARGETS[kind]:g})" if "ours" in name else ""
        memory = max(run.megabytes for run in taken)
        processor = median(run.processor for run in taken)
        figures = f"{seconds:7.2f} s {processor:11.2f} s {memory:6.0f} MB"
        print(f"  {name:30} {figures} {against}", flush=True)


def ours(
    *options: str, tune: Path, font: SoundFont | None, to: Path, kept: Path | None = None
) -> Run:
    """Our command line; cold, or with the notes of earlier tracks in the cache ``kept``."""
    command = [sys.executable, "-m", "backing", "track", str(tune), "--quiet", "-o", str(to)]
    command += ["--soundfont", str(font.path)] if font else []  # MIDI needs none
    command += options
    if kept is None:
        return timed([*command, "--no-cache"])
    shutil.rmtree(kept / "backing" / "tracks", ignore_errors=True)
    return timed(command, XDG_CACHE_HOME=str(kept))


def peer(midi: list[Path], font: SoundFont, wav: Path) -> Run:
    """One call of the program for each MIDI file."""
    runs = [
        timed(
            ["fluidsynth", "-ni", "-q", "-r", str(RATE), "-F", str(wav), str(font.path), str(file)]
        )
        for file in midi
    ]
    seconds, processor, megabytes = zip(*runs, strict=True)
    return Run(sum(seconds), sum(processor), max(megabytes))


def timed(command: list[str], **environment: str) -> Run:
    """Run a command; raises CalledProcessError when it fails."""
    # where Python may keep no bytecode, it reads our source anew each time; no user's does
    environment = {**os.environ, **environment}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    begun = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, env=environment)
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - begun
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, command)
    return Run(seconds, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def print_presets(font: SoundFont) -> None:
    """The residual of every preset of the band, in random phrases."""
    print("  residual by preset, dB: whole; without the first 64 samples of notes; tones; bank s")
    for instrument in INSTRUMENTS:
        print(f"    {instrument.name:24} {null(font, instrument)}", flush=True)


def band_null(tune: Path, font: SoundFont, options: tuple[str, ...]) -> str:
    """The residual of the dry band playing one chorus, its notes on the blocks of FluidSynth."""
    played = arranged(tune, options)
    chorus = max(played.passes, key=lambda each: len(each.routine_pass.bars))
    here = replace(played, passes=(chorus,))
    bank = Bank(font, RATE)
    references, dry = [], []
    for name in here.part_names:
        piece = on_blocks(here, name)
        line = Timeline(piece, "solo", bank)
        references.append(played_by_fluidsynth(font, piece, line.length))
        dry.append(line.render(0, line.length))
    longest = max(map(len, dry))
    whole = [sum(pad(each, longest) for each in sounds) for sounds in (references, dry)]
    return f"{residual_db(*whole):.1f} dB"


def pad(sound: Any, length: int) -> Any:
    """``sound`` with silence up to ``length``."""
    return np.pad(sound, ((0, length - len(sound)), (0, 0)))


def on_blocks(played: Performance, name: str) -> Performance:
    """A part as one called "solo", from its first note on, every moment on a block."""
    notes = list(played.notes(name))
    first = min((note.onset for note in notes), default=Fraction(0))
    moved: list[Note] = []
    for note in notes:
        onset, end = (_block(moment - first) for moment in (note.onset, note.end))
        if end > onset:
            moved.append(Note(onset, end - onset, note.note.pitch, note.note.velocity, swung=False))
    seconds = int(max((n.onset + n.length for n in moved), default=Fraction(0))) + 1
    part = Part.of("solo", played.instrument(name), moved)
    return performance(part, beats=seconds, tempo=Fraction(60), tail=Fraction(4))


def _block(seconds: Fraction) -> Fraction:
    return Fraction(BLOCK * round(sample_of(seconds, RATE) / BLOCK), RATE)


def arranged(tune: Path, options: tuple[str, ...]) -> Performance:
    """The performance that the command line makes of ``options``."""
    from backing.cli.asked import band, request
    from backing.cli.given import track_as_usual
    from backing.cli.parser import make_parser
    from backing.cli.tunes import read_tune
    from backing.combo.arrangement import arrange
    from backing.routine.orders import make_routine

    words = track_as_usual(make_parser().parse_args(["track", str(tune), *options]))
    form = read_tune(tune)
    return arrange(make_routine(form, request(words, form)), band(words))


def print_stages(tune: Path, font: Path, wav: Path) -> None:
    """Make a climb and a single track in this process, and print the time of their stages."""
    from backing.mixdown.mix import render, save

    for name, options in (("climb, one file", CLIMB), ("single track", SINGLE)):
        begun, clock = time.process_time(), time.perf_counter()
        with stages() as spent:
            played = arranged(tune, options)
            spent["arranging"] = time.process_time() - begun
            bank = Bank(choose(font), RATE, workers=1)
            mixdown = render(played, bank, workers=1)
            save(mixdown, wav)
        whole, clock = time.process_time() - begun, time.perf_counter() - clock
        spent["everything else"] = whole - sum(spent.values())
        print(f"  {name}: {whole:.2f} s of processor time in {clock:.2f} s, Python running already")
        for stage, seconds in spent.items():
            print(f"    {stage:24} {seconds:6.2f} s {seconds / whole:6.1%}")
        frames = sum(copies.samples for copies in _copies(played, bank))
        print(f"    (adding {frames / RATE:,.0f} s of notes, nothing else: {adding(frames):.2f} s)")


def _copies(played: Performance, bank: Bank) -> Iterator[Copies]:
    for name in played.part_names:
        line = Timeline(played, name, bank)
        yield line.place()


def adding(frames: int) -> float:
    """Seconds of processor time to add so many frames of float32 onto others, in the cache."""
    window, total = np.ones((2, 2 * RATE, 2), np.float32)
    begun = time.process_time()
    for _ in range(frames // len(window)):
        total += window
    return time.process_time() - begun


@contextmanager
def stages() -> Iterator[dict[str, float]]:
    """Count the processor time that the stages of the mixdown take, in whatever thread."""
    from backing.mixdown import audio_file, balance, bank, level, limiter, mix, room, timeline

    spent: dict[str, float] = {}
    watched: list[tuple[str, Any, str]] = [
        ("notes into time", timeline.Timeline, "__init__"),
        ("bank of notes", bank.Bank, "prepare"),
        ("balance", balance.Balance, "gain_db"),
        ("notes to copies", timeline.Timeline, "_placed"),
        ("adding copies", timeline.Timeline, "add_to"),
        ("loudness", level.Levels, "measure"),
        ("room", room.Room, "ring"),
        ("room, added", room.Overlap, "add"),
        ("limiter", limiter.Limiter, "feed"),
        ("levels", mix.Mixdown, "_amplify"),
        ("writing", audio_file.AudioFile, "write"),
    ]
    before = [(owner, name, getattr(owner, name)) for _, owner, name in watched]
    for label, owner, name in watched:
        setattr(owner, name, _counted(getattr(owner, name), label, spent))
    try:
        yield spent
    finally:
        for owner, name, method in before:
            setattr(owner, name, method)


def _counted(method: Any, label: str, spent: dict[str, float]) -> Any:
    spent[label] = 0.0

    def counted(*given: Any, **named: Any) -> Any:
        begun, others = time.thread_time(), sum(spent.values())
        try:
            return method(*given, **named)
        finally:
            # what is counted inside is not counted again
            inside = sum(spent.values()) - others
            spent[label] += max(0.0, time.thread_time() - begun - inside)

    return counted


if __name__ == "__main__":
    main()
