"""How near our dry parts come to FluidSynth's own, preset by preset, and how long they take.

    python -m tests.benchmarks.bank_null

Each preset of the band plays a random phrase on each well-known SoundFont of this machine. The
residual is printed twice: whole, and without the first 64 samples of each note, which FluidSynth
itself renders one way or another depending on what its voice played before.
"""

from __future__ import annotations

import time

import numpy as np

from backing.combo import instruments as gm
from backing.mixdown.bank import Bank
from backing.mixdown.loops import BLOCK
from backing.mixdown.sampler import Sampler
from backing.mixdown.soundfont import SoundFont, find_soundfonts
from tests.mixdown.band import INSTRUMENTS, RATE
from tests.mixdown.reference import played_by_fluidsynth, random_phrase, residual_db


def null(font: SoundFont, instrument: gm.Instrument) -> str:
    """One row: residuals in dB, notes, seconds."""
    piece = random_phrase(instrument, instrument.name)
    bank = Bank(font, RATE)
    line = Sampler(piece, "solo", bank)
    begun = time.perf_counter()
    bank.prepare(line.holds)
    seconds = time.perf_counter() - begun
    ours = line.render(0, line.length)
    reference = played_by_fluidsynth(font, piece, line.length)
    later = np.ones(line.length, bool)
    for placed in line.notes:
        later[placed.onset : placed.onset + BLOCK] = False
    whole, rest = residual_db(reference, ours), residual_db(reference[later], ours[later])
    return f"{whole:8.1f} {rest:8.1f} {len(line.holds):6d} {seconds:7.2f}"


def main() -> None:
    """Print the table."""
    for font in find_soundfonts():
        print(f"{font.name} ({font.path})")
        print(f"  {'':24} {'dB':>8} {'later dB':>8} {'notes':>6} {'bank s':>7}")
        for instrument in INSTRUMENTS:
            print(f"  {instrument.name:24} {null(font, instrument)}", flush=True)


if __name__ == "__main__":
    main()
