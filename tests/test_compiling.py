"""The build hook and the wheels: compiled with what is there, or not built at all.

hatchling, which runs the hook, is not installed beside the tests: a stand-in takes its place where
the hook is called by hand.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
import venv
import zipfile
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent
SOURCE = Path("backing", "mixdown", "loops.c")


def loaded(path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """A script of .build as a module."""
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    interface = ModuleType("hatchling.builders.hooks.plugin.interface")
    interface.BuildHookInterface = object  # type: ignore[attr-defined]
    name = interface.__name__
    while name:
        monkeypatch.setitem(sys.modules, name, ModuleType(name))
        name = name.rpartition(".")[0]
    monkeypatch.setitem(sys.modules, interface.__name__, interface)
    spec = importlib.util.spec_from_file_location(f"build_{path.stem}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def build(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.delenv("BACKING_PLATFORM", raising=False)
    monkeypatch.delenv("CC", raising=False)
    return loaded(ROOT / ".build" / "loops.py", monkeypatch)


@pytest.fixture
def hook(build: ModuleType, tmp_path: Path) -> Any:
    (tmp_path / SOURCE).parent.mkdir(parents=True)
    shutil.copy(ROOT / SOURCE, tmp_path / SOURCE)
    hook = build.LoopsHook()
    hook.root = str(tmp_path)
    return hook


def beside(hook: Any) -> set[str]:
    return {path.name for path in Path(hook.root, SOURCE).parent.iterdir()}


def test_a_wheel_gets_the_library_and_the_sources_stay_as_they_are(hook: Any) -> None:
    data: dict[str, Any] = {"force_include": {}}
    hook.initialize("standard", data)
    ((made, place),) = data["force_include"].items()
    assert Path(made).stat().st_size > 10_000
    assert place == f"backing/mixdown/libloops{hook_ending()}"
    assert data["pure_python"] is False
    assert data["tag"].startswith("py3-none-")
    assert "-" not in data["tag"].removeprefix("py3-none-")
    assert beside(hook) == {"loops.c"}
    hook.finalize("standard", data, "")
    assert not Path(made).exists()


def hook_ending() -> str:
    return {"win32": ".dll", "darwin": ".dylib"}.get(sys.platform, ".so")


def test_sources_used_in_place_get_the_library_beside_them(hook: Any) -> None:
    for _ in range(2):
        data: dict[str, Any] = {"force_include": {}}
        hook.initialize("editable", data)
        hook.finalize("editable", data, "")
        assert beside(hook) == {"loops.c", f"libloops{hook_ending()}"}
        assert not data["force_include"]


def test_without_a_compiler_one_is_asked_for(
    hook: Any, build: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    assert hook.dependencies() == []
    build.machine_compiler.cache_clear()
    monkeypatch.setenv("PATH", str(tmp_path))
    assert hook.dependencies() == [build.ZIGLANG]
    with pytest.raises(SystemExit, match="There is no C compiler"):
        hook.initialize("standard", {"force_include": {}})


def test_a_compiler_that_does_not_work_is_as_good_as_none(
    hook: Any, build: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    # gcc without the headers of the C library, as apt installs it without what it recommends
    broken = tmp_path / "gcc"
    broken.write_text("#!/bin/sh\necho 'math.h: No such file' >&2\nexit 1\n")
    broken.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert hook.dependencies() == [build.ZIGLANG]


def test_what_cannot_be_compiled_fails_the_build_in_a_sentence(hook: Any) -> None:
    Path(hook.root, SOURCE).write_text("int wrong(void) { return mistake; }\n")
    with pytest.raises(SystemExit, match=r"could not compile(.|\n)*mistake"):
        hook.initialize("standard", {"force_include": {}})
    assert beside(hook) == {"loops.c"}


def test_a_platform_nobody_knows_fails_the_build(
    hook: Any, build: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BACKING_PLATFORM", "amiga")
    assert hook.dependencies() == [build.ZIGLANG]
    with pytest.raises(SystemExit, match="amiga is none of manylinux"):
        hook.initialize("standard", {"force_include": {}})


def test_one_command_builds_for_every_target(
    build: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    wheels = loaded(ROOT / ".build" / "wheels.py", monkeypatch)
    assert set(wheels.PLATFORMS) == set(build.TARGETS)
    assert [build.ending(platform) for platform in wheels.PLATFORMS] == [
        ".so", ".so", ".dylib", ".dylib", ".dll",
    ]  # fmt: skip


def test_a_wheel_works_in_a_fresh_environment(tmp_path: Path) -> None:
    """Built by pip, installed beside nothing but the libraries it needs, which are borrowed."""
    sources = tmp_path / "sources"
    ignored = shutil.ignore_patterns("*.so", "__pycache__")
    shutil.copytree(ROOT / "backing", sources / "backing", ignore=ignored)
    shutil.copytree(ROOT / ".build", sources / ".build", ignore=ignored)
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, sources)
    pip = [sys.executable, "-m", "pip", "-q"]
    subprocess.run([*pip, "wheel", "--no-deps", "-w", tmp_path, sources], check=True)
    (wheel,) = tmp_path.glob("backing-*-py3-none-*.whl")
    assert f"backing/mixdown/libloops{hook_ending()}" in zipfile.ZipFile(wheel).namelist()
    venv.create(tmp_path / "fresh", with_pip=False)
    python = tmp_path / "fresh" / ("Scripts" if os.name == "nt" else "bin") / "python"
    place = subprocess.run(
        [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"],
        capture_output=True, text=True, check=True,
    ).stdout.strip()  # fmt: skip
    subprocess.run([*pip, "install", "--no-deps", "--target", place, wheel], check=True)
    libraries = [path for path in sys.path if path.endswith("site-packages")]
    Path(place, "borrowed.pth").write_text("\n".join(libraries))
    tune = ROOT / "tunes" / "corner-booth.tune"
    words = ("track", tune, "-o", tmp_path / "loop.wav", "--bars", "1-2", "--times", "1")
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    subprocess.run(
        [python, "-m", "backing", *words, "--no-cache"], cwd=tmp_path, env=environment, check=True
    )
    assert (tmp_path / "loop.wav").stat().st_size > 100_000
    code = "import backing; print(backing.__file__)"
    there = subprocess.run([python, "-c", code], cwd=tmp_path, env=environment,
                           capture_output=True, text=True, check=True)  # fmt: skip
    assert there.stdout.startswith(place)
