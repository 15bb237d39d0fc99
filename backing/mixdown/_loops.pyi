"""The innermost loops of the mixdown. Sound is float32 (n, 2); all of it lies in one piece.

What does not fit raises ValueError.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

Audio = npt.NDArray[np.float32]
Numbers = npt.NDArray[np.float64]
Samples = npt.NDArray[np.int64]

class Sounds:
    """How some held tones sound, ready to be copied: a ``copies.Sound.row`` for each."""

    def __new__(cls, rows: list[tuple[Any, ...]], /) -> Sounds: ...
    def add(
        self,
        out: Audio,
        start: int,
        onsets: Samples,
        ends: Samples,
        which: Samples,
        left: float,
        right: float,
        /,
    ) -> None:
        """Add the samples from ``start`` on of copies of sounds ``which``, times both gains."""

def block_products(a: Audio, b: Audio, out: Numbers, /) -> None:
    """The sum of the products of two sounds, block by block, over ``out``."""

def misfit(held: Audio, heard: Audio, edges: Audio, blocks: int, /) -> float:
    """The energy of what is heard beyond a held note times a release of ``edges``."""

def slope(
    power: Numbers,
    product: Numbers,
    level: float,
    nepers: float,
    slopes: Numbers,
    falls: Numbers,
    /,
) -> float:
    """The slope (dB per second) of least squares: see ``release.fitted_release``."""

def hop_energies(sound: Audio, hop: int, biquads: Numbers, out: Numbers, /) -> None:
    """The K-weighted mean square of each hop, both channels summed, over ``out``."""

def chunk_peaks(
    frames: Audio,
    above: float,
    kernel: Audio,
    bound: float,
    slope: float,
    bend: float,
    out: Audio,
    /,
) -> None:
    """The true peak of each chunk over ``out``: see ``loudness.chunk_peaks``."""

def lower_rate(block: Audio, kernel: Audio, out: Audio, /) -> None:
    """A block in mono at the rate of the room over ``out``."""

def higher_rate(left: Audio, right: Audio, kernel: Audio, out: Audio, /) -> None:
    """Two sides of the room at the sample rate over ``out``."""

def whole_numbers(block: Audio, out: npt.NDArray[np.int16], /) -> None:
    """A block in 16 bits, rounded to the nearest step, over ``out``."""
