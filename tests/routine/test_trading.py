"""Trading: whose turn it is, in choruses, in rounds, and over their edges.

How musicians trade: through the form, the turn always passing, also over the top of the form
(common practice, no source).
"""

from dataclasses import replace
from itertools import groupby, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backing.chart.form import Form
from backing.chart.text.tune_file import read
from backing.routine.passes import Pass, Purpose
from backing.routine.request import Request
from backing.routine.routine import Routine, make_routine
from backing.routine.trading import Trade, trade_lengths


def form_of(bars: int) -> Form:
    rows = "| F7 " * bars + "|"
    return read(f"title: B\nkey: F major\nmeter: 4/4\ntempo: 140\nsection A\n{rows}\n")


BLUES = form_of(12)


def turns(routine: Routine, partner: str = "drums") -> list[list[tuple[str, int]]]:
    """Whose bars they are, and how many in a row, in each solo chorus or round."""
    traded = [p for p in routine.passes if p.purpose in (Purpose.SOLO, Purpose.TIME)]
    return [turns_of(each, partner) for each in traded]


def turns_of(played: Pass, partner: str) -> list[tuple[str, int]]:
    def whose(bar: object) -> str:
        if partner == "drums":
            return "drums" if "bass" in bar.directions.lay_out else "you"  # type: ignore[attr-defined]
        return "you" if partner in bar.directions.lay_out else partner  # type: ignore[attr-defined]

    return [(who, len(list(bars))) for who, bars in groupby(map(whose, played.bars))]


@pytest.mark.parametrize("partner", ["drums", "line"])
def test_fours_go_on_over_the_top_of_a_blues(partner: str) -> None:
    mine = [("you", 4), (partner, 4), ("you", 4)]
    theirs = [(partner, 4), ("you", 4), (partner, 4)]
    asked = Request(choruses=6, trade=Trade(4, partner))
    assert turns(make_routine(BLUES, asked), partner) == [mine, theirs, mine, theirs]
    loop = Request(bars="1-12", times=3, trade=Trade(4, partner, partner_first=True))
    assert turns(make_routine(BLUES, loop), partner) == [theirs, mine, theirs]


def test_fours_of_32_bars_begin_alike_in_every_chorus() -> None:
    asked = Request(choruses=4, trade=4)
    assert turns(make_routine(form_of(32), asked)) == [[("you", 4), ("drums", 4)] * 4] * 2


@pytest.mark.parametrize(
    ("bars", "count", "lengths"),
    [
        (32, 4, (4,) * 8),
        (10, 4, (4, 4, 2)),
        (9, 4, (4, 5)),
        (11, 4, (4, 4, 3)),
        (12, 8, (8, 4)),
        (34, 8, (8, 8, 8, 10)),
        (5, 2, (2, 2, 1)),
        (6, 8, (6,)),
        (1, 4, (1,)),
    ],
)
def test_bars_left_over_are_a_short_trade_or_end_the_last(
    bars: int, count: int, lengths: tuple[int, ...]
) -> None:
    assert trade_lengths(bars, count) == lengths


@given(st.integers(1, 200), st.integers(1, 32))
def test_trades_fill_the_chorus(bars: int, count: int) -> None:
    lengths = trade_lengths(bars, count)
    assert sum(lengths) == bars
    assert len(lengths) == 1 or all(2 * count > 2 * n - count and 2 * n >= count for n in lengths)


def test_odd_bars_at_the_end_and_the_turn_passes_on() -> None:
    rounds = turns(make_routine(form_of(10), Request(bars="1-10", times=2, trade=4)))
    assert rounds == [
        [("you", 4), ("drums", 4), ("you", 2)],
        [("drums", 4), ("you", 4), ("drums", 2)],
    ]


@pytest.mark.parametrize(("bars", "rounds"), [("1", 4), ("1-2", 2), ("1-3", 1), ("1-4", 1)])
def test_rounds_shorter_than_a_trade_make_one_together(bars: str, rounds: int) -> None:
    loop = Request(bars=bars, times=3 * rounds, trade=4)
    who = [turn[0][0] for turn in turns(make_routine(BLUES, loop))]
    assert who == ["you"] * rounds + ["drums"] * rounds + ["you"] * rounds


def test_every_tempo_and_key_and_size_begins_as_asked() -> None:
    mine = [("you", 4), ("drums", 4), ("you", 4)]
    theirs = [("drums", 4), ("you", 4), ("drums", 4)]
    climb = Request(bars="1-12", times=2, climb="100-120:10", trade=4)
    assert turns(make_routine(BLUES, climb)) == [mine, theirs] * 3
    keys = Request(bars="1-12", times=2, key="C F", trade=4)
    assert turns(make_routine(BLUES, keys)) == [mine, theirs] * 2
    grown = turns(make_routine(BLUES, Request(bars="1-12", times=1, grow=True, trade=4)))
    assert [turn[0][0] for turn in grown] == ["you"] * 5
    assert grown[-2:] == [[("you", 4), ("drums", 4)], mine]


def test_the_turn_passes_on_to_the_next_key() -> None:
    """Nothing stops where the key changes; a new tempo is counted in, and begins as asked."""
    mine = [("you", 4), ("drums", 4), ("you", 4)]
    theirs = [("drums", 4), ("you", 4), ("drums", 4)]
    keys = "C F Bb"
    once = make_routine(BLUES, Request(bars="1-12", times=1, key=keys, trade=4))
    assert turns(once) == [mine, theirs, mine]
    for before, after in pairwise(once.passes):
        assert before.leads_to is not None
        assert before.leads_to.directions == after.bars[0].directions
    short = Request(bars="1-2", times=1, key="C F Bb Eb", trade=4)
    assert turns(make_routine(BLUES, short)) == [[("you", 2)]] * 2 + [[("drums", 2)]] * 2
    climb = Request(bars="1-12", times=1, key=keys, climb="100-120:20", trade=4)
    assert turns(make_routine(BLUES, climb)) == [mine] * 6


@pytest.mark.parametrize(("bars", "trade", "rounds"), [("1-12", 4, 4), ("1", 8, 16), ("1-8", 4, 5)])
def test_a_loop_goes_on_until_the_turns_come_round(bars: str, trade: int, rounds: int) -> None:
    loop = make_routine(BLUES, Request(bars=bars, trade=trade, count_in=0))
    assert len(loop.passes) == rounds
    assert loop.seamless
    whose = [who for turn in turns(loop) for who, _ in turn]
    assert whose[0] != whose[-1]


@pytest.mark.parametrize("breath", [0, 1])
def test_a_pass_knows_whose_turn_comes_next(breath: int) -> None:
    loop = Request(bars="1-12", times=3, trade=4, count_in=0, rest_bars=breath)
    passes = make_routine(BLUES, loop).passes
    for before, after in pairwise(passes):
        assert before.leads_to is not None
        told = after if after.bars[0].changes else passes[passes.index(after) + 1]
        assert before.leads_to.directions == told.bars[0].directions
    assert passes[-1].leads_to == passes[0].bars[0]


def test_a_seamless_file_of_keys_leads_from_its_last_key_to_its_first() -> None:
    loop = Request(bars="1-4", times=2, key="C F Bb", count_in=0)
    routine = make_routine(BLUES, loop)
    assert routine.seamless
    for before, after in zip(routine.passes, (*routine.passes[1:], routine.passes[0]), strict=True):
        assert before.leads_to == after.bars[0]
    counted = make_routine(BLUES, replace(loop, count_in=1)).passes
    assert counted[-1].leads_to == counted[-2].bars[0]


def test_outside_the_trading_the_line_is_silent() -> None:
    asked = Request(choruses=3, trade="4 with line")
    loop = Request(bars="5-8", lead_in=2, times=2, trade="4 with line")
    head = make_routine(BLUES, asked).passes
    lead = make_routine(BLUES, loop).passes
    for each in (*head, *lead):
        if each.purpose in (Purpose.HEAD, Purpose.HEAD_OUT, Purpose.LEAD_IN):
            assert all("line" in bar.directions.lay_out for bar in each.bars)
    assert all("bass" not in bar.directions.lay_out for each in head for bar in each.bars)
