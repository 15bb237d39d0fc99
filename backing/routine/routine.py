"""From a request to passes in order: choruses with head and ending, loops, climbs, keys in turn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.pitch import Key
from backing.errors import RoutineError, SelectionError
from backing.routine.count_in import count_in
from backing.routine.drills import grown, laying_out
from backing.routine.ending import with_ending
from backing.routine.keys import Keys
from backing.routine.passes import Pass, Purpose
from backing.routine.request import CHORUSES, Request
from backing.routine.subdivisions import VALUES, values_in
from backing.routine.tempo import Tempo
from backing.routine.trading import partners_turn, traded, untraded

MOST_BARS = 20_000
"""About nine hours at 150 bpm; a slip of the finger asks for more."""
TIMES, LOOP_SECONDS = 8, 60
"""A loop is played for a minute, or eight times if that is shorter, before the tempo steps up.
A trade goes on until its turns come round, so that the end leads to the beginning."""
TAIL_SECONDS = Fraction(5, 2)
LONGEST_SECONDS = 2 * 3600
WAV_BYTES_A_SECOND = 44_100 * 2 * 2
"""Of 16-bit stereo."""
SUBDIVISION_TIMES = 2
"""In each subdivision, where a minute does not end sooner."""


@dataclass(frozen=True, slots=True)
class Routine:
    """The passes of a ``request``, in order, without a gap.

    ``form`` is the tune in the key it is played in, or from which keys in turn start out; ``keys``
    are all of them in order. ``seamless``: nothing but times through a loop, so that the end leads
    to the beginning and the file can be repeated without a seam. ``gap``: seconds of silence at the
    end.
    """

    form: Form
    passes: tuple[Pass, ...]
    seamless: bool = False
    request: Request = Request()  # noqa: RUF009 - a frozen value
    keys: tuple[Key, ...] = ()
    gap: Fraction = Fraction(0)

    @property
    def tempos(self) -> tuple[Fraction, ...]:
        """The tempos in bpm, each once, in the order in which they come."""
        return tuple(dict.fromkeys(p.tempo for p in self.passes))

    @property
    def seconds(self) -> Fraction:
        """How long it lasts, but for its tail."""
        return sum((bar.seconds(p.tempo) for p in self.passes for bar in p.bars), Fraction(0))

    @property
    def tail(self) -> Fraction:
        """Seconds after the last beat: for the last chord to ring, and the gap."""
        return Fraction(0) if self.seamless else TAIL_SECONDS + self.gap

    def with_gap(self, seconds: Fraction) -> Routine:
        """The same with so much silence at the end; one that has a gap is not seamless."""
        return replace(self, gap=seconds, seamless=self.seamless and not seconds)


def make_routine(form: Form, request: Request) -> Routine:
    """What is played when ``request`` is asked of ``form``.

    Raises SelectionError for bars that are not there, RoutineError for what cannot be played.
    """
    tempos = _tempos(form, request)
    keys = _keys(form, request)
    if request.key and not request.key.in_turn:
        form = _in_key(form, keys[0])
    if request.loops:
        passes = list(_loops(form, request, tempos, keys))
    else:
        passes = list(_choruses(form, request, tempos[0]))
    _check_drills(passes, request)
    seamless = all(p.purpose is Purpose.TIME for p in passes) and len(tempos) == 1
    count = sum(len(p.bars) for p in passes)
    if count > MOST_BARS:
        raise RoutineError(
            f"This asks for {count:,} bars.", f"Ask for at most {MOST_BARS:,} in one track."
        )
    return Routine(form, _linked(passes, seamless=seamless), seamless, request, keys)


def check_length(routine: Routine, *, sound: bool) -> None:
    """Raise RoutineError for what lasts longer than LONGEST_SECONDS, saying how long, and how
    large it would be as ``sound``."""
    seconds = float(routine.seconds)
    if seconds > LONGEST_SECONDS:
        size = f", {seconds * WAV_BYTES_A_SECOND / 1e6:,.0f} MB as .wav" if sound else ""
        raise RoutineError(
            f"This track lasts {seconds / 3600:.1f} hours{size}.",
            "Ask for fewer tempos, keys or times, or add --long if you mean it.",
        )


def separated(form: Form, request: Request) -> tuple[tuple[str, Request], ...]:
    """A request for each key and tempo of ``request``, with a name; names sort as they are played.

    Raises RoutineError as make_routine does.
    """
    in_turn = request.key is not None and request.key.in_turn
    keys, tempos = _keys(form, request) if in_turn else (None,), _tempos(form, request)
    goal = max(tempos) if request.climb or in_turn else None
    digits = max(2, len(str(len(keys) * len(tempos))))
    parts: list[tuple[str, Request]] = []
    for key in keys:
        for tempo in tempos:
            words = [f"{len(parts) + 1:0{digits}}"]
            words += [key.short] if key else []
            words += [f"{float(tempo):g} bpm"] if request.climb or request.tempo else []
            one = replace(
                request,
                key=Keys((key,)) if key else request.key,
                climb=None,
                tempo=Tempo(tempo),
                goal=goal if request.goal is None else request.goal,
            )
            parts.append((" ".join(words), one))
    return tuple(parts)


def _tempos(form: Form, request: Request) -> tuple[Fraction, ...]:
    if request.climb:
        return request.climb.tempos(form.tempo)
    return (request.tempo.bpm(form.tempo) if request.tempo else form.tempo,)


def _keys(form: Form, request: Request) -> tuple[Key, ...]:
    return request.key.in_tune(form.key) if request.key else (form.key,)


def _in_key(form: Form, key: Key) -> Form:
    return form.transposed(form.key.tonic.interval_to(key.tonic))


def _check_drills(passes: Sequence[Pass], request: Request) -> None:
    """Raise RoutineError for a drill that these bars have no room for."""
    played = [p for p in passes if p.purpose in (Purpose.SOLO, Purpose.TIME)]
    if request.trade:
        partner = request.trade.partner
        heard = (b for p in played for b in p.bars if "kit" not in b.directions.lay_out)
        if len({partners_turn(bar, partner) for bar in heard}) < 2:
            raise RoutineError(
                f"Trade needs more bars: one turn of {request.trade.bars} takes them all.",
                "Trade fewer bars, or ask for more choruses or times.",
            )
    if request.rest_bars and all(p.purpose is not Purpose.REST_BAR for p in passes):
        raise RoutineError(
            "A rest bar comes between the times of a loop, and this one is played once.",
            "Ask for it more often, or leave the rest bar out.",
        )
    if request.grow and all(len(p.bars) == 1 for p in played):
        raise RoutineError("A loop of one bar cannot grow.", "Choose more bars.")


def _check_heard(bars: Sequence[PlayedBar], request: Request) -> None:
    """Refuse to let the band lay out for all of a loop or a chorus."""
    if request.lay_out >= len(bars):
        raise RoutineError(
            f"With {request.lay_out} of {len(bars)} bars laid out the band would never play.",
            f"Ask for at most {len(bars) - 1}." if len(bars) > 1 else "Choose more bars.",
        )


def _choruses(form: Form, request: Request, tempo: Fraction) -> Iterator[Pass]:
    """Count-in, head, solo choruses, head out with its ending."""
    count = request.choruses or CHORUSES
    solos = form.played("solos")
    _check_heard(solos, request)
    solos = laying_out(solos, request.lay_out)
    head = _own(form.played("head"), request)
    order = [Purpose.HEAD, *[Purpose.SOLO] * (count - 2), Purpose.HEAD_OUT]
    out = form.played("out")
    if count == 1:
        # a single chorus has the tune's beginning and its end
        order = [Purpose.HEAD_OUT]
        out = (*(bar for bar in head if bar.role == "intro" or bar.pickup), *out)
    out = _own(with_ending(out, request.ending or "held"), request)
    played = {Purpose.HEAD: head, Purpose.HEAD_OUT: out}
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
    """The bars traded, if they are to be, after ``before`` choruses or times of them."""
    return traded(bars, request.trade, before) if request.trade else bars


def _own(bars: tuple[PlayedBar, ...], request: Request) -> tuple[PlayedBar, ...]:
    """Bars outside the trading, which are the player's own."""
    return untraded(bars, request.trade.partner) if request.trade else bars


def _loops(
    form: Form, request: Request, tempos: Sequence[Fraction], keys: Sequence[Key]
) -> Iterator[Pass]:
    """For each key and tempo: count-in where the tempo is new, lead-in, times through the loop."""
    goal = request.goal or max(tempos)
    before: Fraction | None = None
    earlier = 0
    for key in keys:
        lead, loops = _loop_bars(_in_key(form, key), request)
        for tempo in tempos:
            if tempo != before:
                earlier = 0
                counted = count_in((lead or loops[0])[0], tempo, request.count_in)
                if counted:
                    yield counted
                if lead:
                    value = VALUES[0] if request.subdivisions else ""
                    yield Pass(Purpose.LEAD_IN, lead, tempo, reference_tempo=goal, value=value)
            before = tempo
            for bars in loops:
                times = tuple(_times(bars, request, tempo, goal, earlier))
                yield from times
            if not request.grow:  # the sizes of a loop that grows are exercises of their own
                earlier += sum(each.purpose is Purpose.TIME for each in times)


def _loop_bars(
    form: Form, request: Request
) -> tuple[tuple[PlayedBar, ...], tuple[tuple[PlayedBar, ...], ...]]:
    """The bars that lead in, and the bars of each loop to be played one after the other."""
    bars = form.select(request.bars) if request.bars else form.played("solos")
    lead = _bars_before(form, bars[0], request.lead_in)
    _check_heard(bars, request)
    bars = laying_out(bars, request.lay_out)
    return _own(lead, request), grown(bars) if request.grow else (bars,)


def _times(
    bars: tuple[PlayedBar, ...], request: Request, tempo: Fraction, goal: Fraction, earlier: int
) -> Iterator[Pass]:
    """The times through a loop in one key, after ``earlier`` ones in others; turns pass on."""
    length = sum((bar.length for bar in bars), Fraction(0))
    values = values_in(bar.meter for bar in bars) if request.subdivisions else ("",)
    most = SUBDIVISION_TIMES if request.subdivisions else TIMES
    each_value = request.times or min(most, (LOOP_SECONDS * tempo / 60 / length).__ceil__())
    while not request.times and _traded(bars, request, each_value) != _traded(bars, request, 0):
        each_value += 1
    count = each_value * len(values)
    times = [_traded(bars, request, earlier + number) for number in range(count)]
    for number, mine in enumerate(times):
        rest = None
        following = times[(number + 1) % count][0]
        if number < count - 1:
            rest = count_in(following, tempo, request.rest_bars)
        yield Pass(
            Purpose.TIME, mine, tempo, take=0 if request.same else number, reference_tempo=goal,
            circular=True, leads_to=_on_time(following) if rest else following,
            value=values[number // each_value], earlier=earlier,
        )  # fmt: skip
        if rest:
            yield replace(rest, purpose=Purpose.REST_BAR)


def _on_time(bar: PlayedBar) -> PlayedBar:
    """The bar with its first chord where it is written: a push of it falls in the rest before."""
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
    """Every pass told what it leads to: where nothing else has been said, to the one after it.

    The last time in one key leads into the first bar of the next; the very last pass into the
    beginning, where the file may be repeated without a seam.
    """
    following = (*passes[1:], passes[0] if seamless else None)
    return tuple(
        a if b is None or (a.leads_to and not _other_time(a, b)) else replace(a, leads_to=b.bars[0])
        for a, b in zip(passes, following, strict=True)
    )


def _other_time(a: Pass, b: Pass) -> bool:
    return a.purpose is b.purpose is Purpose.TIME and a.bars != b.bars
