"""The rules of the house: imports run one way, rooms stay small, help answers at once."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import backing

PACKAGE = Path(backing.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))

LEVELS = {
    "glossary": 0,
    "errors": 0,
    "libsndfile": 0,
    "memory": 0.5,
    "reading": 0.5,
    "saving": 1,
    "chart": 1,
    "routine": 2,
    "combo": 3,
    "midi": 4,
    "mixdown": 4,
    "neck": 4,
    "lines": 5,
    "sheet": 6,
    "take": 6,
    "page": 7,
    "lesson": 7.5,
    "cli": 8,
    "__main__": 9,
}
"""Package or module -> its place along the pipeline; imports go to lower places only."""

HEAVY = {
    "numpy",
    "scipy",
    "pretty_midi",
    "mido",
    "fluidsynth",
    "soundfile",
    "mutagen",
    "verovio",
    "typst",
    "onnxruntime",
    "swift_f0",
}


def room_of(module: Path) -> str:
    """The first name below the package: "chart" for backing/chart/form.py."""
    return module.relative_to(PACKAGE).with_suffix("").parts[0]


def imported(module: Path) -> set[str]:
    """Every module named in an import statement, at the top or inside a function."""
    tree = ast.parse(module.read_text("utf-8"))
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return names


@pytest.mark.parametrize("module", MODULES, ids=lambda m: str(m.relative_to(PACKAGE)))
def test_imports_run_along_the_pipeline(module: Path) -> None:
    mine = room_of(module)
    if mine == "__init__":
        return
    for name in imported(module):
        parts = name.split(".")
        if parts[0] != "backing" or len(parts) == 1:
            continue
        theirs = parts[1]
        assert theirs == mine or LEVELS[theirs] < LEVELS[mine], f"{module} imports {name}"


def test_every_room_has_its_place() -> None:
    assert {room_of(m) for m in MODULES} - {"__init__"} <= set(LEVELS)


def test_no_room_for_leftovers() -> None:
    forbidden = {"utils", "helpers", "common", "core", "misc"}
    assert not [m for m in MODULES if m.stem in forbidden]


@pytest.mark.parametrize("module", MODULES, ids=lambda m: str(m.relative_to(PACKAGE)))
def test_a_module_is_short_enough_to_read(module: Path) -> None:
    lines = module.read_text("utf-8").count("\n")
    assert lines <= 600, f"{module} has {lines} lines: is there a second room in it?"


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\n"
        "from backing.cli.help import overview, screen\n"
        "from backing.cli.options import COMMANDS\n"
        "overview(), *map(screen, COMMANDS.values())\n"
        "print(' '.join(sorted({m.split('.')[0] for m in sys.modules})))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not HEAVY & set(run.stdout.split())


def test_only_the_command_prints() -> None:
    for module in MODULES:
        if room_of(module) == "cli":
            continue
        calls = [
            node
            for node in ast.walk(ast.parse(module.read_text("utf-8")))
            if isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name)
            and node.func.id == "print"
        ]
        assert not calls, f"{module} prints"
