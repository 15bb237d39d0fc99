"""The study of a key: what is found does not depend on what is asked together, or on how long."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import pytest

from backing.mixdown.decay import RING_LIMIT_S
from backing.mixdown.loops import BLOCK, Audio
from backing.mixdown.probing import (
    REFERENCE_VELOCITY,
    NoteModel,
    Rendered,
    StruckKey,
    _Sounding,
    needed,
    rendered,
)
from backing.mixdown.synth import Synth
from tests.mixdown.band import RATE, built_in_soundfont

PIANO, GUITAR, BASS = (0, 0, 60), (0, 26, 52), (0, 32, 40)
RIDE, HAT = (128, 0, 51), (128, 0, 42)
KEYS = [PIANO, GUITAR, BASS, RIDE, HAT]
VELOCITIES = (120, 40, 96, 72)
MISSING = (128, 0, 3)
"""A key that no kit has: General MIDI's percussion goes from 35 to 81 (from memory)."""


@pytest.fixture(scope="module")
def synth() -> Iterator[Synth]:
    with Synth(built_in_soundfont(), RATE) as synth:
        yield synth


def study(synth: Synth, group: Mapping[StruckKey, int], known: Rendered = ({}, {})) -> Rendered:
    """What is known of a key after this study; nothing that was known is changed."""
    models, samples = known

    def lasts(source: StruckKey, need: int) -> bool:
        held, complete = samples.get(source, (np.zeros((0, 2)), False))
        return complete or len(held) >= need

    more, longer = rendered(synth, group, models, lasts, RATE)
    assert not models.keys() & more.keys()
    return models | more, samples | longer


def words(model: NoteModel) -> tuple[object, ...]:
    fitted = model.filter
    told = fitted and (fitted.holds, fitted.knots, fitted.taps.tolist())
    return model.source, model.gain, model.release, told


def assert_enough(found: Rendered, group: Mapping[StruckKey, int]) -> None:
    models, samples = found
    for note, hold in group.items():
        held, complete = samples[models[note].source]
        assert complete or len(held) >= needed(note, hold, models[note].release, RATE)
        assert held.dtype == np.float32


def assert_same(one: Rendered, other: Rendered) -> None:
    """The same models where both have one, and of two samples one begins with the other."""
    assert one[0].keys() & other[0].keys()
    for note in one[0].keys() & other[0].keys():
        assert words(one[0][note]) == words(other[0][note])
    for source in one[1].keys() & other[1].keys():
        (short, ends), (long, _) = sorted(
            (one[1][source], other[1][source]), key=lambda held: len(held[0])
        )
        assert np.array_equal(short, long[: len(short)])
        assert len(short) == len(long) or not ends


@pytest.mark.parametrize("key", KEYS)
def test_one_after_the_other_is_as_all_together(synth: Synth, key: tuple[int, int, int]) -> None:
    group = {StruckKey(*key, velocity): 30_000 for velocity in VELOCITIES}
    together = study(synth, group)
    assert_enough(together, group)
    for order in (VELOCITIES, VELOCITIES[::-1]):
        found: Rendered = ({}, {})
        for velocity in order:
            found = study(synth, {StruckKey(*key, velocity): 30_000}, found)
        assert_same(together, found)
        assert_enough(found, group)
        assert {note for note in found[0] if note in group} == set(group)


@pytest.mark.parametrize("key", KEYS)
def test_alone_is_as_in_company(synth: Synth, key: tuple[int, int, int]) -> None:
    together = study(synth, {StruckKey(*key, velocity): 9_000 for velocity in VELOCITIES})
    for velocity in VELOCITIES:
        alone = {StruckKey(*key, velocity): 9_000}
        found = study(synth, alone)
        assert_same(together, found)
        assert_enough(found, alone)


@pytest.mark.parametrize("key", KEYS)
def test_how_long_it_was_needed_first_changes_nothing(
    synth: Synth, key: tuple[int, int, int]
) -> None:
    holds = (0, 3 * BLOCK, 20_000, 160_000, 500)
    at_once = study(synth, {StruckKey(*key, velocity): max(holds) for velocity in VELOCITIES})
    found: Rendered = ({}, {})
    for hold in holds:
        group = {StruckKey(*key, velocity): hold for velocity in VELOCITIES}
        found = study(synth, group, found)
        assert_enough(found, group)
        assert_same(at_once, found)


def test_what_sounded_before_changes_nothing(synth: Synth) -> None:
    group = {StruckKey(*GUITAR, velocity): 20_000 for velocity in VELOCITIES}
    first = study(synth, group)
    for key in KEYS:
        study(synth, {StruckKey(*key, 112): 5_000})
    again = study(synth, group)
    assert_same(first, again)
    assert first[1].keys() == again[1].keys()


def test_what_is_known_and_lasts_is_not_struck_again(synth: Synth, monkeypatch) -> None:
    group = {StruckKey(*PIANO, velocity): 20_000 for velocity in VELOCITIES}
    models, samples = study(synth, group)
    probed: list[int] = []
    start = synth.start
    monkeypatch.setattr(
        synth, "start", lambda channel, key, velocity: (
            probed.append(velocity), start(channel, key, velocity)
        )
    )  # fmt: skip
    # a note more: it is compared to the held reference, which is not rendered longer
    more, longer = rendered(
        synth,
        {StruckKey(*PIANO, 88): 10_000, StruckKey(*PIANO, 40): 20_000},
        models,
        lambda *_: True,
        RATE,
    )
    assert set(more) == {StruckKey(*PIANO, 88)}
    assert not longer
    assert set(probed) <= {
        88,
        REFERENCE_VELOCITY,
        *(model.source.velocity for model in models.values()),
    }
    assert probed.count(88) >= 1
    assert samples


class Played:
    """A synth that gives a sound made by hand."""

    def __init__(self, sound: Audio) -> None:
        self.sound, self.at, self.sounding = sound, 0, False

    def channel(self, _bank: int, _program: int) -> int:
        return 0

    def start(self, _channel: int, _key: int, _velocity: int) -> None:
        self.at, self.sounding = 0, True

    def read_into(self, out: Audio) -> None:
        piece = self.sound[self.at : self.at + len(out)]
        out[: len(piece)], out[len(piece) :] = piece, 0
        self.at += len(out)

    def silence(self, _channel: int) -> None:
        self.sounding = False


CHUNK = 172 * BLOCK
"""A quarter of a second."""


@pytest.mark.parametrize("beforehand", [0, 64, CHUNK, 5 * CHUNK, 9 * CHUNK])
def test_held_ends_where_it_died_however_much_was_read_before(beforehand: int) -> None:
    sound = np.zeros((20 * CHUNK, 2), np.float32)
    sound[: 3 * CHUNK + 10] = 0.5  # then a quarter second that is silent, the fifth
    sound[6 * CHUNK :] = 0.25  # what comes after it is not heard
    for need, length, complete in (
        (100, 100, False),
        (4 * CHUNK, 4 * CHUNK, False),
        (4 * CHUNK + 1, 4 * CHUNK, True),
        (12 * CHUNK, 4 * CHUNK, True),
    ):
        played = Played(sound)
        with _Sounding(played, StruckKey(*PIANO, 96), 12 * CHUNK) as sounding:  # type: ignore[arg-type]
            if beforehand:
                assert np.array_equal(sounding.upto(beforehand), sound[:beforehand])
            held, ends = sounding.held(need)
        assert (len(held), ends) == (length, complete)
        assert np.array_equal(held, sound[:length])
        assert held.base is None  # nothing else is kept in memory with it
        assert not played.sounding


def test_a_silence_is_one_against_the_loudest_so_far() -> None:
    # 72 dB below a peak is as good as nothing; 70 dB are heard
    for fall_db, length in ((70, 12 * CHUNK), (74, 2 * CHUNK)):
        sound = np.full((20 * CHUNK, 2), -(10 ** (-fall_db / 20)), np.float32)
        sound[10], sound[CHUNK + 5] = -0.5, -1.0
        with _Sounding(Played(sound), StruckKey(*PIANO, 96), 12 * CHUNK) as sounding:  # type: ignore[arg-type]
            held, complete = sounding.held(12 * CHUNK)
        assert len(held) == length
        assert complete == (length < 12 * CHUNK)


def test_a_drum_is_kept_as_long_as_it_rings(synth: Synth) -> None:
    for key in (RIDE, HAT):
        note = StruckKey(*key, 96)
        models, samples = study(synth, {note: 0})
        held, complete = samples[models[note].source]
        assert complete == (len(held) < int(RING_LIMIT_S * RATE))
        assert len(held) > RATE // 10


def test_a_key_the_kit_lacks_is_silent_and_known(synth: Synth) -> None:
    group = {StruckKey(*MISSING, velocity): 0 for velocity in VELOCITIES}
    found = study(synth, group)
    assert_enough(found, group)
    for note in group:
        samples, complete = found[1][found[0][note].source]
        assert complete
        assert len(samples) == 0
    # nothing is left to find out
    assert study(synth, group, found)[1].keys() == found[1].keys()
