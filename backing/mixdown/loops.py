"""The innermost loops of the mixdown, compiled from ``_loops.c`` if there was a C compiler.

Where there was none, ``compiled`` is None, and a few lines of numpy beside each call do the same in
two to seven times the time. Sums are then made in another order: samples may differ in their last
bits, as they may between two kinds of processor.
"""

from __future__ import annotations

from types import ModuleType

compiled: ModuleType | None
try:
    from backing.mixdown import _loops as compiled
except ImportError:
    compiled = None
