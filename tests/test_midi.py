"""The MIDI file, byte for byte and note for note, against the standard."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import music21
import pretty_midi
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing import midi
from backing.chart.pitch import Interval, Key
from backing.combo.feel import Clock
from backing.combo.instruments import RIDE
from backing.combo.part import Note
from tests.combo.build import bar_lines
from tests.midi_build import (
    GOLDEN,
    F,
    a_pass,
    a_whole_tune,
    bar,
    bass,
    chunks,
    comping,
    drums,
    events,
    keystrokes,
    note,
    of_kind,
    one_bar,
    one_bar_of_swing,
    perform,
    read,
    timed,
    track_named,
)

# --- the bytes, against the standard -------------------------------------------------------------


def golden_bytes(name: str) -> list[tuple[bytes, str]]:
    """The lines of an annotated hex dump: bytes, and what they are."""
    lines = (GOLDEN / name).read_text("utf-8").splitlines()
    rows = (line.partition("|") for line in lines if line.strip() and not line.startswith("#"))
    return [(bytes.fromhex(left), right.strip()) for left, _, right in rows]


def test_one_bar_byte_for_byte():
    """The golden dump was annotated by hand against Standard MIDI Files 1.0 (RP-001)."""
    rows = golden_bytes("midi_one_bar.txt")
    data, at = midi.to_bytes(one_bar_of_swing()), 0
    for expected, meaning in rows:
        got = data[at : at + len(expected)]
        assert got.hex(" ") == expected.hex(" "), f"byte {at}, {meaning}"
        at += len(expected)
    assert at == len(data)


def test_header_says_format_1_and_960_ticks():
    data = midi.to_bytes(one_bar(bass(note(0)), drums(note(0, RIDE))))
    # MThd, length 6, format 1, 3 tracks, 960 ticks a quarter (RP-001)
    assert data[:14] == bytes.fromhex("4d546864 00000006 0001 0003 03c0")


def test_every_chunk_is_a_track_that_ends_with_end_of_track():
    data = midi.to_bytes(one_bar(bass(note(0)), drums(note(0, RIDE)), comping(note(1))))
    (head, _), *tracks = chunks(data)
    assert head == b"MThd"
    assert [name for name, _ in tracks] == [b"MTrk"] * 4
    for _, track in tracks:
        assert track.endswith(bytes.fromhex("ff2f00"))
        assert track.count(bytes.fromhex("ff2f00")) == 1


@pytest.mark.parametrize(
    ("meter", "expected"),
    [
        # nn dd cc bb: numerator, log2 of the denominator, clocks a click, 32nds a quarter. RP-001
        # itself gives 6/8 with a click every three eighths as 06 03 24 08.
        ("4/4", "04 02 18 08"),
        ("3/4", "03 02 18 08"),
        ("5/4", "05 02 18 08"),
        ("6/8", "06 03 24 08"),
        ("12/8", "0c 03 24 08"),
        ("2/2", "02 01 30 08"),
    ],
)
def test_meter_bytes(meter, expected):
    performance = perform((a_pass(bar(meter=meter)), ()))
    (_, _), (_, track) = chunks(midi.to_bytes(performance))
    assert [e[2:].hex(" ") for _, e in events(track) if e[:2] == b"\xff\x58"] == [expected]


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        # sf: sharps, or flats as a negative byte; mi: 0 major, 1 minor (RP-001)
        ("C major", "00 00"),
        ("A minor", "00 01"),
        ("G minor", "fe 01"),
        ("Eb major", "fd 00"),
        ("F# major", "06 00"),
        ("Cb major", "f9 00"),
        ("A# minor", "07 01"),
        # church modes: the signature is theirs, the third says major or minor
        ("D dorian", "00 01"),
        ("E phrygian", "00 01"),
        ("F lydian", "00 00"),
        ("Bb mixolydian", "fd 00"),
        ("B locrian", "00 01"),
    ],
)
def test_key_bytes(key, expected):
    performance = perform((a_pass(bar(key=key)), ()))
    (_, _), (_, track) = chunks(midi.to_bytes(performance))
    assert [e[2:].hex(" ") for _, e in events(track) if e[:2] == b"\xff\x59"] == [expected]


def test_every_key_can_be_written():
    for steps in range(12):
        for mode in ("C major", "C minor", "C dorian", "C phrygian"):
            key = Key.parse(mode).transposed(Interval.of_semitones(steps))
            track = read(perform((a_pass(replace(bar(), key=key)), ()))).tracks[0]
            ((_, message),) = of_kind(track, "key_signature")
            assert (
                music21.key.Key(message.key.rstrip("m"), mode_of(message.key)).sharps == key.fifths
            )


def mode_of(name: str) -> str:
    return "minor" if name.endswith("m") else "major"


# --- tempo and time ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tempo", "meter", "micros"),
    [
        (F(120), "4/4", 500_000),  # the standard's default
        (F(130), "4/4", 461_538),  # 461 538.46
        (F(132), "4/4", 454_545),  # 454 545.45
        (F(176), "4/4", 340_909),  # 340 909.09
        (F(199), "4/4", 301_508),  # 301 507.54: truncated it would be 301 507
        (F(80), "6/8", 500_000),  # 80 dotted quarters are 120 quarters
        (F(60), "12/8", 666_667),  # 666 666.67: rounded up
        (F(90), "2/2", 333_333),  # 90 halves are 180 quarters
    ],
)
def test_tempo_is_microseconds_a_quarter_rounded(tempo, meter, micros):
    track = read(perform((a_pass(bar(meter=meter), tempo=tempo), ()))).tracks[0]
    assert [(tick, m.tempo) for tick, m in of_kind(track, "set_tempo")] == [(0, micros)]


def test_tempo_map_follows_rungs_meters_and_ratios():
    first = a_pass(bar(), bar(tempo_ratio=F(1, 2)), tempo=100)
    second = a_pass(bar(meter="6/8"), bar(meter="6/8"), tempo=100)
    track = read(perform((first, ()), (second, ()))).tracks[0]
    tempos = [(tick, m.tempo) for tick, m in of_kind(track, "set_tempo")]
    # 100 quarters; half as fast; then 100 dotted quarters, 150 quarters a minute
    assert tempos == [(0, 600_000), (3840, 1_200_000), (7680, 400_000)]
    assert timed(track)[-1][0] == 7680 + 2 * 2880


def test_a_tempo_is_written_once_while_it_lasts():
    """A change of swing begins a new stretch of the clock, but no new tempo."""
    plan = a_pass(bar(), bar())
    clock = Clock([(F(4), F(120), F(2)), (F(4), F(120), F(1))])
    performance = replace(perform((plan, (bass(note(0), note("9/2")),))), clock=clock)
    assert len(clock.stretches) == 2
    assert len(of_kind(read(performance).tracks[0], "set_tempo")) == 1


def test_a_change_of_beat_alone_changes_the_tempo_of_quarters():
    """The clock runs on at 120 beats a minute, but the beat is now a dotted quarter."""
    track = read(perform((a_pass(bar(), bar(meter="12/8")), ()))).tracks[0]
    tempos = [(tick, m.tempo) for tick, m in of_kind(track, "set_tempo")]
    assert tempos == [(0, 500_000), (3840, 333_333)]


@given(
    st.lists(
        st.tuples(
            st.sampled_from(("4/4", "3/4", "5/4", "6/8", "12/8", "7/8", "2/2")),
            st.fractions(40, 320, max_denominator=7),
            st.sampled_from((F(1), F(1, 2), F(2), F(4, 3))),
            st.integers(1, 6),
        ),
        min_size=1,
        max_size=12,
    )
)
@settings(max_examples=60)
def test_tempo_within_a_microsecond_and_bar_lines_within_half_of_one_a_quarter(runs):
    passes = [
        (a_pass(*[bar(meter=meter, tempo_ratio=ratio)] * bars, tempo=tempo), ())
        for meter, tempo, ratio, bars in runs
    ]
    performance = perform(*passes)
    seconds = pretty_midi.PrettyMIDI(BytesIO(midi.to_bytes(performance))).tick_to_time
    track = read(performance).tracks[0]
    tempos = {tick: m.tempo for tick, m in of_kind(track, "set_tempo")}
    quarters, micros, lines = F(0), 0, bar_lines(performance)
    placed = [(plan, b) for plan, _ in passes for b in plan.bars]
    for at, (plan, b) in enumerate(placed):
        tick = round(quarters * 960)
        micros = tempos.get(tick, micros)
        exact = 60_000_000 / (plan.tempo * b.tempo_ratio * b.meter.beat_quarters)
        assert abs(micros - exact) < 1
        assert abs(seconds(tick) - float(lines[at])) <= float(quarters) * 0.5e-6 + 1e-9
        quarters += b.length * b.meter.beat_quarters
    assert timed(track)[-1][0] == round(quarters * 960)


# --- where notes fall ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ratio", "tick"),
    [(F(1), 480), (F(3, 2), 576), (F(2), 640), (F(3), 720), (F(178, 100), 615), (F(23, 10), 669)],
)
def test_an_off_beat_falls_where_its_swing_puts_it(ratio, tick):
    """960 r / (r + 1): 3:2 is 576, 2:1 640, 3:1 720."""
    assert tick == round(960 * ratio / (ratio + 1))
    performance = one_bar(bass(note("1/2"), note("5/2", 62)), ratio=ratio)
    strokes = keystrokes(track_named(read(performance), "bass"))
    assert [on for on, _, _ in strokes] == [tick, 2 * 960 + tick]


def test_a_triplet_is_not_swung():
    triplet = [note(F(n, 3), 60 + n, F(1, 3), swung=False) for n in range(3)]
    strokes = keystrokes(track_named(read(one_bar(bass(*triplet), ratio=F(23, 10))), "bass"))
    assert strokes == [(0, 320, 60), (320, 640, 61), (640, 960, 62)]


def test_lateness_moves_onset_and_end():
    # at 120 bpm 960 ticks last 500 ms: 12.5 ms are 24 ticks
    performance = one_bar(bass(note(1, lateness_ms=12.5), note(2, 62, lateness_ms=-12.5)))
    strokes = keystrokes(track_named(read(performance), "bass"))
    assert strokes == [(984, 1944, 60), (1896, 2856, 62)]


def test_compound_beats_are_dotted_quarters():
    plan = a_pass(bar(meter="6/8"), bar(meter="4/4"))
    performance = perform((plan, (bass(note(1, 40, F(1, 3), swung=False), note(2, 43)),)))
    strokes = keystrokes(track_named(read(performance), "bass"))
    assert strokes == [(1440, 1920, 40), (2880, 3840, 43)]


def test_a_key_struck_again_is_released_first():
    performance = one_bar(bass(note(0, 40, 4), note(1, 40, "1/2"), note("3/2", 40)))
    track = track_named(read(performance), "bass")
    assert keystrokes(track) == [(0, 960, 40), (960, 1440, 40), (1440, 2400, 40)]


def test_a_key_struck_twice_at_once_sounds_once_loud_and_long():
    performance = one_bar(
        comping(note(0, 60, 2, velocity=48), note(0, 60, 1, velocity=96), note(0, 64))
    )
    track = track_named(read(performance), "comp")
    assert sorted(keystrokes(track)) == [(0, 960, 64), (0, 1920, 60)]
    assert {m.note: m.velocity for _, m in of_kind(track, "note_on")} == {60: 96, 64: 64}


def test_no_note_is_of_no_length():
    performance = one_bar(
        bass(note(1, 40, 0), note(2, 41, F(1, 10_000)), note(F(39999, 10_000), 42))
    )
    assert keystrokes(track_named(read(performance), "bass")) == [
        (960, 961, 40),
        (1920, 1921, 41),
        (3839, 3840, 42),
    ]


def test_a_note_before_the_start_begins_at_the_start():
    performance = one_bar(bass(note("-1/2", 40, "3/2"), note(0, 52, lateness_ms=-8.0)))
    strokes = keystrokes(track_named(read(performance), "bass"))
    assert strokes == [(0, 945, 52), (0, 960, 40)]


def test_in_a_loop_a_push_before_the_start_folds_to_the_end():
    performance = one_bar(comping(note("-1/2", 60, "3/2")), circular=True, ratio=F(2))
    # the off-beat of the bar's last beat, cut at the bar line
    assert keystrokes(track_named(read(performance), "comp")) == [(2880 + 640, 3840, 60)]


def test_in_a_loop_a_late_end_folds_and_a_hasty_start_does_not():
    hasty = note(0, 40, 1, lateness_ms=-5.0)
    beyond = note("17/4", 43, "1/4")
    performance = one_bar(bass(hasty, beyond), circular=True)
    assert keystrokes(track_named(read(performance), "bass")) == [(240, 480, 43), (0, 950, 40)]


def test_nothing_sounds_past_the_last_bar_line():
    performance = one_bar(bass(note(3, 40, 4, lateness_ms=9.0), note(4, 41), note(5, 42)))
    track = track_named(read(performance), "bass")
    assert keystrokes(track) == [(2897, 3840, 40)]
    assert timed(track)[-1][0] == 3840


def test_ornaments_keep_to_their_tempos():
    ornament = note(2, 43, tempos=(80, 119))
    performance = one_bar(bass(note(0, 40), ornament))
    assert keystrokes(track_named(read(performance), "bass")) == [(0, 960, 40)]


notes_strategy = st.lists(
    st.builds(
        Note,
        onset=st.fractions(-1, 9, max_denominator=12),
        length=st.fractions(0, 3, max_denominator=12),
        pitch=st.integers(40, 44),
        velocity=st.sampled_from((16, 64, 120)),
        swung=st.booleans(),
        lateness_ms=st.floats(-20, 20),
    ),
    max_size=24,
)


@given(notes_strategy, notes_strategy, st.booleans(), st.sampled_from((F(1), F(2), F(231, 100))))
@settings(max_examples=100)
def test_keys_are_balanced_whatever_is_played(low, high, circular, ratio):
    plan = a_pass(bar(), bar(meter="6/8"), bar(meter="3/4"), tempo=F(137, 1))
    performance = perform((plan, (bass(*low), drums(*high))), circular=circular, ratio=ratio)
    data = midi.to_bytes(performance)
    assert data == midi.to_bytes(performance)
    end = 3840 + 2880 + 2880
    for (_, raw), track in zip(chunks(data)[1:], read(performance).tracks, strict=True):
        assert all(0 <= on < off <= end for on, off, _ in keystrokes(track))
        assert [tick for tick, e in events(raw) if e[:2] == b"\xff\x2f"] == [end]
    if circular and low:
        # a loop loses no note: what is before or after it folds into it
        struck = {key for _, _, key in keystrokes(track_named(read(performance), "bass"))}
        assert struck == {n.pitch for n in low}


# --- the same everywhere -------------------------------------------------------------------------


def test_bytes_do_not_hang_on_hash_seed_or_locale_and_stdout_stays_clean():
    """pretty_midi and pyfluidsynth print on import where CI is set."""
    script = (
        "import sys, tests.midi_build as t\n"
        "from backing import midi\n"
        "sys.stderr.write(midi.to_bytes(t.a_whole_tune()).hex()"
        " + midi.to_bytes(t.one_bar_of_swing()).hex())"
    )
    here = Path(__file__).parents[1]
    expected = midi.to_bytes(a_whole_tune()).hex() + midi.to_bytes(one_bar_of_swing()).hex()
    for seed in ("1", "2"):
        env = {**os.environ, "PYTHONHASHSEED": seed, "LC_ALL": "C", "PYTHONPATH": str(here)}
        run = subprocess.run(
            [sys.executable, "-c", script], capture_output=True, text=True, env=env, check=True
        )
        assert run.stderr == expected
