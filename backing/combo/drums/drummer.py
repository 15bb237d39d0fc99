"""The drummer: time on the cymbal, comments that answer the comping, fills.

Times are in twelfths of a beat from the start of the pass (``ticks``), which are quicker than
fractions.
"""

from __future__ import annotations

import random
from bisect import bisect_right
from collections import Counter, deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from typing import TypeVar

from backing.combo.cell import presence
from backing.combo.drums.score import HALF, DrumScore, Tick, beats_at, ticks
from backing.combo.drums.style import (
    TICKS,
    DrumFigure,
    DrumStroke,
    DrumStyle,
    Phrase,
    doubled,
    phrases,
    read_drum_style,
)
from backing.combo.instruments import JAZZ_KIT, Instrument
from backing.combo.part import Part
from backing.combo.plan import Accent, Plan, PlanBar
from backing.routine import Purpose

WITH_ACCENT, WITH_STROKE, IN_A_HOLE, BESIDE = 3.0, 1.2, 1.6, 0.2
"""What a stroke of a comment is worth on an accent of the comping, on a plain stroke of it, where
it is silent, and an eighth away from one, where they would clash."""

REPEATED = 0.3
"""How often a comment comes again in the next bar; it never comes three times in a row."""
GHOST_TRIES = 3
"""So many places are thought of for a ghosted stroke; the one that suits the comping is taken."""
REMEMBERED, WORN = 8, 0.35
"""A comment is less likely by this factor for each time in so many bars."""

LIKING = 0.5
"""Spread (log) of how much a figure is liked in a chorus."""
ECHOED = 0.35
"""How often, at the most energy, the drums answer the comping's last bar."""
FOOT_RESTS = 0.14
"""How often the hi-hat foot leaves out a beat (GMD: it is on 2 and 4 in about 6 bars of 10; ours
is steadier, for people who practice with it)."""
LONGEST_SET_UP = 2
LED_BY = (DrumStroke(-TICKS, "kick", 0), DrumStroke(-HALF, "snare", 0))
"""The set-up of a hit on a beat."""
LAST_CYMBAL = {"crash": 1, "bell": 0, "plain": -1}
"""How the feel marks the top of a chorus -> how strong the cymbal of a held last chord is."""
RIDING = ("ride", "hat", "open_hat")
"""Voices of the riding hand, left out for a crash or bell."""
ALONE = frozenset({"bass", "comp"})
"""Who has to lay out for the drums to play a solo."""


T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Ending:
    """What ends a bar: strokes and how many ticks after the bar line they are counted from.

    ``start`` is the tick at which the first of them takes over; ``role`` is "fill", for which the
    riding hand leaves its cymbal, or "set-up".
    """

    figures: tuple[tuple[int, tuple[DrumStroke, ...]], ...]
    start: int
    role: str


def play(plan: Plan, rng: random.Random) -> Part:
    """The drum part of a pass, in the kit that most of its bars ask for."""
    return _Drummer(plan, rng).play()


class _Drummer:
    """The drum part of a pass in the making; ``score`` has the strokes so far."""

    def __init__(self, plan: Plan, rng: random.Random) -> None:
        self.plan, self.rng = plan, rng
        self.tempo = float(plan.tempo)
        self.score = DrumScore(_kit(plan.bars), rng)
        self.accents = {ticks(accent.onset) for accent in plan.accents}
        self.comping = {ticks(stroke.onset): stroke.accent for stroke in plan.comping}
        self.swung = [ticks(stroke.onset) for stroke in plan.comping if stroke.swung]
        self.phrases: dict[str, Phrase] = {}
        self.commented: deque[Phrase] = deque(maxlen=REMEMBERED)
        self.liked: dict[Phrase, float] = {}

    def play(self) -> Part:
        before: PlanBar | None = None
        breath = self.plan.purpose is Purpose.REST_BAR
        for bar in self.plan.bars:
            if (bar.bar.changes or breath) and not bar.bar.pickup and not bar.bar.final:
                self._bar(bar, before)
            before = bar
        for accent in self.plan.accents:
            self._accent(accent)
        self._lead_on()
        return self.score.part()

    def _bar(self, bar: PlanBar, before: PlanBar | None) -> None:
        style, end = read_drum_style(bar.feel), ticks(bar.bar.length)
        silent = all(change.chord is None for change in bar.bar.changes)
        if self.plan.resting("kit", bar.start):
            foot = [s for s in self._time(bar, style, "ground") if s.voice == "foot"]
            self._put(bar, style, foot, end, role=_ground_role)
            return
        ending = None if silent or bar.bar.directions.hits else self._ending(bar, style)
        filling = ending.start if ending and ending.role == "fill" else end
        self._put(bar, style, self._time(bar, style, "ride"), filling, role=_ride_role)
        ground = self._time(bar, style, "ground")
        kept = [s for s in ground if s.tick < filling or s.voice == "foot"]
        if not (self.plan.careful or silent or _alone(bar)):
            kept = [s for s in kept if s.voice != "foot" or self.rng.random() >= FOOT_RESTS]
        self._put(bar, style, kept, end, role=_ground_role)
        if silent:
            return
        if not bar.bar.directions.hits:
            quiet_from = ending.start if ending else end
            said = [*self._comment(bar, style), *self._ghosts(bar, style)]
            self._put(bar, style, said, quiet_from, role=_comment_role)
        if ending:
            self.score.solo = self._solo(bar)
            for at, strokes in ending.figures:
                self._put(bar, style, strokes, end, role=lambda _: ending.role, at=at)
            self.score.solo = None
        after_fill = before is not None and bool(_filled(before))
        if (bar.section_top or after_fill) and not (ending and ending.start <= 0):
            self._top(bar, style, after_fill=after_fill)

    # what is played

    def _time(self, bar: PlanBar, style: DrumStyle, layer: str) -> Sequence[DrumStroke]:
        """The next bar of a layer that keeps time; a phrase of two bars begins with a section."""
        known = phrases(style, layer, bar.bar.meter)
        phrase = self.phrases.get(layer)
        at = (bar.bar.section_bar - 1) % len(phrase.bars) if phrase else 0
        stays = layer == "ground" and phrase in known and len(phrase.bars) > 1
        if (at == 0 and not stays) or phrase not in known:
            phrase = self._ground(known, bar) if layer == "ground" else self._chosen(known, bar)
            if phrase is None:
                return ()
            self.phrases[layer] = phrase
            at = (bar.bar.section_bar - 1) % len(phrase.bars)
        return phrase.bars[at]

    def _ground(self, known: Iterable[Phrase], bar: PlanBar) -> Phrase | None:
        """A ground figure; one of several bars, such as a clave, is the same in every pass."""
        lasting = [p for p in self._fitting(known, bar) if len(p[0].bars) > 1]
        if not lasting:
            return self._chosen(known, bar)
        sums = list(accumulate(often for _, often in lasting))
        at = bisect_right(sums, self.plan.ostinato * sums[-1])
        return lasting[min(at, len(lasting) - 1)][0]

    def _chosen(self, known: Iterable[Phrase], bar: PlanBar) -> Phrase | None:
        fitting = self._fitting(known, bar)
        if self.plan.plain and fitting:
            return max(fitting, key=lambda rated: rated[0].figure.weight)[0]
        return _drawn(fitting, self.rng)

    def _fitting(self, known: Iterable[Phrase], bar: PlanBar) -> list[tuple[Phrase, float]]:
        """The phrases that belong in a bar, and how often each does."""
        tempo = self.tempo * read_drum_style(bar.feel).pulse
        rated = ((phrase, phrase.figure.suits(tempo, bar.energy)) for phrase in known)
        return [(phrase, often * self._liking(phrase)) for phrase, often in rated if often]

    def _liking(self, phrase: Phrase) -> float:
        """How much a phrase is liked in this chorus, so that choruses differ."""
        if phrase not in self.liked:
            self.liked[phrase] = self.rng.lognormvariate(0, LIKING)
        return self.liked[phrase]

    def _echo(self, bar: PlanBar) -> Sequence[DrumStroke]:
        """The figure that the comping played in the bar before, answered on snare and kick."""
        if self.plan.careful or not bar.index or self.rng.random() >= ECHOED * bar.energy:
            return ()
        before = self.plan.bars[bar.index - 1]
        start, end = ticks(before.start), ticks(before.end)
        heard = [tick - start for tick in self.swung if start <= tick < end]
        if not 2 <= len(heard) <= 4 or before.bar.meter != bar.bar.meter:
            return ()
        snares = [DrumStroke(int(tick), "snare", 0) for tick in heard[:-1]]
        return (*snares, DrumStroke(int(heard[-1]), "kick", 0))

    def _comment(self, bar: PlanBar, style: DrumStyle) -> Sequence[DrumStroke]:
        """A comment that suits what the comping plays here; a good one comes again."""
        if bar.light:
            return [DrumStroke(int(ticks(beat)), "snare", 0, swung=ticks(beat) % HALF == 0)
                    for beat in bar.light]  # fmt: skip
        if self.plan.plain:
            return ()
        echo = self._echo(bar) if style.ghosts else ()
        if echo:
            return echo
        known = phrases(style, "comments", bar.bar.meter)
        last, before = (*reversed(self.commented), None, None)[:2]
        again = self.rng.random() < REPEATED and last is not before
        if again and last in known and not bar.section_top:
            self.commented.append(last)
            return last.bars[1 % len(last.bars)]
        fitting = self._fitting(known, bar)
        fresh = [(p, w) for p, w in fitting if p is not last or not p.bars[0]] or fitting
        start = ticks(bar.start)
        rated = [(p, w * self._suits(p.bars[0], start) * self._new(p)) for p, w in fresh]
        chosen = _drawn(rated, self.rng)
        if chosen is None:
            return ()
        self.commented.append(chosen)
        return chosen.bars[0]

    def _ghosts(self, bar: PlanBar, style: DrumStyle) -> Sequence[DrumStroke]:
        """Now and then a touch of the left hand, which nobody would write."""
        often = style.ghosts * presence(self.tempo, (0, 220))
        if self.plan.careful or self.rng.random() >= often:
            return ()
        thirds = self.rng.random() < presence(self.tempo, (0, 180))
        places = [
            (
                self.rng.randrange(bar.bar.meter.beats),
                self.rng.choice((HALF, 8) if thirds else (HALF,)),
            )
            for _ in range(GHOST_TRIES)
        ]
        ghosts = [DrumStroke(b * TICKS + p, "snare", -1, swung=p == HALF) for b, p in places]
        return (max(ghosts, key=lambda ghost: self._suits([ghost], ticks(bar.start))),)

    def _new(self, phrase: Phrase) -> float:
        """How fresh a comment still is; silence always is."""
        return WORN ** self.commented.count(phrase) if phrase.bars[0] else 1.0

    def _suits(self, strokes: Sequence[DrumStroke], start: Tick) -> float:
        """How well strokes go with the comping: with its accents, or into its holes."""
        comping = self.comping
        if not comping or not strokes:
            return 1.0
        suits = 0.0
        for stroke in strokes:
            tick = start + stroke.tick
            if tick in comping:
                suits += WITH_ACCENT if comping[tick] > 0 else WITH_STROKE
            elif tick - HALF in comping or tick + HALF in comping:
                suits += BESIDE
            else:
                suits += IN_A_HOLE
        return suits / len(strokes)

    def _ending(self, bar: PlanBar, style: DrumStyle) -> Ending | None:
        """The fill or the set-up of the plan, ending at the bar line."""
        if _filled(bar):
            beats, role = min(_filled(bar), bar.bar.length), "fill"
            figures = self._filling(bar, style, beats * style.pulse)
        elif bar.set_up and ticks(bar.end) not in self.accents:
            role = "set-up"
            figures = self._one_of(bar, style.layers["setups"], LONGEST_SET_UP)
        else:
            return None
        if not figures:
            return None
        beat = TICKS // style.pulse
        at = start = int(bar.bar.length * TICKS) - beat * sum(f.beats for f in figures)
        placed = []
        for figure in figures:
            strokes = doubled(figure.strokes) if style.pulse == 2 else figure.strokes
            placed.append((at, strokes))
            at += beat * figure.beats
        return Ending(tuple(placed), start, role)

    def _filling(self, bar: PlanBar, style: DrumStyle, beats: Fraction) -> list[DrumFigure]:
        """Figures that together fill so many beats, long ones more often."""
        found: list[DrumFigure] = []
        left = beats.__floor__()
        while left > 0:
            chosen = self._one_of(bar, style.layers["fills"], left)
            if not chosen:
                break
            found += chosen
            left -= chosen[0].beats
        return found

    def _solo(self, bar: PlanBar) -> float | None:
        """How far a drum solo has come, from 0 to 1, bar by bar; None where there is none."""
        if not _alone(bar):
            return None
        bars, first, last = self.plan.bars, bar.index, bar.index
        while first and _alone(bars[first - 1]):
            first -= 1
        while last + 1 < len(bars) and _alone(bars[last + 1]):
            last += 1
        return (bar.index - first) / max(1, last - first)

    def _one_of(self, bar: PlanBar, figures: Iterable[DrumFigure], beats: int) -> list[DrumFigure]:
        tempo = self.tempo * read_drum_style(bar.feel).pulse
        energy = 1.0 if _alone(bar) else bar.energy
        rated = [(f, f.suits(tempo, energy) * f.beats) for f in figures if f.beats <= beats]
        chosen = _drawn([(f, often) for f, often in rated if often], self.rng)
        return [] if chosen is None else [chosen]

    # how it is struck

    def _put(
        self, bar: PlanBar, style: DrumStyle, strokes: Iterable[DrumStroke], until: Tick,
        *, role: Callable[[DrumStroke], str], at: int = 0,
    ) -> None:  # fmt: skip
        """Strike what lies before tick ``until`` of the bar, counted from its tick ``at``."""
        start, dice = ticks(bar.start) + at, self.rng.random
        for stroke in strokes:
            if stroke.tick + at < until and (stroke.chance == 1 or dice() < stroke.chance):
                self.score.strike(bar, style, start + stroke.tick, stroke, role(stroke))

    def _top(self, bar: PlanBar, style: DrumStyle, *, after_fill: bool) -> None:
        """Mark the top of a chorus or section, or the end of a fill, unless a push has."""
        tick = ticks(bar.start)
        if any(tick - TICKS < at <= tick for at in self.accents):
            return
        if style.top == "crash" and self._crashes(bar, after_fill=after_fill):
            voice = "crash"
        elif style.top != "plain" and bar.chorus_top and not self.plan.circular:
            voice = "bell"
        else:
            voice = "ride"
        leaves = RIDING if voice != "ride" else ("ride",)
        left = [hand for hand in leaves if self.score.lift(tick, hand)]
        if voice != "ride" or left or (after_fill and style.rides):
            strength = 1 if voice != "crash" or bar.energy > 0.6 else 0 if bar.energy > 0.45 else -1
            self.score.strike(bar, style, tick, DrumStroke(0, voice, strength), "top")
        if style.top != "plain":
            self.score.strike(bar, style, tick, DrumStroke(0, "kick", 0), "top")

    def _crashes(self, bar: PlanBar, *, after_fill: bool) -> bool:
        """Whether to crash: at the top of a chorus, and now and then after a fill."""
        if not self.plan.circular and bar.chorus_top and self.plan.chorus > 0:
            return True
        often = 0.2 if self.plan.circular else 0.2 + 0.4 * bar.energy
        return after_fill and self.rng.random() < often

    # with the whole band

    def _accent(self, accent: Accent) -> None:
        """Play a hit of the band: set it up, and leave room around it."""
        bar, tick = self.plan.bar_at(accent.onset), ticks(accent.onset)
        style = read_drum_style(bar.feel)
        self.score.clear(tick, tick + min(ticks(accent.length), TICKS))
        self._set_up(bar, style, tick)
        for voice, strength in self._band_voices(accent, style):
            stroke = DrumStroke(0, voice, strength)
            self.score.strike_together(bar, style, tick, stroke, accent.kind)
            if voice == "crash":
                self.score.lift(tick, "ride")

    def _band_voices(self, accent: Accent, style: DrumStyle) -> tuple[tuple[str, int], ...]:
        """Voices of a stroke with the band and how strong they are.

        The top of a section gets a crash, a held or last chord one as loud as the feel.
        """
        if accent.kind in ("hold", "last"):
            strength = LAST_CYMBAL[style.top]
            last = ("crash", strength) if accent.length >= 1 else ("snare", max(0, strength))
            return ("kick", max(0, strength)), last
        if accent.kind != "push":
            return ("kick", 0), ("snare", 1)
        into = self.plan.bar_at(accent.span.written)
        opens = into.section_top and into.start == accent.span.written
        rings = opens and style.top == "crash" and not self.plan.circular
        return (("kick", 1), ("crash", 1)) if rings else (("kick", 0), ("snare", 0), ("ride", 1))

    def _set_up(self, bar: PlanBar, style: DrumStyle, tick: Tick) -> None:
        """Set up a hit: on the beat before an off-beat, with two eighths before a beat."""
        if any(tick - 2 * TICKS < other < tick for other in self.accents):
            return
        off_beat = (tick - ticks(bar.start)) % TICKS != 0
        led = (DrumStroke(-HALF, "snare", 1),) if off_beat else LED_BY
        for stroke in led:
            place = tick + stroke.tick
            if place >= 0 and not self.plan.bar_at(beats_at(place)).bar.pickup:
                self.score.strike(bar, style, place, stroke, "set-up")

    def _lead_on(self) -> None:
        """Set up a push into the next pass, which plays the push itself."""
        following = self.plan.following
        if following is not None and following.early > 0 and self.plan.bars:
            tick, bar = ticks(following.start), self.plan.bars[-1]
            self.score.clear(tick, ticks(self.plan.length))
            self._set_up(bar, read_drum_style(bar.feel), tick)


def _drawn(rated: Sequence[tuple[T, float]], dice: random.Random) -> T | None:
    """One of several by how often each is wanted; None of none."""
    if not rated:
        return None
    return dice.choices([one for one, _ in rated], [often for _, often in rated])[0]


def _filled(bar: PlanBar) -> Fraction:
    """The beats of a fill at the end of the bar; the whole bar in a drum solo."""
    return bar.bar.length if _alone(bar) else bar.fill


def _alone(bar: PlanBar) -> bool:
    """Whether the drums play a solo."""
    resting = bar.bar.directions.lay_out
    return resting >= ALONE and not resting & {"drums", "kit"}


def _ride_role(stroke: DrumStroke) -> str:
    return "skip" if stroke.tick % TICKS else "ride"


def _ground_role(stroke: DrumStroke) -> str:
    if stroke.voice == "kick":
        return "feather" if stroke.accent < 0 else "kick"
    return stroke.voice if stroke.voice in ("foot", "stick") else "back-beat"


def _comment_role(stroke: DrumStroke) -> str:
    return "ghost" if stroke.accent < 0 else "comment"


def _kit(bars: Iterable[PlanBar]) -> Instrument:
    kits = Counter(read_drum_style(bar.feel).kit for bar in bars)
    return kits.most_common(1)[0][0] if kits else JAZZ_KIT
