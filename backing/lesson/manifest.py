"""The manifest of a folder: what is inside, how each file was made, with which sound."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from backing.reading import MANIFEST_BYTES
from backing.saving import write_file

NAME = "manifest.json"
FORMAT = 1


@dataclass(frozen=True, slots=True)
class Item:
    """A file: its ``name``, what it is, the command that makes it, its length in seconds (0: it
    has none), its size in bytes, and its SHA-256."""

    name: str
    what: str
    made_by: str
    seconds: float
    bytes: int
    sha256: str


def item(path: Path, what: str, made_by: str, seconds: float = 0.0) -> Item:
    """The item of a finished file. Raises OSError."""
    data = path.read_bytes()
    digest = hashlib.sha256(data).hexdigest()
    return Item(path.name, what, made_by, round(seconds, 1), len(data), digest)


def write_manifest(folder: Path, about: Mapping[str, str], items: Sequence[Item]) -> None:
    """Write the manifest of a folder; ``about``: what is so of all of it. Raises OutputError."""
    data = {
        "format": FORMAT,
        **about,
        "files": [asdict(each) for each in items],
    }
    text = json.dumps(data, ensure_ascii=False, indent=1)
    write_file(folder / NAME, f"{text}\n".encode())


def clear_old(folder: Path, names: Iterable[str]) -> list[str]:
    """Take away what the manifest in a folder lists, is as it was made, and isn't among ``names``.

    Returns the names that are gone. Other files stay.
    """
    gone = []
    kept = {*names, NAME}
    for name, digest in _listed(folder).items():
        path = folder / name
        if name in kept or Path(name).name != name or not path.is_file() or path.is_symlink():
            continue
        with suppress(OSError):
            if hashlib.sha256(path.read_bytes()).hexdigest() == digest:
                path.unlink()
                gone.append(name)
    return gone


def _listed(folder: Path) -> dict[str, str]:
    """Name and SHA-256 of each file of the manifest; nothing where it makes no sense."""
    path = folder / NAME
    try:
        if not path.is_file() or path.stat().st_size > MANIFEST_BYTES:
            return {}
        files = json.loads(path.read_text("utf-8"))["files"]
        return {str(each["name"]): str(each["sha256"]) for each in files}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}
