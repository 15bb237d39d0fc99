"""How much the band varies: within a track, from chorus to chorus, between tracks.

    python -m tests.benchmarks.spread [--forms N]

plays N generated forms (60), ten at each of six tempos, and prints every figure as a distribution
over the tracks: its 10th, 50th and 90th percentile, and the extremes. A figure is marked ``!``
where its median lies outside what players do. Where eight bars are told, the emptiest and the
fullest of all tracks stand below. Published columns:

- JTD: Jazz Trio Database, Cheston, Schlichting, Cross & Harrison 2024, TISMIR, DOI
  10.5334/tismir.186; 34 trios annotated by hand, computed.
- WJD: Weimar Jazz Database, Pfleiderer et al. 2017; its bass lines, computed.
- GMD: Groove MIDI Dataset, Gillick, Roberts, Engel, Eck & Bamman 2019, ICML; jazz takes, computed.
- JJA: Jazz Jitter Analysis, one duo (data of Nelias et al. 2022, Communications Physics 5, DOI
  10.1038/s42005-022-00995-z), computed.
- clips: 20 clips of pianists, computed; a small sample.
- ours: a promise of our own.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import isfinite, log2
from statistics import correlation, fmean, median, pstdev, quantiles

from backing.combo import instruments as kit
from backing.combo.part import Note
from backing.combo.plan import PlanBar
from backing.routine import Purpose
from backing.routine.request import Request
from tests.benchmarks.changes import random_form
from tests.benchmarks.heard import HALF, Heard, Timed, take
from tests.benchmarks.heard import band as whole_band

TEMPOS = (80, 120, 160, 200, 240, 300)
FORMS, CHORUSES = 60, 4
EIGHT, WINDOW = 8, 64
ELSEWHERE = (7, 11, 17)
"""So many bars away an answer is one by chance."""
TOMS = (kit.LOW_TOM, kit.MID_TOM, kit.HIGH_TOM)

BarNotes = tuple[Heard, PlanBar, list[Timed]]


class Track:
    """One form as it was played, its bars in swing: figures of one value each."""

    def __init__(
        self, number: int, tempo: int, choruses: int = CHORUSES, occasion: str | None = None
    ) -> None:
        self.tempo = tempo
        form = random_form(number, tempo=tempo)
        who = whole_band(number, players="bass comp drums", occasion=occasion)
        played = take(form, Request(tempo=tempo, choruses=choruses), who)
        self.all = [h for h in played if h.plan.purpose is not Purpose.COUNT_IN]
        self.passes = [h for h in self.all if h.feel == "swing"]

    def bars(self, part: str) -> Iterator[BarNotes]:
        """Every bar that is played on, with the notes of a part that begin in it."""
        for heard in self.passes:
            by_bar: dict[int, list[Timed]] = defaultdict(list)
            for note in heard.notes(part):
                by_bar[heard.plan.bar_at(max(note.note.onset, Fraction(0))).index].append(note)
            for bar in heard.plan.bars:
                if not bar.bar.final:
                    yield heard, bar, by_bar[bar.index]

    # ---- time

    @cached_property
    def ride_ratios(self) -> list[float]:
        """log2 of every swung pair of the ride."""
        found = []
        for heard in self.passes:
            drums = heard.notes("drums")
            struck = {n.note.onset: n.seconds for n in drums if n.note.pitch == kit.RIDE}
            for onset, start in struck.items():
                off, end = struck.get(onset + HALF), struck.get(onset + 1)
                if onset.denominator == 1 and off is not None and end is not None:
                    found.append(log2((off - start) / (end - off)))
        return found

    @cached_property
    def asynchronies(self) -> list[list[float]]:
        """Bass minus ride in ms on the beats that both play, chorus by chorus."""
        found = []
        for heard in self.passes:
            drums = heard.notes("drums")
            ride = {n.note.onset: n.seconds for n in drums if n.note.pitch == kit.RIDE}
            bass = {n.note.onset: n.seconds for n in heard.notes("bass") if not n.note.together}
            beats = sorted(b for b in ride.keys() & bass.keys() if b.denominator == 1)
            found.append([1000 * (bass[b] - ride[b]) for b in beats])
        return found

    # ---- notes

    def rhythms(self, part: str) -> list[tuple[Fraction, ...]]:
        """The rhythm of every bar: where in it something is struck."""
        return [
            tuple(sorted({n.note.onset - bar.start for n in notes}))
            for _, bar, notes in self.bars(part)
        ]

    def distinct(self, part: str) -> float:
        """The share of different rhythms in 64 bars, the mean of all stretches of 64."""
        rhythms = self.rhythms(part)
        firsts = range(0, max(1, len(rhythms) - WINDOW + 1), 16)
        return fmean(len(set(rhythms[a : a + WINDOW])) / WINDOW for a in firsts)

    def eights(self, part: str) -> list[float]:
        """Strokes a bar in every stretch of eight bars."""
        counts = [len({n.note.onset for n in notes}) for _, _, notes in self.bars(part)]
        return [fmean(counts[a : a + EIGHT]) for a in range(0, len(counts) - EIGHT + 1, EIGHT)]

    def velocities(self, part: str, keys: Sequence[int] = ()) -> list[int]:
        """The velocities of a part, of a chord its loudest."""
        found: dict[tuple[int, Fraction], int] = {}
        for at, heard in enumerate(self.passes):
            for n in heard.notes(part):
                if not keys or n.note.pitch in keys:
                    place = at, n.note.onset
                    found[place] = max(found.get(place, 0), n.note.velocity)
        return list(found.values())

    @cached_property
    def bass_moves(self) -> list[int]:
        """The size of every move of the bass, dead notes left out."""
        moves = []
        for heard in self.passes:
            sung = [n.note for n in heard.notes("bass") if n.note.role not in ("dead note", "rake")]
            moves += [abs(b.pitch - a.pitch) for a, b in pairwise(sung)]
        return moves

    def moves_of(self, wanted: Callable[[int], bool]) -> float:
        """The share of the bass's moves of some sizes."""
        return _share([wanted(move) for move in self.bass_moves])

    def tones_on(self, beat: int) -> float:
        """The share of chord tones among the bass notes on a beat, counted from 0."""
        found = []
        for _, bar, notes in self.bars("bass"):
            for n in notes:
                if n.note.onset == bar.start + beat and n.note.chord is not None:
                    chord = n.note.chord.sounding
                    tones = {*chord.core_pitch_classes, chord.bass_pitch_class}
                    found.append(n.note.pitch % 12 in tones)
        return _share(found)

    def roots(self, least: int, most: float) -> float:
        """The share of chords, of those so many beats long, that begin on their root."""
        found = []
        for heard in self.passes:
            struck = {n.note.onset: n.note for n in heard.notes("bass")}
            for span in heard.plan.spans:
                note = struck.get(span.start)
                if span.chord and note and least <= span.end - span.start <= most:
                    found.append(note.pitch % 12 == span.chord.bass_pitch_class)
        return _share(found)

    def struck_on(self, key: int, beats: Sequence[int]) -> float:
        """The share of some beats, of bars without a fill, on which a key of the kit is struck."""
        found = []
        for _, bar, notes in self.bars("drums"):
            if not bar.fill and not bar.set_up:
                onsets = {n.note.onset - bar.start for n in notes if n.note.pitch == key}
                found += [beat in onsets for beat in beats]
        return _share(found)

    @cached_property
    def chords(self) -> list[list[Note]]:
        """The notes of every stroke of the comp, those with the whole band left out."""
        found = []
        for heard in self.passes:
            strokes: dict[Fraction, list[Note]] = defaultdict(list)
            for n in heard.notes("comp"):
                if not n.note.together:
                    strokes[n.note.onset].append(n.note)
            found += list(strokes.values())
        return found

    def sized(self, size: int) -> float:
        """The share of strokes of the comp with so many notes; 4 stands for four and more."""
        return _share([min(4, len(chord)) == size for chord in self.chords])

    def tops(self, percent: int) -> float:
        """A percentile of the comp's highest notes."""
        return percentile([max(n.pitch for n in chord) for chord in self.chords], percent)


def _share(values: Sequence[bool]) -> float:
    return sum(values) / len(values) if values else float("nan")


def percentile(values: Sequence[float], percent: int) -> float:
    """A percentile of some values, from 1 to 99."""
    if len(values) < 2:
        return float(values[0]) if values else float("nan")
    return quantiles(values, n=100, method="inclusive")[percent - 1]


def _lag_one(track: Track) -> float:
    pairs = [pair for row in track.asynchronies for pair in pairwise(row)]
    return correlation(*zip(*pairs, strict=True)) if len(set(pairs)) > 2 else 0.0


def _silent(track: Track) -> float:
    return _share([not notes for _, _, notes in track.bars("comp")])


def _two_onsets(track: Track) -> float:
    """The share of beats on which the bass has two onsets or more, four to a bar counted."""
    found = []
    for _, bar, notes in track.bars("bass"):
        beats = [int(n.note.onset - bar.start) for n in notes]
        found += [beats.count(beat) > 1 for beat in range(4)]
    return _share(found)


def _toms(track: Track) -> float:
    struck = sum(n.note.pitch in TOMS for _, _, notes in track.bars("drums") for n in notes)
    return struck / (4 * sum(1 for _ in track.bars("drums")))


def _bass_notes(track: Track) -> float:
    counts = [len(notes) for _, _, notes in track.bars("bass")]
    return fmean(counts) / 4


def _ride_between(track: Track) -> float:
    return 2 ** median(track.ride_ratios)


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a track, what players do (``low`` to ``high``), and where that is known from.

    ``tempos``: the tempos at which it is counted.
    """

    name: str
    measure: Callable[[Track], float]
    low: float
    high: float
    source: str
    tempos: tuple[int, ...] = TEMPOS


FIGURES = (
    Figure("ride ratio within a track, SD of log2", lambda t: pstdev(t.ride_ratios),
           0.15, 0.44, "JTD .18-.44", (80, 120, 160, 200, 240)),
    Figure("bass minus ride, SD in ms", lambda t: pstdev([x for r in t.asynchronies for x in r]),
           13, 26, "JTD 20-26"),
    Figure("... lag-1 correlation", _lag_one, 0.12, 0.32, "JJA .16-.30"),
    Figure("... worst, ms", lambda t: max(abs(x) for r in t.asynchronies for x in r), 0, 45,
           "ours: never flamming"),
    *(Figure(f"bass: chord tone on {beat + 1}", lambda t, b=beat: t.tones_on(b), low, high, source)
      for beat, (low, high, source) in enumerate((
          (0.74, 0.92, "WJD .74-.85"), (0.51, 0.68, "WJD .51-.64"),
          (0.57, 0.76, "WJD .57-.68"), (0.47, 0.6, "WJD .49-.58")))),
    Figure("bass: root, chord of 2 beats", lambda t: t.roots(2, 2), 0.67, 0.85, "WJD .75"),
    Figure("bass: root, chord of 4 beats", lambda t: t.roots(4, 4), 0.77, 0.92, "WJD .84"),
    Figure("bass: root, chord of 8 beats and more", lambda t: t.roots(8, 99), 0.82, 1, "WJD .95"),
    Figure("bass: repeats", lambda t: t.moves_of(lambda m: m == 0), 0.11, 0.19, "WJD .145"),
    Figure("bass: moves of 2 semitones", lambda t: t.moves_of(lambda m: m == 2), 0.11, 0.19,
           "WJD .12-.15"),
    Figure("bass: tritones", lambda t: t.moves_of(lambda m: m == 6), 0.03, 0.08, "WJD .05-.06"),
    Figure("bass: moves of 8 and more", lambda t: t.moves_of(lambda m: m >= 8), 0.04, 0.13,
           "WJD up to .12"),
    Figure("bass: notes a beat at 80 bpm", _bass_notes, 1.12, 1.58, "JTD 1.18-1.58", (80,)),
    Figure("bass: notes a beat at 300 bpm", _bass_notes, 0.9, 1.08, "ours: simpler", (300,)),
    Figure("bass: beats with two onsets, 200-240", _two_onsets, 0.04, 0.2,
           "JTD .44-.52 a bar", (200, 240)),
    Figure("bass: distinct rhythms in 64 bars", lambda t: t.distinct("bass"), 0.2, 0.61,
           "JTD .28-.61"),
    Figure("drums: distinct bars in 64", lambda t: t.distinct("drums"), 0.34, 0.8, "GMD .36-.63"),
    Figure("drums: SD of density over eights", lambda t: pstdev(t.eights("drums")), 0.3, 1.2,
           "GMD .33-.80"),
    *(Figure(f"drums: ride on {b + 1}", lambda t, b=b: t.struck_on(kit.RIDE, (b,)), 0.7, 0.98,
             f"GMD {published}") for b, published in enumerate((0.77, 0.82, 0.78, 0.74))),
    Figure("drums: foot on 2 and 4", lambda t: t.struck_on(kit.PEDAL_HAT, (1, 3)), 0.56, 0.97,
           "GMD .61, .56"),
    Figure("drums: foot's velocity, 10 %",
           lambda t: percentile(t.velocities("drums", (kit.PEDAL_HAT,)), 10), 25, 66, "GMD 25"),
    Figure("drums: foot's velocity, 90 %",
           lambda t: percentile(t.velocities("drums", (kit.PEDAL_HAT,)), 90), 76, 104, "GMD 102"),
    Figure("drums: toms a beat", _toms, 0.03, 0.23, "GMD .23 alone"),
    Figure("comp: single notes", lambda t: t.sized(1), 0.2, 0.5, "clips .44"),
    Figure("comp: two notes", lambda t: t.sized(2), 0.15, 0.45, "clips .42 of the rest"),
    Figure("comp: three notes", lambda t: t.sized(3), 0.1, 0.4, "clips"),
    Figure("comp: four notes and more", lambda t: t.sized(4), 0.05, 0.4, "clips"),
    Figure("comp: top note, 5 %", lambda t: t.tops(5), 57, 66, "clips 63"),
    Figure("comp: top note, median", lambda t: t.tops(50), 65, 72, "clips 70"),
    Figure("comp: top note, 95 %", lambda t: t.tops(95), 71, 86, "clips 86"),
    Figure("comp: velocity, 10 %", lambda t: percentile(t.velocities("comp"), 10), 48, 66,
           "clips 62"),
    Figure("comp: velocity, median", lambda t: percentile(t.velocities("comp"), 50), 62, 78,
           "clips 74"),
    Figure("comp: velocity, 90 %", lambda t: percentile(t.velocities("comp"), 90), 78, 100,
           "clips 96"),
    Figure("comp: silent bars", _silent, 0.05, 0.12, "ours: .08-.10"),
    Figure("comp: distinct bars in 64", lambda t: t.distinct("comp"), 0.24, 1, "ours"),
    Figure("comp: strokes a bar, emptiest eight", lambda t: min(t.eights("comp")), 0.3, 1.6,
           "ours: about 1"),
    Figure("comp: strokes a bar, fullest eight", lambda t: max(t.eights("comp")), 2.8, 4.2,
           "ours: about 3.5"),
)  # fmt: skip


def tracks(forms: int = FORMS, choruses: int = CHORUSES) -> list[Track]:
    """Generated forms, as many at each tempo."""
    return [Track(1000 + n, TEMPOS[n % len(TEMPOS)], choruses) for n in range(forms)]


def values_of(figure: Figure, played: Sequence[Track]) -> list[float]:
    """A figure's value in every track in which it is counted."""
    found = [figure.measure(track) for track in played if track.tempo in figure.tempos]
    return [value for value in found if isfinite(value)]


def outside(played: Sequence[Track]) -> list[str]:
    """The figures whose median lies outside what players do, in words."""
    found = []
    for figure in FIGURES:
        middle = median(values_of(figure, played))
        if not figure.low <= middle <= figure.high:
            wanted = f"{figure.low:g}-{figure.high:g} ({figure.source})"
            found.append(f"{figure.name}: {middle:.3f}, not in {wanted}")
    return found


def ride_between(played: Sequence[Track]) -> float:
    """How far apart tracks at one tempo swing: half the range between quartiles, as a share."""
    spreads = []
    for tempo in (80, 120, 160, 200):
        ratios = [_ride_between(track) for track in played if track.tempo == tempo]
        if len(ratios) > 3:
            low, _, high = quantiles(ratios, n=4, method="inclusive")
            spreads.append((high - low) / 2 / median(ratios))
    return fmean(spreads)


def answers(heard: Sequence[Heard]) -> tuple[float, float]:
    """The share of the comp's figures that the drums take up within two bars, and by chance."""
    rows = ([_answered(h, 0) for h in heard], [_answered(h, by) for h in heard for by in ELSEWHERE])
    ours, chance = (sum(h for h, _ in row) / max(1, sum(c for _, c in row)) for row in rows)
    return ours, chance


def _answered(heard: Heard, shift: int) -> tuple[int, int]:
    """How many figures are taken up, of how many; ``shift``: so many bars elsewhere."""
    plan, hits, count = heard.plan, 0, 0
    said = [
        {n.onset - bar.start for n in heard.part("drums").notes
         if bar.start <= n.onset < bar.end and n.role == "comment"}
        for bar in plan.bars
    ]  # fmt: skip
    for bar in plan.bars[:-2]:
        figure = {s.onset - bar.start for s in plan.comping if bar.start <= s.onset < bar.end}
        if 2 <= len(figure) <= 4:
            count += 1
            places = ((bar.index + n + shift) % len(said) for n in (1, 2))
            hits += any(figure <= said[place] for place in places)
    return hits, count


def main() -> None:
    """Play, measure, print."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--forms", type=int, default=FORMS)
    played = tracks(reader.parse_args().forms)
    print(f"{len(played)} forms, {sum(len(h.plan.bars) for t in played for h in t.passes):,} bars")
    print(f"{'':42}{'worst':>8}{'10 %':>8}{'50 %':>8}{'90 %':>8}{'best':>8} | players")
    for figure in FIGURES:
        values = values_of(figure, played)
        cells = (min(values), *(percentile(values, p) for p in (10, 50, 90)), max(values))
        mark = " " if figure.low <= median(values) <= figure.high else "!"
        row = "".join(f"{cell:8.2f}" for cell in cells)
        print(f"{figure.name:42}{row}{mark}| {figure.source}")
    ours, chance = answers([h for t in played for h in t.passes if not h.plan.careful])
    name = "figures of the comp the drums answer"
    print(f"{name:42}{ours:24.3f}{'':17}| by chance {chance:.3f} (bars elsewhere)")
    print(f"{'ride ratio between tracks, +-':42}{ride_between(played):24.3f}{'':17}| JTD about .10")


if __name__ == "__main__":
    main()
