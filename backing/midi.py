"""A performance as a Standard MIDI File: ticks, channels and controllers.

A file of format 1 at 960 ticks a quarter (a triplet is 320; an off-beat swung r : 1 falls on
960 r / (r + 1)). Track 0 carries title, tempos, meters, keys, markers and the changes as text;
then comes one track for each part. Every track ends on the last bar line, so that a file of four
bars is four bars long wherever it is dropped.

What a track holds follows from its own part alone: leaving out another changes no byte of it.

Sources: Standard MIDI Files 1.0 (MMA RP-001) for chunks and meta events; General MIDI 1 (MMA
RP-003) for programs, percussion on channel 10, and controllers 7 (volume) and 10 (pan).
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from io import BytesIO
from typing import Any
from zlib import crc32

import mido

from backing.chart.bar import Meter, PlayedBar
from backing.chart.pitch import Key, PitchName
from backing.combo.instruments import Instrument
from backing.combo.markers import markers
from backing.combo.performance import Performance, PlayedNote
from backing.errors import OutputError

TICKS_PER_QUARTER = 960
CHARSET = "utf-8"
"""The standard names none; titles and chord symbols (♭, ø, △) need more than ASCII."""
CLOCKS_PER_QUARTER = 24
"""MIDI clocks, in which the meter event counts a click of the metronome (RP-001)."""
LONGEST_QUARTER = 0xFFFFFF
"""In microseconds: a tempo event has 24 bits for it (SMF 1.0), which is 3.58 a minute."""
PERCUSSION = 9
"""Channel 10 as sent on the wire (General MIDI)."""
VOLUME, PAN = 7, 10
RELEASE_VELOCITY = 64
"""Sent by keyboards without release velocity (MIDI 1.0)."""

# A track's events at one tick stand in this order: a key is released before it is struck again.
_SETUP, _RELEASE, _STRIKE = range(3)

_Event = tuple[int, int, Any]
"""Tick, rank at that tick, and the mido message without its time."""


@dataclass(frozen=True, slots=True)
class Seat:
    """Where a part sits: its ``channel`` (0-15), ``volume`` and ``pan`` (0-127, 64 the middle)."""

    channel: int
    volume: int
    pan: int


SEATS = {
    "line": Seat(4, 100, 64),
    "guide": Seat(3, 92, 76),
    "comp": Seat(1, 84, 52),
    "bass": Seat(0, 100, 64),
    "drums": Seat(PERCUSSION, 92, 64),
    "click": Seat(5, 100, 64),
}
"""Part -> seat, in the order of the tracks (a score's).

A starting point for the player's own mixer: rhythm section in the middle, comping and
guide tones a little to either side, comping 3 dB below the bass (General MIDI takes volume as
40 log10(value / 127) dB).
"""
_SPARE_CHANNELS = (2, 6, 7, 8, 10, 11, 12, 13, 14, 15)


def to_bytes(performance: Performance) -> bytes:
    """The bytes of the MIDI file of ``performance``: the same ones everywhere."""
    file = BytesIO()
    to_midi(performance).save(file=file)
    return file.getvalue()


def to_midi(performance: Performance) -> mido.MidiFile:
    """The MIDI file of ``performance``, format 1: the track of the tune, then one for each part.

    A note ends where its key is struck again, and at the last bar line at the latest; a key struck
    twice at one tick is struck once. What is written before the start (a push) begins at the
    start, or in a loop at the end of the file.
    """
    grid = Grid(performance)
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, charset=CHARSET)
    file.tracks.append(_track(_tune_events(performance, grid), grid.end))
    for part in sorted(performance.part_names, key=_score_order):
        file.tracks.append(_track(_part_events(performance, part, grid), grid.end))
    return file


class Grid:
    """The beats of a performance on the ticks of the file.

    Ticks are rounded once, from the exact sum of the bars before: nothing drifts.
    """

    def __init__(self, performance: Performance) -> None:
        self._starts: list[Fraction] = []
        self._runs: list[_Run] = []
        beat = ticks = Fraction(0)
        for bar in _bars(performance):
            scale = bar.meter.beat_quarters * TICKS_PER_QUARTER
            if not self._runs or self._runs[-1].scale != scale:
                self._starts.append(beat)
                self._runs.append(_Run(scale, ticks - beat * scale))
            beat += bar.length
            ticks += bar.length * scale
        self.end_beats = beat
        self.end = round(ticks)

    def _run(self, beat: Fraction) -> _Run:
        return self._runs[max(0, bisect_right(self._starts, beat) - 1)]

    def tick(self, beat: Fraction) -> int:
        """The tick nearest to ``beat`` of the performance (negative before its start)."""
        return self._run(beat).tick(beat)

    def pace(self, beat: Fraction) -> Fraction:
        """How many quarters the beat that begins at ``beat`` lasts."""
        return self._run(beat).scale / TICKS_PER_QUARTER

    @property
    def paces(self) -> tuple[Fraction, ...]:
        """The beats at which the beat's note value changes, the first included."""
        return tuple(self._starts)


@dataclass(frozen=True, slots=True)
class _Run:
    """Bars with one kind of beat: beat b of the performance is tick b * ``scale`` + ``offset``."""

    scale: Fraction
    offset: Fraction

    def tick(self, beat: Fraction) -> int:
        # in whole numbers, which are faster than fractions
        scale, offset = self.scale, self.offset
        over = beat.denominator * scale.denominator
        ticks = beat.numerator * scale.numerator * offset.denominator + offset.numerator * over
        over *= offset.denominator
        return (2 * ticks + over) // (2 * over)


def _bars(performance: Performance) -> Iterator[PlayedBar]:
    for played in performance.passes:
        yield from played.routine_pass.bars


def _placed_bars(performance: Performance) -> Iterator[tuple[Fraction, PlayedBar]]:
    """Every bar and the beat of the performance it starts on."""
    beat = Fraction(0)
    for bar in _bars(performance):
        yield beat, bar
        beat += bar.length


def _track(events: Iterable[_Event], end: int) -> mido.MidiTrack:
    track, now = mido.MidiTrack(), 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        message.time = tick - now
        track.append(message)
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=end - now))
    return track


# --- the track of the tune ---------------------------------------------------------------------


def _tune_events(performance: Performance, grid: Grid) -> Iterator[_Event]:
    events = (
        [(Fraction(0), mido.MetaMessage("track_name", name=performance.title))],
        _tempos(performance, grid),
        _meters(performance),
        _keys(performance),
        ((beat, mido.MetaMessage("marker", text=text)) for beat, text in markers(performance)),
        _changes(performance),
    )
    for rank, kind in enumerate(events):
        for beat, message in kind:
            yield grid.tick(beat), rank, message


def _tempos(performance: Performance, grid: Grid) -> Iterator[tuple[Fraction, Any]]:
    """The clock's tempos, in microseconds a quarter whatever the beat; repeats left out."""
    clock, before = performance.clock, 0
    starts = {stretch.start for stretch in clock.stretches} | set(grid.paces)
    for beat in sorted(beat for beat in starts if beat < grid.end_beats):
        tempo = clock.at(beat).tempo * grid.pace(beat)
        micros = round(60_000_000 / tempo)
        if micros > LONGEST_QUARTER:
            raise OutputError(
                f"MIDI cannot go as slow as {float(tempo):.1f} quarters a minute.",
                "Ask for a quicker tempo, or for sound such as .wav.",
            )
        if micros != before:
            yield beat, mido.MetaMessage("set_tempo", tempo=micros)
        before = micros


def _meters(performance: Performance) -> Iterator[tuple[Fraction, Any]]:
    before = None
    for beat, length, meter in _measures(performance):
        click = int(CLOCKS_PER_QUARTER * meter.beat_quarters)
        upper, lower = _signature(meter, length)
        if (upper, lower, click) != before:
            yield (
                beat,
                mido.MetaMessage(
                    "time_signature", numerator=upper, denominator=lower, clocks_per_click=click
                ),
            )
        before = (upper, lower, click)


def _measures(performance: Performance) -> Iterator[tuple[Fraction, Fraction, Meter]]:
    """Start, length and meter of each bar; a short count and its pickup make one whole bar."""
    bars = deque(_placed_bars(performance))
    while bars:
        beat, bar = bars.popleft()
        length = bar.length
        if bars and length < bar.meter.beats:
            pickup = bars[0][1]
            if pickup.meter == bar.meter and length + pickup.length == bar.meter.beats:
                length += bars.popleft()[1].length
        yield beat, length, bar.meter


def _signature(meter: Meter, length: Fraction) -> tuple[int, int]:
    """The time signature of a bar of so many beats; a pickup gets its own, to keep bar lines true.

    A length that no signature writes (a triplet) leaves the meter's.
    """
    if length == meter.beats:
        return meter.upper, meter.lower
    for lower in (meter.lower, 4, 8, 16, 32, 64):
        upper = length * meter.beat_quarters * lower / 4
        if upper.denominator == 1 and 0 < upper < 256:
            return int(upper), lower
    return meter.upper, meter.lower


def _keys(performance: Performance) -> Iterator[tuple[Fraction, Any]]:
    before = None
    for beat, bar in _placed_bars(performance):
        name = _key_name(bar.key)
        if name != before:
            yield beat, mido.MetaMessage("key_signature", key=name)
        before = name


def _key_name(key: Key) -> str:
    """The major or minor key with the signature of ``key``: the standard knows no other modes."""
    third = key.tonic.interval_to(key.scale[2]).semitones
    if third == 3:
        return f"{PitchName.of_fifths(key.fifths + 3)}m"
    return str(PitchName.of_fifths(key.fifths))


def _changes(performance: Performance) -> Iterator[tuple[Fraction, Any]]:
    """Every chord as written, on the beat where it is written: unswung and unpushed."""
    for start, bar in _placed_bars(performance):
        for change in bar.changes:
            text = "N.C." if change.chord is None else change.chord.text
            yield start + change.onset, mido.MetaMessage("text", text=text)


# --- the tracks of the parts -------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _KeyPress:
    """A key held from tick ``on`` to tick ``off``, which is later."""

    on: int
    off: int
    pitch: int
    velocity: int


def _score_order(part: str) -> int:
    return list(SEATS).index(part) if part in SEATS else len(SEATS)


def _channel(part: str, instrument: Instrument) -> int:
    """A part's channel, from its own name: a kit's is 10; an unknown part gets a spare one."""
    if instrument.kit:
        return PERCUSSION
    seat = SEATS.get(part)
    if seat is None or seat.channel == PERCUSSION:
        return _SPARE_CHANNELS[crc32(part.encode()) % len(_SPARE_CHANNELS)]
    return seat.channel


def _part_events(performance: Performance, part: str, grid: Grid) -> Iterator[_Event]:
    instrument = performance.instrument(part)
    channel = _channel(part, instrument)
    yield 0, _SETUP, mido.MetaMessage("track_name", name=performance.player(part))
    for message in _setup(part, instrument, channel):
        yield 0, _SETUP, message
    for stroke in _strokes(performance, part, grid):
        key = {"channel": channel, "note": stroke.pitch}
        yield stroke.on, _STRIKE, mido.Message("note_on", velocity=stroke.velocity, **key)
        yield stroke.off, _RELEASE, mido.Message("note_off", velocity=RELEASE_VELOCITY, **key)


def _setup(part: str, instrument: Instrument, channel: int) -> Iterator[Any]:
    yield mido.MetaMessage("instrument_name", name=instrument.name)
    if channel == PERCUSSION and part != "drums":
        # All kits share a channel, so only one part may choose the kit and its volume. What the
        # others strike (a click) is in every kit.
        return
    seat = SEATS.get(part, SEATS["line"])
    yield mido.Message("program_change", channel=channel, program=instrument.program)
    for control, value in ((VOLUME, seat.volume), (PAN, seat.pan)):
        yield mido.Message("control_change", channel=channel, control=control, value=value)


def _strokes(performance: Performance, part: str, grid: Grid) -> tuple[_KeyPress, ...]:
    """The strokes of a part by time and pitch, no two of them on one key at once."""
    placed = (_placed(note, performance, grid) for note in performance.notes(part))
    strokes: list[_KeyPress] = []
    held: dict[int, int] = {}
    in_time = sorted((s for s in placed if s), key=lambda s: (s.on, s.pitch, s.velocity, s.off))
    for stroke in in_time:
        at = held.get(stroke.pitch)
        if at is not None and strokes[at].on == stroke.on:
            # keep the louder, which comes last, and the longer
            strokes[at] = replace(stroke, off=max(stroke.off, strokes[at].off))
            continue
        if at is not None and strokes[at].off > stroke.on:
            strokes[at] = replace(strokes[at], off=stroke.on)
        held[stroke.pitch] = len(strokes)
        strokes.append(stroke)
    return tuple(strokes)


def _placed(played: PlayedNote, performance: Performance, grid: Grid) -> _KeyPress | None:
    """A note on the ticks of the file, at least one tick long; None after the last bar line.

    In a loop, a note written before the start folds to the end, and one after the end to the
    start. A note that only its lateness puts before the start begins there: folded, it would be
    cut after a few milliseconds.
    """
    note = played.note
    on, off = grid.tick(played.onset_beats), grid.tick(played.end_beats)
    if performance.circular and (on >= grid.end or (on < 0 and _written(played) < 0)):
        around = on // grid.end * grid.end
        on, off = on - around, off - around
    elif played.onset_beats >= grid.end_beats:
        return None
    on = min(max(on, 0), grid.end - 1)
    off = min(max(off, on + 1), grid.end)
    return _KeyPress(on, off, note.pitch, note.velocity)


def _written(played: PlayedNote) -> Fraction:
    """The second at which the note would begin without its lateness."""
    return played.onset - Fraction(round(played.note.lateness_ms * 1000), 1_000_000)
