"""Windows made by several workers: their order, their errors, and that nobody stays behind."""

from __future__ import annotations

import gc
import multiprocessing
import os
import random
import signal
import subprocess
import sys
import threading
import time
from contextlib import contextmanager, nullcontext
from pathlib import Path

import numpy as np
import pytest

from backing import aside, processes
from backing.errors import MachineError, SelectionError
from backing.mixdown import crew
from backing.mixdown.crew import made, mapped
from backing.mixdown.loops import compiled
from tests.living import lives

forked = pytest.mark.skipif(not aside.FORKS, reason="processes are forked on Linux only")


@pytest.fixture(params=["forked", "threads", "alone"])
def workers(request, monkeypatch):
    if request.param == "forked" and not aside.FORKS:
        pytest.skip("processes are forked on Linux only")
    monkeypatch.setattr(crew, "compiled", None)  # with the loops, windows are made by threads
    monkeypatch.setattr(crew, "may_fork", lambda: request.param == "forked")
    return 1 if request.param == "alone" else 3


@pytest.fixture
def forking(monkeypatch):
    """Forks as without compiled loops, though the test run may have threads (joblib keeps some)."""
    monkeypatch.setattr(crew, "compiled", None)
    monkeypatch.setattr(crew, "may_fork", lambda: True)


def forked_children():
    """The workers there are; others than ours are those of joblib."""
    return [each for each in multiprocessing.active_children() if each.name.startswith("Fork")]


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
    if workers > 1 and crew.may_fork():
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
    assert not forked_children()


def test_whoever_stops_listening_leaves_nobody_behind(workers):
    going = made(squares, range(1000), (2, 4), workers)
    next(going)
    going.close()
    assert not forked_children()


@forked
@pytest.mark.usefixtures("forking")
def test_a_worker_that_is_killed_is_told_of():
    def begin():
        def make(item, sound):
            if item == 5:
                os.kill(os.getpid(), signal.SIGKILL)
            sound[:] = item

        return make

    with pytest.raises(MachineError, match="run out of memory"):
        list(made(begin, range(40), (1,), 2))
    assert not forked_children()


@forked
@pytest.mark.usefixtures("forking")
def test_ctrl_c_is_for_the_one_that_writes():
    def begin():
        def make(item, sound):
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.001)
            sound[:] = item

        return make

    found = [int(sound[0]) for _, sound, _ in made(begin, range(8), (1,), 2)]
    assert found == list(range(8))


@contextmanager
def doubling():
    """A desk for ``mapped``."""
    yield lambda item: 2 * item


def broken():
    """A desk that cannot be set up."""
    raise SelectionError("There is no desk.", "Build one.")


def test_things_are_made_all_and_once(workers):
    for count in (0, 1, 2, 50):
        assert sorted(mapped(doubling, range(count), workers)) == list(range(0, 2 * count, 2))
    assert not forked_children()


@contextmanager
def counting_up():
    """A desk: makes of a number arrays of growing sizes, and one that is not in one piece."""

    def make(number):
        arrays = {size: np.arange(size, dtype=np.float32) for size in range(0, 9000 * number, 1500)}
        return number, arrays, np.arange(12).reshape(3, 4)[:, ::2]

    yield make


def test_arrays_come_whole(workers):
    found = sorted(mapped(counting_up, range(9), workers), key=lambda made: made[0])
    # all of them at once: nothing is written over
    for number, (said, arrays, rest) in enumerate(found):
        assert said == number
        assert list(arrays) == list(range(0, 9000 * number, 1500))
        assert all(np.array_equal(array, np.arange(size)) for size, array in arrays.items())
        assert rest.tolist() == [[0, 2], [4, 6], [8, 10]]
    assert not forked_children()


@forked
@pytest.mark.usefixtures("forking")
@pytest.mark.parametrize("room", [1, 30_000, 400_000])
def test_what_the_shared_memory_has_no_room_for_comes_through_the_pipe(monkeypatch, room):
    monkeypatch.setattr(crew, "SHARED_BYTES", room)
    test_arrays_come_whole(2)


@forked
@pytest.mark.usefixtures("forking")
def test_where_no_memory_can_be_shared_all_comes_through_the_pipe(monkeypatch):
    monkeypatch.setattr(crew, "SHARED_BYTES", 1 << 60)  # more than any processor can address
    assert len(crew._shared(crew.SHARED_BYTES)) == 0
    test_arrays_come_whole(2)
    # nor are arrays of nothing any matter
    empty = list(mapped(lambda: nullcontext(np.zeros), [0, 0, 2, 0], 2))
    assert sorted(map(len, empty)) == [0, 0, 0, 2]


@forked
@pytest.mark.usefixtures("forking")
def test_a_worker_that_is_killed_while_it_makes_things_is_told_of():
    @contextmanager
    def desk():
        def make(item):
            if item == 5:
                os.kill(os.getpid(), signal.SIGKILL)
            return item

        yield make

    gc.collect()
    before = len(os.listdir("/proc/self/fd"))  # noqa: PTH208 - names are all there is
    for workers in (2, 3):
        with pytest.raises(MachineError, match="run out of memory"):
            list(mapped(desk, range(40), workers))
        assert not forked_children()
    gc.collect()
    assert len(os.listdir("/proc/self/fd")) == before  # noqa: PTH208


@forked
@pytest.mark.usefixtures("forking")
def test_whoever_wants_no_more_things_leaves_nobody_behind():
    @contextmanager
    def desk():
        yield lambda item: time.sleep(0.01 * item) or item

    going = mapped(desk, range(1000), 3)
    next(going)
    before = time.monotonic()
    going.close()
    assert time.monotonic() < before + 5  # what was asked for, and not begun, is forgotten
    assert not forked_children()


def test_the_desk_is_set_up_once_and_left_once(workers):
    done = []

    @contextmanager
    def desk():
        done.append("set up")
        try:
            yield lambda item: 1 / item
        finally:
            done.append("left")

    with pytest.raises(ZeroDivisionError):
        list(mapped(desk, range(20), workers))
    desks = 1 if workers == 1 or crew.may_fork() else workers
    assert len(done) == 2 * desks
    assert done.count("left") == desks


def test_a_desk_that_cannot_be_set_up_is_told_of(workers):
    with pytest.raises(SelectionError, match="no desk"):
        list(made(broken, range(9), (1,), workers))
    with pytest.raises(SelectionError, match="no desk"):
        list(mapped(broken, range(9), workers))
    assert not forked_children()


def test_an_error_that_cannot_be_sent_comes_in_words(workers, capfd):
    class OddError(Exception):  # of this function: no other process knows it
        pass

    def begin():
        def make(item, sound):
            raise OddError("it hums")

        return make

    with pytest.raises(Exception, match="it hums"):
        list(made(begin, range(9), (1,), workers))
    assert capfd.readouterr().err == ""


def test_crews_at_work_at_once_do_not_wait_for_each_other(workers):
    one, two = (made(squares, range(1000), (2, 1), workers) for _ in range(2))
    for _ in range(20):
        assert next(one)[0] == next(two)[0]
    one.close()  # before the other, whose workers were forked while it was at work
    next(two)
    two.close()
    assert not forked_children()


def test_a_crew_that_nobody_can_reach_any_more_goes(workers):
    class Listener:
        pass

    listener = Listener()
    listener.itself = listener  # only the garbage collector finds it
    listener.going = made(squares, range(1000), (2, 1), workers)
    next(listener.going)
    del listener
    gc.collect()
    assert not forked_children()


def test_whatever_is_kept_stays_as_it_is(workers):
    rng, kept, count = random.Random(1), {}, 40 * crew.SLOTS
    for item, sound, _ in made(squares, range(count), (2, 40), workers):
        np.multiply(sound, 2, out=sound)  # it is ours
        kept[item] = sound[:, ::3]  # a view is enough
        # all of them for a while, then fewer
        for other in rng.sample(list(kept), len(kept) // 3 if item % 100 == 0 else 0):
            del kept[other]
        assert all((view == [[2 * it], [2 * it * it]]).all() for it, view in kept.items())
    assert len(kept) > crew.SLOTS


@forked
@pytest.mark.usefixtures("forking")
def test_the_shared_memory_is_given_back():
    def shared() -> int:
        return Path("/proc/self/maps").read_text(encoding="utf-8").count("/dev/zero")

    before = shared()
    going = made(squares, range(100), (2, 1000), 2)
    next(going)
    assert shared() > before
    going.close()
    del going
    assert shared() == before


@forked
@pytest.mark.usefixtures("forking")
@pytest.mark.parametrize("room", [0, 1])
def test_where_there_is_no_room_for_processes_it_is_made_with_fewer(monkeypatch, room):
    start, begun = processes.Worker.start, []

    def crowded(worker):
        begun.append(worker)
        if len(begun) > room:
            raise BlockingIOError("no more processes")
        start(worker)

    monkeypatch.setattr(processes.Worker, "start", crowded)
    assert [item for item, _, _ in made(squares, range(40), (2, 1), 3)] == list(range(40))
    begun.clear()
    assert sorted(mapped(doubling, range(40), 3)) == list(range(0, 80, 2))
    assert not forked_children()


@forked
def test_beside_other_threads_nothing_is_forked(monkeypatch):
    monkeypatch.setattr(crew, "compiled", None)
    stop = threading.Event()
    other = threading.Thread(target=stop.wait)
    other.start()
    try:
        found = [forked_children() for _ in made(squares, range(20), (2, 1), 3)]
    finally:
        stop.set()
        other.join()
    assert found == [[]] * 20


@forked
def test_with_compiled_loops_windows_are_made_by_threads(monkeypatch):
    monkeypatch.setattr(crew, "compiled", compiled)
    monkeypatch.setattr(crew, "may_fork", lambda: True)
    before = threading.active_count()
    found = [threading.active_count() for _ in made(squares, range(99), (2, 1), 3)]
    assert max(found) > before
    assert threading.active_count() == before
    assert not forked_children()


@forked
@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # Python 3.12 warns of any thread
def test_a_process_that_may_have_no_children_makes_it_too(monkeypatch):
    monkeypatch.setattr(crew, "compiled", None)
    mine, its = multiprocessing.Pipe()

    def daemonic():
        its.send([item for item, _, _ in made(squares, range(20), (2, 1), 3)])

    process = multiprocessing.get_context("fork").Process(target=daemonic, daemon=True)
    process.start()
    assert mine.poll(10)
    assert mine.recv() == list(range(20))
    process.join()


STOPPED = """
import multiprocessing, signal, sys, time
import numpy as np
from backing.mixdown import crew
from backing.mixdown.crew import made

if sys.argv[1] == "forked":
    crew.compiled = None

def stop(number, frame):
    raise KeyboardInterrupt

signal.signal(signal.SIGTERM, stop)
signal.signal(signal.SIGINT, stop)  # in the background of a shell it would be ignored

def begin():
    def make(item, sound):
        time.sleep(0.02)
    return make

try:
    for item, _, _ in made(begin, range(10_000), (1,), 3):
        if item == 0:
            begun = time.monotonic()
            print(*[child.pid for child in multiprocessing.active_children()], flush=True)
except KeyboardInterrupt:
    print("stopped", len(multiprocessing.active_children()))
    assert time.monotonic() < begun + 5  # what was asked for, and not begun, is forgotten
"""


@forked
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
@pytest.mark.parametrize("everybody", [True, False])
@pytest.mark.parametrize("way", ["forked", "threads"])
def test_a_process_that_is_stopped_leaves_nobody_behind(number, everybody, way):
    running = subprocess.Popen(
        [sys.executable, "-c", STOPPED, way],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        cwd=Path(__file__).parents[2],
    )  # fmt: skip
    workers = [int(pid) for pid in running.stdout.readline().split()]
    assert len(workers) == (3 if way == "forked" else 0)
    (os.killpg if everybody else os.kill)(running.pid, number)
    said, complaints = running.communicate(timeout=20)
    assert complaints == ""
    assert said == ("" if number == signal.SIGKILL else "stopped 0\n")
    for pid in workers:
        for _ in range(500):
            if not lives(pid):
                break
            time.sleep(0.01)
        assert not lives(pid)
