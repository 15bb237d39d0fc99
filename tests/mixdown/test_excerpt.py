"""An excerpt of a SoundFont sounds as the whole does, to the bit; what is odd is refused.

The outside here: FluidSynth, which plays both, and the layout of the SoundFont Technical
Specification 2.04 (E-mu Systems 2006), by which fonts are built: section 4.4 (chunks), 7.2 to 7.10
(tables), 8.1 (generators). Ogg Vorbis samples (SF3) are made by libsndfile; their mark is from
memory.
"""

from __future__ import annotations

import io
import os
import random
import struct
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from backing.errors import InternalError, SoundFontError
from backing.mixdown import synth as synth_module
from backing.mixdown.excerpt import Struck, UnusualError, write_excerpt
from backing.mixdown.soundfont import SoundFont, read_soundfont
from backing.mixdown.synth import BLOCK, Stroke, Synth
from tests.mixdown.band import INSTRUMENTS, built_in_soundfont
from tests.mixdown.test_soundfont import chunk

# generators (section 8.1.2)
FILTER, PAN, INSTRUMENT, KEYS, VELOCITIES = 8, 17, 41, 43, 44
TUNE, SAMPLE, LOOPS, CLASS, ROOT = 52, 53, 54, 57, 58
# kinds of samples (section 7.10, sfSampleType)
MONO, RIGHT, LEFT, ROM, COMPRESSED = 1, 2, 4, 0x8000, 0x10

Generators = Sequence[tuple[int, int]]


def span(low: int, high: int) -> int:
    """A range of keys, or velocities."""
    return low | high << 8


@dataclass(frozen=True)
class Zone:
    generators: Generators
    modulators: tuple[bytes, ...] = ()


@dataclass(frozen=True)
class Sampled:
    """A sample of so many ``frames``; its loop is counted from its own beginning."""

    seed: int
    frames: int = 900
    loop: int = 100
    loop_end: int = 800
    kind: int = MONO

    def data(self) -> bytes:
        rng = np.random.default_rng(self.seed)
        wave = np.sin(np.arange(self.frames) * rng.uniform(0.02, 0.2)) * 9000
        wave = (wave + rng.normal(0, 500, self.frames)).astype("<i2")
        if not self.kind & COMPRESSED:
            return wave.tobytes() + b"\0" * 92  # section 6.1: 46 frames of silence
        out = io.BytesIO()
        soundfile.write(out, wave, 44100, format="OGG", subtype="VORBIS")
        return out.getvalue()


@dataclass(frozen=True)
class Font:
    """What a SoundFont is made of: presets (bank, program, zones), instruments, samples."""

    presets: tuple[tuple[int, int, tuple[Zone, ...]], ...]
    instruments: tuple[tuple[Zone, ...], ...]
    samples: tuple[Sampled, ...]

    def tables(self) -> dict[bytes, bytes]:
        tables: dict[bytes, bytes] = {}
        layers = (
            (b"phdr", b"p", [zones for *_, zones in self.presets]),
            (b"inst", b"i", list(self.instruments)),
        )
        for names, kind, layer in layers:
            rows, bags, generators, modulators = b"", b"", b"", b""
            for at, zones in enumerate([*layer, ()]):
                bag = struct.pack("<H", len(bags) // 4)
                if kind == b"p":
                    bank, program = (*self.presets, (0, 0, ()))[at][:2]
                    rows += struct.pack("<20sHH", b"P%d" % at, program, bank) + bag + bytes(12)
                else:
                    rows += struct.pack("<20s", b"I%d" % at) + bag
                for zone in zones:
                    bags += struct.pack("<HH", len(generators) // 4, len(modulators) // 10)
                    generators += b"".join(struct.pack("<HH", *pair) for pair in zone.generators)
                    modulators += b"".join(zone.modulators)
            bags += struct.pack("<HH", len(generators) // 4, len(modulators) // 10)
            tables |= {
                names: rows,
                kind + b"bag": bags,
                kind + b"mod": modulators + bytes(10),
                kind + b"gen": generators + bytes(4),
            }
        return tables | {b"shdr": self._headers()[0]}

    def _headers(self) -> tuple[bytes, bytes]:
        headers, smpl = b"", b""
        for at, sample in enumerate(self.samples):
            data = sample.data()
            if sample.kind & COMPRESSED:
                start, end = len(smpl), len(smpl) + len(data)
                loop, loop_end = sample.loop, sample.loop_end
            else:
                smpl += b"\0" * (len(smpl) % 2)
                start = len(smpl) // 2
                end = start + sample.frames
                loop, loop_end = (max(0, start + a) for a in (sample.loop, sample.loop_end))
            smpl += data
            row = (b"S%d" % at, start, end, loop, loop_end, 44100, 60, 0, 0, sample.kind)
            headers += struct.pack("<20s5IBbHH", *row)
        return headers + bytes(46), smpl

    def written(self, **changed: bytes) -> bytes:
        """The bytes of the file; ``changed``: tables that are otherwise."""
        tables = self.tables() | {name.encode(): table for name, table in changed.items()}
        smpl = tables.pop(b"smpl", self._headers()[1])
        order = b"phdr pbag pmod pgen inst ibag imod igen shdr".split()
        version = 3 if any(sample.kind & COMPRESSED for sample in self.samples) else 2
        texts = chunk(b"ifil", struct.pack("<HH", version, 1))
        texts += chunk(b"isng", b"EMU8000\0") + chunk(b"INAM", b"Small\0")
        body = chunk(b"LIST", b"INFO" + texts)
        body += chunk(b"LIST", b"sdta" + chunk(b"smpl", smpl))
        body += chunk(b"LIST", b"pdta" + b"".join(chunk(name, tables[name]) for name in order))
        return b"RIFF" + struct.pack("<I", len(body) + 4) + b"sfbk" + body


def on(path: Path) -> SoundFont:
    return SoundFont(path, "Small", "", None, frozenset())


def heard(synth: Synth, tones: Iterable[Struck], blocks: int = 12) -> list[np.ndarray]:
    """What each tone sounds like, let go half-way."""
    found = []
    for bank, program, key, velocity in sorted(set(tones)):
        strokes = [Stroke(0, key, velocity), Stroke(blocks // 2 * BLOCK, key, 0)]
        found.append(synth.play(synth.channel(bank, program), strokes, blocks * BLOCK))
    return found


def assert_same(font: SoundFont, tones: Sequence[Struck], blocks: int = 12) -> list[np.ndarray]:
    """That an excerpt is made, and sounds the same; what is heard of the ``tones``."""
    with Synth(font) as whole, Synth(font, tones=tones) as part:
        assert part._part is not None
        ours, theirs = heard(part, tones, blocks), heard(whole, tones, blocks)
    assert all(np.array_equal(a, b) for a, b in zip(ours, theirs, strict=True))
    return ours


def layer(sample: int, *generators: tuple[int, int]) -> Zone:
    return Zone((*generators, (ROOT, 60), (SAMPLE, sample)))


def plays(instrument: int, *generators: tuple[int, int]) -> Zone:
    return Zone((*generators, (INSTRUMENT, instrument)))


# a modulator (section 7.4): velocity to the cutoff of the filter, and another to attenuation
MODULATORS = (
    struct.pack("<HHhHH", 0x0502, FILTER, -2400, 0, 0),
    struct.pack("<HHhHH", 0x0502, 48, 960, 0, 0),
)
SMALL = Font(
    presets=(
        (0, 5, (Zone(((PAN, 200),)), plays(0), plays(1, (KEYS, span(60, 72)), (TUNE, 20)))),
        (0, 7, (plays(2, (KEYS, span(0, 70))), plays(0, (VELOCITIES, span(90, 127))))),
        (0, 9, (plays(1),)),
        (128, 0, (plays(3), plays(2, (KEYS, span(90, 80))))),
        (128, 8, ()),
        (3, 3, (Zone(((TUNE, 5),)),)),
    ),
    instruments=(
        (
            Zone(((FILTER, 9000),), MODULATORS[:1]),
            layer(0, (KEYS, span(0, 59)), (LOOPS, 1)),
            layer(1, (KEYS, span(60, 127)), (VELOCITIES, span(0, 63))),
            Zone(
                layer(2, (KEYS, span(60, 127)), (VELOCITIES, span(64, 127))).generators, MODULATORS
            ),
        ),
        # a stereo pair, for all keys
        (layer(3, (PAN, 0xFE0C)), layer(4, (PAN, 500))),
        # layers that lie one over the other
        (
            layer(5, (KEYS, span(0, 64)), (LOOPS, 3)),
            layer(6, (KEYS, span(50, 80))),
            layer(0, (KEYS, span(60, 61))),
        ),
        tuple(layer(at % 7, (KEYS, span(36 + at, 36 + at)), (CLASS, at % 3)) for at in range(12)),
        (Zone(((TUNE, 9),)),),
    ),
    samples=(
        Sampled(0),
        Sampled(1, 701, 0, 701),
        Sampled(2, 1500),
        Sampled(3, kind=RIGHT),
        Sampled(4, kind=LEFT),
        Sampled(5, 5000, 50, 60),
        Sampled(6, 999, 0, 0),
    ),
)
PACKED = replace(SMALL, samples=tuple(replace(s, kind=s.kind | COMPRESSED) for s in SMALL.samples))
EVERY = [
    (bank, program, key, velocity)
    for bank, program, _ in SMALL.presets
    for key in (0, 36, 40, 47, 55, 59, 60, 61, 64, 70, 71, 72, 85, 127)
    for velocity in (1, 63, 64, 90, 127)
]


@pytest.mark.parametrize("small", [SMALL, PACKED], ids=["sf2", "sf3"])
def test_an_excerpt_of_a_small_font_sounds_as_the_whole(tmp_path: Path, small: Font) -> None:
    path = tmp_path / "small.sf2"
    path.write_bytes(small.written())
    sounds = assert_same(on(path), EVERY)
    assert sum(sound.any() for sound in sounds) > 100
    chance = random.Random(1)
    for _ in range(25):
        assert_same(on(path), chance.sample(EVERY, chance.randint(1, 6)))


def test_every_instrument_of_the_band_sounds_as_from_the_whole_font() -> None:
    font, chance = built_in_soundfont(), random.Random(2)
    tones = []
    for instrument in INSTRUMENTS:
        voice = font.voice(instrument)
        tones += [
            (voice.bank, voice.program, chance.randrange(128), chance.randint(1, 127))
            for _ in range(6)
        ]
    sounds = assert_same(font, tones, 40)
    assert sum(sound.any() for sound in sounds) > len(set(tones)) / 2
    assert_same(font, tones[:1], 40)


def test_an_excerpt_is_small_and_can_be_read(tmp_path: Path) -> None:
    whole, path = built_in_soundfont(), tmp_path / "part.sf2"
    with path.open("wb") as out:
        write_excerpt(whole.path, [(0, 0, 60, 96), (128, 0, 51, 96)], out)
    assert path.stat().st_size < whole.path.stat().st_size / 20
    part = read_soundfont(path)
    assert {preset[:2] for preset in part.presets} == {(0, 0), (128, 0)}
    assert part.name == whole.name
    # an excerpt of an excerpt is the same
    again = io.BytesIO()
    write_excerpt(path, [(0, 0, 60, 96), (128, 0, 51, 96)], again)
    assert again.getvalue() == path.read_bytes()


def test_keys_for_which_there_is_no_zone_are_silent(tmp_path: Path) -> None:
    path = tmp_path / "small.sf2"
    path.write_bytes(SMALL.written())
    lacking = [(128, 0, 20, 90), (128, 8, 60, 90), (3, 3, 60, 90), (0, 7, 100, 30)]
    assert not any(sound.any() for sound in assert_same(on(path), lacking))
    for tone in lacking:
        assert_same(on(path), [tone])
        assert sum(sound.any() for sound in assert_same(on(path), [tone, (128, 0, 40, 90)])) == 1


def test_a_preset_that_is_not_there_is_our_mistake(tmp_path: Path) -> None:
    path = tmp_path / "small.sf2"
    path.write_bytes(SMALL.written())
    for tones in ([(77, 3, 60, 90)], [(77, 3, 60, 90), (0, 5, 60, 90)]):
        with Synth(on(path), tones=tones) as part, pytest.raises(InternalError):
            part.channel(77, 3)


def test_no_tones_at_all_need_no_excerpt(tmp_path: Path) -> None:
    path = tmp_path / "small.sf2"
    path.write_bytes(SMALL.written())
    with Synth(on(path), tones=()) as synth:
        assert heard(synth, EVERY[-1:])


# ---- what is odd ----------------------------------------------------------------------------


def words(table: bytes, place: int, value: int, size: int = 2) -> bytes:
    """A table with another number at a place."""
    return table[:place] + value.to_bytes(size, "little") + table[place + size :]


def with_zones(*zones: Zone) -> bytes:
    """SMALL with these zones in the instrument of preset 9, and a sample in a ROM."""
    return replace(
        SMALL,
        instruments=(SMALL.instruments[0], zones, *SMALL.instruments[2:]),
        samples=(*SMALL.samples, Sampled(7, kind=ROM | MONO)),
    ).written()


def with_sample(**changes: int) -> bytes:
    """SMALL with another sample in preset 9."""
    samples = (*SMALL.samples[:3], replace(SMALL.samples[3], **changes), *SMALL.samples[4:])
    return replace(SMALL, samples=samples).written()


def wrong_tables() -> dict[str, bytes]:
    tables = SMALL.tables()
    pairs = replace(SMALL, presets=SMALL.presets[:3] * 2).written()
    table = {name.decode(): rows for name, rows in tables.items()}
    header = 3 * 46 + 20  # of sample 3: its start, end, loop and end of loop
    smpl = SMALL._headers()[1]
    return {
        "two presets of one number": pairs,
        "a first zone left out": SMALL.written(phdr=words(table["phdr"], 24, 1)),
        "zones backwards": SMALL.written(phdr=words(table["phdr"], 2 * 38 + 24, 0)),
        "generators backwards": SMALL.written(igen=table["igen"], ibag=words(table["ibag"], 8, 0)),
        "bags beyond": SMALL.written(inst=words(table["inst"], len(table["inst"]) - 2, 9999)),
        "modulators beyond": SMALL.written(imod=table["imod"][:10]),
        "half a row": SMALL.written(pbag=table["pbag"][:-1]),
        "an instrument beyond": SMALL.written(
            pgen=table["pgen"].replace(struct.pack("<HH", INSTRUMENT, 1), b"\x29\0\x63\0")
        ),
        "a sample header beyond": with_zones(layer(99)),
        "keys after another generator": with_zones(layer(3, (PAN, 5), (KEYS, span(0, 9)))),
        "velocities before keys": with_zones(
            layer(3, (VELOCITIES, span(0, 9)), (KEYS, span(0, 9)))
        ),
        "keys twice": with_zones(layer(3, (KEYS, span(0, 9)), (KEYS, span(0, 127)))),
        "more after the sample": with_zones(Zone(((SAMPLE, 3), (PAN, 9)))),
        "what is for all keys in the middle": with_zones(layer(3), Zone(((TUNE, 50),)), layer(4)),
        "a sample beyond the file": SMALL.written(shdr=words(table["shdr"], header + 4, 10**6, 4)),
        "a sample backwards": SMALL.written(shdr=words(table["shdr"], header, 10**6, 4)),
        "a short sample": with_sample(frames=7, loop=0, loop_end=7),
        "a sample in a ROM": with_sample(kind=MONO | ROM),
        "a sample of no kind": with_sample(kind=0),
        "a sample of two kinds": with_sample(kind=MONO | LEFT),
        "a linked sample that is compressed": with_sample(kind=COMPRESSED | 8),
        "a needless sample in a ROM": with_zones(
            layer(3, (KEYS, span(9, 0))), Zone(((PAN, 400), (SAMPLE, 7))), layer(4)
        ),
        "a loop before the sample": with_sample(loop=-9),
        "a loop beyond the sample": with_sample(loop_end=901),
        "a loop backwards": with_sample(loop=70, loop_end=60),
        "an odd byte of samples": SMALL.written(smpl=smpl + b"\0"),
        "samples cut off": SMALL.written(smpl=smpl[:999]),
        "lists in another order": SMALL.written().replace(b"INFO", b"sdta"),
        "a list missing": SMALL.written().replace(b"LIST", b"JUNK", 1),
        "tables in another order": SMALL.written().replace(b"ibag", b"pbag"),
        "the lower bits of samples": SMALL.written().replace(b"smpl", b"sm24"),
    }


@pytest.mark.parametrize("odd", wrong_tables())
def test_what_is_odd_is_refused_and_the_whole_is_played(tmp_path: Path, odd: str) -> None:
    path = tmp_path / f"{odd}.sf2"
    path.write_bytes(wrong_tables()[odd])
    tones = [(0, 9, 60, 90)]
    with pytest.raises(UnusualError):
        write_excerpt(path, tones, io.BytesIO())
    assert same_or_refused(on(path), tones) is None


@pytest.mark.parametrize("low", [0, 1])
def test_samples_that_lie_one_over_the_other_are_copied_but_not_without_end(
    tmp_path: Path, low: int
) -> None:
    # a file of some kilobytes may ask for gigabytes
    samples = tuple(Sampled(1, 30_000) for _ in range(20))
    zones = tuple(layer(at, (KEYS, span(at * low, 127))) for at in range(20))
    font = Font(((0, 0, (plays(0),)),), (zones,), samples)
    rows, smpl = font._headers()
    for at in range(20):
        place = at * 46 + 20
        rows = rows[:place] + struct.pack("<4I", at, 30_000, at, at) + rows[place + 16 :]
    path = tmp_path / "over.sf2"
    path.write_bytes(font.written(shdr=rows, smpl=smpl[:60_092]))
    if low:  # key 0 needs one of them
        assert_same(on(path), [(0, 0, 0, 90)])
    with pytest.raises(UnusualError, match="over the other"):
        write_excerpt(path, [(0, 0, 60, 90)], io.BytesIO())


def test_a_file_that_is_no_soundfont_is_refused(tmp_path: Path) -> None:
    path, tones = tmp_path / "x.sf2", [(0, 9, 60, 90)]
    with pytest.raises(OSError, match="No such file"):
        write_excerpt(path, tones, io.BytesIO())
    with pytest.raises(OSError, match=r"directory|denied"):
        write_excerpt(tmp_path, tones, io.BytesIO())
    whole = SMALL.written()
    for size in (0, 1, 4, 11, 12, 15, 19, 20, 23, 24, 60, 1000, len(whole) // 2, len(whole) - 1):
        path.write_bytes(whole[:size])
        with pytest.raises(UnusualError):
            write_excerpt(path, tones, io.BytesIO())
        with pytest.raises(SoundFontError):
            Synth(on(path), tones=tones)


def test_a_file_may_shrink_meanwhile(tmp_path: Path) -> None:
    path = tmp_path / "shrinks.sf2"
    path.write_bytes(built_in_soundfont().path.read_bytes())

    class Shrinking(io.BytesIO):
        def write(self, data: object) -> int:
            os.truncate(path, 5000)
            return super().write(data)  # type: ignore[arg-type]

    with pytest.raises(UnusualError, match="too soon"):
        write_excerpt(path, [(0, 0, 60, 90)], Shrinking())


# ---- by chance ------------------------------------------------------------------------------


def same_or_refused(font: SoundFont, tones: Sequence[Struck]) -> int | None:
    """How many tones are heard, the same from an excerpt; None if there is no excerpt.

    Nothing but UnusualError may come of it; without one FluidSynth has to manage, or to refuse.
    """
    try:
        write_excerpt(font.path, tones, io.BytesIO())
        made = True
    except UnusualError:
        made = False
    try:
        with Synth(font) as whole:
            theirs = [_heard_if_there(whole, tone) for tone in tones]
    except SoundFontError:
        return None
    with Synth(font, tones=tones) as part:
        assert (part._part is not None) == made
        ours = [_heard_if_there(part, tone) for tone in tones]
    for mine, other in zip(ours, theirs, strict=True):
        assert np.array_equal(mine, other, equal_nan=True)
    return sum(sound.any() for sound in ours) if made else None


def _heard_if_there(synth: Synth, tone: Struck) -> np.ndarray:
    """What a tone sounds like; nothing, of no length, where there is no such preset."""
    try:
        return heard(synth, [tone], 6)[0]
    except InternalError:
        return np.zeros((0, 2), np.float32)


def chance_zone(chance: random.Random, target: int, targets: int, *, first: bool) -> Zone:
    """A zone as it may be, with now and then something that it may not be."""
    generators: list[tuple[int, int]] = []
    if chance.random() < 0.5:
        generators.append((KEYS, span(chance.randint(0, 70), chance.randint(40, 130))))
    if chance.random() < 0.3:
        generators.append((VELOCITIES, span(chance.randint(0, 70), chance.randint(40, 127))))
    kinds = (FILTER, PAN, 36, 38, 48, LOOPS, CLASS)
    amounts = (0, 1, 3, 60, 200, 65_000, 9000)
    generators += [
        (chance.choice(kinds), chance.choice(amounts)) for _ in range(chance.randint(0, 3))
    ]
    if not first or chance.random() < 0.5:
        generators.append((target, chance.randrange(targets)))
    if chance.random() < 0.02:
        chance.shuffle(generators)
    modulators = chance.choice(((), (), (), MODULATORS, MODULATORS[1:]))
    return Zone(tuple(generators), modulators)


def chance_font(chance: random.Random) -> Font:
    samples, instruments = chance.randint(1, 6), chance.randint(1, 4)

    def zones(target: int, targets: int) -> tuple[Zone, ...]:
        count = chance.choice((0, 1, 2, 3, 5))
        return tuple(chance_zone(chance, target, targets, first=at == 0) for at in range(count))

    def sample() -> Sampled:
        frames = chance.choice((8, 9, 48, 500, 901, 2000))
        # FluidSynth 2.3.1 reads beyond a sample whose loop is shorter than a step of the pitch
        looped = frames >= 500
        loop, end = (chance.randint(0, 300), frames - chance.randint(0, 90)) if looped else (0, 0)
        packed = COMPRESSED if frames >= 500 and chance.random() < 0.3 else 0
        kind = chance.choice((*(MONO, LEFT, RIGHT, 8) * 4, ROM | MONO))
        return Sampled(chance.randrange(99), frames, loop, end, kind | packed)

    numbers = [(bank, program) for bank in (0, 1, 128) for program in range(4)]
    chance.shuffle(numbers)
    return Font(
        tuple(
            (*numbers[at % 11], zones(INSTRUMENT, instruments))
            for at in range(chance.randint(1, 12))
        ),
        tuple(zones(SAMPLE, samples) for _ in range(instruments)),
        tuple(sample() for _ in range(samples)),
    )


def chance_tones(chance: random.Random, font: Font) -> list[Struck]:
    presets = [chance.choice(font.presets)[:2] for _ in range(chance.randint(1, 6))]
    return [(*preset, chance.randrange(128), chance.randint(1, 127)) for preset in presets]


def changed(chance: random.Random, data: bytes) -> bytes:
    """The bytes of a file, with some changes anywhere, or in its tables."""
    mutant = bytearray(data)
    first = chance.choice((12, data.index(b"pdta")))
    # FluidSynth 2.3.1 believes where a modulator points, and writes there, wherever it is
    modulators = range(data.index(b"imod") - 60, data.index(b"igen"))
    for _ in range(chance.choice((1, 1, 2, 5))):
        at = chance.randrange(first, len(mutant) - 60)
        if at in modulators:
            continue
        size = chance.randint(1, 50)
        match chance.choice(("byte", "byte", "byte", "word", "long", "less", "more")):
            case "byte":
                mutant[at] = chance.choice((0, 1, 255, chance.randrange(256)))
            case "word":
                number = chance.choice((0, 1, INSTRUMENT, KEYS, VELOCITIES, SAMPLE, 65_535))
                mutant[at : at + 2] = struct.pack("<H", number)
            case "long":
                mutant[at : at + 4] = struct.pack("<I", chance.choice((0, 2**31, 2**32 - 1)))
            case "less":
                del mutant[at : at + size]
            case "more":
                mutant[at:at] = chance.randbytes(size)
    if chance.random() < 0.7:
        mutant[4:8] = struct.pack("<I", len(mutant) - 8)
    if chance.random() < 0.05:
        del mutant[chance.randrange(len(mutant)) :]
    return bytes(mutant)


Made = Callable[[random.Random], tuple[bytes, list[Struck]]]


def any_font(chance: random.Random) -> tuple[bytes, list[Struck]]:
    font = chance_font(chance)
    return font.written(), chance_tones(chance, font)


def mutated_font(chance: random.Random) -> tuple[bytes, list[Struck]]:
    font = chance.choice((SMALL, PACKED))
    # without loops: they may become too short (see chance_font)
    font = replace(
        font,
        instruments=tuple(
            tuple(
                Zone(tuple(g for g in zone.generators if g[0] != LOOPS), zone.modulators)
                for zone in zones
            )
            for zones in font.instruments
        ),
    )
    return changed(chance, font.written()), chance_tones(chance, font)


@pytest.mark.parametrize(("make", "least"), [(any_font, 100), (mutated_font, 70)])
def test_whatever_a_file_holds_an_excerpt_sounds_the_same_or_is_refused(
    tmp_path: Path, make: Made, least: int
) -> None:
    synth_module.load_library()
    sounding = refused = 0
    for seed in range(300):
        data, tones = make(random.Random(seed))
        # a name for each: FluidSynth takes one written again in the same second for the same
        path = tmp_path / f"{seed}.sf2"
        path.write_bytes(data)
        found = same_or_refused(on(path), tones)
        refused += found is None
        sounding += bool(found)
        path.unlink()
    assert sounding > least
    assert refused > 20


# ---- files ----------------------------------------------------------------------------------


def open_files() -> int:
    return sum(1 for _ in Path("/proc/self/fd").iterdir())


@pytest.fixture(params=["in memory", "on disk"])
def folder(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where temporary files would lie; whether there are any depends on the system."""
    there = tmp_path / "temporary"
    there.mkdir()
    monkeypatch.setattr(synth_module.tempfile, "tempdir", str(there))
    if request.param == "on disk":
        monkeypatch.setattr(synth_module, "_OPEN_FILES", tmp_path / "no such folder")
    return there


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="counts open files by Linux's list")
def test_nothing_is_left_open_or_lying_about(folder: Path, tmp_path: Path) -> None:
    path, tones = tmp_path / "small.sf2", [(0, 9, 60, 90)]
    path.write_bytes(SMALL.written())
    odd, none = tmp_path / "odd.sf2", tmp_path / "none.sf2"
    odd.write_bytes(wrong_tables()["keys twice"])
    none.write_bytes(SMALL.written()[:2000])
    assert_same(on(path), tones)
    before = open_files()
    for _ in range(5):
        assert_same(on(path), tones)
        assert same_or_refused(on(odd), tones) is None
        assert same_or_refused(on(none), tones) is None
        with pytest.raises(SoundFontError):
            Synth(on(none), tones=tones)
        with pytest.raises(SoundFontError):
            Synth(on(tmp_path / "missing.sf2"), tones=tones)
    assert open_files() == before
    assert not list(folder.iterdir())


@pytest.mark.parametrize("error", [OSError, UnusualError, KeyboardInterrupt])
def test_an_excerpt_that_is_not_finished_is_thrown_away(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: type[BaseException]
) -> None:
    path, tones = tmp_path / "small.sf2", [(0, 9, 60, 90)]
    path.write_bytes(SMALL.written())
    with Synth(on(path)) as whole:
        theirs = heard(whole, tones)

    def fails(_: Path, __: object, out: io.BufferedWriter) -> None:
        out.write(b"half")
        raise error

    monkeypatch.setattr(synth_module, "write_excerpt", fails)
    before = open_files()
    if error is KeyboardInterrupt:
        with pytest.raises(KeyboardInterrupt):
            synth_module._excerpt(path, tones)
    else:
        with Synth(on(path), tones=tones) as synth:
            assert synth._part is None
            assert np.array_equal(heard(synth, tones), theirs)
    assert open_files() == before
    assert not list(folder.iterdir())


def test_an_excerpt_for_which_there_is_no_room_is_thrown_away(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    full = Path("/dev/full")  # whatever is written there finds no room (Linux: man 4 full)
    if not full.exists():
        pytest.skip("needs /dev/full")
    path, tones = tmp_path / "small.sf2", [(0, 9, 60, 90)]
    path.write_bytes(SMALL.written())
    made = synth_module._File

    def on_full() -> synth_module._File:
        file = made()
        file.file.close()
        file.file = full.open("wb")
        return file

    monkeypatch.setattr(synth_module, "_File", on_full)
    before = open_files()
    with Synth(on(path), tones=tones) as synth:
        assert synth._part is None
        assert heard(synth, tones)[0].any()
    assert open_files() == before
    assert not list(folder.iterdir())


def test_where_fluidsynth_refuses_an_excerpt_the_whole_is_loaded(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, tones = tmp_path / "small.sf2", [(0, 9, 60, 90)]
    path.write_bytes(SMALL.written())
    monkeypatch.setattr(synth_module, "write_excerpt", lambda _, __, out: out.write(b"no font"))
    with Synth(on(path), tones=tones) as synth:
        assert heard(synth, tones)[0].any()
    assert not list(folder.iterdir())


def test_a_sample_that_cannot_be_decoded_does_not_stay_for_the_next_font(tmp_path: Path) -> None:
    # FluidSynth 2.3.1 keeps what it made of one, under the name of its file and the second
    good, bad, tones = tmp_path / "good.sf3", tmp_path / "bad.sf3", [(0, 9, 60, 90)]
    good.write_bytes(PACKED.written())
    broken = b"".join(sample.data()[:-100] + bytes(100) for sample in PACKED.samples)
    bad.write_bytes(PACKED.written(smpl=broken))
    with Synth(on(good)) as whole:
        theirs = heard(whole, tones)
    for _ in range(3):
        with Synth(on(bad), tones=tones) as synth:
            assert not heard(synth, tones)[0].any()
        with Synth(on(good), tones=tones) as synth:
            assert np.array_equal(heard(synth, tones), theirs)
