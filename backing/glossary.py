"""The words for each idea in help, messages, page, sheets, marks and tags: one idea, one word.

Import a term and say it, ``f"{HEAD_OUT}"``. ``retired`` are the words it took
the place of; tests/test_glossary.py refuses them wherever a user reads. ``unless`` are phrases in
which such a word means something else.
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


CHORUS = Term(
    "chorus", "once through the form", ("pass", "passes"),
    ("passes the tests", "pass the tests", "low-pass", "passes on", "pass on"),
)  # fmt: skip
TIME = Term(
    "time", 'once through a loop: "B, 2nd time"',
    ("round", "rounds", "each take", "every take", "new take", "takes begin"), ("round trip",),
)  # fmt: skip
LOOP = Term("loop", "bars played again and again without a stop")
HEAD = Term("head", "the tune itself, before the solos")
HEAD_OUT = Term(
    "head out", "the tune itself again, after the solos",
    ("out-chorus", "out chorus", "last time", "solos and out", "(out)"),
)  # fmt: skip
SOLO = Term("solo", "a chorus to improvise on")

COMP = Term(
    "comp", "the player of chords, on whichever instrument",
    (
        "pianist", "comping player", "without piano", "without comping", "bass, piano",
        "bass,piano", "piano bass", "piano drums", "piano or drums", "bass, comping,",
    ),
)  # fmt: skip
LINE = Term(
    "line", "single notes through the changes, played by the band or printed",
    ("melody", "melodies"), ("over the melody", "melody of a tune"),
)  # fmt: skip
ETUDE = Term("etude", "a line made for practice, in one note value or in phrases", ("étude",))
CALL = Term("call", "two bars of a line, then two for your answer")
GUIDE_TONES = Term("guide tones", "the 3rd and the 7th of each chord")
FROM_THE_3RD = Term(
    "guide-tone line from the 3rd", "guide tones led by step, starting on a 3rd",
    ("thread", "threads", "thirds, sevenths", "thirds or sevenths", "thread from the third"),
)  # fmt: skip
FROM_THE_7TH = Term("guide-tone line from the 7th", "guide tones led by step, starting on a 7th")

PUSH = Term(
    "push", "the band plays a chord ahead of the beat it is written on",
    ("arrives early", "arrives an eighth early", "early chord", "chord early"),
)  # fmt: skip
ANTICIPATE = Term(
    "anticipate", "a line goes to the next chord before it comes", ("--early", "arrive early")
)
LAY_OUT = Term(
    "lay out", "rest while the others play", ("drums out", "piano out", "bass out", "on your own")
)
BREAK = Term("break", "the band hits once and is silent to the end of the last bar")
STOP_TIME = Term("stop-time", "the band plays these beats of every bar and nothing else")
HOLD = Term("hold", "a fermata: the band strikes a beat and holds it, twice as long")
RIT = Term("rit", "a ritardando: the tempo falls from bar to bar, and returns")

COUNT_IN = Term("count-in", "bars counted before the band begins")
LEAD_IN = Term("lead-in", "bars of the tune that lead into a loop")
REST_BAR = Term(
    "rest bar", "a bar of hi-hat alone between times", ("--breath", "breaths", "a breath")
)
CLIMB = Term("climb", "the tempo stepped up from slow to fast")
GROW = Term("grow", "a loop from its last bar alone to all of its bars")
SUBDIVISIONS = Term(
    "subdivisions", "wholes, halves, quarters, eighths and triplets in turn", ("ladder", "ladders")
)
TRADE = Term("trade", "you and a partner take turns, four bars each or as many as you say")
DRUMS_FIRST = Term("drums first", "in a trade, the drums begin", ("you-second", "you second"))
LINE_FIRST = Term("line first", "in a trade, the line begins")

HALF_STEP = Term("half step", "from one fret to the next", ("semitone", "semitones"))
ARPEGGIOS = Term("arpeggios", "all chords on one root, along the neck", ("--set",))
POSITION = Term("position", "where the hand lies: the fret under the first finger")
FEEL = Term("feel", "how the band plays time: swing, bossa, waltz")
NOTE_VALUES = Term(
    "note values", "whole, half, quarter, eighth, sixteenth",
    ("semibreve", "minim", "crotchet", "quaver", "semiquaver"),
)  # fmt: skip

TERMS = tuple(term for term in list(globals().values()) if isinstance(term, Term))
"""All of them."""
