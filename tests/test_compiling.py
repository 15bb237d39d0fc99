"""The build hook puts the compiled loops where they belong, and stops no installation.

What builds (hatchling, setuptools) is not installed beside the tests: stand-ins take its place.
"""

from __future__ import annotations

import importlib.util
import shutil
import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

HOOK = Path(__file__).parent.parent / ".build" / "loops.py"
NAME = "_loops.cpython-311.so"
MODULES = (
    "hatchling.builders.hooks.plugin.interface",
    "setuptools",
    "setuptools.command",
    "setuptools.command.build_ext",
)


class Compiler:
    """In the place of setuptools' command: "compiles" what ``compiled`` says, or fails."""

    compiled: bytes | Exception = b"loops"
    build_lib = build_temp = ""

    def __init__(self, distribution: object) -> None:
        pass

    def ensure_finalized(self) -> None:
        pass

    def run(self) -> None:
        if isinstance(self.compiled, Exception):
            raise self.compiled
        Path(self.get_ext_fullpath("")).write_bytes(self.compiled)

    def get_ext_fullpath(self, _: str) -> str:
        return str(Path(self.build_lib, NAME))


class Installing:
    """One installation from ``root`` with what it was told."""

    def __init__(self, root: Path, hook: type[Any]) -> None:
        self.warnings: list[str] = []
        self.data: dict[str, Any] = {"force_include": {}, "pure_python": True}
        self.hook = hook()
        self.hook.root = str(root)
        self.hook.app = SimpleNamespace(display_warning=self.warnings.append)


@pytest.fixture
def installing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Installing:
    interface, setuptools, command, build_ext = map(ModuleType, MODULES)
    interface.BuildHookInterface = object
    setuptools.Distribution = setuptools.Extension = lambda *_, **__: None
    build_ext.build_ext = Compiler
    for module in (interface, setuptools, command, build_ext):
        monkeypatch.setitem(sys.modules, module.__name__, module)
    for package in ("hatchling", "hatchling.builders", "hatchling.builders.hooks"):
        monkeypatch.setitem(sys.modules, package, ModuleType(package))
    plugin = "hatchling.builders.hooks.plugin"
    monkeypatch.setitem(sys.modules, plugin, ModuleType(plugin))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    spec = importlib.util.spec_from_file_location("build_hook", HOOK)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    (tmp_path / "backing" / "mixdown").mkdir(parents=True)
    return Installing(tmp_path, module.Loops)


def beside(installing: Installing) -> dict[str, bytes]:
    """What lies beside the source."""
    folder = Path(installing.hook.root, "backing", "mixdown")
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_wheel_gets_the_loops_and_the_sources_stay_as_they_are(installing) -> None:
    installing.hook.initialize("standard", installing.data)
    ((made, place),) = installing.data.pop("force_include").items()
    assert Path(made).read_bytes() == b"loops"
    assert place == f"backing/mixdown/{NAME}"
    assert installing.data == {"pure_python": False, "infer_tag": True}
    assert not beside(installing)
    installing.hook.finalize("standard", installing.data, "")
    assert not Path(made).exists()
    assert not installing.warnings


def test_sources_used_in_place_get_the_loops_beside_them(installing) -> None:
    for _ in range(2):
        installing.hook.initialize("editable", installing.data)
        installing.hook.finalize("editable", installing.data, "")
        assert beside(installing) == {NAME: b"loops"}
    assert not installing.warnings


@pytest.mark.parametrize("version", ["standard", "editable"])
@pytest.mark.parametrize("error", [OSError("no cc"), ValueError("CC cannot be read")])
def test_without_a_compiler_all_else_is_installed(installing, monkeypatch, version, error) -> None:
    monkeypatch.setattr(Compiler, "compiled", error)
    installing.hook.initialize(version, installing.data)
    installing.hook.finalize(version, installing.data, "")
    assert installing.data == {"force_include": {}, "pure_python": True}
    assert not beside(installing)
    (warning,) = installing.warnings
    assert str(error) in warning


def test_sources_that_cannot_be_written_are_used_all_the_same(installing, monkeypatch) -> None:
    def full(_: Path, to: Path) -> None:
        to.write_bytes(b"lo")
        raise OSError("no space left")

    monkeypatch.setattr(shutil, "copyfile", full)
    installing.hook.initialize("editable", installing.data)
    installing.hook.finalize("editable", installing.data, "")
    assert installing.data == {"force_include": {}, "pure_python": True}
    assert not beside(installing)
    assert len(installing.warnings) == 1
