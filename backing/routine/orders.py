"""Passes in order: whole choruses with head and ending, loops, climbs, keys without a stop."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from backing.chart.form import Form, PlayedBar
from backing.chart.pitch import Key
from backing.errors import RoutineError, SelectionError, quoted
from backing.routine.count_in import count_in
from backing.routine.drills import grown, laying_out
from backing.routine.ending import with_ending
from backing.routine.ladder import VALUES, rungs
from backing.routine.passes import Pass, Purpose
from backing.routine.trading import PARTNERS, traded, untraded

MOST_BARS = 20_000
"""About nine hours at 150 bpm; a slip of the finger asks for more."""
ROUNDS, ROUND_SECONDS = 8, 60
"""A loop is played for a minute, or eight times if that is shorter, before the tempo steps up.
A trade goes on until its turns come round, so that the end leads to the beginning."""
LADDER_ROUNDS = 2
"""Of each note value of a ladder, where a minute does not end sooner."""
SOLO_CHORUSES = 3
"""The fewest choruses with a solo among them: head, solo, out."""


@dataclass(frozen=True, slots=True)
class Request:
    """What a player asks of a form.

    ``tempos`` in bpm, one for each rung of a climb (empty: the tune's own), and ``goal`` the tempo
    for which a climb is thought out (None: its fastest); ``choruses`` counts
    head, solos and out; ``bars`` selects a loop ("13-16", "B:5-8") of ``times`` rounds (None: see
    ROUNDS), reached by ``lead_in`` bars, with ``breath`` bars of hi-hat between rounds; ``keys``
    are played in turn without a stop. ``count_in``: bars, None for as many as a leader counts.
    ``ending``: one of ENDINGS. ``same``: every round is the same accompaniment. ``grow``: the
    loop grows backwards from its last bar. ``ladder``: a line is heard in one note value after
    another, ``times`` rounds of each (None: see LADDER_ROUNDS). ``trade``: fours, or any number of
    bars, in turn with ``trade_with``, one of PARTNERS; ``partner_first`` swaps who starts.
    ``lay_out``: bars at the end of each chorus or round in which all but the hi-hat foot rest.
    """

    tempos: tuple[Fraction, ...] = ()
    goal: Fraction | None = None
    choruses: int = 3
    bars: str | None = None
    times: int | None = None
    lead_in: int = 0
    breath: int = 0
    keys: tuple[Key, ...] = ()
    count_in: int | None = None
    ending: str = "held"
    same: bool = False
    grow: bool = False
    ladder: bool = False
    trade: int = 0
    trade_with: str = "drums"
    partner_first: bool = False
    lay_out: int = 0

    @property
    def loops(self) -> bool:
        """Whether bars go round and round, rather than choruses to an ending."""
        climbs = self.goal is not None or len(self.tempos) > 1
        drills = self.grow or self.ladder
        return bool(self.bars or climbs or self.keys or self.times or drills)

    @property
    def separate(self) -> tuple[tuple[str, Request], ...]:
        """One request for each key and tempo, with a name for it; names sort as they are played."""
        goal = max(self.tempos, default=None)
        digits = max(2, len(str(len(self.keys or (None,)) * len(self.tempos or (None,)))))
        parts: list[tuple[str, Request]] = []
        for key in self.keys or (None,):
            for tempo in self.tempos or (None,):
                words = [f"{len(parts) + 1:0{digits}}"]
                words += [key.short] if key else []
                words += [f"{float(tempo):g} bpm"] if tempo else []
                one = replace(
                    self,
                    keys=(key,) if key else (),
                    tempos=(tempo,) if tempo else (),
                    goal=goal if len(self.tempos) > 1 else self.goal,
                )
                parts.append((" ".join(words), one))
        return tuple(parts)


@dataclass(frozen=True, slots=True)
class Routine:
    """The passes of a request, in order, without a gap.

    ``seamless``: nothing but rounds, so that the end leads to the beginning and the file can be
    repeated without a seam.
    """

    form: Form
    passes: tuple[Pass, ...]
    seamless: bool

    @property
    def tempos(self) -> tuple[Fraction, ...]:
        """The tempos in bpm, each once, in the order in which they come."""
        return tuple(dict.fromkeys(p.tempo for p in self.passes))


def make_routine(form: Form, request: Request) -> Routine:
    """What is played when ``request`` is asked of ``form``.

    Raises SelectionError for bars that are not there, RoutineError for what cannot be played.
    """
    tempos = request.tempos or (form.tempo,)
    _check(request)
    if request.loops:
        passes = list(_loops(form, request, tempos))
    else:
        passes = list(_choruses(form, request, tempos[0]))
    seamless = all(p.purpose is Purpose.ROUND for p in passes) and len(tempos) == 1
    count = sum(len(p.bars) for p in passes)
    if count > MOST_BARS:
        raise RoutineError(
            f"This asks for {count:,} bars.", f"Ask for at most {MOST_BARS:,} in one track."
        )
    return Routine(form, _linked(passes, seamless=seamless), seamless)


def _check(request: Request) -> None:
    counts = {
        "choruses": (request.choruses, 1, 100),
        "rounds": (1 if request.times is None else request.times, 1, 1000),
        "bars of lead-in": (request.lead_in, 0, 32),
        "bars of breath": (request.breath, 0, 8),
        "bars of count-in": (request.count_in or 0, 0, 8),
        "bars in a trade": (request.trade, 0, 32),
        "bars laid out": (request.lay_out, 0, 64),
    }
    for name, (value, low, high) in counts.items():
        if not low <= value <= high:
            raise RoutineError(
                f"{value} {name} cannot be played.", f"Choose a number from {low} to {high}."
            )
    if (request.lead_in or request.breath) and not request.loops:
        raise RoutineError(
            "A lead-in and a breath belong to a loop.", "Choose its bars, or leave them out."
        )
    _check_trade(request)


def _check_trade(request: Request) -> None:
    if request.trade_with not in PARTNERS:
        raise RoutineError(
            f"Nobody called {quoted(request.trade_with)} trades.",
            f"Choose from {', '.join(PARTNERS)}.",
        )
    if not request.trade and (request.partner_first or request.trade_with != PARTNERS[0]):
        raise RoutineError("A partner is for trading only.", "Say how many bars are traded.")
    if request.trade and not request.loops and request.choruses < SOLO_CHORUSES:
        raise RoutineError(
            "Solo choruses are what is traded, and there is none between head and out-chorus.",
            f"Ask for {SOLO_CHORUSES} choruses or more, or for a loop.",
        )


def _check_heard(bars: Sequence[PlayedBar], request: Request) -> None:
    """Refuse to let the band lay out for all of a round or a chorus."""
    if request.lay_out >= len(bars):
        raise RoutineError(
            f"With {request.lay_out} of {len(bars)} bars laid out the band would never play.",
            f"Ask for at most {len(bars) - 1}." if len(bars) > 1 else "Choose more bars.",
        )


def _choruses(form: Form, request: Request, tempo: Fraction) -> Iterator[Pass]:
    """Count-in, head, solo choruses, out-chorus with its ending."""
    count = request.choruses
    solos = form.played("solos")
    _check_heard(solos, request)
    solos = laying_out(solos, request.lay_out)
    head = _own(form.played("head"), request)
    order = [Purpose.HEAD, *[Purpose.SOLO] * (count - 2), Purpose.OUT][: max(count, 1)]
    if count == 1:
        order = [Purpose.OUT]
    out = form.played("out")
    if count == 1:
        # a single chorus has the tune's beginning and its end
        before = [bar for bar in head if bar.role == "intro" or bar.pickup]
        out = (*before, *out)
    out = _own(with_ending(out, request.ending), request)
    played = {Purpose.HEAD: head, Purpose.OUT: out}
    bars = [
        played[purpose] if purpose in played else _traded(solos, request, chorus - 1)
        for chorus, purpose in enumerate(order)
    ]
    counted = count_in(bars[0][0], tempo, request.count_in)
    if counted:
        yield counted
    for chorus, (purpose, mine) in enumerate(zip(order, bars, strict=True)):
        yield Pass(
            purpose, mine, tempo, take=chorus, reference_tempo=tempo, chorus=chorus, choruses=count
        )


def _traded(bars: tuple[PlayedBar, ...], request: Request, before: int) -> tuple[PlayedBar, ...]:
    """The bars traded, if they are to be, after ``before`` choruses or rounds of them."""
    if not request.trade:
        return bars
    return traded(
        bars, request.trade, request.trade_with, partner_first=request.partner_first, before=before
    )


def _own(bars: tuple[PlayedBar, ...], request: Request) -> tuple[PlayedBar, ...]:
    """Bars outside the trading, which are the player's own."""
    return untraded(bars, request.trade_with) if request.trade else bars


def _loops(form: Form, request: Request, tempos: Sequence[Fraction]) -> Iterator[Pass]:
    """For each key and tempo: count-in where the tempo is new, lead-in, rounds."""
    goal = request.goal or max(tempos)
    before: Fraction | None = None
    earlier = 0
    for key in request.keys or (form.key,):
        mine = form.transposed(form.key.tonic.interval_to(key.tonic))
        lead, loops = _loop_bars(mine, request)
        for tempo in tempos:
            if tempo != before:
                earlier = 0
                counted = count_in((lead or loops[0])[0], tempo, request.count_in)
                if counted:
                    yield counted
                if lead:
                    value = VALUES[0] if request.ladder else ""
                    yield Pass(Purpose.LEAD_IN, lead, tempo, reference_tempo=goal, value=value)
            before = tempo
            for bars in loops:
                rounds = tuple(_rounds(bars, request, tempo, goal, earlier))
                yield from rounds
            if not request.grow:  # the sizes of a loop that grows are exercises of their own
                earlier += sum(each.purpose is Purpose.ROUND for each in rounds)


def _loop_bars(
    form: Form, request: Request
) -> tuple[tuple[PlayedBar, ...], tuple[tuple[PlayedBar, ...], ...]]:
    """The bars that lead in, and the bars of each loop to be played one after the other."""
    bars = form.select(request.bars) if request.bars else form.played("solos")
    lead = _bars_before(form, bars[0], request.lead_in)
    _check_heard(bars, request)
    bars = laying_out(bars, request.lay_out)
    return _own(lead, request), grown(bars) if request.grow else (bars,)


def _rounds(
    bars: tuple[PlayedBar, ...], request: Request, tempo: Fraction, goal: Fraction, earlier: int
) -> Iterator[Pass]:
    """The rounds of a loop in one key, after ``earlier`` ones in others; the turns pass on."""
    length = sum((bar.length for bar in bars), Fraction(0))
    values = rungs(bar.meter for bar in bars) if request.ladder else ("",)
    most = LADDER_ROUNDS if request.ladder else ROUNDS
    times = request.times or min(most, (ROUND_SECONDS * tempo / 60 / length).__ceil__())
    while not request.times and _traded(bars, request, times) != _traded(bars, request, 0):
        times += 1
    count = times * len(values)
    rounds = [_traded(bars, request, earlier + number) for number in range(count)]
    for number, mine in enumerate(rounds):
        breath = None
        following = rounds[(number + 1) % count][0]
        if number < count - 1:
            breath = count_in(following, tempo, request.breath)
        yield Pass(
            Purpose.ROUND, mine, tempo, take=0 if request.same else number, reference_tempo=goal,
            circular=True, leads_to=_on_time(following) if breath else following,
            value=values[number // times], earlier=earlier,
        )  # fmt: skip
        if breath:
            yield replace(breath, purpose=Purpose.BREATH)


def _on_time(bar: PlayedBar) -> PlayedBar:
    """The bar with its first chord where it is written: a push of it falls in the breath before."""
    if not bar.changes:
        return bar
    first = replace(bar.changes[0], early=Fraction(0))
    return replace(bar, changes=(first, *bar.changes[1:]))


def _bars_before(form: Form, first: PlayedBar, count: int) -> tuple[PlayedBar, ...]:
    """The ``count`` bars played before ``first``, around the chorus's end if need be."""
    if not count:
        return ()
    for order in ("solos", "head", "out"):
        bars = form.played(order)
        if first in bars:
            at = bars.index(first)
            if count > len(bars):
                raise SelectionError(
                    f"A lead-in of {count} bars is longer than the tune.",
                    f"Ask for at most {len(bars)}.",
                )
            around = bars + bars
            return around[at + len(bars) - count : at + len(bars)]
    return ()


def _linked(passes: Sequence[Pass], *, seamless: bool) -> tuple[Pass, ...]:
    """Every pass told what it leads to, where nothing else has been said."""
    linked = [p if p.leads_to else replace(p, leads_to=n.bars[0]) for p, n in pairwise(passes)]
    last = passes[-1]
    if seamless and last.leads_to is None:
        last = replace(last, leads_to=passes[0].bars[0])
    return _into_next_key((*linked, last), seamless=seamless)


def _into_next_key(passes: tuple[Pass, ...], *, seamless: bool) -> tuple[Pass, ...]:
    """The last round in one key leads into the first bar of the next; the very last one into the
    beginning, where the file may be repeated without a seam."""
    return tuple(
        replace(a, leads_to=b.bars[0])
        if b is not None and a.purpose is b.purpose is Purpose.ROUND and a.bars != b.bars
        else a
        for a, b in pairwise((*passes, passes[0] if seamless else None))
        if a is not None
    )
