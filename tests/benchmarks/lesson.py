"""A lesson of three students beside the `fluidsynth` program, in one run: times and ratio.

    python -m tests.benchmarks.lesson [--soundfont FILE]

Two tunes, each whole at five tempos and with one loop that climbs, for three students who leave out
nobody, the comp and the bass: 36 tracks as MP3, a page and a document of sheets each. Ours is one
command without its cache, on all processors. The peer renders the notes of the same tracks, as our
own MIDI files, with the same SoundFont, one call after the other: no mix, no level, no MP3.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from backing.mixdown.soundfont import choose
from tests.benchmarks.render import compiled

HERE = Path(__file__).parents[2]
LESSON = """\
title = "Benchmark"
soundfont = "{font}"
{tasks}
[[student]]
name = "All"
part = "Eb"

[[student]]
name = "Guitar"
neck = "left-handed"
without = "comp"

[[student]]
name = "Bass"
part = "bass"
"""
TASKS = """
[[task]]
tune = "{tune}"
tempo = "60% 70% 80% 90% 100%"

[[task]]
tune = "{tune}"
bars = "1-4"
climb = "60%-100%:10%"
"""


def timed(*words: str) -> tuple[float, float]:
    """Seconds on the clock and of the processors, of a process and those it starts."""
    before, start = os.times(), time.perf_counter()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
    taken, after = time.perf_counter() - start, os.times()
    spent = after.children_user - before.children_user
    return taken, spent + after.children_system - before.children_system


def main() -> None:
    """Print what both take."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--soundfont", type=Path)
    font = choose(parser.parse_args().soundfont)
    compiled(sys.executable, HERE)
    tunes = [HERE / "tunes" / f"{name}.tune" for name in ("corner-booth", "paper-route-blues")]
    tasks = "".join(TASKS.format(tune=tune) for tune in tunes)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "week.toml").write_text(LESSON.format(font=font.path, tasks=tasks), "utf-8")
        command = (sys.executable, "-m", "backing", "lesson", str(place / "week.toml"), "--quiet")
        ours = timed(*command, "--no-cache", "-o", str(place / "week"))
        made = [path for path in (place / "week").rglob("*") if path.is_file()]
        midi = (place / "week.toml").read_text("utf-8").replace("soundfont", "format = 'mid' #")
        (place / "midi.toml").write_text(midi, "utf-8")
        notes = (*command[:-2], str(place / "midi.toml"), "--quiet", "-o", str(place / "midi"))
        subprocess.run(notes, check=True, stdout=subprocess.DEVNULL)
        files = sorted((place / "midi").rglob("*.mid"))
        clock = processors = seconds = 0.0
        for path in files:
            out = place / "out.wav"
            options = ("-ni", "-q", "-r", "44100", "-O", "s16", "-F", str(out))
            taken = timed("fluidsynth", *options, str(font.path), str(path))
            clock, processors = clock + taken[0], processors + taken[1]
            seconds += out.stat().st_size / 4 / 44100
    print(f"{font.name}, {os.cpu_count()} processors, {len(files)} tracks, {seconds / 60:.0f} min")
    print(f"backing lesson  {ours[0]:6.1f} s  ({ours[1]:.1f} s of processors), {len(made)} files")
    print(f"fluidsynth      {clock:6.1f} s  ({processors:.1f} s of processors)")
    print(f"ratio           {ours[0] / clock:6.2f}    ({ours[1] / processors:.2f} of processors)")


if __name__ == "__main__":
    main()
