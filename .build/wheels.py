"""Build the wheels of all platforms on this machine.

    python .build/wheels.py [FOLDER]

They go into FOLDER (otherwise ``dist``). The loops are compiled by ziglang,
which is installed for this in an environment of its own.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

PLATFORMS = (
    "manylinux_2_17_x86_64",
    "manylinux_2_17_aarch64",
    "macosx_11_0_x86_64",
    "macosx_11_0_arm64",
    "win_amd64",
)
"""The keys of TARGETS in loops.py, which only a build can import; a test compares them."""


def main() -> None:
    """Build a wheel for each platform; raises CalledProcessError if one fails."""
    folder = sys.argv[1] if len(sys.argv) > 1 else "dist"
    project = Path(__file__).parents[1]
    with tempfile.TemporaryDirectory() as place:
        venv.create(place, with_pip=True)
        python = Path(place, "Scripts" if sys.platform == "win32" else "bin", "python")
        pip = [str(python), "-m", "pip", "-q"]
        subprocess.run([*pip, "install", "hatchling>=1.25", "ziglang>=0.13"], check=True)
        for platform in PLATFORMS:
            command = [*pip, "wheel", "--no-deps", "--no-build-isolation", "-w", folder]
            environment = {**os.environ, "BACKING_PLATFORM": platform}
            subprocess.run([*command, str(project)], env=environment, check=True)


if __name__ == "__main__":
    main()
