"""Windows made by several workers: their order, their errors, and that nobody stays behind."""

from __future__ import annotations

import multiprocessing
import os
import signal
import time

import numpy as np
import pytest

from backing.errors import InternalError, SelectionError
from backing.mixdown import crew
from backing.mixdown.crew import made


@pytest.fixture(params=["forked", "threads", "alone"])
def workers(request, monkeypatch):
    if request.param == "forked" and not crew.FORKS:
        pytest.skip("processes are forked on Linux only")
    monkeypatch.setattr(crew, "FORKS", request.param == "forked")
    return 1 if request.param == "alone" else 3


def squares():
    """A desk: counts what it makes, and writes the item and its square."""
    count = 0

    def make(item, sound):
        nonlocal count
        count += 1
        sound[0], sound[1] = item, item * item
        return count

    return make


def test_everything_comes_in_order(workers):
    for count in (0, 1, 2, 5, 100):
        found = list(made(squares, range(count), (2, 4), workers))
        assert [item for item, _, _ in found] == list(range(count))
        for item, sound, _ in found:
            assert sound.dtype == np.float32
            assert np.array_equal(sound, [[item] * 4, [item * item] * 4])


def test_what_is_given_out_is_not_written_over(workers):
    taken = [sound for _, sound, _ in made(squares, range(60), (2, 1), workers)]
    assert [int(sound[0, 0]) for sound in taken] == list(range(60))


def test_every_worker_has_a_desk_of_its_own(workers):
    counts = [said for _, _, said in made(squares, range(60), (2, 1), workers)]
    assert sum(said == 1 for said in counts) <= workers
    assert max(counts) <= 60
    if workers > 1 and crew.FORKS:
        assert counts == [1 + n // workers for n in range(60)]


def test_an_error_comes_out_where_it_would_alone(workers):
    def begin():
        def make(item, sound):
            if item == 7:
                raise SelectionError("Seven is not played.", "Take eight.")
            sound[:] = item

        return make

    taken = []
    with pytest.raises(SelectionError, match="Seven is not played") as caught:
        taken += [item for item, _, _ in made(begin, range(40), (1,), workers)]
    assert caught.value.cure == "Take eight."
    assert not multiprocessing.active_children()


def test_whoever_stops_listening_leaves_nobody_behind(workers):
    going = made(squares, range(1000), (2, 4), workers)
    next(going)
    going.close()
    assert not multiprocessing.active_children()


@pytest.mark.skipif(not crew.FORKS, reason="processes are forked on Linux only")
def test_a_worker_that_is_killed_is_told_of():
    def begin():
        def make(item, sound):
            if item == 5:
                os.kill(os.getpid(), signal.SIGKILL)
            sound[:] = item

        return make

    with pytest.raises(InternalError, match="has ended"):
        list(made(begin, range(40), (1,), 2))
    assert not multiprocessing.active_children()


@pytest.mark.skipif(not crew.FORKS, reason="processes are forked on Linux only")
def test_ctrl_c_is_for_the_one_that_writes():
    def begin():
        def make(item, sound):
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.001)
            sound[:] = item

        return make

    found = [int(sound[0]) for _, sound, _ in made(begin, range(8), (1,), 2)]
    assert found == list(range(8))
