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
    from backing.chart.changes import read_changes
    from backing.chart.form import Form
    from backing.chart.harmony import parse_chord
    from backing.chart.text.tune_file import read, read_file, write
    from backing.combo.arrangement import arrange
    from backing.combo.band import Band
    from backing.combo.performance import Performance
    from backing.errors import BackingError, TuneError, UserError
    from backing.lines.line import Line
    from backing.lines.phrase import read_line
    from backing.midi import to_bytes as midi_bytes
    from backing.mixdown.bank import Bank
    from backing.mixdown.mix import render, save
    from backing.mixdown.soundfont import choose as choose_soundfont
    from backing.routine.request import Request
    from backing.routine.routine import Routine, make_routine, separated

__version__ = "0.2.0"

_HOMES = {
    "BackingError": "errors",
    "Band": "combo.band",
    "Bank": "mixdown.bank",
    "Form": "chart.form",
    "Line": "lines.line",
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

__all__ = [
    "BackingError",
    "Band",
    "Bank",
    "Form",
    "Line",
    "Performance",
    "Request",
    "Routine",
    "TuneError",
    "UserError",
    "__version__",
    "arrange",
    "choose_soundfont",
    "make_routine",
    "midi_bytes",
    "parse_chord",
    "read",
    "read_changes",
    "read_file",
    "read_line",
    "render",
    "save",
    "separated",
    "write",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'backing' has no attribute {name!r}")
    module, _, there = _HOMES[name].partition(":")
    return getattr(import_module(f"backing.{module}"), there or name)


def __dir__() -> list[str]:
    return sorted(__all__)
