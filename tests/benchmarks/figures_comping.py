"""Figures of the comping: rhythm, voicings and their leading, measured over plans and parts.

Plain functions that return numbers; ``report()`` prints them beside the bands they should lie in.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise

from backing.chart.bar import PlayedBar
from backing.chart.pitch import Degree, Interval
from backing.combo.comp.comping import play
from backing.combo.comp.rhythm import strokes
from backing.combo.comp.voicing import voice_chords, voice_moves
from backing.combo.part import Note, Part
from backing.combo.plan import Plan
from tests.combo.build import bars, plan_of, transposed

TEMPOS = (80, 120, 160, 200, 240, 300)
HALF = Fraction(1, 2)

# our own: cadences in major and minor, cycles, a blues, long chords, chromatic and sus chords
CHANGES = """
Dm7 | G7 | Cmaj7 | A7 | Dm7 | G7 | Em7 A7 | Dm7 G7
C minor: Cm6 | Dm7b5 G7 | Cm7 | C7 | Fm7 | Bb7 | Ebmaj7 | Abmaj7
C7 | F7 | C7 | Gm7 C7 | F7 | F#dim7 | C7 | A7 | Dm7 | G7 | C7 A7 | D7 G7
C minor: Dm7b5 | G7alt | Cm6 | % | Ab7 | G7 | Cm | Dm7b5 G7b9
F major: Fmaj7 | % | Bb13 | % | Am7 D7 | Gm7 C7 | Abm7 Db7 | Gm7 C7sus4
F major: E7 | A7 | D9 | G13 | Gm11 | C7b9 | F6/9 | Db7#11
Dm7 | % | % | % | Ebm7 | % | Dm7 | % | G7sus4 | % | Fmaj7#11 | % | C/E F | G/B Am | F/G | C
"""


def varied_bars(feel: str = "swing", meter: str = "4/4") -> list[tuple[PlayedBar, ...]]:
    """68 bars of changes of many kinds, in as many tunes as CHANGES has lines."""
    tunes = []
    for line in CHANGES.strip().splitlines():
        key, _, text = line.rpartition(": ")
        tunes.append(bars(text, meter, feel, key or "C major", section_bars=8))
    return tunes


def takes(
    feel: str = "swing",
    tempo: int = 160,
    *,
    comp: str = "piano",
    seeds: Iterable[int] = range(8),
    meter: str = "4/4",
) -> Iterator[tuple[Plan, Part]]:
    """Plans and comping parts over the varied changes, in another key for every seed."""
    for seed in seeds:
        for played in varied_bars(feel, meter):
            there = Interval.of_semitones(seed * 5 % 12)
            plan = plan_of(transposed(played, there), tempo)
            plan = replace(plan, comping=strokes(plan, random.Random(seed), comp))
            yield plan, play(plan, random.Random(seed), comp)


def attacks_per_bar(plan: Plan) -> float:
    """Strokes a bar."""
    return len(plan.comping) / len(plan.bars)


def off_beat_share(plan: Plan) -> float:
    """The share of strokes that stand off the beat."""
    return sum(s.onset.denominator != 1 for s in plan.comping) / max(1, len(plan.comping))


def longest_run_of_a_figure(plan: Plan) -> int:
    """How many bars in a row have the same strokes, at most; silence does not count."""
    figures = [
        tuple(s.onset - bar.start for s in plan.comping if bar.start <= s.onset < bar.end)
        for bar in plan.bars
    ]
    longest = run = 0
    for before, figure in pairwise([(), *figures]):
        run = run + 1 if figure and figure == before else int(bool(figure))
        longest = max(longest, run)
    return longest


def heard_share(plan: Plan) -> float:
    """The share of chords of at least two beats that a stroke sounds."""
    spans = [s for s in plan.spans if s.chord is not None and s.end - s.start >= 2]
    heard = {s.span.start for s in plan.comping}
    return sum(span.start in heard for span in spans) / max(1, len(spans))


def wrong_anticipations(plan: Plan) -> int:
    """Off-beat strokes within half a beat before a chord comes that do not sound it.

    Hits of the whole band are left out: they sound the chord the chart puts there.
    """
    starts = [*(s.start for s in plan.spans), *([plan.following.start] if plan.following else [])]
    wrong = 0
    for stroke in plan.comping:
        coming = [start for start in starts if 0 < start - stroke.onset <= HALF]
        if stroke.onset.denominator != 1 and coming and not stroke.together:
            wrong += stroke.span.start != coming[0]
    return wrong


def chords(part: Part) -> list[tuple[Note, ...]]:
    """The notes of each stroke, from the bottom up."""
    struck: dict[Fraction, list[Note]] = {}
    for note in part.notes:
        struck.setdefault(note.onset, []).append(note)
    return [tuple(notes) for notes in struck.values()]


def minor_ninths(part: Part) -> int:
    """Pairs of voices a minor ninth apart that are not root and b9."""
    return sum(
        (high.pitch - low.pitch) % 12 == 1
        and high.pitch - low.pitch > 12
        and low.pitch % 12 != low.chord.sounding.root.pitch_class
        for notes in chords(part)
        for low, high in combinations(notes, 2)
        if low.chord is not None
    )


def fighting_voices(part: Part) -> int:
    """Voices a semitone above a chord tone of the soloist that the symbol does not write.

    The b9 over the root of a dominant is let through.
    """
    return sum(map(_fights, part.notes))


def _fights(note: Note) -> bool:
    chord = note.chord.sounding if note.chord else None
    if chord is None or note.pitch % 12 in chord.pitch_classes:
        return False
    if note.pitch % 12 in chord.core_pitch_classes:
        return False
    below = (note.pitch - 1) % 12
    flat_ninth = chord.is_dominant and below == chord.root.pitch_class
    return below in chord.core_pitch_classes and not flat_ninth


def cadences(plan: Plan) -> list[tuple[Fraction, ...]]:
    """The starts of chords that fall by fifths into a tonic: II, V and I."""
    found = []
    for two, five, one in zip(plan.spans, plan.spans[1:], plan.spans[2:], strict=False):
        if two.chord is None or five.chord is None or one.chord is None:
            continue
        roots = [s.chord.root.pitch_class for s in (two, five, one) if s.chord]
        falls = all((a - b) % 12 == 7 for a, b in pairwise(roots))
        minor = two.chord.family in ("minor", "half-diminished")
        if falls and minor and five.chord.is_dominant and not one.chord.is_dominant:
            found.append((two.start, five.start, one.start))
    return found


def cadence_moves(plan: Plan) -> list[int]:
    """By how many semitones each voice moves where the chord changes in a II-V-I.

    Of the piano's whole grips, before they are thinned.
    """
    struck = [stroke for stroke in plan.comping if stroke.span.chord is not None]
    led = voice_chords(plan, struck, ["piano"] * len(struck), random.Random(1))
    sounding: dict[Fraction, list[tuple[int, ...]]] = {}
    for stroke, voicing in zip(struck, led, strict=True):
        sounding.setdefault(stroke.span.start, []).append(voicing.pitches)
    moves: list[int] = []
    for starts in cadences(plan):
        for before, after in pairwise(starts):
            pair = sounding.get(before, [()])[-1], sounding.get(after, [()])[0]
            if min(map(len, pair)) > 3:
                moves += voice_moves(*pair)
    return moves


def _chords_by_span(plan: Plan, part: Part) -> dict[Fraction, list[tuple[int, ...]]]:
    pitches = {notes[0].onset: tuple(n.pitch for n in notes) for notes in chords(part)}
    found: dict[Fraction, list[tuple[int, ...]]] = {}
    for stroke in plan.comping:
        if stroke.onset in pitches:
            found.setdefault(stroke.span.start, []).append(pitches[stroke.onset])
    return found


def extensions_heard(plan: Plan, part: Part) -> tuple[int, int]:
    """How many written colour tones are heard while their chord is sounded, and how many are not.

    An altered dominant counts once: two of its tones have to be heard.
    """
    heard = missed = 0
    sounding = _chords_by_span(plan, part)
    for span in plan.spans:
        if span.chord is None or span.start not in sounding:
            continue
        chord = span.chord.sounding
        tones = set(chord.pitch_classes) - set(chord.core_pitch_classes)
        found = {p % 12 for voicing in sounding[span.start] for p in voicing} & tones
        if chord.quality.name == "altered":
            heard, missed = heard + (len(found) >= 2), missed + (len(found) < 2)
        else:
            heard, missed = heard + len(found), missed + len(tones - found)
    return heard, missed


def guide_tones_missing(part: Part) -> float:
    """The share of strokes without one of the chord's guide tones."""
    struck = [notes for notes in chords(part) if notes[0].chord is not None]
    missing = sum(
        not set(notes[0].chord.sounding.guide_pitch_classes) <= {n.pitch % 12 for n in notes}
        for notes in struck
        if notes[0].chord is not None
    )
    return missing / max(1, len(struck))


def top_line(part: Part) -> tuple[float, float]:
    """The shares of moves of the highest voice that are steps (1-2), and larger than a fourth."""
    tops = [notes[-1].pitch for notes in chords(part)]
    moves = [abs(a - b) for a, b in pairwise(tops) if a != b]
    steps = sum(move <= 2 for move in moves) / max(1, len(moves))
    return steps, sum(move > 5 for move in moves) / max(1, len(moves))


def natural_ninth(part: Part, wanted: Sequence[str]) -> bool:
    """Whether a natural ninth sounds over one of the chords ``wanted`` (their symbols)."""
    return any(
        (note.pitch - note.chord.root.pitch_class) % 12 == Degree(9).pitch_class
        for note in part.notes
        if note.chord is not None and note.chord.text in wanted
    )


def _mean(values: Sequence[float]) -> float:
    return sum(values) / max(1, len(values))


def report() -> None:
    """Print the figures by tempo, feel and player."""
    print("tempo  feel    comp    att/bar  off  run  heard  range   <=2st  top steps  >4th  no 3/7")
    cases = [("swing", tempo, "piano") for tempo in TEMPOS]
    cases += [(feel, 120, "piano") for feel in ("two", "ballad", "bossa")]
    cases += [("swing", 160, comp) for comp in ("guitar", "four", "vibes", "organ")]
    for feel, tempo, comp in cases:
        print_figures(feel, tempo, comp, list(takes(feel, tempo, comp=comp)))


def print_figures(feel: str, tempo: int, comp: str, done: Sequence[tuple[Plan, Part]]) -> None:
    """Print one line of figures."""
    plans, parts = [plan for plan, _ in done], [part for _, part in done]
    moves = [move for plan, _ in done for move in cadence_moves(plan)]
    pitches = [note.pitch for part in parts for note in part.notes]
    assert not sum(map(wrong_anticipations, plans))
    print(
        f"{tempo:<6} {feel:7} {comp:7} {_mean(list(map(attacks_per_bar, plans))):5.2f}"
        f"   {_mean(list(map(off_beat_share, plans))):5.2f}"
        f"  {max(map(longest_run_of_a_figure, plans))}"
        f"   {_mean(list(map(heard_share, plans))):5.2f}  {min(pitches)}-{max(pitches)}"
        f"   {_mean([move <= 2 for move in moves]):5.2f}"
        f"    {_mean([top_line(part)[0] for part in parts]):5.2f}"
        f"     {_mean([top_line(part)[1] for part in parts]):5.2f}"
        f"  {_mean(list(map(guide_tones_missing, parts))):5.2f}"
        f"  fights {sum(map(fighting_voices, parts))} ninths {sum(map(minor_ninths, parts))}"
        f" missed {sum(extensions_heard(plan, part)[1] for plan, part in done)}"
    )


if __name__ == "__main__":
    report()
