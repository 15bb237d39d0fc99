"""What holds for all tests."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")
"""No example has a deadline: a busy machine is no mistake of the program. Where CI is set the same
examples are drawn in every run, so that what it says depends on the change alone."""


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
