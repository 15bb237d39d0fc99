"""Performances built by hand, and MIDI files read back, for the tests of the MIDI file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import mido

from backing import midi
from backing.chart.bar import Change, Meter, PlayedBar
from backing.chart.harmony import parse_chord
from backing.chart.pitch import Key
from backing.combo import instruments
from backing.combo.feel import Clock
from backing.combo.instruments import (
    ACOUSTIC_BASS,
    JAZZ_KIT,
    PEDAL_HAT,
    PIANO,
    RIDE,
    STANDARD_KIT,
    TENOR_SAX,
    VIBES,
)
from backing.combo.part import Note, Part
from backing.combo.performance import Performance, PlayedPass
from backing.routine import Pass, Purpose

GOLDEN = Path(__file__).parent / "golden"
F = Fraction
EVEN = F(1)


def meter_of(text: str) -> Meter:
    upper, lower = text.split("/")
    return Meter(int(upper), int(lower))


def bar(
    chords: str = "",
    *,
    meter: str = "4/4",
    key: str = "C major",
    section: str = "A",
    use: int = 0,
    number: int = 1,
    role: str = "chorus",
    length: Fraction | None = None,
    tempo_ratio: Fraction = EVEN,
) -> PlayedBar:
    """One bar; ``chords`` divide it evenly."""
    signature = meter_of(meter)
    lasts = F(signature.beats) if length is None else length
    texts = chords.split()
    changes = tuple(
        Change(lasts * at / len(texts), None if text == "N.C." else parse_chord(text))
        for at, text in enumerate(texts)
    )
    return PlayedBar(
        number=number,
        role=role,
        section=section,
        section_use=use,
        section_bar=number,
        section_bars=8,
        meter=signature,
        length=lasts,
        key=Key.parse(key),
        feel="swing",
        changes=changes,
        tempo_ratio=tempo_ratio,
    )


def a_pass(
    *bars: PlayedBar,
    tempo: Fraction | int = 120,
    purpose: Purpose = Purpose.HEAD,
    choruses: int = 2,
    chorus: int = 0,
) -> Pass:
    return Pass(purpose, bars, F(tempo), choruses=choruses, chorus=chorus)


def perform(
    *passes: tuple[Pass, Sequence[Part]],
    title: str = "Low Tide Ferry",
    ratio: Fraction = EVEN,
    circular: bool = False,
) -> Performance:
    played, runs, start = [], [], F(0)
    for each, parts in passes:
        played.append(PlayedPass(each, start, tuple(parts)))
        runs += [(b.length, each.tempo * b.tempo_ratio, ratio) for b in each.bars]
        start += each.length_beats
    return Performance(title, tuple(played), Clock(runs), circular=circular)


def note(
    onset: object, pitch: int = 60, length: object = 1, velocity: int = 64, **more: object
) -> Note:
    return Note(F(str(onset)), F(str(length)), pitch, velocity, **more)  # type: ignore[arg-type]


def bass(*notes: Note) -> Part:
    return Part.of("bass", ACOUSTIC_BASS, notes)


def drums(*notes: Note) -> Part:
    return Part.of("drums", JAZZ_KIT, notes)


def comping(*notes: Note) -> Part:
    return Part.of("comp", PIANO, notes)


def one_bar(*parts: Part, **more: object) -> Performance:
    return perform((a_pass(bar("Cm7 F7", key="G minor")), parts), **more)  # type: ignore[arg-type]


def one_bar_of_swing() -> Performance:
    walk = (note(0, 36, 1, 88), note(1, 39, 1, 80), note(2, 41, 1, 88), note("7/2", 40, "1/2", 72))
    ride = (note(0, RIDE, "1/4", 72), note(1, RIDE, "1/4", 88), note("3/2", RIDE, "1/4", 56))
    foot = note(1, PEDAL_HAT, "1/4", 64, lateness_ms=-10.0)
    plan = a_pass(bar("Cm7 F7♭9", key="G minor"), tempo=130)
    return perform((plan, (bass(*walk), drums(*ride, foot))), ratio=F(2))


def a_whole_tune() -> Performance:
    """Count-in, pickup inside it, head, two solos with a bridge in 3/4, out with a coda."""
    counted = [bar(section="count-in", role="count-in", number=n, key="G minor") for n in (1, 2)]
    counted[1] = replace(counted[1], length=F(3))
    pickup = bar("D7", number=0, length=F(1), key="G minor")
    verse = [bar("Gm6", key="G minor"), bar("Am7b5 D7", key="G minor", number=2)]
    bridge = [bar("B♭△ N.C.", meter="4/4", key="Bb major", section="B", use=1)]
    waltz = [bar("F/G", meter="3/4", key="Bb major", section="B", use=1)]
    coda = [bar("Gm6", key="G minor", section="coda", use=2, role="coda", tempo_ratio=F(1, 2))]
    out = a_pass(*verse, *coda, purpose=Purpose.HEAD_OUT)
    return perform(
        (a_pass(*counted, purpose=Purpose.COUNT_IN), ()),
        (a_pass(pickup, *verse, *bridge), ()),
        (a_pass(*verse, *waltz, purpose=Purpose.SOLO, chorus=1), ()),
        (a_pass(*verse, *waltz, purpose=Purpose.SOLO, chorus=2), ()),
        (out, ()),
        title="Ébauche für Müde ♭",
    )


GUIDE = Part.of("guide", VIBES, [note(0, 63, 2), note(2, 62, 2)])
CLICK = Part.of(
    "click", STANDARD_KIT, [note(n, instruments.HIGH_WOOD_BLOCK, "1/4") for n in range(4)]
)
MELODY = Part.of("line", TENOR_SAX, [note(0, 70, 4)])


def a_band() -> tuple[Part, ...]:
    return (
        drums(note(0, RIDE), note(1, PEDAL_HAT)),
        CLICK,
        GUIDE,
        comping(note("3/2", 58), note("3/2", 63)),
        bass(note(0, 36), note(1, 39)),
        MELODY,
    )


# --- readers -------------------------------------------------------------------------------------


def read(performance: Performance) -> mido.MidiFile:
    return mido.MidiFile(file=BytesIO(midi.to_bytes(performance)), charset="utf-8")


def timed(track: mido.MidiTrack) -> list[tuple[int, mido.Message]]:
    now, out = 0, []
    for message in track:
        now += message.time
        out.append((now, message))
    return out


def of_kind(track: mido.MidiTrack, kind: str) -> list[tuple[int, mido.Message]]:
    return [(tick, message) for tick, message in timed(track) if message.type == kind]


def track_named(file: mido.MidiFile, name: str) -> mido.MidiTrack:
    return next(track for track in file.tracks[1:] if track.name == name)


def keystrokes(track: mido.MidiTrack) -> list[tuple[int, int, int]]:
    """(on, off, key) in the order of the offs; fails on a key struck or released out of turn."""
    down: dict[int, int] = {}
    strokes = []
    for tick, message in timed(track):
        if message.type == "note_on":
            assert message.velocity > 0
            assert message.note not in down, f"key {message.note} struck while held, tick {tick}"
            down[message.note] = tick
        elif message.type == "note_off":
            strokes.append((down.pop(message.note), tick, message.note))
    assert not down, f"keys left hanging: {down}"
    return strokes


def chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    """The chunks of a file, by the standard's lengths alone."""
    found, at = [], 0
    while at < len(data):
        size = int.from_bytes(data[at + 4 : at + 8], "big")
        found.append((data[at : at + 4], data[at + 8 : at + 8 + size]))
        at += 8 + size
    assert at == len(data)
    return found


def events(track: bytes) -> Iterator[tuple[int, bytes]]:
    """Tick and bytes of each event of a track chunk, running status undone (RP-001)."""
    at = tick = 0
    status = 0

    def quantity() -> int:
        nonlocal at
        value = 0
        while True:
            value = value << 7 | track[at] & 0x7F
            at += 1
            if track[at - 1] < 0x80:
                return value

    while at < len(track):
        tick += quantity()
        if track[at] == 0xFF:
            kind, at = track[at + 1], at + 2
            size = quantity()
            yield tick, bytes([0xFF, kind]) + track[at : at + size]
            at += size
            continue
        if track[at] >= 0x80:
            status, at = track[at], at + 1
        size = 1 if status >> 4 in (0xC, 0xD) else 2
        yield tick, bytes([status]) + track[at : at + size]
        at += size
