"""The bass line against what research counted, over varied changes.

WJD: bass lines of the Weimar Jazz Database, swing in 4/4, automatic pitches (Abeßer, Balke,
Frieler, Pfleiderer & Müller 2017, "Deep learning for jazz walking bass transcription"), computed
over 64 solos. JTD: hand-annotated onsets of the Jazz Trio Database (Cheston, Schlichting, Cross
& Harrison 2024, TISMIR, DOI 10.5334/tismir.186), computed over 30 tracks. FiloBass: Riley & Dixon
2023, ISMIR.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from backing.combo.bass.walking import play
from backing.combo.part import Part
from backing.combo.plan import Plan
from tests.benchmarks.figures_bass import BassFigures, by_bar, figures, structural
from tests.combo.build import bars, plan_of

MINOR = "Cm7 | F7 | Bbmaj7 | Ebmaj7 | Am7b5 | D7b9 | Gm6 | %"
CHANGES = {
    "Dm7 | G7 | Cmaj7 | A7b9 | Dm7 G7 | Em7 A7 | Dm7 G7 | Cmaj7 A7": "C major",
    f"{MINOR} | Am7b5 | D7b9 | Gm6 | % | {MINOR} | Gm7 Gb7 | Fm7 E7 | Ebmaj7 | D7": "G minor",
    "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | Am7b5 D7 | Gm7 | C7 | F7 D7 | Gm7 C7": "F major",
    "C/E | Ebdim7 | Dm7 | G7/D | C6 C/G | F/A Fm6/Ab | C/G A7 | D7 G7sus": "C major",
    "Dm7 | % | % | % | % | % | % | % | Ebm7 | % | % | % | % | % | % | %": "D dorian",
    "Bmaj7 D7 | Gmaj7 Bb7 | Ebmaj7 | Am7 D7 | Gmaj7 Bb7 | Ebmaj7 F#7 | Bmaj7 | F#7": "B major",
}
SEEDS = range(8)
TEMPOS = (80, 120, 160, 200, 240, 300)


def passes(tempo: int, feel: str = "swing", *, careful: bool = False) -> list[tuple[Plan, Part]]:
    """Some 600 bars of varied changes with the bass over them."""
    found = []
    for text, key in CHANGES.items():
        plan = plan_of(bars(text, feel=feel, key=key), tempo)
        plan = replace(plan, careful=careful)
        found += [(plan, play(plan, random.Random(f"{text}{seed}{tempo}"))) for seed in SEEDS]
    return found


@pytest.fixture(scope="module", params=TEMPOS)
def swing(request: pytest.FixtureRequest) -> tuple[int, BassFigures]:
    played = passes(request.param)
    assert sum(len(plan.bars) for plan, _ in played) >= 500
    return request.param, figures(played, request.param)


def test_the_harmony_is_heard(swing: tuple[int, BassFigures]) -> None:
    _, found = swing
    assert 0.60 <= found.roots_on_change <= 0.85  # FiloBass 68 %, WJD 65-73 %
    assert found.written_under_slash >= 0.95  # common practice, no source
    assert found.tones_on_one >= 0.80  # WJD 80-84 %
    assert 0.25 <= found.roots_on_one_held <= 0.50  # WJD 31-39 % over the same chord


def test_changes_are_approached(swing: tuple[int, BassFigures]) -> None:
    _, found = swing
    assert 0.45 <= found.steps_in <= 0.75  # WJD 61 %
    assert 0.36 <= found.semitones_in <= 0.56  # WJD 46 %
    assert found.semitones_in > found.steps_in / 2
    assert 0.12 <= found.dominants_in <= 0.27  # WJD 19 %


def test_the_line_moves_as_bass_lines_do(swing: tuple[int, BassFigures]) -> None:
    _, found = swing
    assert 0.05 <= found.repeats <= 0.20  # WJD 14.5 %
    assert 0.37 <= found.steps <= 0.55  # WJD 37 %, octave errors in the rest
    assert 0.20 <= found.skips <= 0.36  # WJD 23 %
    assert found.wide <= 0.25  # WJD 25 %
    assert found.widest <= 12
    assert 0.40 <= found.steps_turned <= 0.60  # WJD 56 %
    assert 0.68 <= found.leaps_turned <= 0.85  # WJD 78 %
    assert 1.4 <= found.runs <= 2.2  # follows from the two above
    assert found.figures_heard_again < 0.03  # no bar comes again soon; our own bound


def test_the_line_stays_in_its_register(swing: tuple[int, BassFigures]) -> None:
    _, found = swing
    assert found.lowest >= 28
    assert found.highest <= 55
    assert found.inside >= 0.95
    assert 39 <= found.median <= 44  # WJD 42
    assert 12 <= found.span <= 19  # WJD 10-90 %: 12-19 semitones a solo


# Onsets a bar, from and to (JTD: 1.18-1.58 a beat at 80 bpm, 4.5 a bar below 160 bpm and up to 220,
# 4.1 above; bars of exactly four 39-68 %, FiloBass 63 %).
ONSETS = {
    80: (4.7, 6.3), 120: (4.25, 4.8), 160: (4.25, 4.7), 200: (4.1, 4.6), 240: (3.95, 4.3),
    300: (3.8, 4.1),
}  # fmt: skip


def test_ornaments_are_most_at_slow_tempos(swing: tuple[int, BassFigures]) -> None:
    tempo, found = swing
    low, high = ONSETS[tempo]
    assert low <= found.onsets <= high


def test_a_climb_thins_out_without_being_arranged_anew() -> None:
    """One arrangement for 160 bpm, heard at other tempos: as dense as one made for them."""
    played = passes(160)
    heard = {
        tempo: sum(len(b) for p, part in played for b in by_bar(p, part, tempo)) for tempo in TEMPOS
    }
    whole = sum(len(structural(part)) for _, part in played)
    assert whole <= heard[300] < heard[240] < heard[200] <= heard[160] < heard[120] < heard[80]


def test_a_learner_hears_the_roots() -> None:
    found = figures(passes(160, careful=True), 160)
    assert 0.85 <= found.roots_on_change <= 0.95  # our own band


@pytest.mark.parametrize(
    ("feel", "low", "high"), [("two", 2.0, 3.2), ("ballad", 2.0, 3.2), ("bossa", 2.8, 4.0)]
)
def test_other_feels_play_fewer_notes(feel: str, low: float, high: float) -> None:
    """Common practice, no source."""
    found = figures(passes(120, feel), 120)
    assert low <= found.onsets <= high
    assert found.roots_on_change >= 0.8
    assert found.tones_on_one >= 0.97


def test_bad_steps_would_be_counted() -> None:
    """The figures tell a walking line from notes drawn at random."""
    rng = random.Random(1)
    played = [
        (plan, replace(part, notes=tuple(
            replace(note, pitch=rng.randint(33, 50)) for note in part.notes)))
        for plan, part in passes(160)
    ]  # fmt: skip
    found = figures(played, 160)
    assert found.roots_on_change < 0.2
    assert found.semitones_in < 0.2
    assert found.wide > 0.25
