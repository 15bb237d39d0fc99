"""How the band goes through a form: counts of what should not happen, and shares of what should.

All of it is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from backing.chart.bar import PlayedBar
from backing.chart.form import Form
from backing.chart.text.tune_file import read, read_file
from backing.combo import instruments as kit
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.performance import Performance
from backing.routine import Purpose
from backing.routine.request import Request
from backing.routine.routine import make_routine
from tests.benchmarks.changes import random_form
from tests.benchmarks.heard import HALF, TUNES, Heard, band, loops, take
from tests.combo.build import bar_lines

BODY = (Purpose.HEAD, Purpose.SOLO, Purpose.HEAD_OUT)
PUSHED = """\
title: Early Bird
key: C major
tempo: 140

section A
| Dm7 | G7 | Cmaj7 | A7 |
push 1: 1
"""


def forms(count: int = 8) -> list[Form]:
    """Our tunes and some random ones."""
    return [*map(read_file, TUNES), *map(random_form, range(count))]


def out_chorus(form: Form, **asked: object) -> Heard:
    """The last chorus of a tune."""
    return take(form, Request(choruses=2, **asked), band(1))[-1]  # type: ignore[arg-type]


def turnarounds_at_the_end() -> int:
    """Last choruses that leave the tonic again once they have reached it, or do not end on it."""
    wrong = 0
    for form in forms():
        written = form.played("out")[-4:]
        if written[-1].role != "chorus":
            continue  # it has an ending of its own
        bars = [heard.bar for heard in out_chorus(form).plan.bars[-5:]]
        homes = [at for at, bar in enumerate(written) if True in _at_home(bar)]
        after = bars[homes[-1] + 1 :] if homes else bars[-1:]
        wrong += not all(all(_at_home(bar)) for bar in after)
    return wrong


def _at_home(bar: PlayedBar) -> list[bool]:
    """For each chord of a bar: whether it stands on the tonic."""
    return [
        change.chord is not None
        and change.chord.root.pitch_class == bar.key.tonic.pitch_class
        and change.chord.family in ("major", "minor", "minor-major", "dominant")
        for change in bar.changes
    ]


def wrong_endings() -> int:
    """Endings that do not end as they are called: held, short, a tag, slowing."""
    wrong = 0
    for form in map(random_form, range(4)):
        plain = out_chorus(form)
        held, bar = plain.plan.accents[-1], plain.plan.bars[-1]
        wrong += (held.kind, held.onset, held.length) != ("last", bar.start, bar.bar.length)
        short = out_chorus(form, ending="short")
        wrong += short.plan.accents[-1].length != HALF
        tagged = out_chorus(form, ending="tag")
        wrong += len(tagged.plan.bars) != len(plain.plan.bars) + 8
        slow = [float(b - a) for a, b in pairwise(_lines(out_chorus(form, ending="slow")))]
        wrong += not slow[-4] < slow[-3] < slow[-2] < slow[-1]
        wrong += len({round(b - a, 6) for a, b in pairwise(_lines(plain))}) != 1
    return wrong


def _lines(heard: Heard) -> list[float]:
    return [float(line) for line in bar_lines(heard.performance)]


def struck_after_the_end() -> int:
    """Notes of last choruses that begin after the last chord does, or beyond the last bar."""
    wrong = 0
    for form in forms(4):
        heard = out_chorus(form)
        last = heard.plan.bars[-1].start
        wrong += sum(note.onset > last for part in heard.played.parts for note in part.notes)
    return wrong


def loop_approaches(tempo: int) -> float:
    """The share of loops' ends from which the bass steps, or falls by a fifth, into bar 1."""
    led, count = 0, 0
    for rounds in [*loops(tempo, "1-8", 6), *loops(tempo, "5-8", 6)]:
        played = [heard for heard in rounds if heard.plan.purpose is Purpose.TIME]
        for one, after in pairwise(played):
            last = [n for n in one.part("bass").notes if n.tempos is None][-1]
            move = abs(after.part("bass").notes[0].pitch - last.pitch)
            led += move in (1, 2, 5, 7)
            count += 1
    return led / count


def early_first_bar() -> int:
    """Strokes missing before bar 1 of a loop whose first chord is pushed, or repeated on it.

    The push sounds at the end of the count-in, and at the end of every round.
    """
    wrong = 0
    rounds = take(read(PUSHED), Request(bars="1-4", times=3), Band())
    count_in, *played = rounds
    for heard in played:
        for player in ("bass", "comp", "drums"):
            onsets = [note.onset for note in heard.part(player).notes]
            wrong += min(onsets) != -HALF
            wrong += player != "drums" and 0 in onsets
            wrong += max(onsets) >= heard.plan.length - HALF and player != "drums"
    end_of_count = count_in.performance.clock.seconds(count_in.plan.length)
    first = min(note.seconds for note in played[0].notes("bass"))
    wrong += not end_of_count - 1 < first < end_of_count
    return wrong


def wrong_first_choruses() -> int:
    """First choruses not in two though whole choruses are played, and others that are in two."""
    wrong = 0
    for form in map(random_form, range(3)):
        whole = take(form, Request(choruses=3), band(1))
        wrong += [heard.feel for heard in whole[1:]] != ["two", "swing", "swing"]
        wrong += take(form, Request(choruses=1), band(1))[-1].feel != "swing"
        wrong += {heard.feel for heard in take(form, Request(bars="1-8"), band(1))[1:]} != {"swing"}
    return wrong


def unprepared_changes_of_feel() -> int:
    """Changes of feel, inside a chorus or after it, that no fill of a whole bar leads into."""
    wrong, count = 0, 0
    for form in forms(4):
        heard = [h for h in take(form, Request(choruses=3), band(1)) if h.plan.bars[0].bar.changes]
        bars = [(bar, h) for h in heard for bar in h.plan.bars]
        for (bar, h), (after, _) in pairwise(bars):
            if bar.feel.name == after.feel.name or bar.bar.directions.hits:
                continue
            count += 1
            fills = [n for n in h.part("drums").notes if bar.start <= n.onset < bar.end]
            resting = h.plan.resting("drums", bar.start)
            wrong += not resting and "fill" not in {n.role for n in fills}
            wrong += bar.fill != bar.bar.length
    return wrong if count else 1


def sections_without_a_fill() -> int:
    """Ends of sections, inside choruses and after them, at which the drums do not fill."""
    wrong, count = 0, 0
    for form in map(random_form, range(4)):
        played = [h for h in take(form, Request(choruses=3), band(1)) if h.plan.purpose in BODY]
        for heard in played:
            fills = {
                heard.plan.bar_at(note.onset).index
                for note in heard.part("drums").notes
                if note.role == "fill"
            }
            ends = [bar.index for bar in heard.plan.bars if bar.section_end]
            wrong += len(set(ends) - fills)
            count += len(ends)
    return wrong if count else 1


def kits_out_of_place() -> int:
    """Ballads not played with brushes, and swing that is."""
    wrong = 0
    for feel, brushes in (("ballad", True), ("swing", False)):
        for heard in take(random_form(1, tempo=66, feel=feel), Request(choruses=1), band(1))[1:]:
            wrong += (heard.part("drums").instrument == kit.BRUSH_KIT) != brushes
    return wrong


def loud_short_loops() -> int:
    """Fills and crashes in loops of less than eight bars, and crashes on the top of longer ones."""
    wrong = 0
    for rounds in [*loops(140, "5-8"), *loops(140, "1-2")]:
        notes = [note for heard in rounds for note in heard.part("drums").notes]
        wrong += sum(note.role == "fill" or note.pitch == kit.CRASH for note in notes)
    for rounds in loops(140, "1-32"):
        tops = [note for heard in rounds for note in heard.part("drums").notes if not note.onset]
        wrong += sum(note.pitch == kit.CRASH for note in tops)
    return wrong


COUNTS = {
    ("4/4", "swing", 140): (0, 2, 4, 5, 6, 7),
    ("4/4", "swing", 60): (0, 1, 2, 3),
    ("4/4", "swing", 260): (0, 2, 4, 5, 6, 7),
    ("3/4", "waltz", 140): (0, 3, 4, 5),
    ("5/4", "five", 150): (0, 1, 2, 3, 4),
}
"""Meter, feel and tempo (bpm) -> the beats that are counted."""


def wrong_count_ins() -> int:
    """Count-ins that do not go 1 . 2 . | 1 2 3 4, or as COUNTS has them."""
    wrong = 0
    for (meter, feel, tempo), beats in COUNTS.items():
        form = random_form(1, tempo=tempo, feel=feel, meter=meter)
        first = take(form, Request(tempo=tempo), Band())[0]
        wrong += tuple(note.onset for note in first.part("count").notes) != beats
    return wrong


def changed_by_the_seed() -> int:
    """Equal seeds that differ, and choruses or seeds that do not."""
    wrong = 0
    form = random_form(2)
    routine = make_routine(form, Request(choruses=4))
    one, again, other = (arrange(routine, band(seed)) for seed in (1, 1, 2))
    wrong += one.passes != again.passes
    for player in ("bass", "comp", "drums"):
        mine, others = _notes(one, player), _notes(other, player)
        wrong += mine == others
        wrong += mine[2] == mine[3]  # the two choruses for soloing
    return wrong


def _notes(performance: Performance, player: str) -> list[object]:
    return [
        next((part.notes for part in each.parts if part.name == player), ())
        for each in performance.passes
    ]


def moved_by_who_is_there(players: Iterable[str] = ("bass", "comp", "drums")) -> int:
    """Players whose notes change when another one stays at home.

    Guide tones are asked for, and not one of them: the comp leaves them room.
    """
    routine = make_routine(random_form(3), Request(choruses=2))
    whole = band(1)
    together, wrong = arrange(routine, whole), 0
    for absent in players:
        without = arrange(routine, replace(whole, players=whole.players - {absent}))
        wrong += sum(
            _notes(together, name) != _notes(without, name)
            for name in {*players, "guide"} - {absent}
        )
    return wrong


def foot_alone(passes: Sequence[Heard] | None = None) -> float:
    """The share of bars, of those in which the band lays out, with the foot on 2 and 4 alone."""
    played = passes or take(random_form(4), Request(choruses=4, lay_out=8), band(1))
    bars = [
        (heard, bar)
        for heard in played
        for bar in heard.plan.bars
        if "kit" in bar.bar.directions.lay_out
    ]
    alone = 0
    for heard, bar in bars:
        struck = [
            (note.pitch, note.onset - bar.start)
            for name in ("bass", "comp", "drums")
            for note in heard.part(name).notes
            if bar.start <= note.onset < bar.end and not note.together
        ]
        alone += struck == [(kit.PEDAL_HAT, Fraction(beat)) for beat in (1, 3)]
    return alone / len(bars)
