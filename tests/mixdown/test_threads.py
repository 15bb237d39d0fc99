"""Work on several threads: in order, no further ahead than it says, and gone when it stops."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Iterator

import pytest

from backing.mixdown.threads import AHEAD, Threads, in_order


@pytest.mark.parametrize("threads", [1, 2, 5])
def test_results_come_in_order(threads: int) -> None:
    def work(number: int) -> int:
        time.sleep(0.002 * (number % 3))
        return number**2

    assert list(in_order(work, range(40), threads)) == [n**2 for n in range(40)]
    assert list(in_order(work, [], threads)) == []


def test_it_is_only_a_little_ahead() -> None:
    begun: list[int] = []
    results = in_order(begun.append, range(100), 2)
    for taken in range(5):
        next(results)
        time.sleep(0.02)
        assert len(begun) <= taken + 1 + 2 * AHEAD
    results.close()


@pytest.mark.parametrize("threads", [1, 3])
def test_what_goes_wrong_is_raised_and_the_rest_is_left(threads: int) -> None:
    done: list[int] = []

    def work(number: int) -> None:
        if number == 5:
            raise OSError("no room")
        done.append(number)

    before = threading.active_count()
    with pytest.raises(OSError, match="no room"):
        list(in_order(work, range(1000), threads))
    assert len(done) < 50
    assert threading.active_count() == before


def test_whoever_stops_taking_leaves_no_thread() -> None:
    before = threading.active_count()
    results = in_order(abs, range(1000), 3)
    assert next(results) == 0
    results.close()
    assert threading.active_count() == before


@pytest.fixture
def heard() -> Iterator[None]:
    """Ctrl-C is heard, even where the tests run deaf to it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def test_ctrl_c_while_a_thread_starts_leaves_none(
    heard: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    start = threading.Thread.start

    def struck(thread: threading.Thread) -> None:
        start(thread)
        signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(threading.Thread, "start", struck)
    before = threading.active_count()
    with pytest.raises(KeyboardInterrupt):
        list(in_order(time.sleep, [0.1] * 20, 3))
    assert threading.active_count() == before


def test_ctrl_c_while_threads_are_waited_for_waits_on(
    heard: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    join = threading.Thread.join

    def struck(thread: threading.Thread, timeout: float | None = None) -> None:
        signal.raise_signal(signal.SIGINT)
        join(thread, timeout)

    done: list[int] = []

    def work() -> None:
        time.sleep(0.1)
        done.append(1)

    threads = Threads(2)
    for _ in range(2):
        threads.submit(work)
    monkeypatch.setattr(threading.Thread, "join", struck)
    with pytest.raises(KeyboardInterrupt):
        threads.close()
    assert done == [1, 1]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
