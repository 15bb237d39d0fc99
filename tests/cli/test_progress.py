"""The progress bar."""

from __future__ import annotations

import sys
import threading

import pytest

from backing.cli.progress import many_done, share_done


@pytest.mark.parametrize("bar", [share_done, many_done])
def test_a_bar_has_no_thread_of_its_own(bar, monkeypatch):
    # beside one the mixdown would not fork, and be slower on a terminal than in a pipe
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    threads = threading.active_count()
    with bar("band" if bar is share_done else 3, quiet=False) as told:
        assert told is not None
        assert threading.active_count() == threads
