"""How near our dry parts come to FluidSynth's own, preset by preset, and how long they take.

    python -m tests.benchmarks.bank_null

Each preset of the band plays a random phrase on each well-known SoundFont of this machine. The
residual is printed twice: whole, and without the first 64 samples of each note, which FluidSynth
itself renders one way or another depending on what its voice played before.
"""

from __future__ import annotations

import time
from fractions import Fraction

import numpy as np
from backing.mixdown.timeline import Timeline

from backing.combo import instruments as gm
from backing.combo.part import Note, Part
from backing.mixdown.bank import Bank
from backing.mixdown.soundfont import SoundFont, find_soundfonts
from backing.mixdown.synth import BLOCK
from tests.mixdown.band import INSTRUMENTS, RATE, performance
from tests.mixdown.reference import played_by_fluidsynth, random_phrase, residual_db


def null(font: SoundFont, instrument: gm.Instrument) -> str:
    """One row: residuals in dB, tones, renderings, seconds."""
    piece = random_phrase(instrument, instrument.name)
    bank = Bank(font, RATE)
    line = Timeline(piece, "solo", bank)
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


def climb(font: SoundFont) -> str:
    """The time to place 24,000 notes of 2,000 seconds in windows of ten seconds."""
    third = Fraction(1, 3)
    ride = [Note(Fraction(i, 2), third, gm.RIDE, 72 + 8 * (i % 3)) for i in range(8000)]
    bass = [Note(Fraction(i), Fraction(9, 10), 33 + i % 17, 88) for i in range(4000)]
    piano = [Note(Fraction(i // 4), third, 52 + 5 * (i % 4) + i // 4 % 3, 72) for i in range(12000)]
    piece = performance(
        Part.of("drums", gm.JAZZ_KIT, ride),
        Part.of("bass", gm.ACOUSTIC_BASS, bass),
        Part.of("comping", gm.PIANO, piano),
        beats=4000,
    )
    bank = Bank(font, RATE)
    begun = time.perf_counter()
    lines = [Timeline(piece, part, bank) for part in piece.part_names]
    placed = time.perf_counter()
    for line in lines:
        bank.prepare(line.holds)
    ready = time.perf_counter()
    rows = []
    for line in lines:
        start = time.perf_counter()
        for _ in line.windows(10 * RATE):
            pass
        rows.append(f"{line.part} {time.perf_counter() - start:.2f}")
    done = time.perf_counter()
    return (
        f"24,000 notes: clock {placed - begun:.2f} s, bank {ready - placed:.2f} s "
        f"({bank.bytes_held / 1e6:.0f} MB), placing {done - ready:.2f} s ({', '.join(rows)})"
    )


def main() -> None:
    """Print the table."""
    for font in find_soundfonts():
        print(f"{font.name} ({font.path})")
        print(f"  {'':24} {'dB':>8} {'later dB':>8} {'tones':>6} {'bank s':>7}")
        for instrument in INSTRUMENTS:
            print(f"  {instrument.name:24} {null(font, instrument)}", flush=True)
        print(f"  {climb(font)}\n", flush=True)


if __name__ == "__main__":
    main()
