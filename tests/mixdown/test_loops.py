"""The compiled loops calculate what a few lines of numpy do, and refuse what doesn't fit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.mixdown import decay, loops, loudness, room
from backing.mixdown.decay import Release, fitted_release
from backing.mixdown.limiter import CEILING_DBTP
from backing.mixdown.loops import HeldNote, NoteTable
from backing.mixdown.loudness import AFTER, BEFORE, CHUNK, chunk_peaks, interpolator
from tests.mixdown import reference_loops as reference

RATE = 44100


def noise(frames: int, seed: int, level: float = 0.2) -> np.ndarray:
    return (np.random.default_rng(seed).standard_normal((frames, 2)) * level).astype(np.float32)


# ---- notes ----------------------------------------------------------------------------------


def held_note(seed: int, frames: int, hold: int, *, filtered: bool) -> HeldNote:
    rng = np.random.default_rng(seed)
    edges = np.cumprod(rng.uniform(0.9, 1, frames // 64 + 3)).astype(np.float32)
    plain = HeldNote(noise(frames, seed), 0.3 + seed % 7 / 10, hold, frames, edges)
    if not filtered:
        return plain
    lags = tuple(rng.uniform(0, 1, (3, 5)).astype(np.float32))
    return plain._replace(lags=lags, late_from=hold + 4 * 64, taps=(0.5, 0.3, 0.1))


holds = st.one_of(st.integers(0, 80).map(lambda block: 64 * block), st.just(1 << 40))


@settings(max_examples=150)
@given(
    st.lists(
        st.tuples(st.integers(0, 99), st.integers(1, 9000), holds, st.booleans()),
        min_size=1,
        max_size=5,
    ),
    st.lists(st.tuples(st.integers(-8000, 8000), st.integers(0, 4)), min_size=1, max_size=12),
    st.integers(0, 3000),
    st.sampled_from(((1.0, 1.0), (0.6, 1.2))),
)
def test_notes_are_added_as_by_numpy(kinds, places, start, pan) -> None:
    notes = [
        held_note(seed, frames, hold, filtered=filtered) for seed, frames, hold, filtered in kinds
    ]
    onsets = np.array([onset for onset, _ in places])
    which = np.array([kind % len(kinds) for _, kind in places])
    table = NoteTable(notes)
    ends = onsets + table.lengths[which]

    def added(cuts: tuple[int, ...]) -> np.ndarray:
        out = np.zeros((5000, 2), np.float32)
        for piece, first in zip(np.split(out, cuts), (0, *cuts), strict=True):
            table.add(piece, start + first, (onsets, ends, which), pan)
        return out

    ours = added(())
    theirs = reference.added(notes, onsets.tolist(), which.tolist(), start, 5000) * pan
    assert np.allclose(ours, theirs, rtol=0, atol=3e-6)
    # the same bits wherever a window begins
    assert np.array_equal(ours, added((1, 63, 777, 3002)))


def test_before_a_filtered_note_there_is_nothing_wherever_a_window_begins() -> None:
    samples = np.concatenate([np.full((4, 2), 9e9, np.float32), noise(500, 3)])
    note = held_note(3, 500, 0, filtered=True)._replace(samples=samples[4:])  # loud before it
    table, places = NoteTable([note]), (np.array([0]), np.array([500]), np.array([0]))

    def added(cuts: tuple[int, ...]) -> np.ndarray:
        out = np.zeros((400, 2), np.float32)
        for piece, first in zip(np.split(out, cuts), (0, *cuts), strict=True):
            table.add(piece, first, places, (1.0, 1.0))
        return out

    assert np.allclose(added(()), reference.added([note], [0], [0], 0, 400), rtol=0, atol=1e-6)
    assert np.array_equal(added(()), added((1, 2, 3)))


@pytest.mark.parametrize(
    "wrong",
    [
        {"samples": noise(99, 1)},  # shorter than the note
        {"samples": noise(1000, 1)[::2]},  # not in one piece
        {"samples": noise(500, 1).astype(float)},
        {"edges": np.ones(2, np.float32)},  # the release is longer
        {"lags": (np.ones(1, np.float32),), "taps": (1.0,), "late_from": 500},
        {"lags": (np.ones(9, np.float32),)},  # without its tap
        {"hold": -64},
        {"lags": (np.ones(9, np.float32),) * 5, "taps": (1.0,) * 5},  # too many
    ],
)
def test_a_note_that_cannot_be_is_refused(wrong: dict) -> None:
    good = HeldNote(noise(500, 1), 1.0, 64, 500, np.ones(9, np.float32))
    NoteTable([good])
    with pytest.raises(ValueError, match=r"array of|cannot be|shorter than"):
        NoteTable([good._replace(**wrong)])


@pytest.mark.parametrize(
    ("onsets", "ends", "which"),
    [([0], [1001], [0]), ([0], [10], [1]), ([0], [10], [-1])],
)
def test_places_that_do_not_fit_are_refused(onsets: list, ends: list, which: list) -> None:
    table, out = NoteTable([held_note(1, 1000, 64, filtered=False)]), np.zeros((64, 2), np.float32)
    with pytest.raises(ValueError, match="do not fit"):
        table.add(out, 0, tuple(map(np.array, (onsets, ends, which))), (1.0, 1.0))


# ---- releases -------------------------------------------------------------------------------


sizes = st.integers(0, 2000)
slopes = st.lists(st.floats(-25, 15_000), min_size=1, max_size=6).map(tuple)


@settings(max_examples=100)
@given(sizes, sizes, st.integers(0, 99), st.integers(0, 300))
def test_products_are_those_of_numpy(frames: int, others: int, seed: int, first: int) -> None:
    whole = noise(2300, seed)
    a, b = whole[first : first + frames], noise(others, seed + 1)
    ours = loops.block_products(a, b)
    assert np.allclose(ours, reference.block_products(a, b), rtol=1e-12, atol=1e-12)


@settings(max_examples=100, deadline=None)
@given(slopes, st.integers(0, 31), st.booleans())
def test_what_a_release_misses_is_as_by_numpy(slopes, blocks, near) -> None:
    gains = np.pad(Release(slopes).gains(RATE), (0, 40))
    held, heard = noise(64 * blocks + 9, 1), noise(64 * blocks + 9, 2)
    if near:  # little is missed
        heard[: 64 * blocks] = held[: 64 * blocks] * reference.envelope(gains, 64 * blocks)[:, None]
        heard += noise(len(heard), 3, 1e-4)
    ours = loops.misfit(held, heard, gains, blocks)
    assert ours == pytest.approx(reference.misfit(held, heard, gains, blocks), rel=1e-4, abs=1e-12)


@settings(max_examples=150)
@given(
    st.integers(1, 700),
    slopes,
    st.floats(0, 400),
    st.sampled_from((0.0, 1e-4, 0.3)),
    st.integers(0, 99),
)
def test_no_slope_nearby_fits_better(blocks, slopes, loss, rough, seed) -> None:
    rng = np.random.default_rng(seed)
    seconds = np.arange(blocks) * 64 / RATE
    power = 10 ** (-loss * seconds / 10) * rng.uniform(0.5, 1, blocks)
    edges = 10 ** (Release(slopes).levels_db(blocks + 1, RATE) / 20)
    product = power * (edges[1:] + edges[:-1]) / 2
    product += rough * power * rng.standard_normal(blocks)
    ours = fitted_release(power, product, RATE)

    def missed(slope: float) -> float:
        count = min(blocks, decay.BENDS[0])
        line = 10 ** (-slope * (np.arange(count) + 0.5) * 64 / RATE / 20)
        return float((power[:count] * line**2 - 2 * product[:count] * line).sum())

    first = ours.slopes[0]
    if 1 < first < 19_000:  # inside the range that is searched; beyond 20 000 it is silence
        best = min(missed(first * factor) for factor in np.linspace(0.9, 1.1, 41))
        scale = float(power[: decay.BENDS[0]].sum())
        assert missed(first) <= best + 2e-3 * scale


@pytest.mark.parametrize("slope", [0.5, 12.0, 300.0, 9000.0])
def test_a_straight_fall_is_found_again(slope: float) -> None:
    # in the middle of a block a straight line in dB has this level
    power = np.full(500, 0.3)
    product = power * 10 ** (-slope * (np.arange(500) + 0.5) * 64 / RATE / 20)
    assert fitted_release(power, product, RATE).slopes[0] == pytest.approx(slope, rel=0.01)


@pytest.mark.parametrize("power", [0.0, np.nan, np.inf, -1.0, 1e300])
@pytest.mark.parametrize("blocks", [0, 1, 4, 5, 300])
def test_what_cannot_be_heard_has_a_slope_all_the_same(power: float, blocks: int) -> None:
    fit = fitted_release(np.full(blocks, power), np.full(blocks, power), RATE)
    assert len(fit.slopes) == 1 + sum(bend < blocks for bend in decay.BENDS)


@pytest.mark.parametrize("rate", [8000, 44100, 192_000])
@given(slopes)
def test_a_release_ends_where_it_has_fallen_far_enough(rate: int, slopes: tuple) -> None:
    fall = Release((*slopes[:-1], max(0.0, slopes[-1])))
    gains = fall.gains(rate)
    limit = int(decay.RING_LIMIT_S * rate) // 64
    levels = fall.levels_db(limit + 1, rate)
    fallen = 10 ** (levels / 20)
    assert len(gains) == 1 + np.count_nonzero(levels[:limit] > -decay.RELEASE_FLOOR_DB)
    assert np.allclose(gains, fallen[: len(gains)], rtol=1e-6)


# ---- loudness, peaks, room, whole numbers ----------------------------------------------------


@pytest.mark.parametrize("rate", [44100, 48000])
@pytest.mark.parametrize("hops", [1, 2, 3, 4, 5, 7, 8, 37])
def test_hops_are_as_loud_as_scipys_filter_says(rate: int, hops: int) -> None:
    hop = loudness.hop_frames(rate)
    frames = hops * hop + 17  # a rest that is no whole hop
    heard = noise(frames, hops) * np.geomspace(1, 1e-3, frames)[:, None] + 0.1
    heard = heard.astype(np.float32)
    ours = loudness.hop_energies(heard, rate)
    theirs = reference.hop_energies(heard, hop, loudness._biquads(rate))
    assert np.allclose(ours, theirs, rtol=1e-7, atol=1e-13)  # -130 LUFS


@pytest.mark.parametrize("above", [0.0, 0.5, 10 ** (CEILING_DBTP / 20)])
@pytest.mark.parametrize("level", [0.1, 0.3, 1.0])
def test_peaks_are_those_of_numpy(above: float, level: float) -> None:
    frames = noise(BEFORE + AFTER + 40 * CHUNK, 5, level)
    # smooth waves whose peaks lie between the samples, where the bounds say little
    frames[: 20 * CHUNK] = level * np.sin(np.pi / 2 * np.arange(20 * CHUNK) + 0.8)[:, None]
    ours, theirs = chunk_peaks(frames, above), reference.chunk_peaks(frames, 40, interpolator())
    found = np.maximum(ours, theirs) > above
    assert np.allclose(ours[found], theirs[found], rtol=1e-5)
    assert (ours[~found] <= above).all()


def test_a_peak_may_owe_its_height_to_the_next_chunk_or_the_one_before() -> None:
    frames = np.zeros((BEFORE + AFTER + 9 * CHUNK, 2), np.float32)
    for chunk in (1, 4, 7):
        frames[BEFORE + chunk * CHUNK :][:CHUNK] = 1.0
    ours = chunk_peaks(frames, 0.5)
    theirs = reference.chunk_peaks(frames, 9, interpolator())
    assert np.allclose(ours[theirs > 0.5], theirs[theirs > 0.5], rtol=1e-5)
    # up from silence: three quarters of the way lie points of the silent chunk
    assert (ours[[0, 3, 6]] > 0.7).all()


@pytest.mark.parametrize("frames", [4, 8, 32, 2048, 8192])
def test_the_rates_are_changed_as_by_numpy(frames: int) -> None:
    block, low_pass = noise(frames, 7), room.low_pass()
    ours = loops.lower_rate(block, room._DOWN)
    theirs = reference.lower_rate(block, low_pass)
    assert ours.shape == (frames // 4 + 7,)
    assert np.allclose(ours[: len(theirs)], theirs[: len(ours)], rtol=0, atol=1e-6)
    left, right = noise(frames // 4, 8).T.copy()
    out = block.copy()
    loops.add_higher_rate(left, right, room._UP, out)
    raised = reference.higher_rate(left, right, low_pass)
    assert np.allclose(out - block, raised, rtol=0, atol=1e-6)


def test_whole_numbers_are_those_of_numpy() -> None:
    steps = np.arange(-33000, 33000)
    block = np.concatenate([steps, steps + 0.5, steps + 0.49, [0.0, -0.0, 9e9, -9e9]]) / 32768
    block = block.astype(np.float32).reshape(-1, 2)
    ours = loops.round16(block)
    assert np.array_equal(ours, reference.round16(block))
    assert (ours.min(), ours.max()) == (-32768, 32767)


def test_what_does_not_fit_is_refused() -> None:
    block, small = noise(64, 1), np.zeros(2, np.float32)
    taps, kernel = np.zeros((8, 4, 2), np.float32), interpolator().astype(np.float32)
    ten, bounds = np.zeros(10), (1.0, 1.0, 1.0)
    wrong = (
        lambda: loops.block_products(noise(256, 1)[::2], noise(128, 1)),
        lambda: loops.block_products(noise(128, 1), noise(128, 1).astype(float)),
        lambda: loops.misfit(block, block[1:], small, 1),
        lambda: loops.misfit(block, block, small, 2),
        lambda: loops.fitted_slope(ten, ten[1:], 1.0, 1.0, slopes=np.zeros(3), falls=np.zeros(30)),
        lambda: loops.fitted_slope(ten, ten, 1.0, 1.0, slopes=np.zeros(2), falls=np.zeros(30)),
        lambda: loops.fitted_slope(ten, ten, 1.0, 1.0, slopes=np.zeros(129), falls=np.zeros(9999)),
        lambda: loops.fitted_slope(ten, ten, 1.0, 1.0, slopes=np.zeros(3), falls=np.zeros(29)),
        lambda: loops.hop_energies(block, 64, ten[:9]),
        lambda: loops.chunk_peaks(block, 1, 0.0, kernel, bounds),
        lambda: loops.chunk_peaks(noise(99, 1), 1, 0.0, kernel[1:], bounds),
        lambda: loops.lower_rate(block[:63], taps),
        lambda: loops.lower_rate(block, taps[1:]),
        lambda: loops.add_higher_rate(small, small[:1], taps, block),
        lambda: loops.add_higher_rate(small, small, taps, block[:7]),
    )
    for call in wrong:
        with pytest.raises(ValueError, match=r"array|slopes|multiple"):
            call()
