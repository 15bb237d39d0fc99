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
    smf = backing.to_bytes(performance)
    mix = backing.render(performance, backing.Bank(backing.choose()))
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "Band": "combo.arrangement",
    "Bank": "mixdown.bank",
    "Form": "chart.form",
    "Performance": "combo.performance",
    "Request": "routine.orders",
    "Routine": "routine.orders",
    "arrange": "combo.arrangement",
    "choose": "mixdown.soundfont",
    "make_routine": "routine.orders",
    "parse_chord": "chart.harmony",
    "read": "chart.tune_file",
    "read_changes": "chart.changes",
    "read_file": "chart.tune_file",
    "render": "mixdown.mix",
    "save": "mixdown.mix",
    "to_bytes": "midi",
    "write": "chart.tune_file",
}
"""Public name -> the module it lives in."""

__all__ = [  # noqa: PLE0604 - the names are those of the table, resolved below
    "__version__",
    *_HOMES,
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'backing' has no attribute {name!r}")
    return getattr(import_module(f"backing.{_HOMES[name]}"), name)
