"""The tune file: a short text becomes a form, or all its mistakes at once.

::

    title: Low Tide Ferry
    key:   G minor
    tempo: 132
    head:  A A2

    section A
    | Cm7   | F7   | Bbmaj7 | Ebmaj7 |
    | Am7b5 | D7b9 | Gm6    | %      |
    solos: | | Abm7 Db7 | | |        # other changes when soloing; an empty bar is kept
    hits 7: 1 2& 4&

    section A2 = A                   # derived: the same, but for these bars
    bars 7-8: | Gm6 | Am7b5 D7 |

- A ``#`` at the start of a line or after a space begins a note to the reader.
- Bars: one chord fills a bar; several divide it evenly where each gets whole beats; otherwise
  beats are written out, ``| Cm7 / F7 Bb7 |``. ``%`` is the bar before again, ``%%`` the two bars
  before; ``N.C.`` is no chord. ``pickup: | D7 |`` is a short bar before the first, a beat for each
  sign; the first bar of the file is one too when its beats are written out and too few.
- Repeats: ``|: ... :|``, ``:| x3`` for three times in all; ``| [1,2] ... :| [3] ... |`` endings.
- After a section's name: ``section B  feel: two  key: F  meter: 3/4  tempo: x1/2`` (x: times the
  tune's tempo).
- A ``solos:`` line goes under the row of bars it changes, bar under bar (``%%`` counts as two).
- Headers are listed in ``header.py``, cues such as ``hits`` in ``cue_line.py``.
"""

from __future__ import annotations

from pathlib import Path

from backing.chart.form import Form
from backing.chart.text.tune_reader import FeelFaults, TuneReader
from backing.chart.text.writer import write
from backing.errors import UserError
from backing.reading import TUNE_BYTES, guarded, read_bytes

__all__ = ["read", "read_file", "write"]


def _no_faults(_: str) -> tuple[UserError, ...]:
    return ()


def read(
    text: str, file: str = "", *, folder: str = "", feel_faults: FeelFaults = _no_faults
) -> Form:
    """Read a tune file's text, such as "key: C\\n| Dm7 | G7 | Cmaj7 | % |".

    ``file`` names it in messages, and gives the title where the text has none. Feel files that
    the text names are looked for in ``folder`` ("": the working folder). ``feel_faults`` finds
    the mistakes in a feel; without it any name is taken.

    Raises:
        TuneError: every problem of the text, with its place.
    """
    cause = f"{file or 'This text'} cannot be read as a tune"
    with guarded(cause, "Please report it, and send the file along."):
        return TuneReader(text, file, folder, feel_faults).form()


def read_file(path: Path | str, *, feel_faults: FeelFaults = _no_faults) -> Form:
    """The form in a tune file: UTF-8 text, with or without a byte order mark.

    Feel files that it names are looked for in its folder; ``feel_faults``: see ``read``.

    Raises:
        TuneError: every problem of its text.
        UserError: the file is missing, unreadable, too long, or no text.
    """
    path = Path(path)
    return read(
        decoded(read_bytes(path, TUNE_BYTES, "a tune"), path),
        str(path),
        folder=str(path.parent),
        feel_faults=feel_faults,
    )


def decoded(data: bytes, path: Path) -> str:
    """The text of a tune file. Raises UserError for what is no UTF-8 text."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        cause = f"{path} isn't UTF-8 text (see byte {error.start + 1})."
        raise UserError(cause, "Save it from a text editor as plain UTF-8 text.") from None
    if "\0" in text:
        raise UserError(f"{path} isn't a text file.", "Name a tune file: plain UTF-8 text.")
    return text
