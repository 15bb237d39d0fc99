"""A part as dry sound: exact places, the same bits in any window, a loop without a seam."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.combo import instruments as gm
from backing.combo.part import Note, Part
from backing.combo.performance import Performance
from backing.mixdown.bank import Bank, BankNote
from backing.mixdown.decay import Release, ReleaseFilter
from backing.mixdown.loops import BLOCK, NoteTable
from backing.mixdown.sampler import Sampler, _held_note
from backing.mixdown.schedule import RINGS, sample_of
from tests.mixdown.band import INSTRUMENTS, RATE, built_in_soundfont, performance, quarters
from tests.mixdown.reference import played_by_fluidsynth, random_phrase, residual_db

BANK = Bank(built_in_soundfont(), RATE)
CLICK = gm.HIGH_WOOD_BLOCK


def whole(piece: Performance, part: str) -> np.ndarray:
    line = Sampler(piece, part, BANK)
    return line.render(0, line.length)


def note(onset: Fraction | float, length: Fraction | float, pitch: int, velocity: int = 96) -> Note:
    return Note(Fraction(onset), Fraction(length), pitch, velocity)


def drums(*notes: Note) -> Part:
    return Part.of("drums", gm.JAZZ_KIT, notes)


def test_every_click_begins_at_the_sample_of_its_exact_time() -> None:
    tempo = Fraction(137)
    piece = performance(
        quarters("click", gm.STANDARD_KIT, [CLICK] * 64), beats=64, tempo=tempo, tail=Fraction(1)
    )
    line = Sampler(piece, "click", BANK)
    first = line.render(0, 100)
    for beat in range(64):
        # in plain arithmetic: half up of beat * 60 / tempo * rate
        at = int(Fraction(beat) * 60 / tempo * RATE + Fraction(1, 2))
        assert line.notes[beat].onset == at
        # the click before is over by then, so its copy is bit for bit the first one
        assert np.array_equal(line.render(at, at + 100), first)
        assert not line.render(at - 1, at).any()
    assert line.length == sample_of(64 * 60 / tempo + 1, RATE)


@settings(max_examples=50)
@given(st.integers(700, 70_000), st.integers(0, 60_000))
def test_windows_of_any_size_are_the_same_bits(size: int, start: int) -> None:
    kit = drums(*(note(Fraction(i, 2), 1, 51 if i % 3 else 46) for i in range(8)), note(2, 1, 42))
    for circular in (False, True):
        piece = performance(kit, beats=4, circular=circular)
        line = Sampler(piece, "drums", BANK)
        full = line.render(0, line.length)
        pieces = [line.render(at, at + size) for at in range(0, line.length, size)]
        assert np.array_equal(np.concatenate(pieces), full)
        assert np.array_equal(line.render(start, start + size), full[start : start + size])


def test_two_runs_are_the_same_bits() -> None:
    piece = random_phrase(gm.PIANO, "again", strokes=20)
    other = Sampler(piece, "solo", Bank(built_in_soundfont(), RATE, threads=3))
    assert np.array_equal(whole(piece, "solo"), other.render(0, other.length))


def test_leaving_out_a_part_changes_nothing_in_the_others() -> None:
    piano = quarters("comp", gm.PIANO, [60, 64, 67, 60])
    guide = Part.of("guide", gm.PIANO, [note(0, 4, 60, 64), note(2, 2, 64, 120)])
    bank = Bank(built_in_soundfont(), RATE)
    both = [Sampler(performance(piano, guide), part, bank) for part in ("comp", "guide")]
    for line in both:
        bank.prepare(line.holds)
    alone = Sampler(performance(piano), "comp", Bank(built_in_soundfont(), RATE))
    length = alone.length
    assert np.array_equal(both[0].render(0, length), alone.render(0, length))


def test_a_ring_is_exactly_as_long_as_its_bars() -> None:
    for tempo in (Fraction(97), Fraction(141), Fraction(223, 2)):
        piece = performance(drums(note(0, 1, 51)), beats=13, tempo=tempo, circular=True)
        assert Sampler(piece, "drums", BANK).length == round(13 * 60 / tempo * RATE)


def test_what_sounds_past_the_end_of_a_ring_sounds_at_its_beginning() -> None:
    part = drums(note(3, 1, gm.CRASH), note(2, 1, gm.RIDE))
    ring = whole(performance(part, circular=True), "drums").astype(np.float64)
    # the ring is what three rounds in a row come to, each stroke ended by the next round's
    rounds = drums(*(note(b + 4 * r, 1, k) for r in range(9) for b, k in ((3, 49), (2, 51))))
    line = Sampler(performance(rounds, beats=36, tail=Fraction(12)), "drums", BANK)
    start = 8 * len(ring)
    settled = line.render(start, start + len(ring))
    assert np.abs(ring - settled).max() < 1e-5


def test_folding_loses_no_energy_of_a_single_note() -> None:
    short = Part.of("click", gm.STANDARD_KIT, [note(Fraction(-1, 64), Fraction(1, 8), CLICK)])
    ring = whole(performance(short, circular=True), "click").astype(np.float64)
    late = Part.of("click", gm.STANDARD_KIT, [note(1, Fraction(1, 8), CLICK)])
    straight = whole(performance(late, tail=Fraction(1)), "click").astype(np.float64)
    assert ring[-10:].any()
    assert ring[:10].any()
    assert np.isclose(np.sum(ring**2), np.sum(straight**2), rtol=1e-6)


def test_an_early_note_begins_at_nought_unless_it_is_a_ring() -> None:
    part = quarters("click", gm.STANDARD_KIT, [CLICK]).shift(Fraction(-1, 8))
    assert Sampler(performance(part), "click", BANK).notes[0].onset == 0
    ring = Sampler(performance(part, circular=True), "click", BANK)
    assert ring.notes[0].onset == ring.length - sample_of(Fraction(1, 16), RATE)


def test_a_key_struck_again_ends_its_old_note() -> None:
    held = Part.of("comp", gm.ORGAN, [note(0, 4, 60), note(2, 2, 60)])
    first, second = Sampler(performance(held), "comp", BANK).notes
    assert abs(first.hold - RATE) <= 32
    assert not first.choked
    assert second.onset == RATE


def test_drums_ring_until_they_are_struck_again_or_choked() -> None:
    line = Sampler(
        performance(drums(note(0, 1, 46), note(1, 1, 44), note(2, 1, 51), note(3, 1, 51))),
        "drums",
        BANK,
    )
    hat, foot, ride, last = line.notes
    assert hat.choked
    assert abs(hat.hold - RATE // 2) <= 32
    assert abs(ride.hold - RATE // 2) <= 32
    assert not ride.choked
    assert foot.hold == last.hold == RINGS


def test_two_strokes_of_a_key_at_one_moment_are_the_louder() -> None:
    line = Sampler(performance(drums(note(0, 1, 51, 64), note(0, 1, 51, 104))), "drums", BANK)
    assert [note.struck.velocity for note in line.notes] == [104]


def test_a_part_without_notes_is_silence() -> None:
    sound = whole(performance(drums()), "drums")
    assert sound.shape == (2 * RATE, 2)
    assert not sound.any()


@settings(max_examples=100)
@given(st.fractions(min_value=-2, max_value=4000), st.sampled_from((44100, 48000)))
def test_the_nearest_sample(seconds: Fraction, rate: int) -> None:
    assert abs(sample_of(seconds, rate) - seconds * rate) <= Fraction(1, 2)


@pytest.mark.parametrize("instrument", INSTRUMENTS, ids=lambda i: i.name)
def test_the_dry_part_equals_fluidsynths_own(instrument: gm.Instrument) -> None:
    # Random phrases with many short notes, the hardest case. tests/benchmarks/render.py prints the
    # same for any SoundFont.
    piece = random_phrase(instrument, instrument.name)
    line = Sampler(piece, "solo", BANK)
    reference = played_by_fluidsynth(BANK.soundfont, piece, line.length)
    ours = line.render(0, line.length)
    assert residual_db(reference, ours) <= -40


@pytest.mark.parametrize("hold", [0, 64, 640])
def test_a_filtered_release_is_the_sum_of_its_lags_to_its_end(hold: int) -> None:
    noise = np.random.default_rng(1).standard_normal((4000, 2)).astype(np.float32)
    taps = np.random.default_rng(2).uniform(0.3, 1, (2, 3, 2))
    note = BankNote(noise, 1.0, Release((100.0,)), True, ReleaseFilter((0, 10), (0, 4), taps))
    gains = note.release.gains(RATE)
    held = _held_note(note, 0.7, gains, hold // BLOCK)._replace(length=hold + 2000)
    assert hold < held.late_from < held.length  # both ways of adding are used
    heard = np.zeros((held.length, 2), np.float32)
    places = np.array([0]), np.array([held.length]), np.array([0])
    NoteTable([held]).add(heard, 0, places, (1.0, 1.0))
    blocks = np.arange(held.length - hold) / BLOCK
    release = np.interp(blocks, np.arange(len(gains)), gains)
    shares = [np.interp(blocks, np.arange(100), row) for row in note.filter.at(hold / BLOCK, 100)]
    expected = noise[: held.length].astype(float)
    expected[hold:] = sum(
        np.pad(noise, ((lag, 0), (0, 0)))[hold : held.length] * (release * share)[:, None]
        for lag, share in enumerate(shares)
    )
    wrong = np.abs(heard - 0.7 * expected)
    assert wrong.max() < 2e-3  # while it changes, the product of two gains is drawn straight
    assert wrong[held.late_from :].max() < 1e-6
