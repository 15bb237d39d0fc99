"""The compiled loops say what the few lines of numpy beside them say, and refuse what does not fit.

README's commands install a C compiler, so the loops have to be there.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.mixdown import audio_file, copies, loudness, release, room
from backing.mixdown.audio_file import whole_numbers
from backing.mixdown.bank import Bank, BankNote
from backing.mixdown.copies import Copies, Fall, Sound
from backing.mixdown.limiter import CEILING_DBTP
from backing.mixdown.loops import compiled
from backing.mixdown.loudness import (
    AFTER,
    BEFORE,
    CHUNK,
    chunk_peaks,
    high_pass,
    hop_energies,
    interpolator,
    shelf,
)
from backing.mixdown.mix import render
from backing.mixdown.placement import RINGS
from backing.mixdown.release import Colour, Release, fitted_release, misfit, per_block
from backing.mixdown.room import Room
from tests.mixdown import trio
from tests.mixdown.band import built_in_soundfont

RATE = 44100
MODULES = (audio_file, copies, loudness, release, room)


def without_compiler(act):
    """What ``act`` returns where there was no C compiler."""
    with pytest.MonkeyPatch.context() as patch:
        for module in MODULES:
            patch.setattr(module, "compiled", None)
        return act()


def noise(frames: int, seed: int, level: float = 0.2) -> np.ndarray:
    return (np.random.default_rng(seed).standard_normal((frames, 2)) * level).astype(np.float32)


def test_the_loops_are_compiled() -> None:
    assert compiled is not None, "install again, with a C compiler (DEVELOPERS.md)"


# ---- copies ---------------------------------------------------------------------------------


TAPS = np.random.default_rng(2).uniform(0.3, 1, (2, 3, 2))


def sound(seed: int, frames: int, hold: int, slope: float, *, coloured: bool) -> Sound:
    colour = Colour((0, 10), (0, 4), TAPS) if coloured else None
    note = BankNote(noise(frames, seed), 0.3 + seed % 7 / 10, Release((slope,)), True, colour)
    return Sound.of(note, hold, Fall.of(note, RATE))


holds = st.one_of(st.integers(0, 80).map(lambda block: 64 * block), st.just(RINGS))


@settings(max_examples=150)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 99), st.integers(1, 9000), holds, st.floats(20, 9000), st.booleans()
        ),
        min_size=1,
        max_size=5,
    ),
    st.lists(st.tuples(st.integers(-8000, 8000), st.integers(0, 4)), min_size=1, max_size=12),
    st.integers(0, 3000),
    st.sampled_from(((1.0, 1.0), (0.6, 1.2))),
)
def test_copies_are_added_as_by_numpy(kinds, places, start, pan) -> None:
    places = sorted(places)
    onsets = np.array([onset for onset, _ in places])
    which = np.array([kind % len(kinds) for _, kind in places])

    def added(cuts: tuple[int, ...]) -> np.ndarray:
        sounds = [
            sound(seed, frames, hold, slope, coloured=coloured)
            for seed, frames, hold, slope, coloured in kinds
        ]
        mine = Copies(onsets, which, sounds)
        out = np.zeros((5000, 2), np.float32)
        for piece, first in zip(np.split(out, cuts), (0, *cuts), strict=True):
            mine.add_to(piece, start + first, pan)
        return out

    ours, theirs = added(()), without_compiler(lambda: added(()))
    assert np.allclose(ours, theirs, rtol=0, atol=3e-6)
    # the same bits wherever the window begins
    cuts = 1, 63, 777, 3002
    assert np.array_equal(ours, added(cuts))
    assert np.array_equal(theirs, without_compiler(lambda: added(cuts)))


def test_before_a_coloured_note_there_is_nothing_wherever_a_window_begins() -> None:
    samples = np.concatenate([np.full((4, 2), 9e9, np.float32), noise(500, 3)])
    colour = Colour((0, 10), (0, 4), TAPS)
    note = BankNote(samples[4:], 0.5, Release((50.0,)), True, colour)  # loud in memory before it

    def added(cuts: tuple[int, ...]) -> np.ndarray:
        one = Copies(np.array([0]), np.array([0]), [Sound.of(note, 0, Fall.of(note, RATE))])
        out = np.zeros((400, 2), np.float32)
        for piece, first in zip(np.split(out, cuts), (0, *cuts), strict=True):
            one.add_to(piece, first)
        return out

    assert np.allclose(added(()), without_compiler(lambda: added(())), rtol=0, atol=1e-6)
    assert np.array_equal(added(()), added((1, 2, 3)))
    assert np.array_equal(*(without_compiler(lambda at=at: added(at)) for at in ((), (1, 2, 3))))


def test_a_whole_track_is_the_same_by_numpy() -> None:
    piece = trio.performance(bars=8)

    def mixed() -> np.ndarray:
        bank = Bank(built_in_soundfont(), workers=1)
        return np.concatenate([window.mix for window in render(piece, bank, workers=1)])

    ours, theirs = mixed(), without_compiler(mixed)
    assert np.abs(ours).max() > 0.3
    # a bit of 24
    assert np.abs(ours - theirs).max() < 2**-22


@pytest.mark.parametrize(
    "row",
    [
        {"samples": noise(99, 1)},  # shorter than the sound
        {"edges": np.ones(2, np.float32)},  # falls for longer
        {"lags": (np.ones(1, np.float32),), "taps": (1.0,)},
        {"lags": (np.ones(9, np.float32),)},  # without its tap
        {"hold": -64},
        {"length": -1},
        # numbers whose double, or whose sum with another, does not fit in 64 bits
        {"length": 2**62, "hold": 2**62},
        {"length": 2**63 - 1, "hold": 2**63 - 1},
        {"late_from": 2**63 - 1},
        {"lags": (np.ones(9, np.float32),) * 5, "taps": (1.0,) * 5},  # more than there is room for
    ],
)
def test_a_sound_that_cannot_be_is_refused(row: dict) -> None:
    good = {
        "samples": noise(500, 1),
        "gain": 1.0,
        "hold": 64,
        "length": 500,
        "edges": np.ones(9, np.float32),
        "lags": (),
        "late_from": RINGS,
        "taps": (),
    }
    assert compiled is not None
    compiled.Sounds([tuple(good.values())])
    with pytest.raises(ValueError, match=r"too short|cannot be"):
        compiled.Sounds([tuple((good | row).values())])


def test_a_list_of_sounds_may_change_meanwhile() -> None:
    class Gain:
        def __float__(self) -> float:
            rows.clear()
            return 1.0

    samples, edges = noise(99, 1), np.ones(9, np.float32)
    rows = [(samples, Gain(), 64, 99, edges, (), RINGS, ())] * 1000
    assert compiled is not None
    assert compiled.Sounds(rows)
    assert not rows


def test_what_is_no_sound_is_refused() -> None:
    assert compiled is not None
    for wrong in ([1], [()], [("a", 1, 1, 1, b"", (), 1, ())]):
        with pytest.raises(TypeError):
            compiled.Sounds(wrong)
    with pytest.raises(TypeError):
        compiled.Sounds(())
    with pytest.raises(TypeError):
        compiled.Sounds([], more=1)


@pytest.mark.parametrize(
    ("onsets", "ends", "which"),
    [
        ([0], [1001], [0]),
        ([0], [10], [1]),
        ([0], [10], [-1]),
        ([0, 1], [10], [0]),
        ([-(2**63)], [2**63 - 1], [0]),  # the length of which does not fit in 64 bits
        ([2**63 - 1], [2**63 - 1], [0]),
    ],
)
def test_copies_that_do_not_fit_are_refused(onsets: list, ends: list, which: list) -> None:
    held = sound(1, 1000, RINGS, 100, coloured=False)
    assert compiled is not None
    loop = compiled.Sounds([held.row])
    out = np.zeros((64, 2), np.float32)
    with pytest.raises(ValueError, match="do not fit"):
        loop.add(out, 0, np.array(onsets), np.array(ends), np.array(which), 1.0, 1.0)
    for start in (2**63 - 1, -(2**63)):
        with pytest.raises(ValueError, match="do not fit"):
            loop.add(out, start, np.array([0]), np.array([10]), np.array([0]), 1.0, 1.0)
    out.flags.writeable = False
    with pytest.raises((TypeError, BufferError, ValueError)):
        loop.add(out, 0, np.array([0]), np.array([10]), np.array([0]), 1.0, 1.0)


# ---- how notes fall -------------------------------------------------------------------------


sizes = st.integers(0, 2000)
slopes = st.lists(st.floats(-25, 15_000), min_size=1, max_size=6).map(tuple)


@settings(max_examples=100)
@given(sizes, sizes, st.integers(0, 99), st.integers(0, 300))
def test_products_are_those_of_numpy(frames: int, others: int, seed: int, first: int) -> None:
    whole = noise(2300, seed)
    a, b = whole[first : first + frames], noise(others, seed + 1)  # a slice of another
    ours, theirs = per_block(a, b), without_compiler(lambda: per_block(a, b))
    assert ours.shape == theirs.shape == (min(len(a), others) // 64,)
    starts = range(0, 64 * len(ours), 64)
    sums = [float((a[at : at + 64].astype(float) * b[at : at + 64]).sum()) for at in starts]
    assert np.allclose(ours, theirs, rtol=1e-12, atol=1e-12)
    assert np.allclose(ours, sums, rtol=1e-12, atol=1e-12)


@settings(max_examples=100)
@given(slopes, sizes, st.integers(0, 400), st.integers(0, 40), st.booleans())
def test_what_a_release_does_not_tell_is_as_by_numpy(slopes, frames, more, first, near) -> None:
    fall, held = Release(slopes), noise(frames + more, 1)[more // 2 :]
    heard = noise(frames, 2)
    if near:  # what is left is small beside the sounds
        gains = fall.gains(RATE)
        blocks = min(len(heard) // 64, len(gains) - 1)
        heard[: blocks * 64] = held[: blocks * 64] * release.envelope(gains, 0, blocks * 64)
        heard += noise(frames, 3, 1e-4)
    if len(held) < len(heard):
        held = noise(len(heard), 1)
    ours = misfit(fall, held, heard, RATE, first)
    assert ours == pytest.approx(
        without_compiler(lambda: misfit(fall, held, heard, RATE, first)), rel=1e-9, abs=1e-15
    )
    assert ours >= 0


@settings(max_examples=150)
@given(
    st.integers(1, 700),
    slopes,
    st.floats(0, 400),
    st.sampled_from((0.0, 1e-4, 0.3)),
    st.integers(0, 99),
)
def test_falls_are_fitted_as_by_numpy(blocks, slopes, decay, rough, seed) -> None:
    rng = np.random.default_rng(seed)
    seconds = np.arange(blocks) * 64 / RATE
    power = 10 ** (-decay * seconds / 10) * rng.uniform(0.5, 1, blocks)
    edges = 10 ** (Release(slopes).levels_db(blocks + 1, RATE) / 20)
    product = power * (edges[1:] + edges[:-1]) / 2
    product += rough * power * rng.standard_normal(blocks)
    ours = fitted_release(power, product, RATE)
    theirs = without_compiler(lambda: fitted_release(power, product, RATE))
    assert len(ours.slopes) == len(theirs.slopes)
    # two slopes may fit equally well, where next to nothing is heard: so how well they fit is
    # compared, with each other and with the best that there is
    lines = [10 ** (fit.levels_db(blocks, RATE) / 20) for fit in (ours, theirs)]
    misfits = [float((power * line**2 - 2 * product * line).sum()) for line in lines]
    assert misfits[0] == pytest.approx(misfits[1], rel=1e-6, abs=1e-6 * float(power.sum()))


@pytest.mark.parametrize("slope", [0.5, 12.0, 300.0, 9000.0])
def test_a_straight_fall_is_found_again(slope: float) -> None:
    # by numpy and compiled alike: in the middle of a block a straight line in dB has this level
    power = np.full(500, 0.3)
    product = power * 10 ** (-slope * (np.arange(500) + 0.5) * 64 / RATE / 20)
    for fit in (
        fitted_release(power, product, RATE),
        without_compiler(lambda: fitted_release(power, product, RATE)),
    ):
        assert fit.slopes[0] == pytest.approx(slope, rel=0.01)


@pytest.mark.parametrize("power", [0.0, np.nan, np.inf, -1.0, 1e300])
@pytest.mark.parametrize("blocks", [0, 1, 4, 5, 300])
def test_what_cannot_be_heard_has_a_slope_all_the_same(power: float, blocks: int) -> None:
    with np.errstate(all="ignore"):
        powers, products = np.full(blocks, power), np.full(blocks, power)
        fit = fitted_release(powers, products, RATE)
    assert len(fit.slopes) == 1 + sum(bend < blocks for bend in release.BENDS)
    if blocks == 0 or power == 0:
        assert fit == without_compiler(lambda: fitted_release(powers, products, RATE))


@pytest.mark.parametrize("rate", [8000, 44100, 192_000])
@given(slopes)
def test_a_release_ends_where_it_has_fallen_far_enough(rate: int, slopes: tuple) -> None:
    fall = Release((*slopes[:-1], max(0.0, slopes[-1])))
    gains = fall.gains(rate)
    limit = int(release.RING_LIMIT_S * rate) // 64
    # the same reckoned over all that it may last, not in parts
    levels = fall.levels_db(limit + 1, rate)
    fallen = 10 ** (levels / 20)
    assert len(gains) == 1 + np.count_nonzero(levels[:limit] > -release.RELEASE_FLOOR_DB)
    assert np.allclose(gains, fallen[: len(gains)], rtol=1e-6)
    steps = [
        slope * (end - start) * 64 / rate
        for slope, start, end in zip(
            fall.slopes, (0, *release.BENDS), (*release.BENDS, limit), strict=False
        )
    ]
    last = (*release.BENDS, limit)[len(slopes) - 1] if len(slopes) < 6 else limit
    assert levels[last] == pytest.approx(-sum(steps), abs=1e-6)


def test_sounds_that_are_not_in_one_piece_are_refused() -> None:
    assert compiled is not None
    loose, whole = noise(256, 1)[::2], noise(128, 1)
    wide = np.zeros((128, 4), np.float32)[:, :2]
    for a, b in ((loose, whole), (whole, loose), (wide, whole)):
        with pytest.raises(ValueError, match="contiguous"):
            compiled.block_products(a, b, np.empty(2))
        with pytest.raises(ValueError, match="contiguous"):
            compiled.misfit(a, b, np.ones(3, np.float32), 2)
    fixed = np.empty(2)
    fixed.flags.writeable = False
    for sums in (np.empty(4)[::2], fixed):
        with pytest.raises((TypeError, BufferError, ValueError)):
            compiled.block_products(whole, whole, sums)


# ---- loudness, peaks, room, whole numbers ----------------------------------------------------


@pytest.mark.parametrize("rate", [44100, 48000])
@pytest.mark.parametrize("hops", [1, 2, 3, 4, 5, 7, 8, 37])
def test_hops_are_as_loud_as_scipys_filter_says(rate: int, hops: int) -> None:
    # scipy.signal.sosfilt runs through the sound from its beginning to its end, in 64 bits
    hop = loudness.hop_frames(rate)
    frames = hops * hop + 17  # a rest that is no whole hop
    heard = noise(frames, hops) * np.geomspace(1, 1e-3, frames)[:, None] + 0.1
    heard = heard.astype(np.float32)
    ours = hop_energies(heard, rate)
    stages = [np.concatenate(stage) for stage in (shelf(rate), high_pass(rate))]
    weighted = scipy.signal.sosfilt(stages, heard.astype(float), axis=0)
    theirs = (weighted[: hops * hop] ** 2).reshape(hops, -1).sum(axis=1) / hop
    assert np.allclose(ours, theirs, rtol=1e-7, atol=1e-13)  # -130 LUFS
    by_numpy = without_compiler(lambda: hop_energies(heard, rate))
    assert np.allclose(ours, by_numpy, rtol=1e-4, atol=1e-7)


@pytest.mark.parametrize("above", [0.0, 0.5, 10 ** (CEILING_DBTP / 20)])
@pytest.mark.parametrize("level", [0.1, 0.3, 1.0])
def test_peaks_are_those_of_numpy(above: float, level: float) -> None:
    frames = noise(BEFORE + AFTER + 40 * CHUNK, 5, level)
    # smooth waves whose peaks lie between the samples, where the bounds say little
    frames[: 20 * CHUNK] = level * np.sin(np.pi / 2 * np.arange(20 * CHUNK) + 0.8)[:, None]
    ours = chunk_peaks(frames, above)
    theirs = without_compiler(lambda: chunk_peaks(frames, above))
    found = np.maximum(ours, theirs) > above
    assert np.allclose(ours[found], theirs[found], rtol=1e-5)
    assert (ours[~found] <= above).all()


def test_a_peak_may_owe_its_height_to_the_next_chunk_or_the_one_before() -> None:
    frames = np.zeros((BEFORE + AFTER + 9 * CHUNK, 2), np.float32)
    for chunk in (1, 4, 7):
        frames[BEFORE + chunk * CHUNK :][:CHUNK] = 1.0
    ours = chunk_peaks(frames, 0.5)
    assert np.allclose(ours, without_compiler(lambda: chunk_peaks(frames, 0.5)), rtol=1e-5)
    # up from silence: three quarters of the way lie points of the silent chunk
    assert (ours[[0, 3, 6]] > 0.7).all()


def test_the_room_rings_as_by_numpy() -> None:
    block = noise(8192, 7)

    def rung() -> np.ndarray:
        mine = Room(RATE, len(block))
        out = np.full((len(block) + mine.tail, 2), 7, np.float32)
        mine.ring(noise(8192, 8), out)  # nothing of it stays
        mine.ring(block, out)
        return out

    ours, theirs = rung(), without_compiler(rung)
    assert np.abs(ours).max() > 0.01
    assert np.abs(ours - theirs).max() < 1e-7


def test_whole_numbers_are_those_of_numpy() -> None:
    steps = np.arange(-33000, 33000)
    block = np.concatenate([steps, steps + 0.5, steps + 0.49, [0.0, -0.0, 9e9, -9e9]]) / 32768
    block = block.astype(np.float32).reshape(-1, 2)
    ours = whole_numbers(block, 16)
    assert np.array_equal(ours, without_compiler(lambda: whole_numbers(block, 16)))
    assert (ours.min(), ours.max()) == (-32768, 32767)


def test_what_does_not_fit_is_refused() -> None:
    assert compiled is not None
    block, small = noise(64, 1), np.zeros(2, np.float32)
    biquads, kernel = np.zeros(10), interpolator().astype(np.float32)
    down, up = np.zeros((4, 8), np.float32), np.zeros((8, 4, 2), np.float32)
    wrong = (
        lambda: compiled.block_products(block, block[1:], np.zeros(1)),
        lambda: compiled.block_products(block[1:], block, np.zeros(1)),
        lambda: compiled.block_products(block, block, np.zeros(2)),
        lambda: compiled.misfit(block, block[1:], small, 1),
        lambda: compiled.misfit(block, block, small[1:], 1),
        lambda: compiled.misfit(block, block, small, 2),
        lambda: compiled.misfit(block, block, small, -1),
        lambda: compiled.misfit(block, block, small[:0], 0),
        lambda: compiled.misfit(block, block, small, 2**63 - 1),
        lambda: compiled.slope(biquads, biquads[1:], 1.0, 1.0, np.zeros(3), np.zeros(30)),
        lambda: compiled.slope(biquads, biquads, 1.0, 1.0, np.zeros(2), np.zeros(30)),
        lambda: compiled.slope(biquads, biquads, 1.0, 1.0, np.zeros(129), np.zeros(9999)),
        lambda: compiled.slope(biquads, biquads, 1.0, 1.0, np.zeros(3), np.zeros(29)),
        lambda: compiled.hop_energies(block, 65, biquads, np.zeros(1)),
        lambda: compiled.hop_energies(block, 0, biquads, np.zeros(1)),
        lambda: compiled.hop_energies(block, 64, biquads[:9], np.zeros(1)),
        lambda: compiled.chunk_peaks(block, 0.0, kernel, 1.0, 1.0, 1.0, small),
        lambda: compiled.chunk_peaks(block, 0.0, kernel[1:], 1.0, 1.0, 1.0, small[:0]),
        lambda: compiled.lower_rate(block[:63], down, np.zeros(99, np.float32)),
        lambda: compiled.lower_rate(block, down, small),
        lambda: compiled.lower_rate(block, down[1:], np.zeros(99, np.float32)),
        lambda: compiled.higher_rate(small, small[:1], up, np.zeros(99, np.float32)),
        lambda: compiled.higher_rate(small, small, up, small),
        lambda: compiled.whole_numbers(block, np.zeros(127, np.int16)),
    )
    for call in wrong:
        with pytest.raises(ValueError, match=r"do(es)? not fit"):
            call()
