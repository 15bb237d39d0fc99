"""What is wrong with a feel, in all its tables at once."""

from __future__ import annotations

from backing.combo.bass.style import read_style as read_bass
from backing.combo.comp.style import read_style as read_comp
from backing.combo.drums.style import read_style as read_drums
from backing.combo.style import load_feel
from backing.errors import FeelError

_READERS = (read_bass, read_comp, read_drums)


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
