"""soundfile, with the system's libsndfile if there is one.

The encoders in soundfile's wheel are built without optimization: Opus takes 2.5 times as long.
Whoever comes first in a process decides for all of it, and the two write other bytes: nothing else
in the package imports soundfile (ruff sees to it).
"""

from __future__ import annotations

import ctypes
import sys
from contextlib import suppress
from typing import Final

NAME: Final = {"win32": "sndfile.dll", "darwin": "libsndfile.dylib"}.get(
    sys.platform, "libsndfile.so.1"
)
OLDEST: Final = (1, 1)
"""The first libsndfile that encodes MP3."""

with suppress(OSError):
    ctypes.CDLL(NAME)  # first: the one in the wheel goes by the same name

import soundfile  # noqa: E402


def _use_system_library() -> None:
    with suppress(OSError, AttributeError, ValueError, IndexError):
        library = soundfile._ffi.dlopen(NAME)
        version = soundfile._ffi.string(library.sf_version_string()).decode().split("-")[1]
        if tuple(int(number) for number in version.split(".")[:2]) >= OLDEST:
            soundfile._snd = library


_use_system_library()

__all__ = ["soundfile"]
