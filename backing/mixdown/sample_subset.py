"""Load only the samples that are needed from a compressed SoundFont.

FluidSynth loads all samples of a preset, and those of a compressed SoundFont (SF3) have to be
decoded first: 144 of MuseScore_General's piano take 2 s, of which a tune may need 24. So it gets a
file in which the others are empty, and which takes no more room than the needed ones.

Layout: SoundFont Technical Specification 2.04 (E-mu Systems 2006), section 7 (the tables). An SF3
counts the places of samples in bytes (from memory).
"""

from __future__ import annotations

import os
import struct
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from itertools import count
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
import numpy.typing as npt

from backing.mixdown.soundfont import SoundFont, riff_chunks

_NAMED: Final = {"phdr": ("<u2", 24, 38), "inst": ("<u2", 20, 22), "bag": ("<u2", 0, 4)}
"""Where a row of a table points into the next table: type, offset, length of the row."""
_GENERATOR: Final = np.dtype([("what", "<u2"), ("amount", "<u2")])
_SAMPLE: Final = np.dtype([("name", "S20"), ("start", "<u4"), ("end", "<u4"), ("rest", "V18")])
_INSTRUMENT_OF, _KEYS, _VELOCITIES, _SAMPLE_OF = 41, 43, 44, 53
"""Generators (section 8.1.2)."""
_OPEN_FILES: Final = Path("/proc/self/fd")
_NUMBERS: Final = count(1)

Table = npt.NDArray[np.void]
Struck = set[tuple[int, int]]
"""Keys and velocities."""


@contextmanager
def loadable(soundfont: SoundFont, notes: Iterable[tuple[int, int, int, int]]) -> Iterator[Path]:
    """The file to load for these notes (bank, program, key, velocity): the whole, or a subset."""
    with ExitStack() as stack:
        path = soundfont.path
        if soundfont.compressed:
            try:
                path = _subset(soundfont.path, notes, stack)
            # no room for it, or tables that are not as the specification says: load the whole
            except (OSError, LookupError, ValueError, struct.error):
                path = soundfont.path
        yield path


def _subset(path: Path, notes: Iterable[tuple[int, int, int, int]], stack: ExitStack) -> Path:
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        lists = [(start, end) for _, start, end in riff_chunks(file, 12, size)]
        _, (sdta, _), (pdta, stop) = lists
        chunks = {name: (at, end) for name, at, end in riff_chunks(file, pdta + 4, stop)}
        tables = {name.decode(): _read(file, at, end) for name, (at, end) in chunks.items()}
        samples = np.frombuffer(tables["shdr"], _SAMPLE).copy()
        kept = np.zeros(len(samples), bool)
        kept[list(_needed(tables, notes))] = True
        first = sdta + 12  # after the form and the head of the one chunk
        copied = [(0, first), (pdta - 8, size)]
        copied += [(first + int(row["start"]), first + int(row["end"])) for row in samples[kept]]
        samples["start"][~kept] = samples["end"][~kept] = 0
        target = stack.enter_context(_memory())
        target.truncate(size)
        for start, end in copied:
            target.seek(start)
            target.write(_read(file, start, end))
        target.seek(chunks[b"shdr"][0])
        target.write(samples.tobytes())
        target.flush()
    there = Path(target.name) if isinstance(target.name, str) else _OPEN_FILES / str(target.name)
    # FluidSynth knows samples by the name of their file and the second in which it was written:
    # names come back, so seconds must not
    number = next(_NUMBERS)
    os.utime(there, (number, number))
    return there


def _read(file: BinaryIO, start: int, end: int) -> bytes:
    file.seek(start)
    return file.read(end - start)


@contextmanager
def _memory() -> Iterator[BinaryIO]:
    """A file for a library that wants a name; on Linux in memory."""
    if sys.platform == "linux" and hasattr(os, "memfd_create") and _OPEN_FILES.is_dir():
        with os.fdopen(os.memfd_create("soundfont"), "w+b") as file:
            yield file
    else:
        with (
            tempfile.TemporaryDirectory() as folder,
            Path(folder, "subset.sf3").open("w+b") as file,
        ):
            yield file


def _needed(tables: dict[str, bytes], notes: Iterable[tuple[int, int, int, int]]) -> Iterator[int]:
    """The numbers of the samples that sound in these notes."""
    wanted: dict[tuple[int, int], Struck] = {}
    for bank, program, key, velocity in notes:
        wanted.setdefault((bank, program), set()).add((key, velocity))
    headers = np.frombuffer(
        tables["phdr"],
        np.dtype([("name", "S20"), ("program", "<u2"), ("bank", "<u2"), ("rest", "V14")]),
    )
    presets = zip(headers["bank"][:-1].tolist(), headers["program"][:-1].tolist(), strict=True)
    for place, preset in enumerate(presets):
        if preset not in wanted:
            continue
        for instrument, struck, _ in _zones(tables, "phdr", "p", place, wanted[preset]):
            for sample, sounding, first in _zones(tables, "inst", "i", instrument, struck):
                # a first zone without a sample would be taken for one that all others inherit
                if sounding or first:
                    yield sample


def _zones(
    tables: dict[str, bytes], names: str, kind: str, place: int, struck: Struck
) -> Iterator[tuple[int, Struck, bool]]:
    """The instrument (or sample) of each zone, which of the notes it plays, and if it is first."""
    zones = _pointers(tables[names], names)
    generators = np.frombuffer(tables[f"{kind}gen"], _GENERATOR)
    rows = _pointers(tables[f"{kind}bag"], "bag")
    target = _INSTRUMENT_OF if kind == "p" else _SAMPLE_OF
    for zone in range(zones[place], zones[place + 1]):
        here = generators[rows[zone] : rows[zone + 1]].tolist()
        amounts = dict(here)
        if target not in amounts:
            continue  # what all others inherit
        keys, velocities = (_range(amounts.get(what)) for what in (_KEYS, _VELOCITIES))
        playing = {(key, on) for key, on in struck if key in keys and on in velocities}
        if playing or zone == zones[place]:
            yield amounts[target], playing, zone == zones[place]


def _pointers(table: bytes, name: str) -> list[int]:
    kind, offset, length = _NAMED[name]
    rows = np.frombuffer(
        table,
        np.dtype({"names": ["to"], "formats": [kind], "offsets": [offset], "itemsize": length}),
    )
    pointers: list[int] = rows["to"].tolist()
    return pointers


def _range(amount: int | None) -> range:
    return range(128) if amount is None else range(amount & 0xFF, (amount >> 8) + 1)
