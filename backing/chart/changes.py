"""Bare changes, without a tune: a cadence or a vamp typed on the command line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from textwrap import shorten

from backing.chart.form import Form
from backing.chart.harmony import Chord
from backing.chart.pitch import Key
from backing.chart.text.tune_file import read
from backing.errors import Problem, TuneError

NAME = "changes"
LONGEST_TITLE = 80
"""In characters; what is longer would not read as a title."""


def read_changes(
    text: str, *, meter: str = "4/4", tempo: Fraction = Fraction(120), feel: str = "swing"
) -> Form:
    """A form of one section from bars like "Dm7 | G7 | Cmaj7 | %".

    ``tempo`` in bpm; ``feel`` is a name, or a feel file's path from the working folder. The key is
    that of the last chord that can be a tonic, else of the last chord. Raises TuneError.
    """
    bars = text.strip()
    bars = bars if bars.startswith("|") else f"| {bars}"
    bars = bars if bars.endswith("|") else f"{bars} |"
    title = shorten(text, LONGEST_TITLE, placeholder=" ...")
    lines = [f"title: {title}", "key: C", f"meter: {meter}", f"tempo: {float(tempo):g}"]
    lines.append("section A")
    source = "\n".join([*lines, bars, ""])
    try:
        form = read(source, NAME)
    except TuneError as error:
        raise TuneError(tuple(_typed(problem, len(lines)) for problem in error.problems)) from None
    key = key_of(c.chord for bar in form.played("solos") for c in bar.changes if c.chord)
    return replace(read(source.replace("key: C\n", f"key: {key}\n", 1), NAME), feel=feel)


def _typed(problem: Problem, above: int) -> Problem:
    """The problem where the user typed it, without the lines ``above``."""
    return replace(problem, span=replace(problem.span, line=max(1, problem.span.line - above)))


def key_of(chords: Iterable[Chord]) -> Key:
    """The key of a cadence or a vamp: that of its last possible tonic, else of its last chord."""
    heard = list(chords)
    # a minor seventh is a ii more often than a tonic
    tonics = [c for c in heard if c.family in ("major", "minor", "minor-major")]
    home = [c for c in tonics if c.quality.name != "minor-seventh"]
    if not (home or heard):
        return Key.parse("C")
    last = (home or heard)[-1]
    minor = last.family in ("minor", "minor-major", "half-diminished", "diminished")
    mode = "minor" if minor else "major"
    c = Key.parse(f"C {mode}")
    return c.transposed(c.tonic.interval_to(last.root))
