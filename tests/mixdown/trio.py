"""A trio for tests of sound: it walks, swings and comps without thinking."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from fractions import Fraction

from backing.combo import instruments as gm
from backing.combo.feel import Clock
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass
from backing.routine import Pass, Purpose

TONICS = (36, 41, 38, 43, 34, 39, 36, 36)


def bass(bars: int, rng: random.Random) -> Iterator[Note]:
    """Four quarters a bar around a tonic."""
    for beat in range(4 * bars):
        pitch = TONICS[beat // 4 % 8] + (0 if beat % 4 == 0 else rng.choice((2, 4, 7, 9)))
        loud = rng.choice((72, 80, 88))
        yield Note(Fraction(beat), Fraction(9, 10), pitch, loud, lateness_ms=rng.uniform(0, 8))


def comping(bars: int, rng: random.Random) -> Iterator[Note]:
    """One or two chords a bar, four voices each."""
    for bar in range(bars):
        root = TONICS[bar % 8] + 12
        for onset in rng.choice(((0, 1.5), (0.5,), (1.5, 3), (1,), (2.5,))):
            length = Fraction(rng.choice((1, 2, 4)), 4)
            for voice in (4, 9, 10, 14):
                at = 4 * bar + Fraction(onset)
                yield Note(at, length, root + voice, rng.choice((64, 72)))


def drums(bars: int, rng: random.Random) -> Iterator[Note]:
    """Ride, foot, feathered kick and a few snare strokes."""
    half = Fraction(1, 2)
    for bar in range(bars):
        for beat in range(4):
            at = Fraction(4 * bar + beat)
            yield Note(at, half, gm.RIDE, (72, 88)[beat % 2])
            yield Note(at, half, gm.KICK, 40)
            if beat % 2:
                yield Note(at + half, half, gm.RIDE, 64)
                yield Note(at, half, gm.PEDAL_HAT, 72, lateness_ms=-10.0)
            elif rng.random() < 0.5:
                yield Note(at + half, half, gm.SNARE, rng.choice((32, 40, 64)))
        if bar % 8 == 0:
            yield Note(Fraction(4 * bar), Fraction(4), gm.CRASH, 72)


def parts(bars: int, seed: int = 1) -> tuple[Part, ...]:
    """Bass, comping and drums over ``bars`` bars of 4/4."""
    return (
        Part.of("bass", gm.ACOUSTIC_BASS, bass(bars, random.Random(seed))),
        Part.of("comp", gm.PIANO, comping(bars, random.Random(seed))),
        Part.of("drums", gm.JAZZ_KIT, drums(bars, random.Random(seed))),
    )


def performance(
    tempos: Sequence[int] = (160,),
    *,
    bars: int = 8,
    band: tuple[Part, ...] | None = None,
    circular: bool = False,
) -> Performance:
    """The same bars once at each tempo (bpm)."""
    playing = parts(bars) if band is None else band
    beats = Fraction(4 * bars)
    passes = tuple(
        PlayedPass(Pass(Purpose.SOLO, (), Fraction(tempo)), beats * at, playing)
        for at, tempo in enumerate(tempos)
    )
    clock = Clock([(beats, Fraction(tempo), Fraction(2)) for tempo in tempos])
    return Performance("Test", passes, clock, Fraction(0 if circular else 5, 2), circular)
