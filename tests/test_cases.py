"""One table of cases for the tracks and the page: here the library answers them.

The page's scripts answer the same tables in tests/page/cases.test.js.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from backing.chart.form import Form
from backing.chart.text.tune_file import read
from backing.combo import feel
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.feel import Clock, melodic_lateness_ms, swing_place
from backing.combo.feel_file import load_feel
from backing.errors import RoutineError, SelectionError
from backing.lines.phrase import read_line
from backing.routine.climb import Climb
from backing.routine.passes import Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine
from backing.routine.trading import Trade

CASES = Path(__file__).parent / "cases"
Case = dict[str, Any]


def table(name: str) -> Case:
    found: Case = json.loads((CASES / f"{name}.json").read_text("utf-8"))
    return found


def form_of(bars: int, meter: str = "4/4") -> Form:
    """A tune of so many bars."""
    return read(f"title: T\nkey: C\ntempo: 140\nmeter: {meter}\nsection A\n{'| C7 ' * bars}|\n")


SWING = table("swing")


def test_the_page_is_given_the_constants_of_the_tracks() -> None:
    assert SWING["table"] == {
        "points": [list(point) for point in feel.RIDE_RATIOS],
        "shortest_ms": feel.SHORTEST_OFF_BEAT_MS,
        "spare_ms": feel.SPARE_MS,
        "soloist": list(feel.SOLOIST_RATIO),
        "latest_ms": feel.MOST_MELODIC_LATENESS_MS,
    }


@pytest.mark.parametrize(("tempo", "ratio"), SWING["ratios"])
def test_the_ride_swings_by_tempo(tempo: float, ratio: float) -> None:
    assert float(load_feel("swing").ratio(Fraction(tempo))) == ratio


def test_the_ride_wanders_but_not_into_the_shortest_note() -> None:
    for tempo, factor, ratio in SWING["wandered"]:
        assert float(load_feel("swing").ratio(Fraction(tempo), factor)) == ratio, (tempo, factor)


def test_an_off_beat_has_its_place() -> None:
    for beat, ratio, place in SWING["places"]:
        assert swing_place(Fraction(beat), Fraction(ratio)) == Fraction(place), (beat, ratio)


def test_a_line_is_late_on_the_beat_and_never_off_it() -> None:
    for tempo, ratio, late in SWING["lateness"]:
        assert melodic_lateness_ms(tempo, on_beat=True, ratio=ratio) == late, (tempo, ratio)
        assert melodic_lateness_ms(tempo, on_beat=False, ratio=ratio) == 0


def seconds_of(tempos: list[list[str]], end: str) -> Callable[[Fraction], Fraction]:
    """The exact clock of these tempos, each from its beat on, up to ``end``."""
    starts = [*(Fraction(beat) for beat, _ in tempos), Fraction(end)]
    lengths = [b - a for a, b in pairwise(starts)]
    runs = [(n, Fraction(bpm), Fraction(1)) for n, (_, bpm) in zip(lengths, tempos, strict=True)]
    return Clock(runs).seconds


def test_beats_become_seconds() -> None:
    for case in table("clock")["cases"]:
        seconds = seconds_of(case["tempos"], case["seconds"][-1][0])
        for beat, time in case["seconds"]:
            assert seconds(Fraction(beat)) == Fraction(time), (case["tempos"], beat)


def passes_a_turn(case: Case) -> bool:
    """Whether both have a turn; a trade that takes all the bars is refused."""
    return len(set("".join(case["turns"]))) == 2


def turns_of(case: Case) -> list[str]:
    """Whose bars they are: a word for each time."""
    asked = Request(
        bars=f"1-{case['bars']}", times=case["times"], count_in=0,
        trade=Trade(case["trade"], partner_first=case["first"] == "partner"),
    )  # fmt: skip
    times = make_routine(form_of(case["bars"]), asked).passes
    return ["".join("yp"["bass" in bar.directions.lay_out] for bar in one.bars) for one in times]


def test_the_turn_passes() -> None:
    for case in table("trading")["cases"]:
        if passes_a_turn(case):
            assert turns_of(case) == case["turns"], case
        else:
            with pytest.raises(RoutineError, match="Trade needs more bars"):
                turns_of(case)


def test_choruses_are_traded_as_times_are() -> None:
    for case in filter(passes_a_turn, table("trading")["cases"]):
        asked = Request(
            choruses=case["times"] + 2, count_in=0,
            trade=Trade(case["trade"], partner_first=case["first"] == "partner"),
        )  # fmt: skip
        passes = make_routine(form_of(case["bars"]), asked).passes
        solos = [one for one in passes if one.purpose is Purpose.SOLO]
        turns = [
            "".join("yp"["bass" in bar.directions.lay_out] for bar in one.bars) for one in solos
        ]
        assert turns == case["turns"], case


def test_subdivisions_follow_each_other() -> None:
    for case in table("lines")["subdivisions"]:
        asked = Request(
            times=case["times"], climb=case["climb"], key="C F" if case["keys"] > 1 else None,
            count_in=0, subdivisions=True,
        )  # fmt: skip
        passes = make_routine(form_of(case["bars"], case["meter"]), asked).passes
        played = (f"{p.value}@{float(p.tempo):g}#{p.take}" for p in passes)
        assert " ".join(played) == case["played"], case


STARTS = {Fraction(0): "1", Fraction(1, 2): "1&", Fraction(1): "2", Fraction(2): "3"}


def test_calls_start_on_each_beat_in_turn() -> None:
    for case in table("lines")["calls"]:
        form, bars = form_of(case["bars"], case["meter"]), case["bars"]
        asked = Request(bars=f"1-{bars}", times=case["times"], count_in=0)
        performance = arrange(
            make_routine(form, asked), Band(players="line", line=read_line("call"))
        )
        beats = form.meter.beats
        for one, starts in zip(performance.passes, case["starts"], strict=True):
            onsets = [note.onset for part in one.parts for note in part.notes]
            called = [at for at, sign in enumerate(case["called"]) if sign == "#"]
            assert {int(onset // beats) for onset in onsets} <= set(called)
            firsts = [at for at in called if at - 1 not in called]
            found = [min(n for n in onsets if n >= at * beats) - at * beats for at in firsts]
            assert " ".join(STARTS[onset] for onset in found) == starts, case


def test_a_climb_has_its_tempos() -> None:
    for case in table("climbs")["cases"]:
        unit = "%" if case["unit"] == "percent" else ""
        text = f"{case['from']}-{case['to']}:{case['step']}{unit}"
        tempos = Climb.of(f"{text} {case['order']}").tempos(Fraction(case["tune"]))
        assert [float(tempo) for tempo in tempos] == case["tempos"], (text, case["order"])


def test_a_climb_is_said_in_words() -> None:
    for case in table("climbs")["said"]:
        own = Fraction(case["tune"])
        if case["tempos"] is None:
            with pytest.raises(RoutineError):
                Climb.of(case["words"]).tempos(own)
        else:
            tempos = Climb.of(case["words"]).tempos(own)
            assert tempos == tuple(map(Fraction, case["tempos"])), case["words"]


def test_bars_are_named() -> None:
    found = table("selections")
    order = " ".join(name for name, _ in found["sections"])
    lines = {f"section {name}\n{'| C7 ' * bars}|\n" for name, bars in found["sections"]}
    form = read(f"title: T\nkey: C\nhead: {order}\n{''.join(sorted(lines))}")
    chorus = form.played("solos")
    for case in found["cases"]:
        if case["bars"] is None:
            with pytest.raises(SelectionError):
                form.select(case["words"])
        else:
            assert [chorus.index(bar) + 1 for bar in form.select(case["words"])] == case["bars"]


def drill_of(case: Case) -> str:
    """What comes after what, in the signs of the table."""
    asked = Request(
        tempo=Fraction(case["tempo"]), bars=f"{case['from']}-{case['to']}",
        times=case["times"], lead_in=case["lead_in"], rest_bars=case["rest_bars"],
        lay_out=case["lay_out"], count_in=None if case["count_in"] else 0,
    )  # fmt: skip
    signs = []
    for each in make_routine(form_of(case["bars"]), asked).passes:
        for bar in each.bars:
            alone = "-" if "kit" in bar.directions.lay_out else ""
            signs.append(
                {
                    Purpose.COUNT_IN: "c",
                    Purpose.LEAD_IN: f"l{bar.number}",
                    Purpose.REST_BAR: "r",
                    Purpose.TIME: f"{bar.number}{alone}",
                }[each.purpose]
            )
    return " ".join(signs)


def test_one_bar_follows_another() -> None:
    for case in table("drills")["cases"]:
        assert drill_of(case) == case["played"], case
