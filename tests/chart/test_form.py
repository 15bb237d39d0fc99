"""The form as played: orders, bar numbers, what the band is told, transposition."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.bar import Directions, PlayedBar
from backing.chart.form import ORDERS, Form
from backing.chart.pitch import Interval, Key, PitchName
from backing.chart.text.tune_file import read, write
from tests.strategies import forms, intervals

ARRANGED = """
title: Test
key: C
section intro
| G7 | % |
section A
| C | F |
section B
| G7 | C |
section tag
| C6 |
"""


def labels(bars: tuple[PlayedBar, ...]) -> str:
    return " ".join(bar.label for bar in bars)


def sections(bars: tuple[PlayedBar, ...]) -> str:
    """The section of each bar, once for every use of it."""
    uses = dict.fromkeys((bar.section_use, bar.section) for bar in bars)
    return " ".join(section for _, section in uses)


def chords(bars: tuple[PlayedBar, ...]) -> str:
    """What a player would write under a line of bars: the chords with their beats."""
    return " | ".join(
        " ".join(
            f"{change.chord or 'N.C.'}" + (f"@{change.onset + 1}" if change.onset else "")
            for change in bar.changes
        )
        for bar in bars
    )


def test_orders_as_usual() -> None:
    form = read(ARRANGED)
    assert sections(form.played("head")) == "intro A B"
    assert sections(form.played("solos")) == "A B"
    assert sections(form.played("out")) == "A B tag"


def test_orders_as_written() -> None:
    form = read("head: intro A A B\nsolos: A B:2\nhead out: B A:1 tag\n" + ARRANGED)
    assert sections(form.played("head")) == "intro A A B"
    assert chords(form.played("solos")) == "C | F | C"
    assert chords(form.played("out")) == "G7 | C | C | C6"


def test_usual_solos_and_out_follow_a_written_head() -> None:
    form = read("head: intro A A B A\n" + ARRANGED)
    assert sections(form.played("solos")) == "A A B A"
    assert sections(form.played("out")) == "A A B A tag"


def test_a_closing_section_in_the_head_is_not_added_again() -> None:
    form = read("head: A B tag\n" + ARRANGED)
    assert sections(form.played("out")) == "A B tag"


def test_chorus_bars_count_on_and_others_count_apart() -> None:
    form = read("head: intro A A B\n" + ARRANGED)
    assert labels(form.played("head")) == "intro:1 intro:2 1 2 3 4 5 6"
    assert labels(form.played("out")) == "1 2 3 4 5 6 tag:1"


def test_bars_know_their_place_in_a_section_as_played() -> None:
    form = read("key: C\n|: C | F :| x3")
    bars = form.played("head")
    assert [(bar.section_bar, bar.section_bars) for bar in bars] == [(n, 6) for n in range(1, 7)]
    assert {bar.section_use for bar in bars} == {0}


def test_part_of_a_section_ends_where_it_is_cut() -> None:
    form = read("key: C\nhead out: A A:1-3\n| C | F | G7 | C |")
    cut = form.played("out")[4:]
    assert [(bar.section_bar, bar.section_bars) for bar in cut] == [(1, 3), (2, 3), (3, 3)]


def test_a_pickup_sounds_once_as_bar_0() -> None:
    form = read("key: C\nhead: A A\npickup: | G7 |\n| C | F |")
    head = form.played("head")
    assert labels(head) == "0 1 2 3 4"
    assert head[0].pickup
    assert head[0].length == 1
    assert (head[0].section_bar, head[1].section_bar) == (0, 1)
    assert labels(form.played("solos")) == "1 2 3 4"
    assert labels(form.played("out")) == "1 2 3 4"


def test_a_pickup_may_stand_above_the_name_of_the_first_section() -> None:
    above = read(
        "key: C\n# for the singer\npickup: | G7 |\n\nsection B\n| C | F |\nsection A\n| D |"
    )
    under = read("key: C\n# for the singer\nsection B\npickup: | G7 |\n| C | F |\nsection A\n| D |")
    assert above.played("head") == under.played("head")
    assert [bar.section for bar in above.played("head")] == ["B", "B", "B", "A"]


def test_a_short_first_bar_is_a_pickup() -> None:
    form = read("key: C\n| Dm7 / G7 | C | F |")
    pickup = form.played("head")[0]
    assert pickup.length == 3
    assert chords((pickup,)) == "Dm7 G7@3"
    assert pickup.number == 0


def test_other_changes_when_soloing() -> None:
    form = read("key: C\n| C | Dm7 | G7 | C |\nsolos: | | Ab7 | Db7 |")
    assert chords(form.played("solos")) == "C | Ab7 | Db7 | C"
    assert chords(form.played("head")) == chords(form.played("out")) == "C | Dm7 | G7 | C"


def test_an_empty_solo_bar_keeps_the_bar_as_it_sounds_in_the_head() -> None:
    form = read("key: C\n| C | % | %% |\nsolos: | F | | % | % |")
    assert chords(form.played("solos")) == "F | C | C | C"


def test_two_bars_again_may_stand_in_a_solo_line() -> None:
    form = read("key: C\n| C | C | C | C |\nsolos: | F | G | %% |")
    assert chords(form.played("solos")) == "F | G | F | G"


def test_signs_repeat_what_sounds_before_them() -> None:
    form = read("key: C\n| C F | %\n".replace("%\n", "% |\n") + "| % | Dm7 / / G7 | %% |")
    assert chords(form.played("head")) == ("C F@3 | C F@3 | C F@3 | Dm7 G7@4 | C F@3 | Dm7 G7@4")


def test_a_sign_does_not_repeat_a_push() -> None:
    form = read("key: C\n| C | % |\npush 1: 1")
    assert [bar.changes[0].early for bar in form.played("head")] == [Fraction(1, 2), 0]


def test_a_derived_section_keeps_what_is_not_replaced() -> None:
    text = "key: C\nsection A\n| C | F |\nsolos: | Em7 | |\nhits 2: 1\npush 2: 1\nsection A2 = A\n"
    form = read(text + "bars 2: | Dm7 G7 |\n")
    bars = form.played("head")[2:]
    assert chords(bars) == "C | Dm7 G7@3"
    assert chords(form.played("solos")[2:]) == "Em7 | Dm7 G7@3"
    assert bars[1].directions.hits == (0,)
    assert bars[1].changes[0].early == 0  # the push was the old chord's


def test_derived_sections_may_be_derived_further_and_stand_in_any_order() -> None:
    form = read(
        "key: C\nhead: A3\nsection A3 = A2\nbars 1: | Em7 |\nsection A2 = A\nbars 2: | % |\n"
        "section A\n| C | F | G7 |"
    )
    assert chords(form.played("head")) == "Em7 | C | G7"


def test_what_the_band_does_in_single_bars() -> None:
    form = read(
        "key: C\n| C | F | G7 | C |\nhits 1: 1 2& 4&\nstop-time 2-3: 1 3\nbreak 3-4: 1\n"
        "pedal 1-2: G\nlay out 2-3: piano, drums and bass\nhits 1: 3"
    )
    one, two, three, four = (bar.directions for bar in form.played("solos"))
    assert one.hits == (0, Fraction(3, 2), 2, Fraction(7, 2))
    assert (one.only, two.only) == (None, (0, 2))
    assert (three.only, four.only) == ((0,), ())  # a break: one stroke, then silence
    assert (one.pedal, two.pedal, three.pedal) == (PitchName("G"), PitchName("G"), None)
    assert two.lay_out == three.lay_out == {"comp", "drums", "bass"}
    assert four.lay_out == frozenset()


def test_the_later_cue_wins() -> None:
    form = read("key: C\n| C | F |\nhits 1-2: 1 4\nbreak 1: 1\nbreak 2: 1\nhits 2: 3")
    one, two = (bar.directions for bar in form.played("head"))
    assert (one.hits, one.only) == ((), (0,))
    assert (two.hits, two.only) == ((2,), (0, 2))


def test_early_and_late_chords() -> None:
    form = read(
        "key: C\n| C F | G7 | C |\npush 1: 3\npush 2: 1 by a quarter\nlate 3: 1 by an eighth"
    )
    bars = form.played("head")
    assert [c.early for c in bars[0].changes] == [0, Fraction(1, 2)]
    assert bars[1].changes[0].early == 1
    assert bars[2].changes[0].early == Fraction(-1, 2)
    assert bars[0].changes[1].onset == 2  # as written


def test_an_eighth_in_compound_meters_is_a_third_of_a_beat() -> None:
    form = read("key: C\nmeter: 6/8\n| C F |\npush 1: 2\nhits 1: 1.2 2.3\n")
    bar = form.played("head")[0]
    assert bar.changes[1].early == Fraction(1, 3)
    assert bar.directions.hits == (Fraction(1, 3), Fraction(5, 3))


def test_sections_may_change_feel_key_meter_and_tempo() -> None:
    form = read(
        "key: C\ntempo: 120\nsection A\n| C |\n"
        "section B  feel: Two  key: A minor  meter: 3/4  tempo: x1/2\n| Am | E7 |\n"
        "section B2 = B  feel: swing\n"
    )
    a, b, _, b2, _ = form.played("head")
    assert (a.feel, str(a.key), str(a.meter), a.tempo_ratio) == ("swing", "C major", "4/4", 1)
    assert (b.feel, str(b.key), str(b.meter), b.length) == ("two", "A minor", "3/4", 3)
    assert b.tempo_ratio == Fraction(1, 2)
    assert (b2.feel, b2.key, b2.meter) == ("swing", b.key, b.meter)


def test_a_key_center_is_written_over_bars_and_goes_along() -> None:
    form = read("key: F\n| Gm7 C7 | Fmaj7 | Em7b5 | A7 |\ncenter 1-2: F\ncenter 3: none")
    centers = [bar.directions.centers for bar in form.played("head")]
    assert centers == [(Key(PitchName("F")),), (Key(PitchName("F")),), (), None]
    moved = form.transposed(Interval.of_semitones(1)).played("head")
    assert moved[0].directions.centers == (Key(PitchName("G", -1)),)
    assert read(write(form)) == form


def test_transposing_spells_names_as_the_new_key_has_them() -> None:
    form = read("key: F\n| Gm7 C7 | Fmaj7 Bb7 |\npedal 1: C")
    moved = form.transposed(Interval.of_semitones(1))  # F up a semitone: Gb
    assert moved.key == Key(PitchName("G", -1))
    assert chords(moved.played("head")) == "Abm7 Db7@3 | Gbmaj7 Cb7@3"
    assert moved.played("head")[0].directions.pedal == PitchName("D", -1)


def sounding(bar: PlayedBar, interval: Interval) -> list[tuple[object, ...]]:
    return [
        (
            c.onset,
            c.early,
            c.chord and c.chord.quality.name,
            c.chord and (c.chord.root.pitch_class + interval.semitones) % 12,
            c.chord and (c.chord.bass_pitch_class + interval.semitones) % 12,
        )
        for c in bar.changes
    ]


@settings(max_examples=50)
@given(forms(), intervals)
def test_a_form_transposed_plays_its_bars_transposed(form: Form, interval: Interval) -> None:
    moved = form.transposed(interval)
    for order in ORDERS:
        for mine, theirs in zip(form.played(order), moved.played(order), strict=True):
            assert theirs.key == mine.key.transposed(interval)
            assert sounding(theirs, Interval(0, 0)) == sounding(mine, interval)
            told = replace(theirs.directions, pedal=None, centers=None)
            assert told == replace(mine.directions, pedal=None, centers=None)
            same = {"key": mine.key, "changes": (), "directions": Directions()}
            assert replace(theirs, **same) == replace(mine, **same)


@settings(max_examples=50)
@given(forms(), st.integers(-2, 2))
def test_in_its_own_key_a_form_is_as_written(form: Form, octaves: int) -> None:
    assert form.transposed(Interval(7 * octaves, 12 * octaves)) == form


@settings(max_examples=100)
@given(forms())
def test_bars_as_played_keep_the_promises_of_played_bar(form: Form) -> None:
    for order in ORDERS:
        bars = form.played(order)
        numbers: dict[str, int] = {}
        for index, bar in enumerate(bars):
            assert bar.changes[0].onset == 0
            onsets = [change.onset for change in bar.changes]
            assert onsets == sorted(set(onsets))
            assert onsets[-1] < bar.length <= bar.meter.beats
            if bar.section_bar == 0:
                assert (index, order, bar.number) == (0, "head", 0)
                continue
            assert bar.length == bar.meter.beats
            numbers[bar.role] = numbers.get(bar.role, 0) + 1
            assert bar.number == numbers[bar.role]
            assert 1 <= bar.section_bar <= bar.section_bars
