"""Compiles the innermost loops of the mixdown while `backing` is installed (a build hook of hatch).

Without a C compiler, or without Python's own headers, everything is installed but these: numpy does
their work then (see backing/mixdown/loops.py).
"""

from __future__ import annotations

import sys
import tempfile
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


class Loops(BuildHookInterface):
    """Puts the compiled module beside its source, and into the wheel."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile; ``version`` is "editable" where nothing is copied."""
        del version
        root = Path(self.root)
        module = Extension(NAME, [str(root / SOURCE)], extra_compile_args=FLAGS, optional=True)
        with tempfile.TemporaryDirectory() as made:
            command = build_ext(Distribution({"name": "backing", "ext_modules": [module]}))
            command.build_lib = command.build_temp = made
            command.ensure_finalized()
            command.run()
            compiled = Path(command.get_ext_fullpath(NAME))
            if not compiled.exists():
                self.app.display_warning("No C compiler: the mixdown will take longer.")
                return
            beside = root / SOURCE
            beside = beside.with_name(compiled.name)
            # under a passing name first: whoever runs the old one keeps it
            passing = beside.with_suffix(".new")
            passing.write_bytes(compiled.read_bytes())
            passing.replace(beside)
        build_data["artifacts"].append(f"/{beside.relative_to(root)}")
        build_data["pure_python"] = False
        build_data["infer_tag"] = True
