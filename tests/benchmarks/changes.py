"""Changes drawn at random from a grammar of cadences, as tune files: our own, for measuring.

A tune is four sections of eight bars, A A B A; a section two phrases of four bars; a phrase one of
the ways in which standard harmony moves (common practice, no source): cadences in major and minor,
cycles, substitutes, diminished passing chords, lines in the bass, turnarounds, chords that stay.
Equal dice give equal tunes.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from fractions import Fraction

from backing.chart.form import Form
from backing.chart.pitch import Interval
from backing.chart.text.tune_file import read

NAMES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
Bars = list[str]
Phrase = Callable[["_Home", random.Random], Bars]


class _Home:
    """A key to be in for a phrase: its tonic (pitch class) and whether it is minor."""

    def __init__(self, tonic: int, *, minor: bool) -> None:
        self.tonic, self.minor = tonic, minor

    def at(self, semitones: int, suffix: str) -> str:
        """A chord on the note so far above the tonic."""
        return NAMES[(self.tonic + semitones) % 12] + suffix

    def rest(self, dice: random.Random) -> str:
        """The tonic chord, in one of its colours."""
        colours = ("m", "m6", "m7", "mMaj7", "m6/9") if self.minor else ("", "6", "maj7", "maj9")
        return self.at(0, dice.choice(colours))

    def two(self) -> str:
        """The chord that leads to the dominant."""
        return self.at(2, "m7b5" if self.minor else "m7")

    def five(self, dice: random.Random) -> str:
        """The dominant, plain most of the time."""
        minor = ("7", "7b9", "7alt", "7(b9,b13)")
        return self.at(7, dice.choice(minor if self.minor else ("7", "7", "7", "13", "9", "7sus")))


def _cadence(home: _Home, dice: random.Random) -> Bars:
    return [home.two(), home.five(dice), home.rest(dice), "%"]


def _rest_first(home: _Home, dice: random.Random) -> Bars:
    return [home.rest(dice), "%", home.two(), home.five(dice)]


def _short_cadence(home: _Home, dice: random.Random) -> Bars:
    to = _Home(home.tonic + dice.choice((2, 5, 9)), minor=dice.random() < 0.5)
    return [home.rest(dice), f"{to.two()} {to.five(dice)}", to.rest(dice), home.five(dice)]


def _turnaround(home: _Home, dice: random.Random) -> Bars:
    third = home.at(3, "maj7") if home.minor else home.at(4, "m7")
    sixth = home.at(9, "m7b5" if home.minor else dice.choice(("7", "7b9", "m7")))
    back = f"{home.two()} {home.five(dice)}"
    return [home.rest(dice), f"{third} {sixth}", home.two(), back]


def _four_a_bar(home: _Home, dice: random.Random) -> Bars:
    fast = f"{home.at(0, '6')} {home.at(9, '7')} {home.two()} {home.five(dice)}"
    return [home.rest(dice), home.two(), home.five(dice), fast]


def _three_a_bar(home: _Home, dice: random.Random) -> Bars:
    fast = f"{home.two()} / {home.five(dice)} {home.at(1, '7')}"
    return [home.two(), fast, home.rest(dice), "%"]


def _cycle(home: _Home, dice: random.Random) -> Bars:
    ends = dice.choice(("7", "9", "13"))
    return [home.at(4, "7"), home.at(9, "7"), home.at(2, ends), home.five(dice)]


def _substitute(home: _Home, dice: random.Random) -> Bars:
    return [home.two(), home.at(1, dice.choice(("7", "7#11", "9"))), home.rest(dice), "%"]


def _back_door(home: _Home, dice: random.Random) -> Bars:
    back = home.at(10, dice.choice(("7", "9")))
    return [home.at(5, "m7"), back, home.rest(dice), home.at(9, "7")]


def _passing(home: _Home, dice: random.Random) -> Bars:
    falling = home.at(3, "dim7")
    return [home.rest(dice), home.at(1, "dim7"), home.at(2, "m7"), f"{falling} {home.five(dice)}"]


def _falling_bass(home: _Home, dice: random.Random) -> Bars:
    kind, sixth = ("m7", home.at(9, "m7b5")) if home.minor else ("maj7", home.at(9, "m7"))
    over = home.at(0, kind) + "/" + home.at(10 if home.minor else 11, "")
    return [home.at(0, kind), over, f"{sixth} {home.at(8, '7')}", home.five(dice)]


def _chromatic(home: _Home, dice: random.Random) -> Bars:
    return [home.at(4, "m7"), f"{home.at(3, 'm7')} {home.at(8, '7')}", home.two(), home.five(dice)]


def _stays(home: _Home, dice: random.Random) -> Bars:
    kind = dice.choice(("m7", "m7", "7", "maj7", "7sus"))
    return [home.at(dice.choice((0, 0, 1, 2)), kind), "%", "%", "%"]


def _blues(home: _Home, dice: random.Random) -> Bars:
    one, four = home.at(0, "7"), home.at(5, "7")
    return [one, four, one, "%"] if dice.random() < 0.5 else [four, "%", one, home.at(9, "7")]


def _quick(home: _Home, dice: random.Random) -> Bars:
    cadence = f"{home.two()} {home.five(dice)}"
    return [cadence, f"{home.rest(dice)} {home.at(9, '7')}", cadence, home.rest(dice)]


def _two_fives(home: _Home, dice: random.Random) -> Bars:
    falling = (_Home(home.tonic + step, minor=False) for step in (4, 2, 0))
    return [*(f"{to.two()} {to.five(dice)}" for to in falling), home.rest(dice)]


STAYING = 0.12
"""How many bridges are one chord."""
CUES = ("push 5: 1", "hits 7: 1 2& 4", "stop-time 3: 1 2&", "break 8: 1", "late 2: 1")
"""What the whole band may be told to do in a section of eight bars."""

GRAMMAR: tuple[tuple[Phrase, float], ...] = (
    (_cadence, 4), (_rest_first, 3), (_short_cadence, 5), (_turnaround, 5), (_four_a_bar, 4),
    (_three_a_bar, 2), (_cycle, 2), (_substitute, 2), (_back_door, 1.5), (_passing, 2),
    (_falling_bass, 2), (_chromatic, 3), (_stays, 2), (_blues, 1.5), (_quick, 4), (_two_fives, 3),
)  # fmt: skip
"""Phrases of four bars in 4/4, and how often each comes."""


def tune(
    dice: random.Random,
    *,
    tempo: int = 160,
    feel: str = "swing",
    meter: str = "4/4",
    cues: bool = False,
) -> str:
    """A tune of 32 bars in C, major or minor: the text of its file.

    In a meter of other than four beats a bar keeps the first two of its chords. ``cues``: the
    whole band is told something of CUES in both sections.
    """
    minor = dice.random() < 0.35
    home = _Home(0, minor=minor)
    away = _Home(dice.choice((2, 3, 4, 5, 8, 9)), minor=dice.random() < 0.4)
    close = dice.choice((_turnaround, _quick, _cadence, _four_a_bar))
    first = [*_phrase(home, dice), *close(home, dice)]
    bridge = [*_phrase(away, dice), *_phrase(home, dice)]
    if dice.random() < STAYING:
        bridge = [away.at(0, dice.choice(("m7", "7", "maj7"))), *["%"] * 7]
    sections = [
        f"section {name}\n{_rows(bars, meter)}" + (dice.choice(CUES) + "\n" if cues else "")
        for name, bars in (("A", first), ("B", bridge))
    ]
    return (
        f"title: Drawn Lots\nkey: C {'minor' if minor else 'major'}\nmeter: {meter}\n"
        f"tempo: {tempo}\nfeel: {feel}\nhead: A A B A\n\n" + "\n".join(sections)
    )


def _phrase(home: _Home, dice: random.Random) -> Bars:
    return dice.choices([p for p, _ in GRAMMAR], [weight for _, weight in GRAMMAR])[0](home, dice)


def _rows(bars: Bars, meter: str) -> str:
    fitted = [bar if meter in ("4/4", "12/8") else _two_chords(bar, meter) for bar in bars]
    rows = (fitted[at : at + 4] for at in range(0, len(bars), 4))
    return "".join("| " + " | ".join(row) + " |\n" for row in rows)


def _two_chords(bar: str, meter: str) -> str:
    chords = [word for word in bar.split() if word != "/"][:2]
    return (" / " if meter == "3/4" else " ").join(chords)


def random_form(
    number: int,
    *,
    tempo: int = 160,
    feel: str = "swing",
    meter: str = "4/4",
    cues: bool = False,
) -> Form:
    """Tune ``number`` of the grammar, see ``tune``; the numbers go through all twelve keys."""
    dice = random.Random(f"changes {number}")
    form = read(tune(dice, tempo=tempo, feel=feel, meter=meter, cues=cues))
    return form.transposed(Interval.of_semitones(number * 5 % 12))


def chords_a_bar(form: Form) -> list[Fraction]:
    """The shares of the bars of a chorus with one, two, three and four chords."""
    counts = [len(bar.changes) for bar in form.played("head")]
    return [Fraction(counts.count(n), len(counts)) for n in (1, 2, 3, 4)]
