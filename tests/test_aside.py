"""Work done beside: what comes of it, what goes wrong, and that nobody and nothing is left."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from functools import partial
from io import BytesIO
from pathlib import Path

import pytest

from backing import aside
from backing.aside import beside, may_fork, meanwhile, signals_put_off
from backing.errors import (
    ChordError,
    InternalError,
    MachineError,
    Problem,
    RoutineError,
    Span,
    TuneError,
    UserError,
)
from tests.living import lives

forked = pytest.mark.skipif(not aside.FORKS, reason="processes are forked on Linux only")


@pytest.fixture(params=["forked", "here"])
def way(request, monkeypatch):
    """Beside, though the test run may have threads, and where nothing can be forked."""
    if request.param == "forked" and not aside.FORKS:
        pytest.skip("processes are forked on Linux only")
    monkeypatch.setattr(aside, "may_fork", lambda: request.param == "forked")
    return request.param


@pytest.fixture
def forking(monkeypatch):
    monkeypatch.setattr(aside, "may_fork", lambda: True)


def children():
    """The processes this one has started and not asked after."""
    task = Path(f"/proc/self/task/{threading.get_native_id()}/children")
    return set(task.read_text(encoding="utf-8").split())


def asked(work):
    with meanwhile(work) as made:
        return made()


def test_what_is_made_is_given(way):
    for what in (None, 0, "words", [1, {"a": (2.5, b"\x00")}]):
        assert asked(lambda what=what: what) == what
    assert (asked(os.getpid) == os.getpid()) == (way == "here")


def test_what_is_larger_than_any_pipe_comes_whole(way):
    count = 3_000_000
    assert asked(lambda: os.urandom(7) + bytes(count))[7:] == bytes(count)
    assert asked(lambda: list(range(count // 10))) == list(range(count // 10))


def test_it_is_made_while_other_things_are_done(way):
    with meanwhile(lambda: time.sleep(0.3) or time.monotonic()) as made:
        time.sleep(0.3)
        before = time.monotonic()
        assert (made() < before + 0.15) == (way == "forked")


PROBLEM = Problem("a.tune", Span(1, 2), "text", "It is wrong.", "Mend it.")


@pytest.mark.parametrize(
    "error",
    [
        RoutineError("There is no room.", "Ask for less."),
        ChordError("No chord.", "Write one.", 3, 5),
        TuneError((PROBLEM, PROBLEM)),
        MachineError("Too small."),
        ValueError("odd"),
    ],
)
def test_what_goes_wrong_is_raised_as_it_would_be_here(way, error):
    def work():
        raise error

    with pytest.raises(type(error)) as caught:
        asked(work)
    assert type(caught.value) is type(error)
    assert str(caught.value) == str(error)
    mine, theirs = dict(vars(error)), dict(vars(caught.value))
    mine.pop("__notes__", None)
    notes = theirs.pop("__notes__", [])
    assert theirs == mine
    if way == "forked":  # where it happened, for whoever mends it
        assert "in work" in notes[0]


class Odd(Exception):  # noqa: N818 - a test's
    """One that cannot be made again from what is said of it."""

    def __init__(self, one: int, two: int) -> None:
        super().__init__(f"{one} and {two} hum")


def test_an_error_that_cannot_be_sent_comes_in_words(way):
    def work():
        raise Odd(1, 2)

    with pytest.raises(InternalError if way == "forked" else Odd, match="1 and 2 hum"):
        asked(work)


@forked
@pytest.mark.usefixtures("forking")
def test_a_thing_that_cannot_be_sent_is_told_of():
    with pytest.raises(Exception, match="pickle"):
        asked(lambda: lambda: 1)
    with pytest.raises(Exception, match="pickle"):
        asked(threading.Lock)


@forked
@pytest.mark.usefixtures("forking")
@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGTERM])
def test_a_process_that_is_ended_is_told_of_in_a_sentence(end):
    with pytest.raises(MachineError, match=r"has ended a process .* run out of memory"):
        asked(lambda: os.kill(os.getpid(), end))


@forked
@pytest.mark.usefixtures("forking")
def test_a_process_that_leaves_is_told_of_in_a_sentence():
    with pytest.raises(MachineError, match="has ended a process"):
        asked(sys.exit)


def test_however_little_of_an_answer_came_it_is_told_of_in_a_sentence():
    notes = [{"onset": n / 3, "words": "ride" * n, "more": (n, -n, None, True)} for n in range(40)]
    for answer in (
        pickle.dumps((notes, None), pickle.HIGHEST_PROTOCOL),
        pickle.dumps((None, RoutineError("There is no room.", "Ask for less."))),
    ):
        for count in range(len(answer)):
            with pytest.raises(MachineError):
                aside._made(BytesIO(answer[:count]))


@forked
@pytest.mark.usefixtures("forking")
def test_what_nobody_asks_for_is_given_up():
    before = time.monotonic()
    with meanwhile(partial(time.sleep, 60)):
        assert len(children()) == 1
    with (
        pytest.raises(RoutineError),
        meanwhile(partial(time.sleep, 60)),
    ):
        raise RoutineError("There is something else.")
    with meanwhile(lambda: bytes(5_000_000)):  # it cannot get rid of
        time.sleep(0.05)
    assert time.monotonic() < before + 10
    assert not children()


@forked
@pytest.mark.usefixtures("forking")
def test_nothing_is_left_of_many():
    def opened():
        return sorted(os.listdir("/proc/self/fd"))  # noqa: PTH208 - names are all there is

    asked(dict)
    before = opened()
    for number in range(50):
        assert asked(lambda number=number: number) == number
        with pytest.raises(ZeroDivisionError):
            asked(lambda: 1 / 0)
        with pytest.raises(MachineError):
            asked(lambda: os.kill(os.getpid(), signal.SIGKILL))
    assert opened() == before
    assert not children()


@forked
@pytest.mark.usefixtures("forking")
def test_where_there_is_no_room_for_a_process_it_is_made_here(monkeypatch):
    def crowded():
        raise BlockingIOError("no more processes")

    before = len(os.listdir("/proc/self/fd"))  # noqa: PTH208
    monkeypatch.setattr(os, "fork", crowded)
    assert asked(os.getpid) == os.getpid()
    monkeypatch.setattr(os, "pipe", crowded)
    assert asked(os.getpid) == os.getpid()
    assert len(os.listdir("/proc/self/fd")) == before  # noqa: PTH208


@forked
@pytest.mark.usefixtures("forking")
def test_where_nobody_is_told_of_children_it_is_no_matter():
    """Whoever started us may have chosen so: POSIX.1, sigaction, SIGCHLD ignored."""
    before = signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    try:
        with meanwhile(os.getpid) as made:
            process = made()
            while Path(f"/proc/{process}").exists():
                time.sleep(0.005)
    finally:
        signal.signal(signal.SIGCHLD, before)


@forked
def test_beside_another_thread_nothing_is_forked():
    stop = threading.Event()
    other = threading.Thread(target=stop.wait)
    other.start()
    try:
        assert not may_fork()
        assert asked(os.getpid) == os.getpid()
    finally:
        stop.set()
        other.join()


ALONE = """
import multiprocessing, os
from backing.aside import may_fork, meanwhile

def process_of_work():
    with meanwhile(os.getpid) as made:
        return made()

def tell(pipe):
    pipe.send((may_fork(), process_of_work() != os.getpid()))

mine, its = multiprocessing.Pipe()
print(may_fork(), process_of_work() != os.getpid())
for daemon in (False, True):
    child = multiprocessing.get_context("fork").Process(target=tell, args=[its], daemon=daemon)
    child.start()
    print(*mine.recv())
    child.join()
"""


def fresh(code: str, *words: str, **more: object) -> subprocess.Popen[str]:
    """A process of its own, which has no other threads."""
    return subprocess.Popen(
        [sys.executable, "-W", "error", "-c", code, *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=Path(__file__).parents[1],
        **more,
    )  # fmt: skip


@forked
def test_a_process_that_may_have_no_children_makes_it_itself():
    said, complaints = fresh(ALONE).communicate(timeout=30)
    assert complaints == ""
    assert said.splitlines() == ["True True", "True True", "False False"]


@forked
@pytest.mark.usefixtures("forking")
def test_ctrl_c_is_for_the_one_that_asks():
    def work():
        os.kill(os.getpid(), signal.SIGINT)
        return "made"

    assert asked(work) == "made"


STOPPED = """
import os, signal, time
from backing.aside import meanwhile

def stop(number, frame):
    raise KeyboardInterrupt

signal.signal(signal.SIGTERM, stop)
signal.signal(signal.SIGINT, stop)  # in the background of a shell it would be ignored
reading, writing = os.pipe()

def work():
    os.write(writing, b"%d" % os.getpid())
    time.sleep(1)
    return bytes(1_000_000)

try:
    with meanwhile(work) as made:
        print(os.read(reading, 20).decode(), flush=True)
        made()
except KeyboardInterrupt:
    print("stopped")
"""


@forked
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
@pytest.mark.parametrize("everybody", [True, False])
def test_a_process_that_is_stopped_leaves_nobody_behind(number, everybody):
    running = fresh(STOPPED, start_new_session=True)
    process = int(running.stdout.readline())
    (os.killpg if everybody else os.kill)(running.pid, number)
    said, complaints = running.communicate(timeout=20)
    assert complaints == ""
    assert said == ("" if number == signal.SIGKILL else "stopped\n")
    for _ in range(500):  # if we were killed, when it finds that nobody listens any more
        if not lives(process):
            break
        assert number == signal.SIGKILL
        time.sleep(0.01)
    assert not lives(process)


@forked
@pytest.mark.usefixtures("forking")
def test_one_that_strikes_while_it_is_forked_leaves_nobody_behind(monkeypatch):
    fork = os.fork

    def struck():
        process = fork()
        if process:
            signal.pthread_kill(threading.get_ident(), signal.SIGINT)  # not another thread
        return process

    monkeypatch.setattr(os, "fork", struck)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt), meanwhile(partial(time.sleep, 60)):
            pytest.fail("nobody was told")
    finally:
        signal.signal(signal.SIGINT, before)
    assert not children()


@pytest.mark.skipif(sys.platform == "win32", reason="nothing is put off there")
def test_signals_are_put_off_and_come_afterwards():
    came = []
    before = signal.signal(signal.SIGTERM, lambda number, _: came.append(number))
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, ())
    try:
        with signals_put_off():
            signal.pthread_kill(threading.get_ident(), signal.SIGTERM)  # not to another thread
            time.sleep(0.01)
            assert came == []
        assert came == [signal.SIGTERM]
    finally:
        signal.signal(signal.SIGTERM, before)
    assert signal.pthread_sigmask(signal.SIG_BLOCK, ()) == mask


def test_what_is_done_beside_is_done_afterwards():
    done = []
    with beside(lambda: time.sleep(0.05) or done.append(threading.current_thread())):
        assert done == []
    assert done != [threading.current_thread()]
    assert len(done) == 1


def test_what_goes_wrong_beside_is_nobodys_matter(capfd):
    def wrong():
        raise UserError("It is wrong.")

    with beside(wrong):
        pass
    with pytest.raises(RoutineError, match="other"), beside(wrong):
        raise RoutineError("There is some other thing.")
    assert capfd.readouterr().err == ""
