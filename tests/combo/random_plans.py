"""Hypothesis strategy of plans: any chords in any meter and feel, with pushes, hits and rests."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

from backing.chart.bar import Directions, Meter
from backing.combo.feel_file import feel_names
from backing.combo.plan import Plan
from tests.combo.build import bars, plan_of

METERS = ("2/4", "3/4", "4/4", "4/4", "4/4", "5/4", "6/4", "7/4", "6/8", "9/8", "12/8")
CHORDS = (
    "C", "Cm", "C5", "C6", "Am7", "Dm7", "D7", "D7alt", "G7", "G7sus", "F#m7b5", "Bbdim7", "Ebmaj7",
    "E7#9", "F/G", "Dm7/G", "C/E", "Ab7#11", "CmM7", "B+7", "Gm11", "F13", "A7(b9,b13)", "Bb6/9",
    "Dbmaj7#11", "Eb+", "Gsus4", "Asus2", "Cmb6", "Ddim", "Fm9b5", "B7b5", "Bm13", "N.C.",
)  # fmt: skip

plain = st.just(Directions())
halves = st.sets(st.integers(0, 3).map(lambda n: Fraction(n, 2)), min_size=1, max_size=3)
directions = st.one_of(
    plain,
    plain,
    plain,
    halves.map(lambda beats: Directions(hits=tuple(sorted(beats)))),
    halves.map(lambda beats: Directions(only=tuple(sorted(beats)))),
    st.just(Directions(lay_out=frozenset({"comp"}))),
)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """A pass of one to nine bars at any tempo, a round or the end of an arrangement."""
    meter = draw(st.sampled_from(METERS))
    beats = Meter(*map(int, meter.split("/"))).beats
    cells = []
    for _ in range(draw(st.integers(1, 9))):
        onsets = sorted({0, *draw(st.sets(st.integers(0, beats - 1), max_size=3))})
        words = [f"{draw(st.sampled_from(CHORDS))}@{onset}" for onset in onsets]
        cells.append(" ".join(draw(st.sampled_from(["", "", "", "", "<"])) + w for w in words))
    told = {index: draw(directions) for index in range(len(cells))}
    played = bars(
        " | ".join(cells),
        meter,
        draw(st.sampled_from(feel_names())),
        draw(st.sampled_from(["C major", "F# major", "Eb minor", "D dorian"])),
        section_bars=draw(st.sampled_from([4, 8])),
        directions=told,
    )
    return plan_of(played, draw(st.integers(40, 320)), final=draw(st.booleans()))
