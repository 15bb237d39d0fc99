"""What a page plays, heard to the sample in Chromium and held against the tracks' arithmetic."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate, pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page

from backing.chart.form import Form
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.mixdown.loudness import integrated_loudness
from backing.routine.request import Request
from backing.routine.routine import Routine, make_routine
from tests.page.conftest import opened

REHEARSAL = (Path(__file__).parent / "rehearsal.js").read_text("utf-8")
SCRIPT = REHEARSAL.split("\n\n", 1)[1].rstrip().rstrip(";")
FIRST = 0.06
"""From the tap to the first stroke, in seconds."""
ROUND_BEATS = 48
PLAYERS = ["bass", "comp", "drums"]

Rehearse = Callable[..., dict[str, Any]]


@pytest.fixture
def rehearse(tab: Page, blues_file: Path) -> Rehearse:
    opened(tab, blues_file)
    return lambda **asked: tab.evaluate(SCRIPT, asked)


THEIRS = {"third": "guide"}
"""Parts of the page -> the band's own names."""


def meant(form: Form, tempo: int, part: str) -> np.ndarray:
    """When the tracks' band would strike in three rounds, arranged for the tune's own tempo."""
    routine = make_routine(form, Request(times=3, count_in=0))
    passes = tuple(replace(each, tempo=Fraction(tempo)) for each in routine.passes)
    band = Band(players=THEIRS.get(part, part))
    performance = arrange(Routine(form, passes, routine.seamless), band)
    return np.array(
        sorted({float(note.onset) + FIRST for note in performance.notes(THEIRS.get(part, part))})
    )


@pytest.mark.parametrize(("tempo", "rounds"), [(72, 1), (168, 2), (260, 3)])
def test_every_note_begins_when_the_tracks_would_have_it(
    rehearse: Rehearse, blues: Form, tempo: int, rounds: int
) -> None:
    seconds = rounds * ROUND_BEATS * 60 / tempo - 0.5
    parts = [*PLAYERS, "third"]
    played = rehearse(seconds=seconds, routine={"tempo": tempo}, parts=parts)
    for part in parts:
        heard = np.array(played["onsets"][part])
        wanted = meant(blues, tempo, part)
        wanted = wanted[wanted < seconds - 0.001]
        apart = np.abs(heard[:, None] - wanted)
        assert len(heard) >= 15
        assert apart.min(axis=0).max() < 0.002, f"{part}: a note is missing or late"
        assert apart.min(axis=1).max() < 0.002, f"{part}: a note too many"


def test_the_whole_form_is_what_a_track_plays(rehearse: Rehearse, blues: Form) -> None:
    """Head, one solo chorus, last head and ending: every note of the bass, when and how high."""
    tempo = 200
    routine = make_routine(blues, Request(choruses=3, count_in=0))
    passes = tuple(replace(each, tempo=Fraction(tempo)) for each in routine.passes)
    performance = arrange(Routine(blues, passes, routine.seamless), Band())
    sides = [0.0, *accumulate(float(sum(b.length for b in p.bars)) * 60 / tempo for p in passes)]
    head = rehearse(seconds=0.2)["struck"]  # the page is warm
    assert head
    played = rehearse(
        seconds=sides[-1] + 1, bar=len(passes[1].bars),
        routine={"whole": True, "choruses": 3, "tempo": tempo},
    )["struck"]  # fmt: skip
    for part in PLAYERS:
        heard = {
            (round(row["when"] - FIRST, 3), row["pitch"]) for row in played if row["part"] == part
        }
        wanted = {(round(float(n.onset), 3), n.note.pitch) for n in performance.notes(part)}
        assert len(wanted) > 60
        for start, end in ((sides[0], sides[1] - 0.3), (sides[2] + 0.1, sides[3])):
            # where a solo chorus comes or goes the page leads to what follows there
            mine = sorted((pitch, time) for time, pitch in heard if start <= time < end)
            theirs = sorted((pitch, time) for time, pitch in wanted if start <= time < end)
            assert len(mine) == len(theirs), part
            assert all(
                a[0] == b[0] and abs(a[1] - b[1]) < 0.002 for a, b in zip(mine, theirs, strict=True)
            ), part
    assert played[-1]["when"] < sides[3]


def test_a_loop_of_two_bars_goes_round_fifty_times_without_a_seam(rehearse: Rehearse) -> None:
    tempo, rounds = 200, 50
    length = 8 * 60 / tempo
    routine = {"bars": [8, 9], "tempo": tempo, "same": True}
    played = rehearse(seconds=length * rounds, bar=8, routine=routine)
    for part in PLAYERS:
        times = np.array([row["when"] for row in played["struck"] if row["part"] == part]) - FIRST
        middle = times[(times >= length - 0.1) & (times < (rounds - 2) * length - 0.1)]
        places = np.sort((middle + 0.1) % length)
        counts = Counter(np.round(places, 5))
        # every stroke of a round comes in each of them, at the same place to 10 microseconds
        assert sum(counts.values()) == len(middle) > 4 * rounds
        assert all(count % (rounds - 3) == 0 for count in counts.values())
    assert played["late"] == 0


def test_a_seam_is_not_heard(rehearse: Rehearse) -> None:
    routine = {"bars": [8, 9], "tempo": 200, "same": True}
    rounds = 4
    played = rehearse(seconds=rounds * 2.4, bar=8, routine=routine, parts=["drums"])
    onsets = np.array(played["onsets"]["drums"]) - FIRST
    beats = np.arange(8 * rounds - 1) * 60 / 200
    # the ride is on every beat, also on the first of a round: within a drummer's spread
    assert np.abs(onsets[:, None] - beats).min(axis=0).max() < 0.012


def test_a_muted_part_is_silent_and_alone_in_that(rehearse: Rehearse) -> None:
    asked = {"seconds": 1.5, "real": True, "parts": PLAYERS}
    whole, without, alone = (
        np.array(rehearse(**asked, levels=levels)["left"])
        for levels in ({}, {"comp": 0}, {"bass": 0, "drums": 0})
    )
    # the room is there for each; what the mute takes away is the part and nothing else
    assert np.abs(whole - without - alone)[4410:].max() < 1e-3
    assert np.abs(alone[4410:]).max() > 0.02


def test_all_muted_is_silence(rehearse: Rehearse) -> None:
    levels = dict.fromkeys(PLAYERS, 0)
    played = rehearse(seconds=2.0, real=True, parts=PLAYERS, levels=levels)
    assert np.abs(played["left"][13230:]).max() < 1e-6


def test_another_tempo_in_flight_leaves_no_gap_and_doubles_nothing(rehearse: Rehearse) -> None:
    actions = [{"at": 3.0, "tempo": 250}, {"at": 5.0, "tempo": 90}, {"at": 5.1, "tempo": 140}]
    played = rehearse(seconds=12.0, actions=actions)
    ride = sorted(row["when"] for row in played["struck"] if row["pitch"] == 51)
    gaps = [b - a for a, b in pairwise(ride)]
    assert max(gaps) < 1.3 * 60 / 90  # never more than a beat of the slowest
    assert played["doubled"] == 0
    assert played["late"] == 0
    last = [b - a for a, b in pairwise(t for t in ride if t > 8) if b - a > 0.38]
    assert np.median(last) == pytest.approx(60 / 140, abs=0.012)


def test_a_busy_page_does_not_make_the_band_stumble(rehearse: Rehearse) -> None:
    stalls = [[1.0, 1.2], [2.0, 2.2], [3.0, 3.6]]
    plain = rehearse(seconds=6.0)
    stalled = rehearse(seconds=6.0, stalls=stalls)
    assert stalled["late"] == 0
    # the last look ahead may have reached a little further in one of them
    first = [sorted(r["when"] for r in p["struck"] if r["when"] < 6) for p in (plain, stalled)]
    assert first[0] == first[1]


def test_an_hour_takes_no_more_room_than_a_minute_and_does_not_drift(rehearse: Rehearse) -> None:
    minute = rehearse(seconds=60.0)
    hour = rehearse(seconds=3600.0, keep=["click all"])
    assert hour["most"] <= 1.2 * minute["most"]
    assert hour["stretches"] <= 3
    clicks = [r["when"] - FIRST for r in hour["struck"] if r["part"] == "click all"]
    beats = np.arange(len(clicks)) * 60 / 168
    assert np.abs(np.sort(clicks) - beats).max() < 1e-6


def test_it_is_as_loud_as_a_track_and_does_not_clip(rehearse: Rehearse) -> None:
    played = rehearse(seconds=8.0, real=True, parts=PLAYERS)
    sound = np.array([played["left"], played["right"]], np.float32).T
    assert np.abs(sound).max() < 1.0
    # AES TD1008 (2021); a page has no limiter, and these are the first bars of the tune
    assert integrated_loudness(sound, 44_100) == pytest.approx(-16, abs=1)


def test_a_count_in_leads_to_the_first_bar(rehearse: Rehearse) -> None:
    played = rehearse(seconds=6.0, counted=True, routine={"countIn": True, "tempo": 120})
    count = [row["when"] - FIRST for row in played["struck"] if row["part"] == "count"]
    # 1 . 2 . | 1 2 3 4: common practice, no source
    assert count == pytest.approx([0, 1, 2, 2.5, 3, 3.5], abs=1e-6)
    bass = [row["when"] - FIRST for row in played["struck"] if row["part"] == "bass"]
    assert bass[0] == pytest.approx(4.0, abs=0.03)


def test_a_loop_chosen_in_flight_begins_at_the_next_bar_line(rehearse: Rehearse) -> None:
    actions = [{"at": 1.0, "routine": {"bars": [4, 5]}}]
    played = rehearse(seconds=12.0, routine={"tempo": 120, "same": True}, actions=actions)
    clicks = [r for r in played["struck"] if r["part"] == "click 4"]
    assert np.diff(sorted(r["when"] for r in clicks)) == pytest.approx(2.0)  # a bar each, no gap
    bass = [(r["when"] - FIRST, r["pitch"]) for r in played["struck"] if r["part"] == "bass"]
    # Bb7 in bar 5 and Bdim7 in bar 6: roots on their first beats, over and over
    firsts = [min(bass, key=lambda row: abs(row[0] - at))[1] % 12 for at in (2, 6, 10)]
    assert firsts == [10, 10, 10]
