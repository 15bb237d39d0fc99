"""Bare changes, without a tune: a cadence or a vamp typed on the command line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from textwrap import shorten

from backing.chart.form import Form
from backing.chart.harmony import Chord
from backing.chart.pitch import Key, PitchName
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
    told by ``key_of``. Raises TuneError.
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
    """The key of a cadence or a vamp.

    That of its last possible tonic; else that in which its last II-V would come to rest; else that
    of the first chord, as of a blues or a vamp. Common practice, no source.
    """
    heard = list(chords)
    # a minor seventh is a II more often than a tonic
    tonics = [c for c in heard if c.family in ("major", "minor", "minor-major")]
    home = [c for c in tonics if c.quality.name != "minor-seventh"]
    cadences = [(two, five) for two, five in pairwise(heard) if _is_cadence(two, five)]
    if home:
        return _key_on(home[-1].root, minor=home[-1].family != "major")
    if cadences:
        two, five = cadences[-1]
        tonic = PitchName.of_fifths(five.root.fifths - 1)
        return _key_on(tonic, minor=two.family == "half-diminished")
    if not heard:
        return Key.parse("C")
    minor = heard[0].family in ("minor", "half-diminished", "diminished")
    return _key_on(heard[0].root, minor=minor)


def _key_on(tonic: PitchName, *, minor: bool) -> Key:
    c = Key.parse("C minor" if minor else "C major")
    return c.transposed(c.tonic.interval_to(tonic))


def _is_cadence(two: Chord, five: Chord) -> bool:
    """Whether two chords are a II and the V that it leads to, a fourth up."""
    up = (five.root.pitch_class - two.root.pitch_class) % 12
    leads = two.quality.name == "minor-seventh" or two.family == "half-diminished"
    return up == 5 and leads and five.family in ("dominant", "sus")
