"""Compiles the innermost loops of the mixdown while `backing` is installed (a build hook of hatch).

Without a C compiler, or without Python's own headers, everything is installed but these: numpy does
their work then (see backing/mixdown/loops.py).
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface
from setuptools import Distribution, Extension
from setuptools.command.build_ext import build_ext

NAME = "backing.mixdown._loops"
SOURCE = "backing/mixdown/_loops.c"
# sums neither fused nor in another order: what a loop says depends on nothing but what it is given;
# and not -fwrapv, as Python itself is built: places that may wrap keep a loop from wide registers
FLAGS = [] if sys.platform == "win32" else ["-std=c11", "-O3", "-ffp-contract=off", "-fno-wrapv"]
LIBRARIES = [] if sys.platform == "win32" else ["m"]


class Loops(BuildHookInterface):
    """Puts the compiled module into the wheel, or beside its source where that is used in place."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile; ``version`` is "editable" where nothing is copied."""
        self._made = tempfile.TemporaryDirectory()
        source = Path(self.root) / SOURCE
        try:
            compiled = _compiled(source, Path(self._made.name))
            if version == "editable":
                _put(compiled, source.with_name(compiled.name))
            else:
                # nothing is written into the sources: they may be somebody else's, or in use
                build_data["force_include"][str(compiled)] = SOURCE.replace(
                    source.name, compiled.name
                )
        # whatever went wrong, the rest can be installed
        except Exception as error:
            self.app.display_warning(f"Nothing compiled: the mixdown will take longer. ({error})")
            return
        build_data["pure_python"] = False
        build_data["infer_tag"] = True

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Take away what the wheel was made of."""
        del version, build_data, artifact_path
        self._made.cleanup()


def _compiled(source: Path, made: Path) -> Path:
    """The compiled module, in the folder ``made``; raises some error where it cannot be made."""
    module = Extension(NAME, [str(source)], extra_compile_args=FLAGS, libraries=LIBRARIES)
    command = build_ext(Distribution({"name": "backing", "ext_modules": [module]}))
    command.build_lib = command.build_temp = str(made)
    command.ensure_finalized()
    command.run()
    return Path(command.get_ext_fullpath(NAME))


def _put(compiled: Path, beside: Path) -> None:
    """Put the module beside its source, whole: whoever runs an old one keeps it."""
    passing = beside.with_suffix(f".{os.getpid()}.new")
    try:
        shutil.copyfile(compiled, passing)
        passing.replace(beside)
    finally:
        with suppress(OSError):
            passing.unlink(missing_ok=True)
