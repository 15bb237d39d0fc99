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


def test_the_examples_of_the_docstring_play(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = Path(__file__).parent.parent
    (tmp_path / "tunes").symlink_to(root / "tunes")
    monkeypatch.chdir(tmp_path)
    assert backing.__doc__ is not None
    lines = [line.strip() for line in backing.__doc__.splitlines() if line.startswith("    ")]
    pipeline = lines[
        lines.index("import backing") : lines.index('backing.save(mix, "corner-booth.wav")') + 1
    ]
    names: dict[str, object] = {}
    # one time of each tempo will do for the ears of a test
    exec("\n".join(pipeline).replace("times=4", "times=2"), names)
    assert names["smf"].startswith(b"MThd")  # type: ignore[attr-defined]
    assert Path("corner-booth.wav").read_bytes().startswith(b"RIFF")
    form = backing.read_file("tunes/corner-booth.tune")
    more = [line for line in lines if line.startswith(("backing.Request", "backing.Band"))]
    assert len(more) == 4
    for line in more:
        value = eval(line, {"backing": backing})
        asked = value if isinstance(value, backing.Request) else backing.Request()
        band = value if isinstance(value, backing.Band) else backing.Band()
        assert backing.arrange(backing.make_routine(form, asked), band).passes


def test_importing_it_loads_nothing_else() -> None:
    code = "import sys, backing; print([m for m in sys.modules if m.startswith('backing.')])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
