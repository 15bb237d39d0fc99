"""Work on several threads: in order, no further ahead than it says, and gone when it stops."""

from __future__ import annotations

import threading
import time

import pytest

from backing.mixdown.threads import AHEAD, in_order


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
