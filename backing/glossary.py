"""The words for each idea in help, messages, page, sheets, marks and tags: one idea, one word.

Import a term and say it, ``f"{HEAD_OUT}"``, or its ``plural``. ``retired`` are the words it took
the place of, which tests/test_glossary.py refuses wherever a user reads; ``unless`` are the
phrases in which such a word means something else ("round trip").
"""

from __future__ import annotations

from typing import NamedTuple


class Term(NamedTuple):
    """One idea: its ``word``, what it means in a line, and the words no longer used for it."""

    word: str
    meaning: str
    retired: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()

    def __str__(self) -> str:
        return self.word

    @property
    def plural(self) -> str:
        """More than one of them: "times", "choruses"."""
        return self.word + ("es" if self.word.endswith("s") else "s")


CHORUS = Term("chorus", "once through the form", ("pass", "passes"), ("low pass",))
TIME = Term(
    "time", 'once through a loop: "B, 2nd time"', ("round", "rounds", "take", "takes"),
    ("round trip", "go round", "goes round", "in the round", "take off", "takes off", "it takes"),
)  # fmt: skip
LOOP = Term("loop", "bars played again and again without a stop", ("vamp loop",))
HEAD = Term("head", "the tune itself, before the solos")
HEAD_OUT = Term(
    "head out", "the tune itself again, after the solos", ("out-chorus", "out chorus", "last time")
)
SOLO = Term("solo", "a chorus to improvise on")

COMP = Term("comp", "the player of chords, on whichever instrument", ("comping player", "pianist"))
LINE = Term("line", "single notes through the changes, played by the band or printed", ("melody",))
ETUDE = Term("etude", "a line made for practice, in one note value or in phrases")
GUIDE_TONES = Term("guide tones", "the 3rd and the 7th of each chord")
FROM_THE_3RD = Term(
    "guide-tone line from the 3rd", "guide tones led by step, starting on a 3rd",
    ("thread", "threads", "thirds line"),
)  # fmt: skip
FROM_THE_7TH = Term(
    "guide-tone line from the 7th", "guide tones led by step, starting on a 7th", ("sevenths line",)
)
CALL = Term("call", "two bars of a line, then two for your answer")

PUSH = Term("push", "the band plays a chord ahead of the beat it is written on")
ANTICIPATE = Term("anticipate", "a line goes to the next chord before it comes")
LAY_OUT = Term("lay out", "rest while the others play", ("drums out", "on your own"))
BREAK = Term("break", "the band hits once and is silent to the end of the last bar")
STOP_TIME = Term("stop-time", "the band plays these beats of every bar and nothing else")

COUNT_IN = Term("count-in", "bars counted before the band begins")
LEAD_IN = Term("lead-in", "bars of the tune that lead into a loop")
REST_BAR = Term("rest bar", "a bar of hi-hat alone between times", ("breathing bar",))
CLIMB = Term("climb", "the tempo stepped up from slow to fast")
GROW = Term("grow", "a loop from its last bar alone to all of its bars")
SUBDIVISIONS = Term(
    "subdivisions", "wholes, halves, quarters, eighths and triplets in turn", ("ladder", "ladders")
)
TRADE = Term("trade", "you and a partner take turns, four bars each or so many as you say")
DRUMS_FIRST = Term("drums first", "in a trade, the drums begin", ("you-second", "you second"))
LINE_FIRST = Term("line first", "in a trade, the line begins")

HALF_STEP = Term("half step", "from one fret to the next", ("semitone", "semitones"))
ARPEGGIOS = Term("arpeggios", "the notes of each chord on a root, in one position of the neck")
POSITION = Term("position", "where the hand lies: the fret under the first finger")
FEEL = Term("feel", "how the band plays time: swing, bossa, waltz")
NOTE_VALUES = Term(
    "note values", "whole, half, quarter, eighth, sixteenth",
    ("semibreve", "minim", "crotchet", "quaver", "semiquaver"),
)  # fmt: skip

TERMS = (
    CHORUS, TIME, LOOP, HEAD, HEAD_OUT, SOLO,
    COMP, LINE, ETUDE, GUIDE_TONES, FROM_THE_3RD, FROM_THE_7TH, CALL,
    PUSH, ANTICIPATE, LAY_OUT, BREAK, STOP_TIME,
    COUNT_IN, LEAD_IN, REST_BAR, CLIMB, GROW, SUBDIVISIONS, TRADE, DRUMS_FIRST, LINE_FIRST,
    HALF_STEP, ARPEGGIOS, POSITION, FEEL, NOTE_VALUES,
)  # fmt: skip
"""All of them, in the order in which help lists them."""
