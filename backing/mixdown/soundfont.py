"""SoundFonts: where they are, what they hold, under which licence, and which one to use.

Only the small chunks of a file are read (its INFO list and its preset headers), so that listing
every SoundFont of a machine costs milliseconds. Layout: SoundFont Technical Specification 2.04
(E-mu Systems 2006), sections 4 (structure), 5 (INFO) and 7.2 (PHDR); SF3 differs only in its
samples, which are Ogg Vorbis.
"""

from __future__ import annotations

import importlib.util
import os
import re
import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import BinaryIO, NamedTuple

from backing.combo.instruments import (
    ACOUSTIC_BASS,
    BRUSH_SLAP,
    BRUSH_SWIRL,
    SNARE,
    STANDARD_KIT,
    Instrument,
)
from backing.errors import SoundFontError
from backing.reading import PRESETS, SOUNDFONT_CHUNKS, SOUNDFONT_TEXT_BYTES

DRUM_BANK = 128
"""Where a SoundFont keeps its percussion presets (specification 2.04, section 7.2)."""

SUFFIXES = (".sf2", ".sf3")
_PRESET_HEADER = struct.Struct("<20sHHH3I")
_MARACAS = 70
_GET_ONE = (
    "Name another with --soundfont, or put a General MIDI SoundFont (FluidR3_GM.sf2, "
    "MuseScore_General.sf3) into the folder soundfonts."
)


class Preset(NamedTuple):
    """A sound of a SoundFont: ``bank`` (128 holds the drum kits), ``program`` 0-127, ``name``."""

    bank: int
    program: int
    name: str


@dataclass(frozen=True, slots=True)
class ChosenPreset:
    """The preset that plays an instrument.

    ``remark``: a sentence if it isn't the one that was wanted. ``keys``: percussion keys that mean
    something else in it, and the keys to strike for them.
    """

    bank: int
    program: int
    remark: str = ""
    keys: tuple[tuple[int, int], ...] = ()

    def key(self, pitch: int) -> int:
        """The key to strike for ``pitch``."""
        return dict(self.keys).get(pitch, pitch)


@dataclass(frozen=True, slots=True)
class SoundFont:
    """A SoundFont file.

    ``free_to_give``: whether a page or hand-out that carries its samples may be given away with
    no more than the licence's notice (None: not known; False: under conditions that reach
    further). ``notice`` is whose work it is, to be passed on with its samples. ``reason`` says why
    it was chosen, or where it was found.
    """

    path: Path
    name: str
    licence: str
    free_to_give: bool | None
    presets: frozenset[Preset] = field(repr=False)
    compressed: bool = False
    size: int = 0
    rank: int = 0
    notice: str = ""
    reason: str = field(default="", compare=False)

    def has(self, bank: int, program: int) -> bool:
        """Whether there is a preset of this bank and program."""
        return any((p.bank, p.program) == (bank, program) for p in self.presets)

    @property
    def complete(self) -> bool:
        """Whether it has a bass and a drum kit, so that a band can play."""
        return self.has(0, ACOUSTIC_BASS.program) and self.has(DRUM_BANK, STANDARD_KIT.program)

    def preset_for(self, instrument: Instrument) -> ChosenPreset:
        """The preset for ``instrument``, or the nearest with a remark.

        Raises SoundFontError if there is none that comes near.
        """
        bank = DRUM_BANK if instrument.kit else 0
        if self.has(bank, instrument.program):
            return ChosenPreset(bank, instrument.program)
        there = [p for p in self.presets if p.bank == bank]
        if not there:
            kind = "drum kit" if instrument.kit else "General MIDI sound"
            raise SoundFontError(f"{self.path} has no {kind}.", _GET_ONE)
        # an even choice between two goes to the lower number; kits of one family share their tens
        nearest = min(there, key=lambda p: (self._distance(instrument, p), p.program))
        remark = f"{self.name} has no {instrument.name}: {nearest.name} plays instead."
        brushes = instrument.kit and instrument.program // 8 == 5 and nearest.program // 8 != 5
        keys = ((BRUSH_SLAP, SNARE), (BRUSH_SWIRL, _MARACAS)) if brushes else ()
        return ChosenPreset(bank, nearest.program, remark, keys)

    @staticmethod
    def _distance(instrument: Instrument, preset: Preset) -> tuple[bool, int]:
        # General MIDI and GS keep families in eights; a kit's next choice is the standard kit
        family = preset.program // 8 != instrument.program // 8
        if instrument.kit and family:
            return True, preset.program
        return family, abs(preset.program - instrument.program)


class _Known(NamedTuple):
    """What is known of a SoundFont by its name; a lower ``rank`` sounds better in a jazz band."""

    name: str
    pattern: str
    rank: int
    licence: str
    free_to_give: bool | None
    praise: str
    notice: str


# Licences as their Debian packages state them (debian/copyright of musescore-general-soundfont,
# fluid-soundfont and timgm6mb-soundfont). The order is a judgement by ear: the first has FluidR3's
# bass and drums and a grand piano sampled at several velocities; the last is 6 MB, one layer.
_WEN = "Copyright 2000-2002, 2008 Frank Wen"
_KNOWN = (
    _Known(
        "MuseScore_General", r"musescore.?general", 0, "MIT", True,
        "its piano has several layers",
        f"{_WEN}; 2014-2017 Michael Cowgill; 2018-2021 S. Christian Collins",
    ),
    _Known("FluidR3_GM", r"fluid.?\(?r3", 1, "MIT", True, "its bass and ride are full-sized", _WEN),
    _Known(
        "TimGM6mb", r"timgm6mb", 4, "GPL-2", False, "it is small", "Copyright 2004 Tim Brechbill"
    ),
)  # fmt: skip
_LARGE_BYTES = 20_000_000
_LICENCES = (
    (r"\bCC0\b|public domain", "CC0 / public domain", True),
    (r"\bMIT\b", "MIT", True),
    (r"CC.?BY.?NC|non.?commercial", "Creative Commons, non-commercial", False),
    (r"CC.?BY.?SA|attribution.?share.?alike", "CC BY-SA", False),
    (r"CC.?BY\b|creative commons attribution", "CC BY", True),
    (r"\bGPL|general public licen[sc]e", "GPL", False),
)


def find_soundfonts(given: Path | None = None) -> tuple[SoundFont, ...]:
    """All usable SoundFonts, the one to use first: ``given``, yours, the system's, the built-in.

    Files that are no SoundFonts are passed over, but for ``given``: then SoundFontError is raised.
    """
    found: list[SoundFont] = []
    if given is not None:
        found.append(replace(read_soundfont(Path(given)), reason="It was asked for."))
    for place, folders in _places():
        here = _readable(path for folder in folders for path in _files(folder))
        here.sort(key=lambda f: (not f.complete, f.rank, -f.size, f.name, str(f.path)))
        found += [replace(f, reason=f"It {place}{_praise(f)}.") for f in here]
    found += [
        replace(f, reason=f"It comes with pretty_midi{_praise(f)}.") for f in _readable(_built_in())
    ]
    unique: dict[Path, SoundFont] = {}
    for font in found:
        unique.setdefault(font.path.resolve(), font)
    first = list(unique.values())
    # one that lacks a bass or drums comes after those that have them, unless it was asked for
    asked, rest = (first[:1], first[1:]) if given is not None else ([], first)
    return (*asked, *sorted(rest, key=lambda f: not f.complete))


def choose(given: Path | str | None = None) -> SoundFont:
    """The SoundFont to use; its ``reason`` says why.

    Raises SoundFontError if ``given`` is none, or nothing is found at all.
    """
    if given is not None:
        return replace(read_soundfont(Path(given)), reason="It was asked for.")
    found = find_soundfonts()
    if not found:
        raise SoundFontError("No SoundFont was found on this machine.", _GET_ONE)
    return found[0]


def read_soundfont(path: Path) -> SoundFont:
    """The SoundFont in the file ``path``.

    Raises SoundFontError for a file that is missing, a folder, empty, unreadable, cut short or no
    SoundFont.
    """
    try:
        if path.is_dir():
            raise SoundFontError(f"{path} is a folder, not a SoundFont.", "Name the file in it.")
        size = path.stat().st_size
        with path.open("rb") as file:
            info, presets = _chunks(file, path, size)
    except FileNotFoundError:
        raise SoundFontError(f"{path} does not exist.", _GET_ONE) from None
    except (OSError, ValueError, struct.error) as error:
        reason = getattr(error, "strerror", None) or "it is harmed, or its name isn't a file name"
        raise SoundFontError(f"{path} cannot be read: {reason}.", _GET_ONE) from None
    if not presets:
        raise SoundFontError(f"{path} is a SoundFont without any sound in it.", _GET_ONE)
    name = info.get("INAM", "") or path.stem
    known = _known(name, path)
    name = known.name if known else name
    licence, free = (known.licence, known.free_to_give) if known else _licence(info)
    rank = known.rank if known else (2 if size >= _LARGE_BYTES else 3)
    compressed = info.get("ifil") == "3"
    notice = known.notice if known else info.get("ICOP", "")
    return SoundFont(path, name, licence, free, presets, compressed, size, rank, notice)


def _chunks(file: BinaryIO, path: Path, size: int) -> tuple[dict[str, str], frozenset[Preset]]:
    """The INFO texts and the presets of an open file of ``size`` bytes."""
    if size == 0:
        raise SoundFontError(f"{path} is empty.", _GET_ONE)
    head = file.read(12)
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"sfbk":
        raise SoundFontError(f"{path} is not a SoundFont.", _GET_ONE)
    promised = 8 + int.from_bytes(head[4:8], "little")
    if promised > size:
        missing = f"{path} is cut short: {size:,} of {promised:,} bytes are there."
        raise SoundFontError(missing, "Copy or download it again.")
    info: dict[str, str] = {}
    presets: frozenset[Preset] = frozenset()
    for kind, start, end in riff_chunks(file, 12, promised):
        if kind != b"LIST":
            continue
        file.seek(start)
        form = file.read(4)
        for sub, at, stop in (
            riff_chunks(file, start + 4, end) if form in {b"INFO", b"pdta"} else ()
        ):
            file.seek(at)
            if form == b"INFO":
                text = file.read(min(stop - at, SOUNDFONT_TEXT_BYTES))
                info[sub.decode("latin-1")] = _text(sub, text)
            elif sub == b"phdr":
                most = PRESETS * _PRESET_HEADER.size
                presets = _presets(file.read(min(stop - at, most)))
    return info, presets


def riff_chunks(file: BinaryIO, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """(name, first byte, end) of the chunks in a stretch of a RIFF file; a broken one ends it."""
    for _ in range(SOUNDFONT_CHUNKS):
        if start + 8 > end:
            return
        file.seek(start)
        name, length = struct.unpack("<4sI", file.read(8))
        if start + 8 + length > end:
            return
        yield name, start + 8, start + 8 + length
        start += 8 + length
        # an odd length is followed by a 0, which some sf3 files leave out; no name begins with 0
        file.seek(start)
        if length % 2 and file.read(1) == b"\0":
            start += 1


def _text(name: bytes, data: bytes) -> str:
    if name == b"ifil":  # the version: major and minor, 16 bits each
        return str(int.from_bytes(data[:2], "little"))
    data = data.split(b"\0")[0]
    try:
        return data.decode("utf-8").strip()
    except UnicodeDecodeError:
        return data.decode("latin-1").strip()


def _presets(data: bytes) -> frozenset[Preset]:
    whole = data[: len(data) // _PRESET_HEADER.size * _PRESET_HEADER.size]
    rows = list(_PRESET_HEADER.iter_unpack(whole))[:-1]  # the last one is a terminator
    return frozenset(
        Preset(bank, program, name.split(b"\0")[0].decode("latin-1").strip())
        for name, program, bank, *_ in rows
    )


def _known(name: str, path: Path) -> _Known | None:
    for known in _KNOWN:
        if any(re.search(known.pattern, text, re.IGNORECASE) for text in (name, path.name)):
            return known
    return None


def _praise(font: SoundFont) -> str:
    known = _known(font.name, font.path)
    return f"; {known.praise}" if known else ""


def _licence(info: dict[str, str]) -> tuple[str, bool | None]:
    words = " ".join(info.get(name, "") for name in ("ICOP", "ICMT"))
    for pattern, licence, free in _LICENCES:
        if re.search(pattern, words, re.IGNORECASE):
            return licence, free
    return "not stated", None


def _places() -> tuple[tuple[str, tuple[Path, ...]], ...]:
    """Where SoundFonts are looked for, in order, each with the words for it."""
    home = Path.home()
    user = Path(os.environ.get("XDG_DATA_HOME") or home / ".local" / "share")
    checkout = Path(__file__).parents[2] / "soundfonts"
    own = (Path.cwd() / "soundfonts", checkout)
    shares = (user, Path("/usr/local/share"), Path("/usr/share"))
    system = [
        share / name for share in shares for name in ("soundfonts", "sounds/sf2", "sounds/sf3")
    ]
    system += [base / "Library/Audio/Sounds/Banks" for base in (home, Path("/"))]
    system += (
        [Path(os.environ["PROGRAMDATA"]) / "soundfonts"] if "PROGRAMDATA" in os.environ else []
    )
    return (
        ("lies in the folder soundfonts", own),
        ("is installed on this machine", tuple(system)),
    )


def _files(folder: Path) -> list[Path]:
    try:
        return sorted(p for p in folder.iterdir() if p.suffix.lower() in SUFFIXES and p.is_file())
    except OSError:
        return []


def _built_in() -> list[Path]:
    """The SoundFont inside pretty_midi, which need not be imported for it (that is slow)."""
    spec = importlib.util.find_spec("pretty_midi")
    folders = spec.submodule_search_locations if spec and spec.submodule_search_locations else []
    return [path for folder in folders for path in _files(Path(folder))]


def _readable(paths: Iterable[Path]) -> list[SoundFont]:
    fonts = []
    for path in paths:
        try:
            fonts.append(read_soundfont(path))
        except SoundFontError:  # a stray file in a folder of SoundFonts is no mistake of the user's
            continue
    return fonts
