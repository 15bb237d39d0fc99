"""FluidSynth, held by its ctypes handle: dry notes in floating point, the same bits every time.

FluidSynth starts and ends notes on blocks of 64 samples, and the first samples of a note depend
on what sounded before it; so every note is primed (struck and cut off once, unheard) first.
Checked with FluidSynth 2.3.1 and pyfluidsynth 1.4.0.
"""

from __future__ import annotations

import ctypes
import io
import os
import threading
from collections.abc import Sequence
from contextlib import redirect_stdout
from pathlib import Path
from types import ModuleType, TracebackType
from typing import Any, NamedTuple

import numpy as np

from backing.errors import InternalError, MissingProgram, SoundFontError
from backing.mixdown.loops import BLOCK, Audio
from backing.mixdown.soundfont import SoundFont

_SETTINGS: dict[str, int | float] = {
    "synth.dynamic-sample-loading": 1,  # only the samples of the presets in use
    "synth.lock-memory": 0,  # that is for those who play in real time
    "synth.reverb.active": 0,
    "synth.chorus.active": 0,
    "synth.polyphony": 256,
    "synth.midi-channels": 64,
}
# the first synth fills tables that a second one, made at the same time, would take for finished
_ONE_AT_A_TIME = threading.Lock()
_INSTALL = (
    "Install it: `apt install libfluidsynth3` on Debian and Ubuntu, `dnf install fluidsynth-libs` "
    "on Fedora, `brew install fluid-synth` on macOS, `choco install fluidsynth` on Windows."
)


class KeyEvent(NamedTuple):
    """A key struck (``velocity`` 1-127) or let go (0) at ``sample``, a multiple of BLOCK."""

    sample: int
    key: int
    velocity: int


class Synth:
    """One FluidSynth with one SoundFont; not to be shared by threads."""

    def __init__(
        self, soundfont: SoundFont, sample_rate: int = 44100, path: Path | None = None
    ) -> None:
        """Load ``soundfont``, or the file ``path`` for it: headers now, samples with presets.

        Raises MissingProgram without FluidSynth, SoundFontError if it cannot load the file.
        """
        with _ONE_AT_A_TIME:
            # inside the lock: two threads that redirect stdout at once leave it redirected
            library = load_library()
            self._write = _float_writer(library)
            # pyfluidsynth silently drops a gain that is not a float
            self._synth = library.Synth(gain=1.0, samplerate=float(sample_rate), **_SETTINGS)
        name = os.fsencode(path or soundfont.path)
        self._font = library.fluid_synth_sfload(self._synth.synth, name, 0)
        self._soundfont = soundfont
        self._channels: dict[tuple[int, int], int] = {}
        self._unheard = np.empty((BLOCK, 2), np.float32)
        if self._font < 0:
            self.close()
            cause = f"FluidSynth cannot load {soundfont.path}."
            raise SoundFontError(cause, "Copy or download it again, or name another.")

    def channel(self, bank: int, program: int) -> int:
        """The channel on which a preset is played; each keeps one, so that its samples stay."""
        known = self._channels.get((bank, program))
        if known is not None:
            return known
        channel = len(self._channels)
        if self._synth.program_select(channel, self._font, bank, program) != 0:
            raise InternalError(f"{self._soundfont.path} has no preset {bank}:{program}")
        self._channels[bank, program] = channel
        return channel

    def start(self, channel: int, key: int, velocity: int) -> None:
        """Strike a primed note: what is read then does not depend on what was before.

        Nothing else may sound; whoever starts a note ends it by ``silence``.
        """
        self._synth.noteon(channel, key, velocity)
        self.read_into(self._unheard)
        self.silence(channel)
        self._synth.noteon(channel, key, velocity)

    def read_into(self, sound: Audio) -> None:
        """Write the next samples, a multiple of BLOCK, over ``sound``, in one piece."""
        at = sound.ctypes.data
        self._write(self._synth.synth, len(sound), at, 0, 2, at, 1, 2)

    def silence(self, channel: int) -> None:
        """End all sound of a channel at once."""
        self._synth.all_sounds_off(channel)
        self.read_into(self._unheard)

    def play(self, channel: int, strokes: Sequence[KeyEvent], samples: int) -> Audio:
        """``samples`` of sound of a channel; the first stroke, at sample 0, is primed."""
        first, *others = strokes
        sound, at = np.empty((samples, 2), np.float32), 0
        self.start(channel, first.key, first.velocity)
        for stroke in others:
            self.read_into(sound[at : stroke.sample])
            at = stroke.sample
            if stroke.velocity:
                self._synth.noteon(channel, stroke.key, stroke.velocity)
            else:
                self._synth.noteoff(channel, stroke.key)
        self.read_into(sound[at:])
        self.silence(channel)
        return sound

    def close(self) -> None:
        """Give back the memory; the synth cannot be used any more."""
        synth, self._synth = self._synth, None
        if synth is not None:
            synth.delete()

    def __enter__(self) -> Synth:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()


def load_library() -> ModuleType:
    """The pyfluidsynth module, silent; raises MissingProgram if FluidSynth is not installed."""
    try:
        # it prints where it found the library when CI is set, and stdout is for results
        with redirect_stdout(io.StringIO()):
            import fluidsynth  # noqa: PLC0415 - heavy, and must not fail before a sound is wanted
    except (ImportError, OSError):
        raise MissingProgram("FluidSynth, which makes the sound, is missing.", _INSTALL) from None
    quiet = fluidsynth._fl.fluid_set_log_function
    quiet.argtypes = [ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p]
    for level in range(5):  # its own complaints name things our users have never heard of
        quiet(level, None, None)
    return fluidsynth  # type: ignore[no-any-return]


def library_version() -> str:
    """The version of FluidSynth; raises MissingProgram if it is not installed."""
    version = load_library()._fl.fluid_version_str
    version.restype = ctypes.c_char_p
    return bytes(version()).decode("ascii", "replace")


def _float_writer(library: ModuleType) -> Any:
    """fluid_synth_write_float(synth, n, left, offset, step, right, offset, step)."""
    write = library._fl.fluid_synth_write_float
    place = (ctypes.c_void_p, ctypes.c_int, ctypes.c_int)
    write.argtypes = [ctypes.c_void_p, ctypes.c_int, *place, *place]
    write.restype = ctypes.c_int
    return write
