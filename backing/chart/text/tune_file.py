"""The tune file: a short text as a player types it becomes a form, with all its mistakes at once.

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
- Beside a section's name: ``section B  feel: two  key: F  meter: 3/4  tempo: x1/2`` (x: times the
  tune's tempo).
- A ``solos:`` line stands under the row of bars it varies, bar under bar (``%%`` counts as two).
- Headers are listed in ``header.py``, cues such as ``hits`` in ``cue_line.py``.
"""

from __future__ import annotations

from pathlib import Path

from backing.chart.form import Form
from backing.chart.text.tune_reader import FeelFaults, TuneReader
from backing.chart.text.writer import write
from backing.errors import UserError

__all__ = ["MOST_BYTES", "read", "read_file", "write"]

MOST_BYTES = 1_000_000
"""A longer file is no tune."""


def _no_faults(_: str) -> tuple[UserError, ...]:
    return ()


def read(
    text: str, file: str = "", *, folder: str = "", feel_faults: FeelFaults = _no_faults
) -> Form:
    """The form that a tune file's text describes.

    ``file`` names it in messages, and gives the title where the text has none. Feel files that
    the text names are sought in ``folder`` ("": the working folder). ``feel_faults`` is asked
    what is wrong with each feel; the chart alone takes any name.

    Raises:
        TuneError: every problem of the text, with its place.
    """
    return TuneReader(text, file, folder, feel_faults).form()


def read_file(path: Path | str, *, feel_faults: FeelFaults = _no_faults) -> Form:
    """The form in a tune file: UTF-8 text, with or without a byte order mark.

    Feel files that it names are sought beside it; ``feel_faults``: see ``read``.

    Raises:
        TuneError: every problem of its text.
        UserError: the file is missing, unreadable, too long, or no text.
    """
    path = Path(path)
    return read(_text(path), str(path), folder=str(path.parent), feel_faults=feel_faults)


def _text(path: Path) -> str:
    try:
        if path.is_dir():
            raise UserError(f"{path} is a folder.", "Name one tune file in it.")
        if path.stat().st_size > MOST_BYTES:
            cause = f"{path} is longer than a tune: {path.stat().st_size:,} bytes."
            raise UserError(cause, f"A tune file has at most {MOST_BYTES:,}.")
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES)
    except FileNotFoundError:
        raise UserError(f"There is no file {path}.", "Check the name and the folder.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "its name is no file name"
        raise UserError(f"{path} cannot be read: {reason}.", "Check its name and rights.") from None
    return _decoded(data, path)


def _decoded(data: bytes, path: Path) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        cause = f"{path} is no UTF-8 text (byte {error.start + 1} does not belong there)."
        raise UserError(cause, "Save it from a text editor as plain UTF-8 text.") from None
    if "\0" in text:
        raise UserError(f"{path} is no text file.", "Name a tune file: plain UTF-8 text.")
    return text
