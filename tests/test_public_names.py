"""What the package offers to programs, and that offering it costs nothing."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import backing

PUBLIC = {
    "BackingError", "Band", "Bank", "Form", "Line", "Performance", "Request", "Routine",
    "TuneError", "UserError", "__version__", "arrange", "choose_soundfont", "make_routine",
    "midi_bytes", "parse_chord", "read", "read_changes", "read_file", "read_line", "render",
    "save", "separated", "write",
}  # fmt: skip


def test_the_public_names_are_these() -> None:
    assert set(backing.__all__) == set(dir(backing)) == PUBLIC
    for name in PUBLIC:
        assert getattr(backing, name) is not None
    with pytest.raises(AttributeError, match="nonsense"):
        _ = backing.nonsense


def test_type_checkers_see_what_programs_get() -> None:
    """mypy reads the imports that never run; they lead to the very objects of the table."""
    package = Path(backing.__file__).parent
    assert (package / "py.typed").exists()  # PEP 561
    tree = ast.parse((package / "__init__.py").read_text("utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    seen: dict[str, object] = {}
    for line in block.body:
        assert isinstance(line, ast.ImportFrom)
        for alias in line.names:
            home = importlib.import_module(str(line.module))
            seen[alias.asname or alias.name] = getattr(home, alias.name)
    assert seen == {name: getattr(backing, name) for name in PUBLIC - {"__version__"}}


def test_the_pipeline_of_the_docstring_plays() -> None:
    tune = Path(__file__).parent.parent / "tunes" / "corner-booth.tune"
    form = backing.read_file(tune)
    routine = backing.make_routine(form, backing.Request(bars="B", times=1))
    performance = backing.arrange(routine, backing.Band(seed=7))
    assert backing.midi_bytes(performance).startswith(b"MThd")


def test_importing_it_loads_nothing_else() -> None:
    code = "import sys, backing; print([m for m in sys.modules if m.startswith('backing.')])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
