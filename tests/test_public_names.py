"""What the package offers to programs, and that offering it costs nothing."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import backing

PUBLIC = {
    "Band", "Bank", "Form", "Performance", "Request", "Routine", "__version__", "arrange",
    "choose", "make_routine", "parse_chord", "read", "read_changes", "read_file", "render", "save",
    "to_bytes", "write",
}  # fmt: skip


def test_the_public_names_are_these() -> None:
    assert set(backing.__all__) == PUBLIC
    for name in PUBLIC:
        assert getattr(backing, name) is not None
    with pytest.raises(AttributeError, match="nonsense"):
        _ = backing.nonsense


def test_the_pipeline_of_the_docstring_plays() -> None:
    tune = Path(__file__).parent.parent / "tunes" / "corner-booth.tune"
    form = backing.read_file(tune)
    routine = backing.make_routine(form, backing.Request(bars="B", times=1))
    performance = backing.arrange(routine, backing.Band(seed=7))
    assert backing.to_bytes(performance).startswith(b"MThd")


def test_importing_it_loads_nothing_else() -> None:
    code = "import sys, backing; print([m for m in sys.modules if m.startswith('backing.')])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
