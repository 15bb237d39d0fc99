"""The mistakes in all tables of a feel at once."""

from __future__ import annotations

from backing.combo.bass.style import read_bass_style
from backing.combo.comp.style import read_comp_style
from backing.combo.drums.style import read_drum_style
from backing.combo.feel_file import load_feel
from backing.errors import FeelError

_READERS = (read_bass_style, read_comp_style, read_drum_style)


def feel_faults(name: str) -> tuple[FeelError, ...]:
    """The first mistake in each table of the feel called ``name``, or in the file of that path."""
    try:
        feel = load_feel(name)
    except FeelError as error:
        return (error,)
    found = []
    for read in _READERS:
        try:
            read(feel)
        except FeelError as error:
            found.append(error)
    return tuple(found)
