"""The compiled loops of ``loops.c``, called through ctypes, which lets go of Python's lock.

``.build/loops.py`` compiles them while the package is installed; the tests compare each with a few
lines of numpy. Sound is float32 of shape (n, 2). Arrays have to be in one piece; ValueError is
raised where their lengths don't fit.
"""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Sequence
from ctypes import c_double, c_float, c_int, c_int64, c_void_p
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from backing.errors import MissingProgram

Audio = npt.NDArray[np.float32]
"""Stereo samples, shape (n, 2), full scale 1.0."""
Floats = npt.NDArray[np.float32]
Numbers = npt.NDArray[np.float64]
Samples = npt.NDArray[np.int64]

BLOCK: Final = 64
"""Samples between two edges of an envelope."""
MOST_LAGS: Final = 4
ENDINGS: Final = {"win32": ".dll", "darwin": ".dylib"}


def _library() -> ctypes.CDLL:
    path = Path(__file__).with_name(f"libloops{ENDINGS.get(sys.platform, '.so')}")
    try:
        library = ctypes.CDLL(str(path))
    except OSError:
        raise MissingProgram(
            f"The compiled part of backing, {path.name}, is missing or for another system.",
            "Install backing again: pip install --force-reinstall --no-deps .",
        ) from None
    for name, (result, *arguments) in _SIGNATURES.items():
        function = getattr(library, name)
        function.restype, function.argtypes = result, arguments
    return library


_SIGNATURES: Final[dict[str, tuple[Any, ...]]] = {
    "add_notes": (
        None, c_void_p, c_int64, c_int64, c_void_p, c_void_p, c_void_p, c_void_p, c_int64,
        c_float, c_float,
    ),
    "block_products": (None, c_void_p, c_void_p, c_int64, c_void_p),
    "misfit": (c_double, c_void_p, c_void_p, c_int64, c_void_p),
    "fitted_slope": (
        c_double, c_void_p, c_void_p, c_int64, c_double, c_double, c_void_p, c_void_p, c_int64,
    ),
    "hop_energies": (c_int, c_void_p, c_int64, c_int64, c_void_p, c_void_p),
    "chunk_peaks": (
        None, c_void_p, c_int64, c_float, c_void_p, c_float, c_float, c_float, c_void_p,
    ),
    "lower_rate": (None, c_void_p, c_int64, c_void_p, c_void_p),
    "add_higher_rate": (None, c_void_p, c_void_p, c_int64, c_void_p, c_void_p),
    "round16": (None, c_void_p, c_int64, c_void_p),
}  # fmt: skip

_NOTE: Final = np.dtype(
    [
        ("samples", np.uintp), ("edges", np.uintp), ("lag_edges", np.uintp, MOST_LAGS),
        ("hold", np.int64), ("length", np.int64), ("late_from", np.int64),
        ("gain", np.float32), ("taps", np.float32, MOST_LAGS), ("lags", np.int32),
    ],
    align=True,
)  # fmt: skip
"""``Note`` in loops.c."""

_loops = _library()


def _at(array: npt.NDArray[Any], kind: type[np.generic], count: int) -> int:
    """The address of an array of at least ``count`` numbers of this kind, in one piece."""
    if array.dtype != kind or array.size < count or not array.flags.c_contiguous:
        raise ValueError(f"an array of {array.size} {array.dtype}, not of {count} {kind.__name__}")
    address: int = array.ctypes.data
    return address


class HeldNote(NamedTuple):
    """A note of the bank held for ``hold`` samples and let go: ``length`` samples in all.

    From ``hold`` on it is multiplied by the envelope ``edges`` (gains at the edges of blocks,
    straight lines between). With ``lags`` its release is filtered: it is the sum of the note, of
    the note one sample later and so on, each with its own envelope; from sample ``late_from`` on
    each with ``edges`` times its own of ``taps``.
    """

    samples: Audio
    gain: float
    hold: int
    length: int
    edges: Floats
    lags: tuple[Floats, ...] = ()
    late_from: int = 0
    taps: tuple[float, ...] = ()


class NoteTable:
    """Held notes as the loops read them."""

    def __init__(self, notes: Sequence[HeldNote]) -> None:
        self._arrays = [(note.samples, note.edges, *note.lags) for note in notes]  # kept alive
        self._rows = np.zeros(len(notes), _NOTE)
        for row, note in zip(self._rows, notes, strict=True):
            if len(note.lags) > MOST_LAGS or note.hold < 0:
                raise ValueError("a note that cannot be")
            row["samples"] = _at(note.samples, np.float32, 2 * note.length)
            row["edges"] = _at(note.edges, np.float32, _edges(note.length - note.hold))
            row["hold"], row["length"], row["gain"] = note.hold, note.length, note.gain
            row["late_from"], row["lags"] = note.late_from, len(note.lags)
            late = _edges(min(note.length, note.late_from) - note.hold)
            for at, (lag, tap) in enumerate(zip(note.lags, note.taps, strict=True)):
                row["lag_edges"][at], row["taps"][at] = _at(lag, np.float32, late), tap
        self.lengths: Samples = self._rows["length"]

    def add(
        self,
        out: Audio,
        start: int,
        places: tuple[Samples, Samples, Samples],
        pan: tuple[float, float],
    ) -> None:
        """Add notes to ``out``, whose first frame is frame ``start`` of the track.

        ``places``: the first frame of each, the one after its last, and which note it is. ``pan``:
        gains for left and right.
        """
        onsets, ends, which = places
        count = len(which)
        if count and not (
            which.min() >= 0 and which.max() < len(self._rows)
            and (ends - onsets <= self.lengths[which]).all()
        ):  # fmt: skip
            raise ValueError("places that do not fit the notes")
        _loops.add_notes(
            _at(out, np.float32, 0), len(out), start, self._rows.ctypes.data,
            *(_at(column, np.int64, count) for column in places), count, *pan,
        )  # fmt: skip


def _edges(samples: int) -> int:
    """How many edges a release of so many samples has."""
    return -(-samples // BLOCK) + 1 if samples > 0 else 0


def block_products(a: Audio, b: Audio) -> Numbers:
    """The sum of the products of two sounds, block by block."""
    blocks = min(len(a), len(b)) // BLOCK
    products = np.empty(blocks)
    frames = 2 * BLOCK * blocks
    _loops.block_products(
        _at(a, np.float32, frames), _at(b, np.float32, frames), blocks, products.ctypes.data
    )
    return products


def misfit(held: Audio, heard: Audio, edges: Floats, blocks: int) -> float:
    """The energy of so many blocks of ``heard`` less ``held`` times the envelope ``edges``."""
    frames = 2 * BLOCK * blocks
    energy: float = _loops.misfit(
        _at(held, np.float32, frames), _at(heard, np.float32, frames), blocks,
        _at(edges, np.float32, blocks + 1),
    )  # fmt: skip
    return energy


def fitted_slope(
    power: Numbers,
    product: Numbers,
    level: float,
    nepers: float,
    *,
    slopes: Numbers,
    falls: Numbers,
) -> float:
    """The slope, in dB per second, whose fall comes nearest to what is heard.

    ``power`` and ``product``: of the held note with itself and with what is heard, block by block;
    ``level``: the gain it falls from; ``nepers``: of a block at 1 dB per second; ``falls``: the
    gains that each of ``slopes`` (3 to 128) has in each block, (block, slope).
    """
    blocks, count = len(power), len(slopes)
    if not 3 <= count <= 128:
        raise ValueError(f"{count} slopes")
    slope: float = _loops.fitted_slope(
        _at(power, np.float64, blocks), _at(product, np.float64, blocks), blocks, level, nepers,
        _at(slopes, np.float64, count), _at(falls, np.float64, blocks * count), count,
    )  # fmt: skip
    return slope


def hop_energies(sound: Audio, hop: int, biquads: Numbers) -> Numbers:
    """The mean square of each whole hop of ``hop`` frames after two filters, channels summed.

    ``biquads``: b0, b1, b2, a1, a2 of one, then of the other. Raises MemoryError.
    """
    energies = np.empty(len(sound) // hop)
    sound = np.ascontiguousarray(sound)
    if not _loops.hop_energies(
        _at(sound, np.float32, 0), len(energies), hop, _at(biquads, np.float64, 10),
        energies.ctypes.data,
    ):  # fmt: skip
        raise MemoryError
    return energies


def chunk_peaks(
    frames: Audio,
    chunks: int,
    above: float,
    kernel: Floats,
    bounds: tuple[float, float, float],
) -> Floats:
    """The true peak of each chunk of a block, as far as it is over ``above``.

    ``kernel`` (24, 3) interpolates from 11 frames before a sample to 12 after it, which
    ``frames`` has around the chunks; ``bounds``: see ``loudness.chunk_peaks``.
    """
    peaks = np.empty(chunks, np.float32)
    frames = np.ascontiguousarray(frames)
    _loops.chunk_peaks(
        _at(frames, np.float32, 2 * (BLOCK * chunks + 23)), chunks, above,
        _at(kernel, np.float32, 72), *bounds, peaks.ctypes.data,
    )  # fmt: skip
    return peaks


def lower_rate(block: Audio, taps: Floats) -> Floats:
    """``block`` in mono at a quarter of its rate, 7 samples longer.

    ``taps`` (8, 4, 2): what a sample takes of each frame, from the latest to the oldest.
    """
    if len(block) % 4:
        raise ValueError(f"{len(block)} frames are no multiple of 4")
    mono = np.empty(len(block) // 4 + 7, np.float32)
    _loops.lower_rate(
        _at(block, np.float32, 0), len(block), _at(taps, np.float32, 64), mono.ctypes.data
    )
    return mono


def add_higher_rate(left: Floats, right: Floats, taps: Floats, out: Audio) -> None:
    """Add two sides at four times their rate to ``out``.

    ``taps`` (8, 4, 2): from the oldest sample to the latest.
    """
    count = len(left)
    _loops.add_higher_rate(
        _at(left, np.float32, count), _at(right, np.float32, count), count,
        _at(taps, np.float32, 64), _at(out, np.float32, 8 * count),
    )  # fmt: skip


def round16(block: Audio) -> npt.NDArray[np.int16]:
    """A block in 16 bits, rounded to the nearest, clipped at full scale."""
    block = np.ascontiguousarray(block, np.float32)
    out = np.empty(block.shape, np.int16)
    _loops.round16(block.ctypes.data, block.size, out.ctypes.data)
    return out
