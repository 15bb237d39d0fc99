"""The manifest of a folder: what is inside, how each file was made, with which sound.

It grows with the folder, so that whatever ends the work, the next run knows which files are ours:
only those are replaced, and of those it takes away what isn't asked for any more and is still as
it was made.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from backing.errors import OutputError
from backing.reading import MANIFEST_BYTES
from backing.saving import is_there, write_file

NAME = "manifest.json"
FORMAT = 1


@dataclass(frozen=True, slots=True)
class Item:
    """A file: its ``name``, what it is, the command that makes it, its length in seconds (0: it
    has none, or that of the track it stands beside), its size in bytes, its SHA-256, and the
    SoundFont it sounds with and that one's license ("": it has no sound, or it isn't known)."""

    name: str
    what: str
    made_by: str
    seconds: float
    bytes: int
    sha256: str
    soundfont: str = ""
    soundfont_license: str = ""

    @property
    def sound(self) -> dict[str, str]:
        """The SoundFont and its license by their keys; nothing where none is known."""
        if not self.soundfont:
            return {}
        return {"soundfont": self.soundfont, "soundfont_license": self.soundfont_license}

    def __str__(self) -> str:
        """The line of the manifest; written for each file anew, so without ``asdict``, which
        copies deeply."""
        data = {
            "name": self.name, "what": self.what, "made_by": self.made_by,
            "seconds": self.seconds, "bytes": self.bytes, "sha256": self.sha256, **self.sound,
        }  # fmt: skip
        return json.dumps(data, ensure_ascii=False)


@dataclass
class Manifest:
    """The manifest of a ``folder`` while it is made.

    ``about``: what is so of all of it; ``planned``: the names of what shall be in it; ``items``:
    the files by name, of which those in ``fresh`` were made this time.
    """

    folder: Path
    about: Mapping[str, str]
    planned: Collection[str]
    items: dict[str, Item] = field(default_factory=dict)
    fresh: set[str] = field(default_factory=set)

    def add(self, item: Item) -> None:
        """Write that a file is there. Raises OutputError."""
        self.items[item.name] = item
        self.fresh.add(item.name)
        self.write()

    def write(self) -> None:
        """Write it; a sound that all have is told of the folder, too. Raises OutputError."""
        files = sorted(self.items.values(), key=lambda each: each.name)
        sounds = {tuple(each.sound.items()) for each in files if each.sound}
        data: dict[str, object] = {"format": FORMAT, **self.about}
        if len(sounds) == 1:
            data |= dict(*sounds)
        if missing := sorted({*self.planned} - self.items.keys()):
            data["missing"] = missing
        head = "".join(
            f"{json.dumps(key)}: {json.dumps(told, ensure_ascii=False)},\n"
            for key, told in data.items()
        )
        lines = ",\n".join(map(str, files))
        write_file(self.folder / NAME, f'{{\n{head}"files": [\n{lines}\n]\n}}\n'.encode())

    @property
    def complete(self) -> bool:
        """Whether all that shall be in the folder was made."""
        return self.fresh >= {*self.planned}

    @property
    def old(self) -> list[Item]:
        """What an older run made, and this one did not."""
        return [each for each in self.items.values() if each.name not in self.fresh]

    def clear(self) -> None:
        """Take away what is ``old`` and as it was made; what was changed since is not ours."""
        for each in self.old:
            _take_away(self.folder, each)
            del self.items[each.name]
        self.write()


def item(
    path: Path, what: str, made_by: str, seconds: float = 0.0, sound: tuple[str, str] = ("", "")
) -> Item:
    """The item of a finished file; ``sound``: its SoundFont and that one's license. Raises
    OSError."""
    size, digest = path.stat().st_size, _digest(path)
    return Item(path.name, what, made_by, round(seconds, 1), size, digest, *sound)


def begin(folder: Path, about: Mapping[str, str], planned: Collection[str]) -> Manifest:
    """The manifest of a folder that shall hold files of the names ``planned``.

    Raises OutputError where one of them is there already and no manifest lists it.
    """
    read = _read(folder)
    known = {NAME, *read[0], *read[1]} if read else set()
    for name in (*planned, NAME):
        if name not in known and is_there(folder / name):
            raise OutputError(
                f"{folder / name} is there already, and no lesson made it.",
                "Name another folder with -o, or take that one away.",
            )
    return Manifest(folder, about, planned, read[0] if read else {})


def clear_folder(folder: Path, made_by: str) -> None:
    """Take away the manifest of a folder that a command made, and what it lists, as far as it is as
    it was made."""
    read = _read(folder)
    if read and any(each.made_by == made_by for each in read[0].values()):
        for each in read[0].values():
            _take_away(folder, each)
        with suppress(OSError):
            (folder / NAME).unlink()


def _take_away(folder: Path, old: Item) -> None:
    path = folder / old.name
    with suppress(OSError, ValueError):  # of a name that can't be one
        plain = Path(old.name).name == old.name and not path.is_symlink()
        if plain and path.is_file() and _digest(path) == old.sha256:
            path.unlink()


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _read(folder: Path) -> tuple[dict[str, Item], list[str]] | None:
    """The files of the manifest in a folder, and what was missing; None where there is none of
    ours."""
    path = folder / NAME
    try:
        if not path.is_file() or path.stat().st_size > MANIFEST_BYTES:
            return None
        data = json.loads(path.read_text("utf-8"))
        if data["format"] != FORMAT:
            return None
        if not all(
            isinstance(word, str | int | float) for each in data["files"] for word in each.values()
        ):
            return None
        items = [Item(**each) for each in data["files"]]
        return {str(each.name): each for each in items}, [*map(str, data.get("missing", ()))]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
