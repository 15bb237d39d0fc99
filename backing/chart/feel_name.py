"""The name of a feel: one that the band knows, or a file that stands beside what names it."""

from __future__ import annotations

from pathlib import Path

FEEL_FILE = ".toml"
"""What the name of a feel file ends in."""


def is_feel_file(name: str) -> bool:
    """Whether a feel is named by its file."""
    return name.lower().endswith(FEEL_FILE)


def beside(name: str, folder: str) -> str:
    """Where a feel that is named in a file of ``folder`` is found.

    A feel file is sought from that folder on, whatever the working folder is; any other name
    stays as it is.
    """
    return str(Path(folder, name)) if is_feel_file(name) else name
