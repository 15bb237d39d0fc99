"""An excerpt of a SoundFont: the few samples that some tones need, and nothing else.

A synth loads all samples of a preset, and those of a compressed SoundFont (SF3) must be decoded
first: 144 of MuseScore_General's piano take a second, of which a tune may need 24. It also reads
the tables of all presets, number by number. What is left in an excerpt is as it was, and sounds the
same.

Layout: SoundFont Technical Specification 2.04 (E-mu Systems 2006), sections 4.4 (the chunks), 6.1
(samples and the silence after them) and 7 (the tables, each with a last row that ends it). SF3
differs only in its samples: those marked so (from memory: bit 4 of their type) are Ogg Vorbis,
counted in bytes, and their loops are counted from their own beginning.

FluidSynth makes the best of what breaks those rules, and what that is may depend on all the rest of
the file. So whatever is unusual in the tables, or in what is needed of them, is refused here: then
the whole has to be loaded.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, islice
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
import numpy.typing as npt

from backing.mixdown.soundfont import riff_chunks

_ROWS: Final = {
    b"phdr": [
        ("name", "S20"), ("program", "<u2"), ("bank", "<u2"), ("bag", "<u2"), ("rest", "V12"),
    ],
    b"pbag": [("gen", "<u2"), ("mod", "<u2")],
    b"pmod": [("all", "V10")],
    b"pgen": [("what", "<u2"), ("amount", "<u2")],
    b"inst": [("name", "S20"), ("bag", "<u2")],
    b"ibag": [("gen", "<u2"), ("mod", "<u2")],
    b"imod": [("all", "V10")],
    b"igen": [("what", "<u2"), ("amount", "<u2")],
    b"shdr": [
        ("name", "S20"), ("start", "<u4"), ("end", "<u4"), ("loop", "<u4"), ("loop_end", "<u4"),
        ("rest", "V6"), ("link", "<u2"), ("type", "<u2"),
    ],
}  # fmt: skip
"""The tables (section 7.2 to 7.10) in the order in which they stand."""
_INSTRUMENT: Final = 41
_KEYS: Final = 43
_VELOCITIES: Final = 44
_SAMPLE: Final = 53
_COMPRESSED: Final = 0x10
_KINDS: Final = frozenset((1, 2, 4, 8, *(_COMPRESSED | kind for kind in (1, 2, 4))))
"""Mono, right, left and linked samples (section 7.10); those in a ROM do not sound.

FluidSynth takes compressed ones that are linked for plain ones.
"""
_SILENCE: Final = 46
"""Frames that follow each sample (section 6.1)."""
_SHORTEST: Final = 8
"""Frames: of shorter samples FluidSynth may make one thing or another, by where they lie."""

Struck = tuple[int, int, int, int]
"""Bank, program, key and velocity."""
Table = npt.NDArray[np.void]


class UnusualError(Exception):
    """The SoundFont is not laid out as its specification says."""


def write_excerpt(path: Path, tones: Iterable[Struck], out: BinaryIO) -> None:
    """Write a SoundFont in which these tones sound as in that of ``path``, and few others.

    Raises UnusualError, and OSError where one cannot be read or the other not be written.
    """
    wanted: dict[tuple[int, int], set[tuple[int, int]]] = {}
    for bank, program, key, velocity in tones:
        wanted.setdefault((bank, program), set()).add((key, velocity))
    with path.open("rb") as file:
        try:
            whole = _Whole(file)
            _write(whole, *_chosen(whole, wanted), out)
        # a chunk that is missing or cut short, a table that points beyond another
        except (LookupError, ValueError, OverflowError, struct.error) as error:
            raise UnusualError(f"{path}: {error}") from error


@dataclass(frozen=True, slots=True, eq=False)
class _Zone:
    """What a preset says of some of its keys, or an instrument: its generators and modulators."""

    generators: Table
    modulators: Table

    def amount(self, what: int) -> int | None:
        """What a generator is set to, if it is set."""
        there = self.generators["amount"][self.generators["what"] == what]
        return int(there[-1]) if len(there) else None

    def holds(self, struck: Iterable[tuple[int, int]]) -> set[tuple[int, int]]:
        """Those keys and velocities that it is for."""
        keys, velocities = (self._range(what) for what in (_KEYS, _VELOCITIES))
        return {(key, on) for key, on in struck if key in keys and on in velocities}

    def _range(self, what: int) -> range:
        amount = self.amount(what)
        return range(128) if amount is None else range(amount & 0xFF, (amount >> 8) + 1)

    def pointing(self, what: int, place: int) -> _Zone:
        """The same with another instrument, or sample."""
        generators = self.generators.copy()
        generators["amount"][generators["what"] == what] = place
        return _Zone(generators, self.modulators)


@dataclass(frozen=True, slots=True, eq=False)
class _Named:
    """A preset or an instrument: its row, and its zones."""

    row: np.void
    zones: tuple[_Zone, ...]


class _Whole:
    """The SoundFont that is excerpted."""

    def __init__(self, file: BinaryIO) -> None:
        # not mapped: a file that shrinks meanwhile would end the process
        self._file = file
        self.size = file.seek(0, os.SEEK_END)
        lists = list(islice(riff_chunks(file, 12, self.size), 3))
        forms = [(name, self._read(at, at + 4)) for name, at, _ in lists]
        if forms != [(b"LIST", b"INFO"), (b"LIST", b"sdta"), (b"LIST", b"pdta")]:
            raise ValueError("not the three lists of a SoundFont")
        info, sdta, pdta = ((at, end) for _, at, end in lists)
        self.info = self._read(*info)
        # those of 24 bits have their lower ones in a second chunk
        ((_, *self._samples),) = self._chunks([b"smpl"], *sdta)
        chunks = self._chunks(list(_ROWS), *pdta)
        self.tables = {
            name: np.frombuffer(self._read(at, end), _ROWS[name]) for name, at, end in chunks
        }
        for names, kind in ((b"phdr", b"p"), (b"inst", b"i")):
            self._check(names, kind + b"bag", "bag")
            self._check(kind + b"bag", kind + b"gen", "gen")
            self._check(kind + b"bag", kind + b"mod", "mod")

    def _read(self, start: int, end: int) -> bytes:
        """The bytes of a stretch of the file."""
        self._file.seek(start)
        data = self._file.read(end - start)
        if len(data) < end - start:
            raise ValueError("a file that ends too soon")
        return data

    def _chunks(self, names: list[bytes], start: int, end: int) -> list[tuple[bytes, int, int]]:
        """Name, first byte and end of the chunks of a list, which have these names."""
        chunks = list(riff_chunks(self._file, start + 4, end))
        if [name for name, *_ in chunks] != names:
            raise ValueError("not the chunks of a SoundFont")
        return chunks

    def _check(self, rows: bytes, others: bytes, pointer: str) -> None:
        """Raise ValueError unless the rows of a table share out those of another in order."""
        places = self.tables[rows][pointer]
        if places[0] or (places[1:] < places[:-1]).any() or places[-1] >= len(self.tables[others]):
            raise ValueError("tables that do not fit each other")

    def presets(self, which: Container[tuple[int, int]]) -> list[_Named]:
        """The presets of these banks and programs."""
        rows = self.tables[b"phdr"][:-1]
        there = zip(rows["bank"].tolist(), rows["program"].tolist(), strict=True)
        return [
            self._named(b"phdr", b"p", at) for at, preset in enumerate(there) if preset in which
        ]

    def instrument(self, at: int) -> _Named:
        """One instrument."""
        found = self._named(b"inst", b"i", at)
        # FluidSynth takes a first zone whose sample is no good for one that is for all keys
        for zone in found.zones[:1]:
            if (sample := zone.amount(_SAMPLE)) is not None:
                self.sample(self.tables[b"shdr"][:-1][sample])
        return found

    def _named(self, names: bytes, kind: bytes, at: int) -> _Named:
        rows, bags = self.tables[names], self.tables[kind + b"bag"]
        places = range(int(rows["bag"][at]), int(rows["bag"][at + 1]))
        zones = tuple(
            self._zone(kind, bags[place : place + 2], first=place == places[0]) for place in places
        )
        return _Named(rows[at], zones)

    def _zone(self, kind: bytes, bags: Table, *, first: bool) -> _Zone:
        (gen, mod), (gen_end, mod_end) = bags.tolist()
        generators = self.tables[kind + b"gen"][gen:gen_end]
        target = _INSTRUMENT if kind == b"p" else _SAMPLE
        kinds = generators["what"].tolist()
        if not _in_order(kinds, target):
            raise ValueError("a zone whose generators are in disorder")
        # what is for all keys comes first (sections 7.3 and 7.7)
        if not first and target not in kinds:
            raise ValueError("a zone that points to nothing")
        return _Zone(generators, self.tables[kind + b"mod"][mod:mod_end])

    def sample(self, row: np.void) -> tuple[int, int]:
        """Where a sample lies in the file, the silence after it included."""
        at, end = self._samples
        start, loop, loop_end, stop = (
            int(row[name]) for name in ("start", "loop", "loop_end", "end")
        )
        if row["type"] not in _KINDS:
            raise ValueError("a sample of an unusual kind")
        plain = not row["type"] & _COMPRESSED
        if stop - start < _SHORTEST or (plain and not start <= loop <= loop_end <= stop):
            raise ValueError("a sample that is too short, or whose loop lies outside")
        unit = 2 if plain else 1
        first, last = at + unit * start, at + unit * stop
        if last > end or (end - at) % unit:
            raise ValueError("a sample that lies beyond the file")
        return first, min(last + 2 * _SILENCE, end) if plain else last

    def copy(self, start: int, stop: int, out: BinaryIO) -> None:
        """Copy a stretch of the file."""
        out.write(self._read(start, stop))


def _in_order(kinds: Sequence[int], target: int) -> bool:
    """Whether the generators of a zone stand as they should (sections 8.1.2 and 8.1.3).

    Ranges come first, of keys and then of velocities, and last what they are for.
    """
    rest = list(kinds)
    for kind in (_KEYS, _VELOCITIES):
        rest = rest[1:] if rest[:1] == [kind] else rest
    rest = rest[:-1] if rest[-1:] == [target] else rest
    return {_KEYS, _VELOCITIES, target}.isdisjoint(rest)


Chosen = tuple[list[_Named], list[_Named], list[np.void]]
"""Presets, instruments and samples, each pointing to places in the next of these lists."""


def _chosen(whole: _Whole, wanted: Mapping[tuple[int, int], set[tuple[int, int]]]) -> Chosen:
    """What it takes to strike the ``wanted`` keys and velocities of some presets."""
    presets = [
        (preset, wanted[int(preset.row["bank"]), int(preset.row["program"])])
        for preset in whole.presets(wanted)
    ]
    numbers = {(int(preset.row["bank"]), int(preset.row["program"])) for preset, _ in presets}
    if not numbers or len(numbers) < len(presets):
        raise ValueError("none of these presets, or two of one number")
    struck: dict[int, set[tuple[int, int]]] = {}
    for preset, keys in presets:
        for zone in preset.zones:
            if (at := zone.amount(_INSTRUMENT)) is not None and (here := zone.holds(keys)):
                struck.setdefault(at, set()).update(here)
    instruments = {at: _kept(whole.instrument(at), _SAMPLE, keys) for at, keys in struck.items()}
    instruments = {at: named for at, named in instruments.items() if _sounds(named)}
    samples = dict.fromkeys(_targets(instruments.values(), _SAMPLE))
    rows = whole.tables[b"shdr"][:-1]
    return (
        [
            _moved(_kept(preset, _INSTRUMENT, keys, instruments), _INSTRUMENT, instruments)
            for preset, keys in presets
        ],
        [_moved(instrument, _SAMPLE, samples) for instrument in instruments.values()],
        [rows[at] for at in samples],
    )


def _kept(
    named: _Named, what: int, keys: set[tuple[int, int]], there: Container[int] | None = None
) -> _Named:
    """With those zones only that are for these keys, and the first if it is for all of them.

    ``there``: the instruments that have something to say of them.
    """

    def speaks(zone: _Zone) -> bool:
        at = zone.amount(what)
        return at is None or ((there is None or at in there) and bool(zone.holds(keys)))

    return _Named(named.row, tuple(zone for zone in named.zones if speaks(zone)))


def _sounds(instrument: _Named) -> bool:
    """Whether any of its zones points to a sample."""
    return any(zone.amount(_SAMPLE) is not None for zone in instrument.zones)


def _targets(all_of_them: Iterable[_Named], what: int) -> Iterator[int]:
    """The instruments, or samples, that zones point to."""
    for named in all_of_them:
        for zone in named.zones:
            if (at := zone.amount(what)) is not None:
                yield at


def _moved(named: _Named, what: int, places: Iterable[int]) -> _Named:
    """Pointing to the new places of what was at ``places``."""
    new = {old: place for place, old in enumerate(places)}
    zones = (
        zone if (at := zone.amount(what)) is None else zone.pointing(what, new[at])
        for zone in named.zones
    )
    return _Named(named.row, tuple(zones))


def _write(
    whole: _Whole,
    presets: Sequence[_Named],
    instruments: Sequence[_Named],
    rows: Sequence[np.void],
    out: BinaryIO,
) -> None:
    """Write a SoundFont."""
    places = [whole.sample(row) for row in rows]
    starts, size = _laid_out(places)
    if size > whole.size:
        raise ValueError("samples that lie one over the other")
    tables = {
        **_layer(whole, b"phdr", b"p", presets),
        **_layer(whole, b"inst", b"i", instruments),
        b"shdr": _headers(whole, rows, places, starts),
    }
    info = _chunk(b"LIST", whole.info)
    pdta = b"".join(_chunk(name, tables[name].tobytes()) for name in _ROWS)
    pdta = _chunk(b"LIST", b"pdta" + pdta)
    out.write(_head(b"RIFF", 4 + len(info) + 20 + size + len(pdta)) + b"sfbk" + info)
    out.write(_head(b"LIST", 12 + size) + b"sdta" + _head(b"smpl", size))
    for place in places:
        whole.copy(*place, out)
        out.write(b"\0" * ((place[1] - place[0]) % 2))
    out.write(pdta)


def _laid_out(places: Iterable[tuple[int, int]]) -> tuple[list[int], int]:
    """Where samples begin if they lie one after the other, each at an even byte; and the end."""
    lengths = [stop - start for start, stop in places]
    *starts, end = accumulate((length + length % 2 for length in lengths), initial=0)
    return starts, end


def _headers(
    whole: _Whole,
    rows: Sequence[np.void],
    places: Sequence[tuple[int, int]],
    starts: Sequence[int],
) -> Table:
    """The headers of samples that begin at these bytes now."""
    table = whole.tables[b"shdr"]
    headers = np.array([*rows, table[-1]], table.dtype)
    headers["link"] = 0
    for header, row, (first, last), start in zip(headers, rows, places, starts, strict=False):
        if row["type"] & _COMPRESSED:
            header["start"], header["end"] = start, start + last - first
        else:
            for name in ("start", "end", "loop", "loop_end"):
                header[name] = int(row[name]) - int(row["start"]) + start // 2
    return headers


def _layer(
    whole: _Whole, names: bytes, kind: bytes, all_of_them: Sequence[_Named]
) -> dict[bytes, Table]:
    """The tables of presets, or of instruments."""
    last = whole.tables[names][-1]
    rows = np.array([*(named.row for named in all_of_them), last], whole.tables[names].dtype)
    zones = [zone for named in all_of_them for zone in named.zones]
    rows["bag"] = np.cumsum([0, *(len(named.zones) for named in all_of_them)])
    bags = np.zeros(len(zones) + 1, whole.tables[kind + b"bag"].dtype)
    bags["gen"] = np.cumsum([0, *(len(zone.generators) for zone in zones)])
    bags["mod"] = np.cumsum([0, *(len(zone.modulators) for zone in zones)])
    generators, modulators = whole.tables[kind + b"gen"], whole.tables[kind + b"mod"]
    return {
        names: rows,
        kind + b"bag": bags,
        kind + b"gen": np.concatenate([*(zone.generators for zone in zones), generators[-1:]]),
        kind + b"mod": np.concatenate([*(zone.modulators for zone in zones), modulators[-1:]]),
    }


def _head(name: bytes, size: int) -> bytes:
    return name + struct.pack("<I", size)


def _chunk(name: bytes, data: bytes) -> bytes:
    return _head(name, len(data)) + data + b"\0" * (len(data) % 2)
