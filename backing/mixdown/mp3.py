"""Encode MP3 in pieces, on all processors, with the system's LAME.

A piece is encoded with some frames of sound around it, which are dropped, so that the encoder knows
at its ends what it would know in the middle. Frames that borrow no bits from each other ("bit
reservoir") can be cut and joined. Frame: ISO/IEC 11172-3, section 2.4; the first frame, which tells
players the length and what to skip, after LAME's "Mp3 Info Tag revision 1" (from memory).

Debian's FluidSynth needs libsndfile, and that LAME, so that it is there where sound can be made.
"""

from __future__ import annotations

import ctypes
import struct
import sys
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future
from ctypes import POINTER, c_char_p, c_float, c_int, c_size_t, c_ubyte, c_void_p
from functools import cache
from typing import Final, Protocol

import numpy as np

from backing.errors import InternalError
from backing.mixdown.loops import Audio
from backing.mixdown.threads import Threads

FRAME: Final = 1152
"""Samples in a frame of MPEG-1 Layer III."""
PIECE: Final = 600
"""Frames encoded at a time: 16 s."""
AROUND: Final = 4
"""Frames before and after a piece, a tenth of a second: of a band the bytes are those of the whole
(of steps by 40 dB LAME knows longer how loud it was, and some frames differ)."""
DELAY: Final = 576
"""Samples by which LAME's encoder is late (ENCDELAY in its encoder.h, from memory)."""
VARIABLE: Final = 4
"""Of the ways to vary the bit rate, LAME's usual one (vbr_mtrh)."""
SEARCH: Final = 7
"""How long LAME searches, 0 to 9: "ok quality, really fast" (lame.h, from memory). With V1 it takes
two thirds of the time of 5 with V2, for 3 % more bytes: in 95 % of the critical bands of two tunes
the noise lies at least 9.3 dB below the sound (9.0 there), in half of them 20.3 dB (21.9)."""
NAMES: Final = {"win32": ("libmp3lame.dll",), "darwin": ("libmp3lame.dylib",)}
BIT_RATES: Final = (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320)
"""kbit/s by the four bits in a frame's head."""
SAMPLE_RATES: Final = (44100, 48000, 32000)
TAG: Final = 36
"""Where the info tag begins in its frame: after the head and an empty side info for stereo."""


@cache
def lame() -> ctypes.CDLL | None:
    """LAME, if it is installed."""
    for name in NAMES.get(sys.platform, ("libmp3lame.so.0",)):
        try:
            library = ctypes.CDLL(name)
        except OSError:
            continue
        library.lame_init.restype = c_void_p
        library.lame_get_lametag_frame.restype = c_size_t
        library.get_lame_version.restype = c_char_p
        floats = POINTER(c_float)
        library.lame_encode_buffer_interleaved_ieee_float.argtypes = [
            c_void_p, floats, c_int, POINTER(c_ubyte), c_int,
        ]  # fmt: skip
        library.lame_encode_flush.argtypes = [c_void_p, POINTER(c_ubyte), c_int]
        library.lame_get_lametag_frame.argtypes = [c_void_p, POINTER(c_ubyte), c_size_t]
        library.lame_set_VBR_quality.argtypes = [c_void_p, c_float]
        return library
    return None


class Output(Protocol):
    """A file to write to."""

    def write(self, data: bytes, /) -> int: ...
    def seek(self, offset: int, whence: int = 0, /) -> int: ...


class Mp3Writer:
    """An MP3 file being written: ``quality`` is LAME's V, 0 (best) to 9.

    ``threads``: how many encode. Call ``close`` at the end.
    """

    def __init__(self, file: Output, sample_rate: int, quality: float, threads: int) -> None:
        self._file, self._sample_rate, self._quality = file, sample_rate, quality
        self._pool = Threads(threads)
        self._ahead = threads + 1
        self._encoding: deque[Future[list[bytes]]] = deque()
        self._heard: list[Audio] = []
        self._count = 0
        """Frames of sound in ``_heard``."""
        self._lead = 0
        """Frames (of MP3) at its beginning that the last piece has encoded."""
        self._length = 0
        self._sizes: list[int] = []
        self._head = _info_frame(sample_rate, quality)
        file.write(self._head)

    def write(self, block: Audio) -> None:
        """Append ``block`` (n, 2), full scale 1.0."""
        self._heard.append(block)
        self._count += len(block)
        self._length += len(block)
        while self._count >= (self._lead + PIECE + AROUND) * FRAME:
            sound = np.concatenate(self._heard)
            self._submit(sound[: (self._lead + PIECE + AROUND) * FRAME], last=False)
            rest = sound[(self._lead + PIECE - AROUND) * FRAME :]
            self._heard, self._count, self._lead = [rest], len(rest), AROUND

    def close(self) -> None:
        """Write what is left, and at the beginning how long it all is."""
        sound = np.concatenate([*self._heard, np.zeros((0, 2), np.float32)])
        self._submit(sound, last=True)
        while self._encoding:
            self._take()
        self._pool.close()
        self._file.seek(0)
        self._file.write(_filled(self._head, self._sizes, self._length))
        self._file.seek(0, 2)

    def discard(self) -> None:
        """Stop, whatever is still to be encoded."""
        self._pool.close()

    def _submit(self, sound: Audio, *, last: bool) -> None:
        stop = None if last else self._lead + PIECE
        settings = self._sample_rate, self._quality
        self._encoding.append(self._pool.submit(_piece, sound, settings, self._lead, stop))
        while len(self._encoding) > self._ahead:
            self._take()

    def _take(self) -> None:
        frames = self._encoding.popleft().result()
        self._sizes += map(len, frames)
        self._file.write(b"".join(frames))


def _piece(sound: Audio, settings: tuple[int, float], first: int, stop: int | None) -> list[bytes]:
    """The frames [first, stop) of a sound, or all from the first on."""
    with _Encoder(*settings, tag=False) as encoder:
        data = encoder.encode(sound) + (encoder.flush() if stop is None else b"")
    return list(_frames(data))[first:stop]


def _frames(data: bytes) -> Iterator[bytes]:
    """Each frame of an MP3."""
    at = 0
    while at + 4 <= len(data):
        _, _, rates, _ = data[at : at + 4]
        length = 144_000 * BIT_RATES[rates >> 4] // SAMPLE_RATES[rates >> 2 & 3] + (rates >> 1 & 1)
        yield data[at : at + length]
        at += length


class _Encoder:
    """One encoder of LAME."""

    def __init__(self, sample_rate: int, quality: float, *, tag: bool) -> None:
        library = lame()
        if library is None:
            raise InternalError("LAME is not there")
        self._lame = library
        self._flags = c_void_p(library.lame_init())
        library.lame_set_in_samplerate(self._flags, sample_rate)
        library.lame_set_num_channels(self._flags, 2)
        library.lame_set_VBR(self._flags, VARIABLE)
        library.lame_set_VBR_quality(self._flags, quality)
        library.lame_set_quality(self._flags, SEARCH)
        library.lame_set_disable_reservoir(self._flags, 1)
        library.lame_set_bWriteVbrTag(self._flags, int(tag))
        if library.lame_init_params(self._flags) < 0:
            raise InternalError("LAME refuses its settings")

    def __enter__(self) -> _Encoder:
        return self

    def __exit__(self, *_: object) -> None:
        self._lame.lame_close(self._flags)

    def encode(self, sound: Audio) -> bytes:
        """The data of a whole sound but what the encoder holds back."""
        sound = np.ascontiguousarray(sound, np.float32)
        # the worst case, from lame.h (from memory): 1.25 times the samples and 7200 bytes
        room = (c_ubyte * (len(sound) * 5 // 4 + 7200))()
        samples = sound.ctypes.data_as(POINTER(c_float))
        count = self._lame.lame_encode_buffer_interleaved_ieee_float(
            self._flags, samples, len(sound), room, len(room)
        )
        return self._data(room, count)

    def flush(self) -> bytes:
        """What the encoder holds back, with silence after it."""
        room = (c_ubyte * 7200)()
        return self._data(room, self._lame.lame_encode_flush(self._flags, room, len(room)))

    def info(self) -> bytes:
        """The first frame, which is written last."""
        room = (c_ubyte * 2880)()
        return self._data(room, self._lame.lame_get_lametag_frame(self._flags, room, len(room)))

    @staticmethod
    def _data(room: ctypes.Array[c_ubyte], count: int) -> bytes:
        if count < 0:
            raise InternalError(f"LAME gave up ({count})")
        return bytes(memoryview(room)[:count])


def _info_frame(sample_rate: int, quality: float) -> bytes:
    """The first frame as LAME writes it for these settings, of the length of a moment."""
    with _Encoder(sample_rate, quality, tag=True) as encoder:
        encoder.encode(np.zeros((4 * FRAME, 2), np.float32))
        encoder.flush()
        return encoder.info()


def _filled(head: bytes, sizes: list[int], length: int) -> bytes:
    """The first frame of a file of these frames, ``length`` samples long."""
    frame = bytearray(head)
    ends = np.cumsum([len(head), *sizes])
    at = (np.arange(100) * len(sizes) // 100).clip(0, max(len(sizes) - 1, 0))
    frame[TAG + 8 : TAG + 16] = struct.pack(">II", len(sizes), int(ends[-1]))
    frame[TAG + 16 : TAG + 116] = bytes((ends[at] * 256 // ends[-1]).clip(0, 255).tolist())
    padding = len(sizes) * FRAME - length - DELAY
    frame[TAG + 141 : TAG + 144] = (DELAY << 12 | max(0, min(padding, 4095))).to_bytes(3, "big")
    frame[TAG + 148 : TAG + 152] = struct.pack(">I", int(ends[-1]))
    frame[TAG + 152 : TAG + 154] = b"\0\0"  # a check sum of the sound, which no player looks at
    frame[TAG + 154 : TAG + 156] = struct.pack(">H", _check_sum(frame[: TAG + 154]))
    return bytes(frame)


def _check_sum(data: bytes | bytearray) -> int:
    """CRC-16 of the tag (polynomial 0x8005, reflected)."""
    found = 0
    for byte in data:
        found ^= byte
        for _ in range(8):
            found = found >> 1 ^ (0xA001 if found & 1 else 0)
    return found
