"""How well takes are heard: ``python -m tests.benchmarks.take_report [--page] [SOUNDFONT]``.

Four études at 80 to 280 bpm on three instruments, in six conditions (tests/take/playing.py), scored
by mir_eval (Raffel et al. 2014): note F with onsets within 50 ms and pitches within 50 cents, the
latency of each instrument taken out. FluidR3_GM if it is installed. ``--page``: by the page's
scripts in Node, whose time includes its start.
"""

from __future__ import annotations

import resource
import sys
from collections.abc import Callable
from pathlib import Path
from statistics import mean, median

import numpy as np

from backing.take.heard import Heard, HeardNote
from backing.take.hearing import hear
from tests.mixdown.band import built_in_soundfont
from tests.page.hear import hear_by_page
from tests.take.playing import ETUDES, INSTRUMENTS, RATE, Struck, conditions, note_f, performed

FLUID = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")


Ear = Callable[[np.ndarray, int], Heard]


def main(font: Path, ear: Ear) -> None:
    print(f"{font.name}; note F by étude at {', '.join(str(each[1]) for each in ETUDES)} bpm")
    for instrument in INSTRUMENTS:
        found: dict[str, list[tuple[float, float, float]]] = {}
        for etude in ETUDES:
            for name, (sound, notes) in conditions(performed(*etude), instrument, font).items():
                before = spent()
                heard = ear(sound, RATE)
                cost = (spent() - before) * RATE / len(sound)
                row = note_f(notes, heard.notes), late(notes, heard.notes), cost
                found.setdefault(name, []).append(row)
        for name, rows in found.items():
            scores, lates, costs = zip(*rows, strict=True)
            each = " ".join(f"{score:.2f}" for score in scores)
            print(
                f"{instrument:8}{name:10}F {mean(scores):.3f}  {each}  "
                f"{1000 * mean(lates):4.0f} ms late  {mean(costs):.3f} of real time",
                flush=True,
            )


def hear_by_program(sound: np.ndarray, rate: int) -> Heard:
    """By way of a file, as a recording comes."""
    import tempfile

    import soundfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        soundfile.write(path, sound, rate)
        return hear(path)


def spent() -> float:
    """Seconds of processor time, those of programs that were run included."""
    each = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(used.ru_utime + used.ru_stime for used in each)


def late(played: list[Struck], heard: tuple[HeardNote, ...]) -> float:
    """By how many seconds onsets are heard late, the middle one."""
    pairs = [(note, min(played, key=lambda p: abs(p.onset - note.onset))) for note in heard]
    return median(note.onset - near.onset for note, near in pairs if near.pitch == note.pitch)


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if word != "--page"]
    named = Path(words[0]) if words else FLUID
    chosen = named if named.exists() else built_in_soundfont().path
    main(chosen, hear_by_page if "--page" in sys.argv else hear_by_program)
