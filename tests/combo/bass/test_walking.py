"""The bass player keeps its promises on any changes, in any meter, at any tempo."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.bar import Directions, Meter, PlayedBar
from backing.chart.pitch import Interval, Key, PitchName
from backing.combo.bass.walking import play
from backing.combo.feel import swing_place
from backing.combo.feel_file import feel_names
from backing.combo.instruments import ACOUSTIC_BASS
from backing.combo.part import VELOCITIES, Note, Part
from backing.combo.plan import Plan
from tests.combo.build import bars, plan_of, transposed

METERS = ("2/4", "3/4", "4/4", "5/4", "6/4", "7/4", "6/8", "9/8", "12/8")
CHORDS = (
    "C", "Cm", "C5", "C6", "Am7", "Dm7", "D7", "D7alt", "G7", "G7sus", "F#m7b5", "Bbdim7", "Ebmaj7",
    "E7#9", "F/G", "Dm7/G", "C/E", "Ab7#11", "CmM7", "B+7", "N.C.",
)  # fmt: skip
BLUES = "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | Am7b5 D7 | Gm7 | C7 | F7 D7 | Gm7 C7"
MINOR = "Cm7 | F7 | Bbmaj7 | Ebmaj7 | Am7b5 | D7b9 | Gm6 | %"


def played(text: str, seed: int = 1, tempo: int = 160, **how: object) -> tuple[Plan, Part]:
    """A plan over typed changes, and the bass over it."""
    plan = plan_of(bars(text, **how), tempo)  # type: ignore[arg-type]
    return plan, play(plan, random.Random(seed))


@st.composite
def directions(draw: st.DrawFn) -> Directions:
    """What the band may be told to do in a bar."""
    beats = st.sets(st.integers(0, 3).map(lambda n: Fraction(n, 2)), max_size=3)
    return Directions(
        hits=tuple(sorted(draw(beats))) if draw(st.integers(0, 5)) == 0 else (),
        only=tuple(sorted(draw(beats))) if draw(st.integers(0, 7)) == 0 else None,
        pedal=draw(st.sampled_from([None, None, None, PitchName("G"), PitchName("E", -1)])),
        lay_out=draw(st.sampled_from([frozenset(), frozenset(), frozenset({"bass"})])),
    )


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """A pass of any changes in any meter and feel, with pushes, hits, stops and rests."""
    meter = draw(st.sampled_from(METERS))
    beats = Meter(*map(int, meter.split("/"))).beats
    cells = []
    for _ in range(draw(st.integers(1, 9))):
        onsets = sorted({0, *draw(st.sets(st.integers(0, beats - 1), max_size=3))})
        words = [f"{draw(st.sampled_from(CHORDS))}@{onset}" for onset in onsets]
        cells.append(" ".join(draw(st.sampled_from(["", "", "", "<", ">"])) + w for w in words))
    told = {n: draw(directions()) for n in range(len(cells)) if draw(st.integers(0, 2)) == 0}
    feel = draw(st.sampled_from(feel_names()))
    key = draw(st.sampled_from(["C major", "G minor", "Db major", "A dorian"]))
    played_bars = bars(" | ".join(cells), meter, feel, key, directions=told)
    final = draw(st.sampled_from(["", "", "short", "held"]))
    return plan_of(
        (*played_bars[:-1], replace(played_bars[-1], final=final)),
        draw(st.sampled_from([45, 80, 140, 200, 320])),
        circular=not final and draw(st.booleans()),
    )


@settings(max_examples=100)
@given(plans(), st.integers(0, 99))
def test_any_changes_are_played_within_the_range_of_the_instrument(plan: Plan, seed: int) -> None:
    part = play(plan, random.Random(seed))
    assert part.name == "bass"
    assert part.instrument == ACOUSTIC_BASS
    for note in part.notes:
        assert 28 <= note.pitch <= 55  # E1 to G3, the walking range (textbooks, from memory)
        assert note.velocity in VELOCITIES
        assert note.length > 0
        assert note.role
        assert note.chord is not None
        early = any(accent.onset == note.onset for accent in plan.accents)
        assert 0 <= note.onset < plan.length or (early and note.together)


@settings(max_examples=100)
@given(plans(), st.integers(0, 99), st.sampled_from([40, 70, 100, 120, 150, 185, 230, 300]))
def test_one_note_sounds_at_a_time_at_any_tempo(plan: Plan, seed: int, tempo: int) -> None:
    """After the swing too: the end of a note never falls behind the next one's beginning."""
    heard = [n for n in play(plan, random.Random(seed)).notes if n.sounds_at(Fraction(tempo))]
    ratio = plan.bars[0].feel.ratio(Fraction(tempo))
    times = [tuple(_place(b, n, ratio) for b in (n.onset, n.end)) for n in heard]
    assert all(end <= onset for (_, end), (onset, _) in pairwise(times))
    assert all(end > onset for onset, end in times)


def test_a_short_off_beat_over_a_pedal_is_heard() -> None:
    pedal = dict.fromkeys(range(4), Directions(pedal=PitchName("G")))
    short = []
    for seed in range(40):
        _, part = played("C | F/C | C | G7", seed, 120, directions=pedal)
        assert all(note.length > Fraction(1, 8) for note in part.notes)
        halves = (n for n in part.notes if n.onset % 1 == Fraction(1, 2) and n.role != "dead note")
        short += [n for n in halves if n.length <= Fraction(1, 4)]
    assert len(short) > 10  # the figure of a dotted quarter and a short eighth is there
    for note in short:
        place, end = (swing_place(beat, Fraction(2)) for beat in (note.onset, note.end))
        assert note.swung
        assert place % 1 == Fraction(2, 3)
        assert end == place + Fraction(1, 6)  # 83 ms at 120


def _place(beat: Fraction, note: Note, ratio: Fraction) -> Fraction:
    return swing_place(beat, ratio) if note.swung else beat


@settings(max_examples=60)
@given(plans(), st.integers(0, 99))
def test_the_same_plan_and_seed_give_the_same_notes(plan: Plan, seed: int) -> None:
    assert play(plan, random.Random(seed)) == play(plan, random.Random(seed))


@settings(max_examples=60)
@given(plans(), st.integers(0, 99))
def test_the_whole_band_strikes_together(plan: Plan, seed: int) -> None:
    part = play(plan, random.Random(seed))
    limit = plan.following.start if plan.following else plan.length
    wanted = [a for a in plan.accents if a.span.chord is not None and a.onset < limit]
    struck = [note for note in part.notes if note.together]
    assert [note.onset for note in struck] == [accent.onset for accent in wanted]
    for note, accent in zip(struck, wanted, strict=True):
        bass = accent.span.pedal.pitch_class if accent.span.pedal else _bass(note)
        assert note.pitch % 12 == bass
        assert note.lateness_ms == 0
        assert note.tempos is None
    assert not [n for n in part.notes if plan.resting("bass", n.onset) and not n.together]


def _bass(note: Note) -> int:
    assert note.chord is not None
    return note.chord.bass_pitch_class


@settings(max_examples=60)
@given(
    st.sampled_from([BLUES, MINOR, "C/E | Ebdim7 | Dm7 | G7/D"]),
    st.integers(-6, 6),
    st.integers(0, 99),
    st.sampled_from(feel_names()),
)
def test_transposed_changes_give_the_same_rhythm_and_the_same_functions(
    text: str, semitones: int, seed: int, feel: str
) -> None:
    """Onsets, velocities and what opens each chord and bar; the ways between fit the neck."""
    here = bars(text, feel=feel)
    there = transposed(here, Interval.of_semitones(semitones))
    one, other = (play(plan_of(b, 150), random.Random(seed)) for b in (here, there))
    assert [n.onset for n in one.notes] == [n.onset for n in other.notes]
    assert [n.tempos for n in one.notes] == [n.tempos for n in other.notes]
    assert _openings(one, here) == _openings(other, there)


def _openings(part: Part, played_bars: tuple[PlayedBar, ...]) -> list[int]:
    changes = [4 * n + c.onset for n, bar in enumerate(played_bars) for c in bar.changes]
    first = [n for n in part.notes if n.onset in changes and n.tempos is None]
    return [(n.pitch - _root(n)) % 12 for n in first]


def _root(note: Note) -> int:
    assert note.chord is not None
    return note.chord.root.pitch_class


@pytest.mark.parametrize("feel", feel_names())
@pytest.mark.parametrize("seed", range(5))
def test_a_pass_begins_on_the_bass_of_its_chord_and_leads_to_the_next(feel: str, seed: int) -> None:
    """Whoever arranges the pass before knows the pitch at which this one begins."""
    plan, part = played(MINOR, seed, feel=feel)
    assert part.notes[0].pitch == 36  # C2, in the octave from Bb1 up
    assert plan.following is not None
    last = [note for note in part.notes if note.tempos is None][-1]
    assert abs(last.pitch - 36) <= 12


def test_a_push_is_struck_early_and_its_written_beat_left_alone() -> None:
    _, part = played("Dm7 | <G7 | Cmaj7 | <Am7")
    onsets = [note.onset for note in part.notes if note.tempos is None]
    assert Fraction(7, 2) in onsets
    assert Fraction(4) not in onsets
    assert Fraction(23, 2) in onsets
    assert Fraction(12) not in onsets
    assert Fraction(5) in onsets  # the bass walks on from the second beat


def test_nothing_is_struck_after_the_push_of_the_next_pass() -> None:
    _, part = played("<Dm7 | G7 | Cmaj7 | Am7")
    assert part.notes[0].onset == Fraction(-1, 2)
    assert all(note.end <= Fraction(31, 2) for note in part.notes)


def test_the_last_bar_is_one_held_note() -> None:
    *before, end = bars("Dm7 | G7 | C6")
    plan = plan_of((*before, replace(end, final="held")), 160, circular=False)
    last = [note for note in play(plan, random.Random(3)).notes if note.onset >= 8]
    assert [(n.onset, n.length, n.pitch % 12, n.together) for n in last] == [
        (Fraction(8), Fraction(4), 0, True)
    ]


def test_a_pushed_last_note_rings_through_its_bar() -> None:
    *before, end = bars("Dm7 | G7 | <C6")
    plan = plan_of((*before, replace(end, final="held")), 160, circular=False)
    last = [note for note in play(plan, random.Random(3)).notes if note.onset >= Fraction(15, 2)]
    assert [(n.onset, n.end, n.pitch % 12) for n in last] == [(Fraction(15, 2), Fraction(12), 0)]


def test_no_chord_no_bass() -> None:
    _, part = played("Dm7 | N.C. | N.C. | G7")
    assert not [note for note in part.notes if 4 <= note.onset < 12]
    assert all(note.end <= 4 for note in part.notes if note.onset < 4)


@pytest.mark.parametrize("seed", range(8))
def test_a_pedal_is_held_to(seed: int) -> None:
    told = {n: Directions(pedal=PitchName("G")) for n in range(4)}
    _, part = played("Dm7 | Abmaj7 | G7 | Ebmaj7", seed, directions=told)
    lines = [note for note in part.notes if note.role == "pedal"]
    assert lines == [note for note in part.notes if note.tempos is None]
    assert {note.pitch % 12 for note in lines} == {7}
    assert {0, 4, 8, 12} <= {note.onset for note in lines}


def test_a_pedal_has_a_rhythm_of_its_own_kept_for_a_phrase() -> None:
    told = {n: Directions(pedal=PitchName("D")) for n in range(8)}
    rhythms, leaps = set(), 0
    for seed in range(12):
        _, part = played(" | ".join(["Cm7 | D7sus"] * 4), seed, directions=told)
        line = [note for note in part.notes if note.tempos is None]
        by_bar = [tuple(n.onset % 4 for n in line if n.onset // 4 == bar) for bar in range(8)]
        assert len(set(by_bar[:4])) == 1
        assert len(set(by_bar[4:])) == 1
        rhythms.update(by_bar)
        leaps += sum(abs(a.pitch - b.pitch) == 12 for a, b in pairwise(line))
    assert len(rhythms) >= 4
    assert any(onset.denominator == 2 for rhythm in rhythms for onset in rhythm)
    assert leaps > 12


def test_no_seventh_leaps_into_a_chord() -> None:
    """A leap of ten or eleven semitones over a change of chords sounds like a slip."""
    changes = "F7 | Bb7 | Eb7 Ab7 | Db7 Gb7 | B7 E7 | A7 D7 | Gmaj7 | C7"
    leaps = arrivals = 0
    for seed in range(40):
        plan, part = played(changes, seed)
        starts = {span.start for span in plan.spans}
        line = [note for note in part.notes if note.tempos is None]
        into = [abs(b.pitch - a.pitch) for a, b in pairwise(line) if b.onset in starts]
        leaps += sum(width in (10, 11) for width in into)
        arrivals += len(into)
    assert leaps <= arrivals / 200


def test_a_bossa_keeps_to_root_and_fifth() -> None:
    for seed in range(6):
        _, part = played("Dm7 | G7 | Cmaj7 | A7", seed, feel="bossa")
        roles = {note.role for note in part.notes}
        assert roles <= {"root", "fifth", "approach", "anticipation"}
        on_one = [note for note in part.notes if note.onset % 4 == 0]
        assert {note.role for note in on_one} == {"root"}


def test_one_note_a_beat_walks_in_every_meter() -> None:
    for meter, beats in (("3/4", 3), ("4/4", 4), ("5/4", 5), ("6/4", 6), ("7/4", 7), ("12/8", 4)):
        plan = plan_of(bars("Dm7 | G7 | Cmaj7 | A7", meter), 160)
        walking = tuple(replace(b, feel=plan_of(bars("C"), 160).bars[0].feel) for b in plan.bars)
        part = play(replace(plan, bars=walking, plain=True), random.Random(1))
        onsets = [note.onset for note in part.notes if note.tempos is None]
        assert onsets == list(range(4 * beats)), meter


def test_choruses_differ_by_seed() -> None:
    lines = {tuple(n.pitch for n in played(BLUES, seed)[1].notes) for seed in range(20)}
    assert len(lines) == 20


def test_secondary_dominants_lean_to_the_key() -> None:
    """G7 in C minor passes through Ab and Eb, A7 in C major through the natural F.

    Common practice, no source.
    """
    from backing.chart.harmony import parse_chord
    from backing.combo.bass.harmony import passing_scale

    minor, major = Key.parse("C minor"), Key.parse("C major")
    assert passing_scale(parse_chord("G7"), minor) == {7, 8, 11, 0, 2, 3, 5}
    assert passing_scale(parse_chord("A7"), major) == {9, 11, 1, 2, 4, 5, 7}
    assert passing_scale(parse_chord("Em7"), major) == {4, 5, 7, 9, 11, 0, 2}
    assert passing_scale(parse_chord("Bb7"), major) == {10, 0, 2, 4, 5, 7, 8}
    far = parse_chord("Ebm7")
    assert passing_scale(far, major) == set(far.scale_pitch_classes)
