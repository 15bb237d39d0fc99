"""What holds for all tests."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from xdist.scheduler import WorkStealingScheduling

settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")
"""No example has a deadline: a busy machine is no mistake of the program. Where CI is set the same
examples are drawn in every run, so that what it says depends on the change alone."""


SLOW_FIXTURES = {"browser", "maker"}
SLOW_PLACES = (
    "tests/mixdown/", "tests/page/", "tests/sheet/test_lines.py", "tests/lines/test_rhythm.py",
    "tests/cli/test_tracks.py", "tests/take/test_hearing.py", "tests/take/test_faults.py",
    "tests/combo/test_band_report.py", "tests/test_compiling.py",
    "tests/test_readme.py", "tests/cli/test_lesson",
)  # fmt: skip
"""What renders sound, drives a browser or plays all tunes over and over: half of the time."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what is slow, so that ``-m "not slow"`` is the fast half."""
    root = Path(__file__).parents[1]
    for item in items:
        place = item.path.relative_to(root).as_posix()
        asked = set(getattr(item, "fixturenames", ()))
        if place.startswith(SLOW_PLACES) or asked & SLOW_FIXTURES:
            item.add_marker("slow")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> WorkStealingScheduling:
    """Whoever is done takes over tests of the others: some last a minute, most a moment."""
    return WorkStealingScheduling(config, log)


@pytest.fixture(scope="session", autouse=True)
def _a_cache_of_their_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Tests neither use nor fill the cache of whoever runs them."""
    before = os.environ.get("XDG_CACHE_HOME")
    os.environ["XDG_CACHE_HOME"] = str(tmp_path_factory.mktemp("cache"))
    yield
    if before is None:
        del os.environ["XDG_CACHE_HOME"]
    else:
        os.environ["XDG_CACHE_HOME"] = before


@pytest.fixture
def cache_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty cache for one test alone."""
    home = tmp_path / "cache-home"
    monkeypatch.setenv("XDG_CACHE_HOME", str(home))
    return home
