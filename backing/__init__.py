"""A band that plays the changes: one short text file becomes practice tracks.

The pipeline, which is also the file tree::

    tune file ─chart→ Form ─routine→ Passes ─combo→ Performance ─midi→ SMF bytes
                                                         ├────mixdown→ audio, stems
                                                         └───practice→ neck, lines, sheets, page

The public names are loaded when they are asked for::

    import backing

    form = backing.read_file("tunes/corner-booth.tune")
    routine = backing.make_routine(form, backing.Request(bars="B", times=4))
    performance = backing.arrange(routine, backing.Band(seed=7))
    smf = backing.midi_bytes(performance)
    mix = backing.render(performance, backing.Bank(backing.choose_soundfont()))

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
    from backing.midi import to_bytes as midi_bytes
    from backing.mixdown.bank import Bank
    from backing.mixdown.mix import render, save
    from backing.mixdown.soundfont import choose as choose_soundfont
    from backing.routine.orders import Request, Routine, make_routine

__version__ = "0.1.0"

_HOMES = {
    "BackingError": "errors",
    "Band": "combo.band",
    "Bank": "mixdown.bank",
    "Form": "chart.form",
    "Performance": "combo.performance",
    "Request": "routine.orders",
    "Routine": "routine.orders",
    "TuneError": "errors",
    "UserError": "errors",
    "arrange": "combo.arrangement",
    "choose_soundfont": "mixdown.soundfont:choose",
    "make_routine": "routine.orders",
    "midi_bytes": "midi:to_bytes",
    "parse_chord": "chart.harmony",
    "read": "chart.text.tune_file",
    "read_changes": "chart.changes",
    "read_file": "chart.text.tune_file",
    "render": "mixdown.mix",
    "save": "mixdown.mix",
    "write": "chart.text.tune_file",
}
"""Public name -> the module it lives in, and its name there where that is another."""

__all__ = [
    "BackingError",
    "Band",
    "Bank",
    "Form",
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
    "render",
    "save",
    "write",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'backing' has no attribute {name!r}")
    module, _, there = _HOMES[name].partition(":")
    return getattr(import_module(f"backing.{module}"), there or name)
