"""What a player asks of a tune, in a player's words or in exact types."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import partial

from backing.chart.choice import Given, one_of, whole_number
from backing.chart.selection import check_selection
from backing.errors import RoutineError
from backing.routine.climb import Climb
from backing.routine.ending import ENDINGS
from backing.routine.keys import Keys
from backing.routine.tempo import Tempo
from backing.routine.trading import Trade

CHORUSES = 3
"""How many choruses are played if nothing else is asked for."""
SOLO_CHORUSES = 3
"""The fewest choruses with a solo among them: head, solo, head out."""


_count = partial(whole_number, error=RoutineError)
_ending = partial(one_of, known=ENDINGS, what="ending", error=RoutineError)


@dataclass(frozen=True, kw_only=True)
class Request:
    """What a player asks of a tune: whole choruses to an ending, or a loop, and drills in them.

    Every value may be given in the words of the command line, or in the type it is kept in.

    Args:
        tempo: "120" or 120 (bpm), "80%" of the tune's; None for the tune's own.
        climb: tempos that step up, "80-160:8" or "60%-105%:5% up-and-back". Makes a loop.
        choruses: head, solos and head out together; None for CHORUSES.
        bars: the bars of a loop, "13-16", "B:5-8", "31-2", "A B": see Form.select.
        times: how often a loop is played at each tempo; None for about a minute.
        key: "Bb", or keys in turn: "C F Bb", "fourths", "half-steps from G". Several make a loop.
        ending: one of ENDINGS; None for "held".
        count_in: bars counted before; None for as many as a leader counts, 0 for none.
        lead_in: bars of the tune before a loop begins.
        rest_bars: bars of the hi-hat alone between the times of a loop.
        grow: a loop grows backwards: its last bar, its last two, four, all of it.
        lay_out: bars at the end of each solo chorus or time in which only the hi-hat foot plays.
        same: the accompaniment is the same every time.
        trade: 4, "4 drums first", "4 with line": see Trade.
        subdivisions: a line is heard in one subdivision after another, ``times`` each. Makes a
            loop.
        goal: the tempo in bpm for which a loop is thought out; None for the fastest of its climb.

    Raises:
        RoutineError: a value that makes no sense, by itself or with the others.
        SelectionError: ``bars`` that are no selection.
    """

    tempo: Given[Tempo | None] = Given(Tempo.of)
    climb: Given[Climb | None] = Given(Climb.of)
    choruses: Given[int | None] = Given(partial(_count, what="choruses", low=1, high=100))
    bars: Given[str | None] = Given(check_selection)
    times: Given[int | None] = Given(partial(_count, what="times", low=1, high=1000))
    key: Given[Keys | None] = Given(Keys.of)
    ending: Given[str | None] = Given(_ending)
    count_in: Given[int | None] = Given(partial(_count, what="bars of count-in", low=0, high=8))
    lead_in: Given[int] = Given(partial(_count, what="bars of lead-in", low=0, high=32), 0)
    rest_bars: Given[int] = Given(partial(_count, what="rest bars", low=0, high=8), 0)
    grow: Given[bool] = Given(bool, False)
    lay_out: Given[int] = Given(partial(_count, what="bars laid out", low=0, high=64), 0)
    same: Given[bool] = Given(bool, False)
    trade: Given[Trade | None] = Given(lambda said: None if said in (0, "0") else Trade.of(said))
    subdivisions: Given[bool] = Given(bool, False)
    goal: Given[Fraction | None] = Given(lambda said: Tempo.of(said).number)

    def __post_init__(self) -> None:
        _check(self)

    @property
    def loops(self) -> bool:
        """Whether bars go round and round, rather than choruses to an ending."""
        climbs = self.climb is not None or self.goal is not None
        keys = self.key is not None and self.key.in_turn
        return bool(self.bars or self.times or climbs or keys or self.grow or self.subdivisions)


def _check(request: Request) -> None:
    """Raise RoutineError where one wish leaves nothing of another."""
    if request.tempo and request.climb:
        raise RoutineError("A climb names its own tempos.", "Leave out the tempo, or the climb.")
    if request.lay_out and request.grow:
        raise RoutineError(
            "A loop that grows begins with its last bars, and the band would lay out there.",
            "Leave out one of the two.",
        )
    (_check_loop if request.loops else _check_choruses)(request)


def _check_loop(request: Request) -> None:
    if request.choruses is not None:
        raise RoutineError(
            "A loop has no choruses.",
            "Leave them out; the times say how often a loop is played.",
        )
    if request.ending is not None:
        raise RoutineError("A loop has no ending.", "Leave it out, or play whole choruses.")


def _check_choruses(request: Request) -> None:
    for value, what in (
        (request.lead_in, "A lead-in"),
        (request.rest_bars, "A rest bar"),
        (request.same, "The same accompaniment every time"),
    ):
        if value:
            raise RoutineError(f"{what} is for a loop.", "Choose its bars, or leave it out.")
    if (request.choruses or CHORUSES) >= SOLO_CHORUSES:
        return
    for drill, what in ((request.trade, "Trading"), (request.lay_out, "Laying out")):
        if drill:
            raise RoutineError(
                f"{what} is for solo choruses, and there is none between head and head out.",
                f"Ask for {SOLO_CHORUSES} choruses or more, or for a loop.",
            )
