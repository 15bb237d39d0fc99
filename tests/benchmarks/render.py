"""Rendering beside the `fluidsynth` program, in one run: times, ratio, memory, which code ran.

    python -m tests.benchmarks.render [--soundfont FILE] [--repeat 5] [--before FOLDER] [--residual]

A tune of 32 bars is played three times at each of ten tempos, and three choruses at its own. The
peer renders the same notes, as our own MIDI files, with the same SoundFont, one call per tempo.
Every run is a fresh process that writes files, with nothing kept from before; ours arranges,
balances, adds the room, levels and limits as well. The runs alternate, the first round is thrown
away, and medians are printed. ``lame`` encodes the same sound, if that program is installed.

``--before``: another checkout of this project, with a .venv in it, that runs in the same rounds.
``--residual``: also print how near the dry band comes to pyfluidsynth's own dry rendering of the
same notes, on its blocks of 64 samples, and every preset of the band.
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
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from statistics import median
from typing import Any, NamedTuple

import numpy as np

from backing.combo.part import Note, Part
from backing.combo.performance import Performance
from backing.mixdown.bank import Bank
from backing.mixdown.loops import BLOCK
from backing.mixdown.mp3 import lame
from backing.mixdown.sampler import Sampler
from backing.mixdown.schedule import sample_of
from backing.mixdown.soundfont import SoundFont, choose
from tests.benchmarks.bank_null import null
from tests.mixdown.band import INSTRUMENTS, RATE, performance
from tests.mixdown.reference import played_by_fluidsynth, residual_db

HERE = Path(__file__).parents[2]
TUNE = HERE / "tunes" / "corner-booth.tune"
CLIMB = ("--climb", "80-170:10", "--bars", "1-32", "--times", "3")
SINGLE = ("--choruses", "3")
CODE = """
from pathlib import Path
from backing import mixdown
folder = Path(mixdown.__path__[0])
compiled = [path.name for path in folder.iterdir() if path.suffix in {'.so', '.dylib', '.dll'}]
print(folder.parent, '- loops:', *(compiled or ['not compiled']))
"""


class Run(NamedTuple):
    """What a run took: seconds on the clock and of processor time, and memory at its peak (MB).

    The memory is that of the largest process.
    """

    seconds: float
    processor: float
    megabytes: float


class Row(NamedTuple):
    """A line of the table: the work, who does it, and the goal as a ratio or in seconds."""

    work: str
    who: str
    run: Callable[[], Run]
    goal: str = ""


def main() -> None:
    """Print the whole report."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--soundfont", type=Path)
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--tune", type=Path, default=TUNE)
    parser.add_argument("--before", type=Path)
    parser.add_argument("--residual", action="store_true")
    asked = parser.parse_args()
    font = choose(asked.soundfont)
    print(f"{font.name} ({font.path}), {asked.tune.name}, medians of {asked.repeat}")
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}; LAME {bool(lame())}")
    programs = {"now": HERE, **({"before": asked.before} if asked.before else {})}
    for name, place in programs.items():
        compiled(_python(place), place)
        code = subprocess.run([_python(place), "-c", CODE], cwd=place, check=True,
                              capture_output=True, text=True).stdout  # fmt: skip
        print(f"  {name}: {code.strip()}")
    with tempfile.TemporaryDirectory() as folder:
        rows = table(asked.tune.resolve(), font, programs, Path(folder))
        print_times(rows, asked.repeat)
    if asked.residual:
        print_residuals(asked.tune, font)


def compiled(python: str, place: Path) -> None:
    """Compile the code of a checkout, as pip does for those who install it."""
    words = (python, "-m", "compileall", "-q", str(place / "backing"))
    subprocess.run(words, check=True)


def table(tune: Path, font: SoundFont, programs: dict[str, Path], folder: Path) -> list[Row]:
    """All that is timed, the peer first in each kind of work."""
    midi, out = folder / "midi", folder / "out"
    midi.mkdir()
    out.mkdir()
    ours(HERE, "--separate", "--format", "mid", *CLIMB, tune=tune, to=midi)
    own = folder / "own.mid"
    ours(HERE, *SINGLE, tune=tune, to=own)
    files, wav = sorted(midi.iterdir()), out / "out.wav"
    sound = ("--soundfont", str(font.path), "--no-cache")
    rows = []

    def add(work: str, goal: str, *options: str, to: str) -> None:
        for name, place in programs.items():

            def run(place: Path = place) -> Run:
                return ours(place, *sound, *options, tune=tune, to=out / to)

            rows.append(Row(work, name, run, goal))

    rows.append(Row("climb", "fluidsynth", lambda: peer(files, font, wav)))
    add("climb", "10 x", *CLIMB, to="out.wav")
    add("climb, stems", "4 x", *CLIMB, "--stems", to="out.wav")
    rows.append(Row("single", "fluidsynth", lambda: peer([own], font, wav)))
    add("single", "3 x", *SINGLE, to="out.wav")
    if shutil.which("lame"):
        whole = folder / "whole.wav"
        ours(HERE, *sound, *CLIMB, tune=tune, to=whole)
        command = ["lame", "--quiet", "-V2", str(whole), str(out / "out.mp3")]
        rows.append(Row("climb as mp3", "lame, encoding", lambda: timed(command)))
    add("climb as mp3", "8 s", *CLIMB, to="out.mp3")
    for name, place in programs.items():

        def page(place: Path = place, name: str = name) -> Run:
            to, no_cache = str(out / "x.html"), ("--no-cache",) * (name == "before")
            words = ("page", str(tune), "--quiet", "-o", to, "--soundfont", str(font.path))
            return timed([_python(place), "-m", "backing", *words, *no_cache], cwd=place)

        rows.append(Row("page", name, page, "1 s"))
    return [row._replace(run=_clearing(row.run, out)) for row in rows]


def _clearing(run: Callable[[], Run], folder: Path) -> Callable[[], Run]:
    """The run with nothing to be overwritten: the system takes time to free what was there."""

    def cleared() -> Run:
        for written in folder.iterdir():
            written.unlink()
        return run()

    return cleared


def print_times(rows: list[Row], repeat: int) -> None:
    """Time all rows in turn; print medians, and ratios to the peer of the same kind of work."""
    runs: dict[tuple[str, str], list[Run]] = defaultdict(list)
    for _ in range(repeat + 1):
        for row in rows:
            runs[row.work, row.who].append(row.run())
    peers: dict[str, float] = {}
    print(f"  {'work':14} {'':16} {'clock':>9} {'processor':>11} {'memory':>9}  ratio (goal)")
    for row in rows:
        taken = runs[row.work, row.who][1:]  # the first one warms the system's own cache
        seconds, processor, megabytes = (median(column) for column in zip(*taken, strict=True))
        kind = row.work.split(",")[0]
        if not row.goal:
            peers[kind] = seconds
        ratio = f"{peers[kind] / seconds:5.1f} x" if row.goal and kind in peers else " " * 7
        goal = f"({row.goal})" if row.goal else ""
        figures = f"{seconds:7.2f} s {processor:9.2f} s {megabytes:6.0f} MB"
        print(f"  {row.work:14} {row.who:16} {figures}  {ratio} {goal}", flush=True)


def ours(place: Path, *options: str, tune: Path, to: Path) -> Run:
    """Our command line in a checkout."""
    command = [_python(place), "-m", "backing", "track", str(tune), "--quiet", "-o", str(to)]
    return timed([*command, *options], cwd=place)


def _python(place: Path) -> str:
    return sys.executable if place == HERE else str(place / ".venv" / "bin" / "python")


def peer(midi: list[Path], font: SoundFont, wav: Path) -> Run:
    """One call of the program for each MIDI file."""
    options = ("-ni", "-q", "-r", str(RATE), "-F", str(wav), str(font.path))
    runs = [timed(["fluidsynth", *options, str(file)]) for file in midi]
    seconds, processor, megabytes = zip(*runs, strict=True)
    return Run(sum(seconds), sum(processor), max(megabytes))


def timed(command: list[str], cwd: Path | None = None) -> Run:
    """Run a command; raises CalledProcessError when it fails."""
    # where Python may keep no bytecode, it reads our source anew each time; no user's does
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    begun = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, env=environment, cwd=cwd)
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - begun
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, command)
    return Run(seconds, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def print_residuals(tune: Path, font: SoundFont) -> None:
    """The residual of every preset of the band in random phrases, and of a chorus."""
    print("  residual by preset, dB: whole; without the first 64 samples of notes; notes; bank s")
    for instrument in INSTRUMENTS:
        print(f"    {instrument.name:24} {null(font, instrument)}", flush=True)
    for name, what in (("climb", CLIMB), ("single", SINGLE)):
        print(f"  dry band, one chorus of the {name}: {band_null(tune, font, what)}")


def band_null(tune: Path, font: SoundFont, options: tuple[str, ...]) -> str:
    """The residual of the dry band playing one chorus, its notes on the blocks of FluidSynth."""
    played = arranged(tune, options)
    chorus = max(played.passes, key=lambda each: len(each.routine_pass.bars))
    here = replace(played, passes=(chorus,))
    bank = Bank(font, RATE)
    references, dry = [], []
    for name in here.part_names:
        piece = on_blocks(here, name)
        sampler = Sampler(piece, "solo", bank)
        references.append(played_by_fluidsynth(font, piece, sampler.length))
        dry.append(sampler.render(0, sampler.length))
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
    """The performance that the command line makes of ``options``, as MIDI tells it."""
    made: list[Performance] = []
    from backing.cli import main
    from backing.combo import arrangement

    arrange = arrangement.arrange

    def kept(*given: Any) -> Performance:
        made.append(arrange(*given))
        return made[-1]

    arrangement.arrange = kept
    try:
        with tempfile.TemporaryDirectory() as folder:
            main(["track", str(tune), "--quiet", "-o", f"{folder}/x.mid", *options])
    finally:
        arrangement.arrange = arrange
    return made[0]


if __name__ == "__main__":
    main()
