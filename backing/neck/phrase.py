"""The neck in a player's words: "drop-d 24 frets left-handed"."""

from __future__ import annotations

import re

from backing.chart.phrase import Grammar, Term
from backing.errors import PracticeError, quoted
from backing.neck.fingerboard import FRETS, STANDARD, TUNINGS, Fingerboard, make_fingerboard

NOTE = r"[a-z](?:##?|bb?)?[0-9]?"
GRAMMAR = Grammar(
    "a neck",
    (
        Term("tuning", "|".join(TUNINGS)),
        Term(
            "strings",
            rf"({NOTE}(?: {NOTE})*)",
            "the strings as notes (E2 A2 D3 G3 B3 E4)",
            cased=True,
        ),
        Term("frets", r"([^\s,]+) frets", "24 frets"),
        Term("left-handed", "left-handed"),
    ),
    PracticeError,
)


def read_neck(text: str) -> Fingerboard:
    """The fingerboard that a phrase describes, a guitar's where it leaves something out.

    Raises PracticeError for an unknown word, and for what is no neck.

    >>> read_neck("left-handed, drop-d").columns
    (1, 2, 3, 4, 5, 6)
    """
    said = GRAMMAR.read(text)
    if "tuning" in said and "strings" in said:
        raise PracticeError("A neck has one tuning.", "Name it, or write its strings, not both.")
    frets = said.get("frets", str(FRETS))
    if not re.fullmatch("[0-9]{1,6}", frets):
        raise PracticeError(f"{quoted(frets)} isn't a number of frets.", "Write 24 frets.")
    tuning = said.get("tuning") or said.get("strings") or STANDARD
    return make_fingerboard(tuning, int(frets), left_handed="left-handed" in said)


def with_tuning(text: str, tuning: str) -> str:
    """The phrase with a name from TUNINGS before it where it says nothing of the strings.

    Raises PracticeError for an unknown word.

    >>> with_tuning("24 frets", "bass")
    'bass 24 frets'
    """
    named = {"tuning", "strings"} & GRAMMAR.read(text).keys() if text else ()
    return text if named else f"{tuning} {text}".rstrip()
