"""How well takes are heard: ``python -m tests.benchmarks.take_report [SOUNDFONT]``.

Four études at 80 to 280 bpm on three instruments, in six conditions (tests/take/playing.py), scored
by mir_eval (Raffel et al. 2014): note F with onsets within 50 ms and pitches within 50 cents, the
latency of each instrument taken out. FluidR3_GM if it is installed.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from statistics import mean, median

from backing.take.heard import HeardNote
from backing.take.hearing import hear
from tests.mixdown.band import built_in_soundfont
from tests.take.playing import ETUDES, INSTRUMENTS, RATE, Struck, conditions, note_f, performed

FLUID = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")


def main(font: Path) -> None:
    import tempfile

    import soundfile

    print(f"{font.name}; note F by étude at {', '.join(str(each[1]) for each in ETUDES)} bpm")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        for instrument in INSTRUMENTS:
            found: dict[str, list[tuple[float, float, float]]] = {}
            for etude in ETUDES:
                for name, (sound, notes) in conditions(performed(*etude), instrument, font).items():
                    soundfile.write(path, sound, RATE)
                    before = time.process_time()
                    heard = hear(path)
                    cost = (time.process_time() - before) * RATE / len(sound)
                    row = note_f(notes, heard.notes), late(notes, heard.notes), cost
                    found.setdefault(name, []).append(row)
            for name, rows in found.items():
                scores, lates, costs = zip(*rows, strict=True)
                each = " ".join(f"{score:.2f}" for score in scores)
                print(
                    f"{instrument:8}{name:10}F {mean(scores):.3f}  {each}  "
                    f"{1000 * mean(lates):4.0f} ms late  {mean(costs):.3f} of real time"
                )


def late(played: list[Struck], heard: tuple[HeardNote, ...]) -> float:
    """By how many seconds onsets are heard late, the middle one."""
    pairs = [(note, min(played, key=lambda p: abs(p.onset - note.onset))) for note in heard]
    return median(note.onset - near.onset for note, near in pairs if near.pitch == note.pitch)


if __name__ == "__main__":
    named = Path(sys.argv[1]) if len(sys.argv) > 1 else FLUID
    main(named if named.exists() else built_in_soundfont().path)
