"""Compiles the loops of the mixdown while ``backing`` is installed (a build hook of hatchling).

It takes the C compiler of the machine if it works, and otherwise asks for ``ziglang`` from PyPI, a
compiler in a package. For a wheel of another platform, name it in ``BACKING_PLATFORM``, one of
TARGETS (``.build/wheels.py`` builds them all); ziglang compiles those too. If the compiler fails,
the build fails: a wheel without the loops would be broken.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from contextlib import suppress
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

SOURCE = Path("backing/mixdown/loops.c")
ZIGLANG = "ziglang>=0.13"
# sums neither fused nor in another order: the result depends on the arguments alone
FLAGS = ["-std=c11", "-O3", "-ffp-contract=off", "-fno-trapping-math", "-shared", "-fPIC", "-s"]
TRIAL = "#include <math.h>\n#include <stdlib.h>\ndouble f(double x) { return exp(x); }\n"

TARGETS = {
    "manylinux_2_17_x86_64": "x86_64-linux-gnu.2.17",
    "manylinux_2_17_aarch64": "aarch64-linux-gnu.2.17",
    "macosx_11_0_x86_64": "x86_64-macos.11.0",
    "macosx_11_0_arm64": "aarch64-macos.11.0",
    "win_amd64": "x86_64-windows-gnu",
}
"""Platforms of wheels (packaging.python.org, "Platform compatibility tags") -> zig's names."""


class LoopsHook(BuildHookInterface):
    """Puts the compiled library into the wheel, or beside its source in an editable install."""

    def dependencies(self) -> list[str]:
        """What building needs: a compiler, if this machine has none that works."""
        needed = os.environ.get("BACKING_PLATFORM") or machine_compiler() is None
        return [ZIGLANG] if needed else []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile; ``version`` is "editable" where nothing is copied."""
        self._folder = tempfile.TemporaryDirectory()
        platform = os.environ.get("BACKING_PLATFORM", "")
        source = Path(self.root, SOURCE)
        try:
            library = compiled(source, Path(self._folder.name), platform)
        except SystemExit:
            self._folder.cleanup()
            raise
        if version == "editable":
            replace(library, source.with_name(library.name))
        else:
            # nothing is written into the sources: they may be somebody else's, or in use
            build_data["force_include"][str(library)] = SOURCE.with_name(library.name).as_posix()
        build_data["pure_python"] = False
        built_for = platform or sysconfig.get_platform().replace("-", "_").replace(".", "_")
        build_data["tag"] = f"py3-none-{built_for}"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Remove what the wheel was made of."""
        del version, build_data, artifact_path
        self._folder.cleanup()


def compiled(source: Path, folder: Path, platform: str = "") -> Path:
    """The library, compiled into ``folder``; raises SystemExit with what the compiler said."""
    library = folder / f"libloops{ending(platform)}"
    compiler = [sys.executable, "-m", "ziglang", "cc"]
    if platform:
        if platform not in TARGETS:
            raise SystemExit(f"BACKING_PLATFORM={platform} is none of {', '.join(TARGETS)}.")
        compiler += ["-target", TARGETS[platform]]
    else:
        compiler = machine_compiler() or compiler
    if compiler[:1] == [sys.executable] and find_spec("ziglang") is None:
        raise SystemExit(f"There is no C compiler. Install one, or: pip install '{ZIGLANG}'.")
    failure = failed(compiler, source, library)
    if failure:
        raise SystemExit(f"The C compiler could not compile {source}:\n{failure}")
    return library


@cache
def machine_compiler() -> list[str] | None:
    """The C compiler of this machine, if it can compile a library."""
    for name in (os.environ.get("CC", ""), "cc", "gcc", "clang"):
        if name and shutil.which(name.split()[0]):
            with tempfile.TemporaryDirectory() as folder:
                trial = Path(folder, "trial.c")
                trial.write_text(TRIAL)
                if not failed(name.split(), trial, trial.with_suffix(".so")):
                    return name.split()
    return None


def failed(compiler: list[str], source: Path, library: Path) -> str:
    """Compile a library; what the compiler says if it fails, otherwise nothing."""
    command = [*compiler, *FLAGS, "-o", str(library), str(source)]
    if library.suffix != ".dll":
        command.append("-lm")
    try:
        run = subprocess.run(command, capture_output=True, text=True, check=False)
    except OSError as error:
        return str(error)
    return "" if run.returncode == 0 else run.stderr or f"it returned {run.returncode}"


def ending(platform: str) -> str:
    """How a library's name ends there (``loops.ENDINGS`` has the same)."""
    if platform.startswith("win") or (not platform and sys.platform == "win32"):
        return ".dll"
    return ".dylib" if (platform or sys.platform).startswith(("macos", "darwin")) else ".so"


def replace(library: Path, target: Path) -> None:
    """Put the library beside its source, whole: whoever runs an old one keeps it."""
    passing = target.with_suffix(f".{os.getpid()}.new")
    try:
        shutil.copyfile(library, passing)
        passing.replace(target)
    finally:
        with suppress(OSError):
            passing.unlink(missing_ok=True)
