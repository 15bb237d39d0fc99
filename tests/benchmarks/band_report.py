"""The band beside measured players: a table of figures, ours, the published band, the source.

    python -m tests.benchmarks.band_report [--bars N]

plays at least N bars (1,000) of varied changes at every tempo, our tunes and random ones in all
keys, through the same arrangement as a track, and measures notes and seconds. A value outside its
band is marked ``!``. Sources:

- JTD: Jazz Trio Database, Cheston, Schlichting, Cross & Harrison 2024, TISMIR, DOI
  10.5334/tismir.186; hand-annotated tracks (JTD-man) and per-track means, computed.
- F&S: Friberg & Sundström 2002, Music Perception 19(3), and the KTH rules (swing.lsp).
- WJD: Weimar Jazz Database, computed. FiloBass: Riley & Dixon 2023, ISMIR.
- GMD: Groove MIDI Dataset, Gillick et al. 2019, swing takes, computed.
- Hofmann: Hofmann, Wesolowski & Goebl 2017, JNMR 46(4), DOI 10.1080/09298215.2017.1355394.
- practice: common practice, no source. ours: a promise of our own.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import isfinite
from statistics import fmean

from backing.combo.feel import SOLOIST_RATIO
from backing.combo.part import Part
from tests.benchmarks import figures_comping as comping
from tests.benchmarks import figures_form as form
from tests.benchmarks import figures_harmony as harmony
from tests.benchmarks import figures_time as time
from tests.benchmarks.figures_bass import BassFigures
from tests.benchmarks.figures_bass import figures as bass_figures
from tests.benchmarks.figures_drums import DrumFigures, answers
from tests.benchmarks.figures_drums import figures as drum_figures
from tests.benchmarks.heard import (
    HALF,
    Heard,
    Played,
    choruses,
    first_choruses,
    long_chords,
    loops,
    parts,
    told,
)

TEMPOS = (80, 120, 160, 200, 240, 300)
BARS = 1000

Band = tuple[float, float]
Bands = Band | Mapping[int, Band]
"""From and to, both inside; or one band for each tempo."""

FEELS = {
    "swing": 60, "two": 140, "ballad": 60, "waltz": 144, "five": 150, "shuffle": 120, "blues12": 66,
    "bossa": 132, "samba": 200, "even": 140, "secondline": 180, "doubletime": 76,
}  # fmt: skip
"""Feels beside swing from 80 bpm, at a tempo that is usual for them."""


class Material:
    """Passes of the band at one tempo in one feel, and the figures of its players."""

    def __init__(self, tempo: int, bars: int, feel: str = "swing", **how: object) -> None:
        self.tempo, self.feel, self.how = tempo, feel, how
        self.passes = choruses(tempo, bars, feel, **how)
        self.bars = sum(len(heard.plan.bars) for heard in self.passes)

    def part(self, name: str) -> list[Played]:
        """The plans with the part of one player."""
        return parts(self.passes, name)

    @cached_property
    def told(self) -> list[Heard]:
        """Choruses with hits, stops and pushes."""
        return told(self.tempo)

    @cached_property
    def loop(self) -> list[Heard]:
        """Rounds of short loops of several tunes."""
        rounds = [heard for tune in loops(self.tempo, "5-8") for heard in tune]
        return [heard for heard in rounds if heard.plan.circular]

    @cached_property
    def bass(self) -> BassFigures:
        """The bass."""
        return bass_figures(self.part("bass"), self.tempo)

    @cached_property
    def careful_bass(self) -> BassFigures:
        """The bass in short loops."""
        return bass_figures(parts(self.loop, "bass"), self.tempo)

    @cached_property
    def first_bass(self) -> BassFigures:
        """The bass in first choruses."""
        return bass_figures(parts(first_choruses(self.tempo, 120), "bass"), self.tempo)

    @cached_property
    def drums(self) -> DrumFigures:
        """The drums."""
        return drum_figures(self.part("drums"), self.tempo)

    @cached_property
    def swing(self) -> time.Swing:
        """The ride cymbal's swing."""
        return time.swing(self.passes)

    @cached_property
    def comping(self) -> list[Played]:
        """The comping, where no guide tones are heard: it would leave them room."""
        alone = choruses(self.tempo, self.bars, self.feel, players="comp", **self.how)
        return parts(alone, "comp")

    @cached_property
    def tensions(self) -> dict[str, int]:
        """Voices that are out of place."""
        return harmony.wrong_tensions(self.comping)

    def on(self, voice: str) -> time.Lateness:
        """How late a voice is on the beat."""
        return time.lateness(self.passes, voice, off_beat=False)

    def off(self, voice: str) -> time.Lateness:
        """How late a voice is off the beat."""
        return time.lateness(self.passes, voice, off_beat=True)

    @cached_property
    def melodic_ratio(self) -> float:
        """The long : short ratio of a line whose notes on the beat are as late as the guide tones.

        Its notes off the beat are with the ride.
        """
        beat = 60_000 / self.tempo
        off = beat * self.swing.ratio / (self.swing.ratio + 1)
        late = self.on("guide tones").mean
        return (off - late) / (beat - off + late)


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the table: a figure, how it is measured, its band, and where that comes from."""

    figure: str
    measure: Callable[[Material], float]
    band: Bands
    source: str

    def limits(self, tempo: int) -> Band:
        """The band at a tempo."""
        return self.band if isinstance(self.band, tuple) else self.band[tempo]

    def inside(self, value: float, tempo: int) -> bool:
        """Whether a value lies in its band; what could not be measured does not."""
        low, high = self.limits(tempo)
        return low <= value <= high


def _total(count: Callable[[Part], int]) -> Callable[[Material], float]:
    """The sum of a count over the parts of the comping."""
    return lambda m: sum(count(part) for _, part in m.comping)


def _ride_on(beat: int) -> Callable[[Material], float]:
    return lambda m: m.drums.ride[beat]


def _out_of_place(name: str) -> Callable[[Material], float]:
    return lambda m: m.tensions[name]


def _share_of(values: Sequence[int], most: int) -> float:
    return sum(value <= most for value in values) / max(1, len(values))


def _inside_pitches(m: Material) -> float:
    pitches = [note.pitch for _, part in m.comping for note in part.notes]
    return sum(50 <= pitch <= 81 for pitch in pitches) / len(pitches)


def _extensions(m: Material) -> float:
    counts = [comping.extensions_heard(plan, part) for plan, part in m.comping]
    heard, missed = sum(h for h, _ in counts), sum(n for _, n in counts)
    return heard / max(1, heard + missed)


def _cadence_share(m: Material) -> float:
    moves = [move for plan, _ in m.comping for move in comping.cadence_moves(plan)]
    return _share_of(moves, 2) if moves else 1.0  # few strokes are whole grips


def _roots_of_long_chords(m: Material) -> float:
    """Roots on beat 1, of the bars in chords of eight bars."""
    return bass_figures(parts(long_chords(m.tempo), "bass"), m.tempo).roots_on_one_held


def _resets(m: Material) -> float:
    """Share of the heads of sections, of those after a low line, at which it begins higher."""
    tops, resets = 0, 0
    for plan, part in m.part("guide"):
        heads = {bar.start for bar in plan.bars if bar.section_top}
        for before, after in pairwise(sorted({note.onset for note in part.notes})):
            low = min(note.pitch for note in part.notes if note.onset == before)
            moved = plan.span_at(before) is not plan.span_at(after)
            if after in heads and low < 57 and moved:
                tops += 1
                resets += min(n.pitch for n in part.notes if n.onset == after) > low
    return resets / tops if tops else 1.0


AGREEMENT = (
    Row("all voices, widest on one off-beat, ms", lambda m: time.widest_off_beat(m.passes),
        (0, 20), "Hofmann: preferred below 19"),
    Row("ride about its off-beat, worst ms", lambda m: m.off("ride").worst, (0, 20), "Hofmann"),
    Row("bass skips, mean ms", lambda m: m.off("bass").mean, (-5, 12), "JTD, same as on the beat"),
    Row("bass skips, worst ms", lambda m: m.off("bass").worst, (0, 20), "Hofmann"),
    Row("comping, mean ms", lambda m: m.off("comping").mean, (0, 20), "ours"),
    Row("comping, worst ms", lambda m: m.off("comping").worst, (0, 20), "Hofmann"),
    Row("snare comments, worst ms", lambda m: m.off("snare").worst, (0, 20), "Hofmann"),
    Row("kick comments, worst ms", lambda m: m.off("kick").worst, (0, 20), "Hofmann"),
    Row("pushes and hits, widest ms", lambda m: time.together_ms(m.told), (0, 15), "ours"),
    Row("players missing from pushes and hits", lambda m: time.missing_from_accents(m.told),
        (0, 0), "practice"),
)  # fmt: skip

TIME = (
    Row("ride, long : short", lambda m: m.swing.ratio,
        {80: (2.0, 3.1), 120: (2.38, 3.45), 160: (2.11, 2.96), 200: (1.84, 2.46),
         240: (1.59, 1.96), 300: (1.1, 1.4)}, "F&S, KTH 2020, JTD; at 80 GMD, F&S"),
    Row("ride, short note, shortest ms", lambda m: m.swing.shortest_ms, (78, 999),
        "F&S: about 100, never under 80"),
    Row("melodic lines, long : short", lambda m: m.melodic_ratio, (1.0, 1.9),
        "F&S soloists (1.80 at 80), JTD piano, WJD"),
    Row("... of the soloists' line", lambda m: m.melodic_ratio
        / max(1.0, SOLOIST_RATIO[0] + SOLOIST_RATIO[1] * m.tempo), (0.95, 1.1), "F&S"),
    Row("guide tones late on the beat, ms", lambda m: m.on("guide tones").mean,
        {80: (26, 74), 120: (26, 63), 160: (17, 52), 200: (14, 41), 240: (8, 30), 300: (0, 14)},
        "WJD to F&S"),
    Row("ride on the beat, spread ms", lambda m: m.on("ride").spread, (0, 20), "GMD 12-25"),
    Row("bass, mean ms", lambda m: m.on("bass").mean, (0, 12), "JTD-man +6, KTH 7-17"),
    Row("bass, spread ms", lambda m: m.on("bass").spread, (1, 20), "JTD-man 22 played"),
    Row("hi-hat foot, mean ms", lambda m: m.on("hi-hat foot").mean, (-20, -5),
        "Hofmann 2-26 ahead, GMD 8-24"),
    Row("hi-hat foot, spread ms", lambda m: m.on("hi-hat foot").spread, (1, 20), "GMD"),
    Row("comping, mean ms", lambda m: m.on("comping").mean, (0, 20), "JTD (soloing +17-22)"),
    Row("comping, spread ms", lambda m: m.on("comping").spread, (1, 20), "JTD-man 28 played"),
    Row("snare, mean ms", lambda m: m.on("snare").mean, (-5, 20), "practice"),
    Row("kick, mean ms", lambda m: m.on("kick").mean, (-5, 12), "practice"),
    Row("bars of a loop of another length", lambda m: time.uneven_bars(m.loop), (0, 0), "ours"),
)  # fmt: skip

BASS = (
    Row("root on a chord change", lambda m: m.bass.roots_on_change, (0.6, 0.85),
        "FiloBass 0.68, WJD 0.65-0.73"),
    Row("... in short loops", lambda m: m.careful_bass.roots_on_change, (0.85, 0.98), "ours"),
    Row("... in first choruses (in two)", lambda m: m.first_bass.roots_on_change, (0.85, 0.98),
        "ours"),
    Row("written note under a slash", lambda m: m.bass.written_under_slash, (0.95, 1), "practice"),
    Row("chord tone on beat 1", lambda m: m.bass.tones_on_one, (0.8, 0.93), "WJD 0.80-0.84"),
    Row("root on 1, chord held", lambda m: m.bass.roots_on_one_held, (0.25, 0.5),
        "WJD 0.22 (all) - 0.39 (strict)"),
    Row("... for eight bars", _roots_of_long_chords, (0.3, 0.65), "ours: about half"),
    Row("step into a chord", lambda m: m.bass.steps_in, (0.45, 0.75), "WJD 0.61"),
    Row("... by semitone", lambda m: m.bass.semitones_in, (0.36, 0.56), "WJD 0.46"),
    Row("fifth or fourth into a chord", lambda m: m.bass.dominants_in, (0.12, 0.27), "WJD 0.19"),
    Row("repeats", lambda m: m.bass.repeats, (0.1, 0.18), "WJD 0.145"),
    Row("steps", lambda m: m.bass.steps, (0.37, 0.56), "WJD 0.37 and octave errors"),
    Row("widest move, semitones", lambda m: m.bass.widest, (0, 12), "ours"),
    Row("leaps of a fourth turned back", lambda m: m.bass.leaps_turned, (0.68, 0.85), "WJD 0.78"),
    Row("steps turned back", lambda m: m.bass.steps_turned, (0.4, 0.6), "WJD 0.56"),
    Row("notes in MIDI 33-50", lambda m: m.bass.inside, (0.95, 1), "WJD 5-95 %: 34-48"),
    Row("lowest", lambda m: m.bass.lowest, (28, 40), "open E string"),
    Row("highest", lambda m: m.bass.highest, (45, 55), "WJD 99 %: 52"),
    Row("median", lambda m: m.bass.median, (39, 44), "WJD 42"),
    Row("span, semitones", lambda m: m.bass.span, (12, 19), "WJD 12-19"),
    Row("onsets a bar", lambda m: m.bass.onsets,
        {80: (4.7, 6.3), 120: (4.25, 4.7), 160: (4.25, 4.75), 200: (4.1, 4.6), 240: (3.95, 4.25),
         300: (3.8, 4.1)}, "JTD-man 4.5 / 4.45 / 4.1; a beat 1.18-1.58 at 80, .99 at 260 and more"),
    Row("bars of exactly four", lambda m: m.bass.four_a_bar,
        {80: (0.2, 0.5), 120: (0.39, 0.65), 160: (0.39, 0.65), 200: (0.45, 0.7), 240: (0.5, 0.8),
         300: (0.6, 0.85)}, "JTD-man 0.39 / 0.52 / 0.68, FiloBass 0.63; at 80 slower than those"),
    Row("bar figures heard again at once", lambda m: m.bass.figures_heard_again, (0, 0.03), "ours"),
)  # fmt: skip

COMPING = (
    Row("attacks a bar", lambda m: fmean(comping.attacks_per_bar(p) for p, _ in m.comping),
        (0.5, 3), "school figures: 2"),
    Row("off the beat", lambda m: fmean(comping.off_beat_share(p) for p, _ in m.comping),
        (0.5, 1), "school figures"),
    Row("anticipations of the wrong chord",
        lambda m: sum(comping.wrong_anticipations(p) for p, _ in m.comping), (0, 0), "practice"),
    Row("same bar figure, most in a row",
        lambda m: max(comping.longest_run_of_a_figure(p) for p, _ in m.comping), (1, 4), "ours"),
    Row("chords of two beats heard", lambda m: fmean(comping.heard_share(p) for p, _ in m.comping),
        (0.82, 1), "ours"),
    Row("voices in MIDI 50-81", _inside_pitches, (0.97, 1), "rootless voicings; clips to 86"),
    Row("intervals below their limits", _total(harmony.low_intervals), (0, 0), "sweetwater.com"),
    Row("minor ninths but root to b9", _total(comping.minor_ninths), (0, 0), "practice"),
    Row("voices that fight a chord tone", _total(comping.fighting_voices), (0, 0), "ours"),
    Row("voices of II-V-Is moving 0-2", _cadence_share, (0.97, 1), "A and B forms"),
    Row("strokes without 3 or 7", lambda m: fmean(
        comping.guide_tones_missing(part) for _, part in m.comping), (0, 0.7),
        "clips: .44 single notes"),
    Row("written extensions heard", _extensions, (0.97, 1), "ours"),
    Row("V7 of minor with its b9", lambda m: harmony.flat_ninth_share(m.comping), (0.5, 1), "ours"),
    *(Row(f"out of place over {name}", _out_of_place(name), (0, 0), "ours")
      for name in ("V7 of minor", "II7 and its like", "iim7b5, iiim7", "bare tonic")),
)  # fmt: skip

DRUMS = (
    *(Row(f"ride on {beat + 1}", _ride_on(beat), (0.74, 1),
          f"GMD {published}") for beat, published in enumerate((0.77, 0.82, 0.78, 0.74))),
    Row("skip after 1", lambda m: m.drums.skips[0], (0, 0.15), "GMD 0.12"),
    Row("skip after 2", lambda m: m.drums.skips[1], (0.21, 1), "GMD 0.68"),
    Row("skip after 3", lambda m: m.drums.skips[2], (0, 0.15), "GMD 0.10"),
    Row("skip after 4", lambda m: m.drums.skips[3], (0.5, 0.94), "GMD 0.63"),
    Row("ride strokes a bar", lambda m: m.drums.ride_per_bar, (4.3, 5.8), "GMD"),
    Row("2 and 4 louder by", lambda m: m.drums.back_beat, (5, 25), "GMD median 14"),
    Row("skips softer by", lambda m: m.drums.skip_drop, (9, 59), "GMD median 13"),
    Row("foot on 2 and 4", lambda m: m.drums.foot, (0.5, 0.98), "GMD 0.5-0.98"),
    Row("... band laying out", lambda _: form.foot_alone(), (1, 1), "ours"),
    Row("kick feathered, share of beats", lambda m: m.drums.feather,
        {**dict.fromkeys((80, 120, 160, 200), (0.85, 1)), 240: (0.3, 0.8), 300: (0, 0.1)},
        "practice"),
    Row("... its loudest", lambda m: m.drums.feather_loudest, (0, 45), "GMD medians 24-43"),
    Row("snare off the beat", lambda m: m.drums.snare_off,
        {**dict.fromkeys((80, 120, 160, 200, 240), (0.2, 0.4)), 300: (0.1, 0.4)}, "GMD 0.31"),
    Row("snare on the beat", lambda m: m.drums.snare_on, (0.05, 0.25), "GMD 0.15"),
    Row("snare, median velocity", lambda m: m.drums.snare_median, (19, 43), "GMD 34"),
    Row("kick comments a bar", lambda m: m.drums.kick_comments, (0.1, 0.6), "GMD 0.4-2.5 in all"),
    Row("places struck a bar", lambda m: m.drums.onsets,
        {80: (6.3, 7.5), 120: (6.3, 7.5), 160: (6.0, 7.3), 200: (6.0, 7.3), 240: (5.2, 6.5),
         300: (5.2, 6.4)}, "JTD-man 7.1 / 6.8 / 5.7"),
    Row("comments on comping strokes", lambda m: answers(m.part("drums"))[0], (0.2, 1), "ours"),
)  # fmt: skip

GUIDES = (
    Row("notes that are no guide tone", lambda m: harmony.wrong_guide_tones(
        [part for _, part in m.part("guide")]), (0, 0), "coursera 8-53, musictheorymanual"),
    Row("II-V-I moves of 0-2 semitones", lambda m: _share_of(
        harmony.guide_moves(m.part("guide")), 2), (0.97, 1), "arithmetic"),
    Row("sunk lines that begin higher", _resets, (0.9, 1), "ours"),
)  # fmt: skip

FORM = (
    Row("turnarounds played at the end", lambda _: form.turnarounds_at_the_end(), (0, 0),
        "practice"),
    Row("endings unlike their names", lambda _: form.wrong_endings(), (0, 0), "practice"),
    Row("notes after the last chord", lambda _: form.struck_after_the_end(), (0, 0), "practice"),
    Row("loops: bass leads into bar 1", lambda m: form.loop_approaches(m.tempo), (0.75, 1), "ours"),
    Row("loops: pushes of bar 1 missing", lambda _: form.early_first_bar(), (0, 0), "practice"),
    Row("short loops: fills and crashes", lambda _: form.loud_short_loops(), (0, 0), "practice"),
    Row("first choruses not in two", lambda _: form.wrong_first_choruses(), (0, 0), "practice"),
    Row("changes of feel without a fill", lambda _: form.unprepared_changes_of_feel(), (0, 0),
        "practice"),
    Row("ends of sections without a fill", lambda _: form.sections_without_a_fill(), (0, 0),
        "practice"),
    Row("ballads without brushes", lambda _: form.kits_out_of_place(), (0, 0), "practice"),
    Row("count-ins", lambda _: form.wrong_count_ins(), (0, 0), "practice"),
    Row("seeds", lambda _: form.changed_by_the_seed(), (0, 0), "ours"),
    Row("who is there changes others", lambda _: form.moved_by_who_is_there(), (0, 0), "ours"),
)  # fmt: skip

GROUPS: Mapping[str, tuple[Row, ...]] = {
    "one off-beat, against the ride": AGREEMENT,
    "time, against the ride": TIME,
    "walking bass": BASS,
    "comping": COMPING,
    "drums": DRUMS,
    "guide tones": GUIDES,
}

ONSETS = {
    "swing": (4.7, 6.3), "two": (2.0, 3.2), "ballad": (2.0, 3.2), "waltz": (1.5, 3.3),
    "five": (2.5, 6.0), "shuffle": (4.0, 6.0), "blues12": (4.0, 6.0), "bossa": (2.8, 4.0),
    "samba": (2.0, 5.0), "even": (2.0, 4.0), "secondline": (2.5, 5.0), "doubletime": (2.0, 8.5),
}  # fmt: skip
# of some tracks, each of which swings more or less than the mean (see feel.BETWEEN)
RATIOS = {
    "shuffle": (1.9, 2.1), "blues12": (1.9, 2.1), "secondline": (1.3, 1.5),
    **dict.fromkeys(("bossa", "samba", "even", "doubletime"), (0.97, 1.03)),
    "ballad": (1.8, 2.8), "swing": (1.8, 2.8), "waltz": (2.0, 2.8), "five": (2.0, 2.8),
    "two": (2.2, 3.2),
}  # fmt: skip


def feel_rows(feel: str) -> tuple[Row, ...]:
    """The figures of a feel, from common practice (no source)."""
    return (
        Row("swing of the clock", _clock_ratio, RATIOS[feel], "practice"),
        Row("widest on one off-beat, ms", lambda m: time.widest_off_beat(m.passes),
            (0, 30 if feel == "ballad" else 22), "practice"),
        Row("bass, mean ms", lambda m: m.on("bass").mean, (0, 12), "practice"),
        Row("hi-hat foot, mean ms", lambda m: m.on("hi-hat foot").mean, (-20, 0), "practice"),
        Row("comping, mean ms", lambda m: m.on("comping").mean, (0, 20), "practice"),
        Row("bass: root on a change", lambda m: m.bass.roots_on_change, (0.6, 1), "practice"),
        Row("bass: chord tone on 1", lambda m: m.bass.tones_on_one, (0.8, 1), "practice"),
        Row("bass: onsets a bar", lambda m: m.bass.onsets, ONSETS[feel], "practice"),
        Row("bass: widest move", lambda m: m.bass.widest, (0, 12), "practice"),
        Row("comping: attacks a bar", lambda m: fmean(
            comping.attacks_per_bar(p) for p, _ in m.comping), (0.5, 4.5), "practice"),
        Row("comping: wrong anticipations", lambda m: sum(
            comping.wrong_anticipations(p) for p, _ in m.comping), (0, 0), "practice"),
        Row("comping: voices that fight", _total(comping.fighting_voices), (0, 0), "ours"),
        Row("comping: low intervals", _total(harmony.low_intervals), (0, 0), "sweetwater.com"),
        Row("drums: places struck a bar", lambda m: m.drums.onsets, (2.5, 16), "practice"),
    )  # fmt: skip


def _clock_ratio(m: Material) -> float:
    """Long : short where the clock puts the first off-beat of a bar, the mean of all bars."""
    found = []
    for heard in m.passes:
        for bar in heard.plan.bars:
            start, off, end = (heard.place(bar.start + n * HALF) for n in range(3))
            found.append((off - start) / (end - off))
    return fmean(found)


Line = tuple[str, Row, dict[int, float]]


def measured(bars: int, tempos: Sequence[int] = TEMPOS) -> Iterator[Line]:
    """Every row of the swing groups with its values by tempo."""
    material = {tempo: Material(tempo, bars) for tempo in tempos}
    for group, rows in GROUPS.items():
        for row in rows:
            yield group, row, {tempo: row.measure(m) for tempo, m in material.items()}
    for row in FORM:
        yield "form", row, {tempos[-1]: row.measure(material[tempos[-1]])}


def measured_feels(bars: int) -> Iterator[Line]:
    """The rows of every other feel, and of swing at 60 bpm."""
    for feel, tempo in FEELS.items():
        material = Material(tempo, bars, feel)
        for row in feel_rows(feel):
            yield f"{feel} at {tempo} bpm", row, {tempo: row.measure(material)}


def outside(lines: Iterable[Line]) -> list[str]:
    """What lies outside its band, in words."""
    return [
        f"{group}: {row.figure} at {tempo} bpm: {value:.3f}, not in {row.limits(tempo)}"
        for group, row, values in lines
        for tempo, value in values.items()
        if not row.inside(value, tempo)
    ]


def _number(value: float) -> str:
    if isfinite(value) and value == int(value) and abs(value) < 1000:
        return f"{int(value)}"
    return f"{value:.2f}" if abs(value) < 10 else f"{value:.1f}"


def _bands(row: Row, tempos: Sequence[int]) -> str:
    if isinstance(row.band, tuple):
        return f"{_number(row.band[0])}-{_number(row.band[1])}"
    return " ".join(f"{_number(low)}-{_number(high)}" for low, high in map(row.limits, tempos))


def print_lines(lines: Iterable[Line]) -> int:
    """Print the table; returns how many values lie outside their bands."""
    group, count = "", 0
    for name, row, values in lines:
        if name != group:
            heads = "".join(f"{tempo:>9}" for tempo in values) if len(values) > 1 else ""
            print(f"\n{name:40}{heads}")
            group = name
        cells = ""
        for tempo, value in values.items():
            inside = row.inside(value, tempo)
            count += not inside
            cells += f"{_number(value) + ('' if inside else '!'):>9}"
        print(f"{row.figure:40}{cells}  | {_bands(row, tuple(values))} | {row.source}")
    return count


def main() -> None:
    """Play, measure, print."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--bars", type=int, default=BARS, help="of swing at each tempo, at least")
    bars = reader.parse_args().bars
    print(f"At least {bars:,} bars at each tempo; ours | the band it should lie in | its source.")
    out = print_lines(measured(bars)) + print_lines(measured_feels(max(100, bars // 4)))
    print(f"\n{out} values lie outside their bands.")


if __name__ == "__main__":
    main()
