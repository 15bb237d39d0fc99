"""The tracks of the MIDI file: what they hold, and how pretty_midi and music21 read them."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

import music21
import pretty_midi
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing import midi
from backing.chart.bar import Change, Directions
from backing.chart.harmony import parse_chord
from backing.combo import instruments
from backing.combo.instruments import COMPING, STANDARD_KIT, VIBES, Instrument
from backing.combo.part import Part
from backing.combo.performance import Performance
from backing.routine import Purpose
from tests.combo.build import bar_lines
from tests.midi_build import (
    GOLDEN,
    GUIDE,
    F,
    a_band,
    a_pass,
    a_whole_tune,
    bar,
    bass,
    chunks,
    events,
    keystrokes,
    note,
    of_kind,
    one_bar,
    perform,
    read,
    timed,
    track_named,
)

# --- the track of the tune -----------------------------------------------------------------------


def tune_lines(performance: Performance) -> list[str]:
    """Track 0 as a musician reads it: quarter, what, which."""
    shown = {
        "track_name": lambda m: m.name,
        "set_tempo": lambda m: f"{m.tempo} us",
        "time_signature": lambda m: f"{m.numerator}/{m.denominator}",
        "key_signature": lambda m: m.key,
        "marker": lambda m: m.text,
        "text": lambda m: m.text,
        "end_of_track": lambda _: "",
    }
    names = {"set_tempo": "tempo", "time_signature": "meter", "key_signature": "key"}
    return [
        f"{tick / 960:g} {names.get(m.type, m.type)} {shown[m.type](m)}".rstrip()
        for tick, m in timed(read(performance).tracks[0])
    ]


def test_the_track_of_a_whole_tune():
    golden = (GOLDEN / "midi_tune_track.txt").read_text("utf-8").splitlines()
    assert tune_lines(a_whole_tune()) == [line for line in golden if not line.startswith("#")]


def test_chords_stand_on_the_written_beat_even_when_swung_or_pushed():
    cm7, f7 = parse_chord("Cm7"), parse_chord("F7(♭9)")
    changes = (Change(F(0), cm7, early=F(1, 2)), Change(F(3, 2), f7), Change(F(3), None))
    plan = a_pass(replace(bar(), changes=changes))
    track = read(perform((plan, ()), ratio=F(2))).tracks[0]
    texts = [(tick, m.text) for tick, m in of_kind(track, "text")]
    assert texts == [(0, "Cm7"), (1440, "F7(♭9)"), (2880, "N.C.")]


def test_a_pickup_alone_has_a_meter_of_its_own():
    """So that the bar lines of the reader's sequencer fall on those of the tune."""
    performance = perform((a_pass(bar(number=0, length=F(3, 2)), bar("C")), ()))
    lines = tune_lines(performance)
    assert [line for line in lines if " meter " in line] == ["0 meter 3/8", "1.5 meter 4/4"]
    in_six = perform((a_pass(bar(number=0, meter="6/8", length=F(1, 3)), bar(meter="6/8")), ()))
    meters = [line for line in tune_lines(in_six) if " meter " in line]
    assert meters == ["0 meter 1/8", "0.5 meter 6/8"]


def test_short_bars_of_two_meters_make_no_whole_bar():
    short = (bar(meter="3/4", length=F(2)), bar(number=0, length=F(2)), bar())
    meters = [line for line in tune_lines(perform((a_pass(*short), ()))) if " meter " in line]
    assert meters == ["0 meter 2/4", "4 meter 4/4"]


def test_markers_of_a_climb_name_rounds_and_values_in():
    loop = (bar("Cm7", section="B", use=1, number=5), bar("F7", section="B", use=1, number=6))
    count = bar(section="count-in", role="count-in")
    passes = []
    for tempo in (F(80), F(185, 2)):
        passes.append((a_pass(count, tempo=tempo, purpose=Purpose.COUNT_IN), ()))
        passes += [(a_pass(*loop, tempo=tempo, purpose=Purpose.TIME), ())] * 2
    assert [text for _, text in midi.markers(perform(*passes))] == [
        "count-in, 80 bpm",
        "B:5, 1st time",
        "B:5, 2nd time",
        "count-in, 92.5 bpm",
        "B:5, 1st time",
        "B:5, 2nd time",
    ]


def test_markers_name_each_of_several_keys_once():
    loops = [(bar("C", key=key), bar("F", key=key, number=2)) for key in ("C major", "F minor")]
    # a tune's bridge may be in a key of its own, which is no new key of the routine
    loops[0] = (bar("C", key="G major"), *loops[0][1:])
    passes = [(a_pass(*loop, purpose=Purpose.TIME), ()) for loop in loops for _ in range(2)]
    found = [text for _, text in midi.markers(perform(*passes))]
    assert found == ["A, 1st time, C", "A, 2nd time", "A, 1st time, Fm", "A, 2nd time"]
    alone = [text for _, text in midi.markers(perform(*passes[:2]))]
    assert alone == ["A, 1st time", "A, 2nd time"]


def test_rounds_of_a_trade_are_counted_on():
    mine = bar("C", section="B")
    theirs = replace(mine, directions=Directions(lay_out=frozenset({"bass"})))
    rounds = [(a_pass(one, purpose=Purpose.TIME), ()) for one in (mine, theirs, mine)]
    found = [text for _, text in midi.markers(perform(*rounds))]
    assert found == ["B, 1st time", "B, 2nd time", "B, 3rd time"]


def test_a_repeated_section_is_marked_each_time():
    bars = [
        bar("C", use=0),
        bar("F", use=0, number=2),
        bar("C", use=1),
        bar("C", section="B", use=2),
    ]
    marks = list(midi.markers(perform((a_pass(*bars, purpose=Purpose.HEAD_OUT, choruses=1), ()))))
    assert marks == [(F(0), "A"), (F(8), "A"), (F(12), "B")]


def test_lead_in_and_breath_are_one_place_each():
    lead = a_pass(bar("C"), bar("F", section="B", use=1), purpose=Purpose.LEAD_IN)
    loop = a_pass(bar("G7", section="B", use=1, number=2), purpose=Purpose.TIME)
    breath = a_pass(bar(section="count-in", role="count-in"), purpose=Purpose.REST_BAR)
    marks = midi.markers(perform((lead, ()), (loop, ()), (breath, ()), (loop, ())))
    assert [text for _, text in marks] == ["lead-in", "B:2, 1st time", "rest bar", "B:2, 2nd time"]


# --- the tracks of the parts ---------------------------------------------------------------------


def test_tracks_stand_in_score_order_with_name_program_and_channel():
    file = read(one_bar(*a_band()))
    assert [t.name for t in file.tracks[1:]] == [
        "line", "guide", "comp", "bass", "drums", "click",
    ]  # fmt: skip
    found = {}
    for track in file.tracks[1:]:
        programs = [m.program for _, m in of_kind(track, "program_change")]
        (channel,) = {m.channel for _, m in timed(track) if not m.is_meta}
        found[track.name] = (channel, programs)
    assert found == {
        "line": (4, [66]),
        "guide": (3, [11]),
        "comp": (1, [0]),
        "bass": (0, [32]),
        "drums": (9, [32]),
        "click": (9, []),  # plays the kit the drums have chosen
    }


def test_controllers_are_volume_and_pan_and_stand_before_the_first_note():
    for track in read(one_bar(*a_band())).tracks[1:]:
        messages = [m for _, m in timed(track) if not m.is_meta]
        setup = [m for m in messages if m.type in ("control_change", "program_change")]
        assert messages[: len(setup)] == setup
        controls = [(m.control, m.value) for m in setup if m.type == "control_change"]
        if track.name == "click":
            assert controls == []
        else:
            assert [number for number, _ in controls] == [7, 10]
            volume, pan = (value for _, value in controls)
            assert 84 <= volume <= 100
            assert 52 <= pan <= 76


@pytest.mark.parametrize("left_out", [part.name for part in a_band()])
def test_leaving_out_a_part_changes_no_byte_of_the_others(left_out):
    def tracks(*parts: Part) -> dict[bytes, bytes]:
        _, _, *rest = chunks(midi.to_bytes(one_bar(*parts)))
        return {next(e[2:] for _, e in events(raw) if e[:2] == b"\xff\x03"): raw for _, raw in rest}

    whole = tracks(*a_band())
    fewer = tracks(*(part for part in a_band() if part.name != left_out))
    gone = one_bar(*a_band()).player(left_out).encode()
    assert gone in whole
    assert fewer == {name: raw for name, raw in whole.items() if name != gone}


@pytest.mark.parametrize("comp", ["piano", "guitar", "vibes", "organ"])
def test_who_comps_is_called_comp_on_any_instrument(comp):
    part = Part.of("comp", COMPING[comp], [note(0)])
    assert [t.name for t in read(one_bar(part)).tracks[1:]] == ["comp"]


def test_a_part_without_a_seat_keeps_one_spare_channel():
    odd = Part.of("second guitar", Instrument("jazz guitar", 26), [note(0)])
    channels = set()
    for others in ((), a_band()):
        track = track_named(read(one_bar(odd, *others)), "second guitar")
        channels |= {m.channel for _, m in timed(track) if not m.is_meta}
    assert len(channels) == 1
    assert not channels & {0, 1, 3, 4, 5, 9}


names = st.one_of(st.text(min_size=1, max_size=12), st.sampled_from(sorted(midi.SEATS)))


@given(names, st.booleans())
@settings(max_examples=60)
def test_every_name_has_a_channel(name, kit):
    part = Part.of(name, STANDARD_KIT if kit else VIBES, [note(0, 60)])
    performance = one_bar(part)
    track = read(performance).tracks[1]
    (channel,) = {m.channel for _, m in timed(track) if not m.is_meta}
    assert (channel == 9) == kit
    assert 0 <= channel <= 15
    assert track.name == performance.player(name)


def test_a_part_of_later_passes_keeps_its_instrument():
    first = (a_pass(bar("C")), (bass(note(0, 40)),))
    second = (a_pass(bar("F")), (bass(note(0, 41)), GUIDE))
    file = read(perform(first, second))
    assert keystrokes(track_named(file, "bass")) == [(0, 960, 40), (3840, 4800, 41)]
    assert keystrokes(track_named(file, "guide")) == [(3840, 5760, 63), (5760, 7680, 62)]


# --- what others read ----------------------------------------------------------------------------


def test_percussion_keys_are_those_of_general_midi():
    """Names of the GM 1 percussion map as pretty_midi lists them."""
    expected = {
        "KICK": "Bass Drum 1",
        "SIDE_STICK": "Side Stick",
        "SNARE": "Acoustic Snare",
        "CLOSED_HAT": "Closed Hi Hat",
        "PEDAL_HAT": "Pedal Hi Hat",
        "OPEN_HAT": "Open Hi Hat",
        "LOW_TOM": "High Floor Tom",
        "MID_TOM": "Low-Mid Tom",
        "HIGH_TOM": "High Tom",
        "CRASH": "Crash Cymbal 1",
        "RIDE": "Ride Cymbal 1",
        "RIDE_BELL": "Ride Bell",
        "HIGH_WOOD_BLOCK": "Hi Wood Block",
        "LOW_WOOD_BLOCK": "Low Wood Block",
    }
    named = {n: pretty_midi.note_number_to_drum_name(getattr(instruments, n)) for n in expected}
    assert named == expected


def test_programs_are_those_of_general_midi():
    """Names of the GM 1 sound set as pretty_midi lists them."""
    expected = {
        "PIANO": "Acoustic Grand Piano",
        "VIBES": "Vibraphone",
        "ORGAN": "Drawbar Organ",
        "JAZZ_GUITAR": "Electric Guitar (jazz)",
        "ACOUSTIC_BASS": "Acoustic Bass",
        "TENOR_SAX": "Tenor Sax",
    }
    for name, sound in expected.items():
        program = getattr(instruments, name).program
        assert pretty_midi.program_to_instrument_name(program) == sound


def test_pretty_midi_reads_the_band():
    performance = one_bar(*a_band(), ratio=F(2))
    score = pretty_midi.PrettyMIDI(BytesIO(midi.to_bytes(performance)), charset="utf-8")
    assert score.resolution == 960
    found = [(i.name, i.program, i.is_drum, len(i.notes)) for i in score.instruments]
    assert found == [
        ("line", 66, False, 1),
        ("guide", 11, False, 2),
        ("comp", 0, False, 2),
        ("bass", 32, False, 2),
        ("drums", 32, True, 2),
        ("click", 0, True, 4),
    ]
    parts = {performance.player(part): part for part in performance.part_names}
    for instrument in score.instruments:
        notes = performance.notes(parts[instrument.name])
        played = sorted(notes, key=lambda n: (n.onset, n.note.pitch))
        for mine, theirs in zip(
            played, sorted(instrument.notes, key=lambda n: (n.start, n.pitch)), strict=True
        ):
            assert theirs.pitch == mine.note.pitch
            assert theirs.velocity == mine.note.velocity
            # half a tick at 120 bpm
            assert theirs.start == pytest.approx(float(mine.onset), abs=0.00027)
            assert theirs.end == pytest.approx(float(mine.end), abs=0.00027)
    assert [(t.text, t.time) for t in score.text_events] == [("Cm7", 0), ("F7", 1)]
    (key,) = score.key_signature_changes
    assert pretty_midi.key_number_to_key_name(key.key_number) == "G minor"
    assert [str(m).split()[0] for m in score.time_signature_changes] == ["4/4"]
    assert score.get_downbeats() == pytest.approx([0.0])


def test_pretty_midi_finds_every_bar_line():
    performance = a_whole_tune()
    score = pretty_midi.PrettyMIDI(BytesIO(midi.to_bytes(performance)), charset="utf-8")
    lines = [float(line) for line in bar_lines(performance)]
    # the pickup sounds inside the second bar of the count; it looks no further than the last chord
    assert score.get_downbeats() == pytest.approx(lines[:2] + lines[3:-2], abs=1e-4)


def test_music21_reads_meters_keys_tempos_and_pitches():
    waltz = a_pass(bar("F", meter="3/4", key="F major"), tempo=96)
    plan = a_pass(bar("Cm7 F7", key="G minor"), tempo=120)
    walk = bass(*(note(n, pitch) for n, pitch in enumerate((36, 39, 41, 45))))
    then = bass(note(0, 41, 3))
    data = midi.to_bytes(perform((plan, (walk,)), (waltz, (then,))))
    score = music21.converter.parseData(data, format="midi", quantizePost=False)
    (part,) = score.parts
    assert part.partName == "bass"
    notes = [(float(n.getOffsetInHierarchy(score)), n.pitch.midi) for n in part.recurse().notes]
    assert notes == [(0, 36), (1, 39), (2, 41), (3, 45), (4, 41)]
    meters = score.recurse().getElementsByClass(music21.meter.TimeSignature)
    assert [m.ratioString for m in meters] == ["4/4", "3/4"]
    keys = score.recurse().getElementsByClass(music21.key.KeySignature)
    assert [k.sharps for k in keys] == [-2, -1]
    tempos = score.recurse().getElementsByClass(music21.tempo.MetronomeMark)
    assert [round(t.number) for t in tempos] == [120, 96]
    players = score.recurse().getElementsByClass(music21.instrument.Instrument)
    # from the program change; the track's name makes it guess at a singer besides
    assert "Acoustic Bass" in {player.instrumentName for player in players}


def test_it_can_be_handed_to_pretty_midi_as_it_is():
    score = pretty_midi.PrettyMIDI(mido_object=midi.to_midi(one_bar(*a_band())))
    assert len(score.instruments) == 6
