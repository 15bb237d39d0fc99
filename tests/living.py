"""Whether processes live, for the tests of those that are to be gone."""

from __future__ import annotations

from pathlib import Path


def lives(pid: int) -> bool:
    """Whether a process runs; one that has ended and that nobody has asked after does not."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in "ZX"
