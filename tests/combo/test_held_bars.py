"""Holds and ritardandos of a tune: the clock stretches and returns, the band waits together.

A fermata and a ritardando are asked for by signs whose length the player decides; twice as long
and the curve of Friberg & Sundberg 1999 (JASA 105(3)) are ours.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import mido
import pytest

from backing.chart.form import Form
from backing.chart.text.tune_file import read
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.performance import Performance, PlayedPass
from backing.midi import to_midi
from backing.routine.passes import Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine

BARS = "| F | Gm7 C7 | Am7 D7 | Gm7 C7 |\n| Bb | Bdim7 | F/C D7 | Gm7 C7 |\n"
BEAT = Fraction(1, 2)
"""Seconds, at 120 bpm."""


def tune(cues: str, *, more: str = "") -> Form:
    return read(f"key: F\ntempo: 120\nsection A\n{BARS}{cues}\n{more}")


def played(form: Form, **asked: object) -> Performance:
    return arrange(make_routine(form, Request(**asked)), Band(seed=4))


def passes(done: Performance, purpose: Purpose) -> list[PlayedPass]:
    return [p for p in done.passes if p.routine_pass.purpose is purpose]


def beat_lengths(done: Performance, purpose: Purpose) -> list[list[Fraction]]:
    """The length of every beat of the passes for a purpose, in seconds, bar by bar."""
    bars = []
    for one in passes(done, purpose):
        beat = one.start
        for bar in one.routine_pass.bars:
            lines = [beat + n for n in range(int(bar.length) + 1)]
            times = list(map(done.clock.seconds, lines))
            bars.append([b - a for a, b in pairwise(times)])
            beat += bar.length
    return bars


def test_a_held_beat_lasts_twice_as_long_and_the_tempo_returns() -> None:
    bars = beat_lengths(played(tune("hold 4: 3"), choruses=3), Purpose.HEAD)
    assert bars.pop(3) == [BEAT, BEAT, 2 * BEAT, 2 * BEAT]
    assert all(set(bar) == {BEAT} for bar in bars)


def test_everybody_strikes_the_held_beat_and_waits() -> None:
    done = played(tune("hold 4: 2"), choruses=3)
    start = passes(done, Purpose.HEAD)[0].start + 12
    for part in ("bass", "comp", "drums"):
        onsets = {n.onset_beats - start for n in done.notes(part)}
        inside = {onset for onset in onsets if Fraction(9, 10) < onset < Fraction(39, 10)}
        assert inside == {Fraction(1), Fraction(2)}, part  # the next chord is struck, too
    for part in ("bass", "comp"):
        ends = [n.end_beats - start for n in done.notes(part) if n.onset_beats == start + 2]
        assert all(end > Fraction(7, 2) for end in ends), part


def test_a_ritardando_bends_and_the_tempo_returns() -> None:
    bars = beat_lengths(played(tune("rit 3-4: to 50%"), choruses=3), Purpose.HEAD)
    slow = [length for bar in bars[2:4] for length in bar]
    assert slow == sorted(slow)
    assert all(1 < float(b / a) < 1.25 for a, b in pairwise([BEAT, *slow]))
    assert BEAT * 3 / 2 < slow[-1] < BEAT * 2
    assert all(set(bar) == {BEAT} for bar in bars[:2] + bars[4:])


@pytest.mark.parametrize("asked", [{"choruses": 4}, {"bars": "3-4"}, {"climb": "80-120:20"}])
def test_solos_and_loops_do_not_wait(asked: dict[str, object]) -> None:
    form = tune("hold 4: 3\nrit 2-3: to 60%")
    done = played(form, **asked)
    for purpose in (Purpose.SOLO, Purpose.TIME):
        for bar in beat_lengths(done, purpose):
            assert len(set(bar)) == 1
    assert [b.in_time() for b in form.played("head")] == list(form.played("solos"))


def test_what_ends_the_head_waits_for_the_head_out() -> None:
    done = played(tune("rit 7-8: to 60%\nhold 8: 3"), choruses=3)
    assert {length for bar in beat_lengths(done, Purpose.HEAD) for length in bar} == {BEAT}
    out = beat_lengths(done, Purpose.HEAD_OUT)
    assert len(out) == 8  # the held bar is the last
    assert out[7][2] > 2 * out[7][1] > 2 * BEAT
    last = passes(done, Purpose.HEAD_OUT)[0]
    assert last.routine_pass.bars[-1].final == "held"
    final = last.start + 30
    assert {p for p in done.part_names for n in done.notes(p) if n.onset_beats == final} >= {
        "bass", "comp", "drums",
    }  # fmt: skip
    assert max(n.onset_beats for p in done.part_names for n in done.notes(p)) == final


def test_a_ritardando_into_an_added_last_bar_stays_slow() -> None:
    bars = beat_lengths(played(tune("rit 7-8: to 60%"), choruses=3), Purpose.HEAD_OUT)
    assert len(bars) == 9
    assert set(bars[8]) == {BEAT / Fraction(6, 10)}


@pytest.mark.parametrize("ending", ["slow", "tag", "short"])
def test_endings_keep_what_the_tune_says(ending: str) -> None:
    done = played(tune("rit 7-8: to 60%"), choruses=3, ending=ending)
    bars = beat_lengths(done, Purpose.HEAD_OUT)
    slowing = [max(bar) > BEAT for bar in bars]
    assert slowing == [False] * (len(bars) - 3) + [True] * 3  # of a tag the last four bars alone
    assert max(bars[-1]) == BEAT / Fraction(6, 10)


def test_an_intro_of_the_last_bars_and_a_vamp_stand_around_the_chorus() -> None:
    more = "section intro = A:7-8\nhold 2: 3\nsection vamp\n|: F | Gb7 :| x3\n"
    form = read(f"key: F\ntempo: 120\nhead: intro A\nhead out: A vamp\nsection A\n{BARS}{more}")
    assert [b.label for b in form.played("head")][:3] == ["intro:1", "intro:2", "1"]
    assert form.played("head")[0].changes == form.played("solos")[6].changes
    assert {b.role for b in form.played("solos")} == {"chorus"}
    out = [str(b.changes[0].chord) for b in form.played("out") if b.role == "vamp"]
    assert out == ["F", "Gb7"] * 3
    heads = beat_lengths(played(form, choruses=3), Purpose.HEAD)
    assert heads[1] == [BEAT, BEAT, 2 * BEAT, 2 * BEAT]


def test_midi_has_the_tempos_of_a_fermata_and_the_tempo_after_it() -> None:
    # Standard MIDI Files 1.0: set-tempo events hold until the next one
    done = played(tune("hold 4: 3"), choruses=3)
    data = to_midi(done)
    tempos = [round(mido.tempo2bpm(m.tempo), 3) for m in data.tracks[0] if m.type == "set_tempo"]
    assert tempos == [120, 60, 120, 60, 120]
