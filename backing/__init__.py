"""A band that plays the changes: one short text file becomes practice tracks.

The pipeline, which is also the file tree::

    tune file ─chart→ Form ─routine→ Routine ─combo→ Performance ─┬─midi→ SMF bytes
                                                                  └─mixdown→ audio, stems
    neck, lines → sheet, page

A tune, what is asked of it and who plays become sound in four steps; every value takes the words of
the command line, or exact types::

    import backing

    form = backing.read_file("tunes/corner-booth.tune")
    asked = backing.Request(bars="31-2", times=4, climb="80%-100%:5%", rest_bars=1)
    band = backing.Band(without="comp", guide_line="3rd", seed=7)
    performance = backing.arrange(backing.make_routine(form, asked), band)

    smf = backing.midi_bytes(performance)
    mix = backing.render(performance, backing.Bank(backing.choose_soundfont()))
    backing.save(mix, "corner-booth.wav")

More to ask for::

    backing.Request(choruses=5, trade="4 drums first", ending="tag")     # fours in the solos
    backing.Request(bars="A B", key="fourths", times=1)                  # through twelve keys
    backing.Band(line=backing.read_line("etude level 2 off-beats"))      # hear a solo line
    backing.Band(players="bass, drums", click="2 and 4", swing=1.6)      # no chords

The public names are loaded when they are asked for; ``dir(backing)`` lists them.
What the caller got wrong is a UserError; a tune's is a TuneError with all its mistakes.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from backing.chart.changes import read_changes as read_changes
    from backing.chart.form import Form as Form
    from backing.chart.harmony import parse_chord as parse_chord
    from backing.chart.text.tune_file import read as read
    from backing.chart.text.tune_file import read_file as read_file
    from backing.chart.text.tune_file import write as write
    from backing.combo.arrangement import arrange as arrange
    from backing.combo.band import Band as Band
    from backing.combo.performance import Performance as Performance
    from backing.errors import BackingError as BackingError
    from backing.errors import TuneError as TuneError
    from backing.errors import UserError as UserError
    from backing.lines.phrase import read_line as read_line
    from backing.lines.player import Line as Line
    from backing.midi import to_bytes as midi_bytes  # noqa: F401
    from backing.mixdown.bank import Bank as Bank
    from backing.mixdown.mix import render as render
    from backing.mixdown.mix import save as save
    from backing.mixdown.soundfont import choose as choose_soundfont  # noqa: F401
    from backing.routine.request import Request as Request
    from backing.routine.routine import Routine as Routine
    from backing.routine.routine import make_routine as make_routine
    from backing.routine.routine import separated as separated

__version__ = "0.2.0"

_HOMES = {
    "BackingError": "errors",
    "Band": "combo.band",
    "Bank": "mixdown.bank",
    "Form": "chart.form",
    "Line": "lines.player",
    "Performance": "combo.performance",
    "Request": "routine.request",
    "Routine": "routine.routine",
    "TuneError": "errors",
    "UserError": "errors",
    "arrange": "combo.arrangement",
    "choose_soundfont": "mixdown.soundfont:choose",
    "make_routine": "routine.routine",
    "midi_bytes": "midi:to_bytes",
    "parse_chord": "chart.harmony",
    "read": "chart.text.tune_file",
    "read_changes": "chart.changes",
    "read_file": "chart.text.tune_file",
    "read_line": "lines.phrase",
    "render": "mixdown.mix",
    "save": "mixdown.mix",
    "separated": "routine.routine",
    "write": "chart.text.tune_file",
}
"""Public name -> the module it lives in, and its name there where that is another."""

__all__ = ["__version__", *_HOMES]  # noqa: PLE0604 - all of them are texts


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'backing' has no attribute {name!r}")
    module, _, there = _HOMES[name].partition(":")
    return getattr(import_module(f"backing.{module}"), there or name)


def __dir__() -> list[str]:
    return sorted(__all__)
