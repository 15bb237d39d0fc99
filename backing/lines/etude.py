"""Lines through the changes: chord tones under the hand, joined by step where the chord changes.

A line is found by search over the whole form (``search``). Its first note follows from the first
chord by rule, so that the pass before can lead to it. After a rest, in phrases and calls and in
most turns of trading, it is drawn like the others.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from backing.chart.harmony import Chord
from backing.chart.pitch import Key, PitchName
from backing.combo.plan import ChordSpan, Plan
from backing.errors import PracticeError
from backing.lines.line import IDEAS, SLOW, SUBDIVISIONS, LineNote, LineRequest
from backing.lines.rhythm import LineSlot, slots, starts_freely
from backing.lines.search import Joint, Link, Offer, search
from backing.lines.spelling import beside, in_key
from backing.neck.fingerboard import hand
from backing.neck.parent_scales import parent_scales
from backing.neck.path import nearest_shape, path_of
from backing.neck.shapes import Shape, ShapeTone
from backing.routine.subdivisions import VALUES

RUN_LENGTHS, RUN_WEIGHTS = (3, 4, 5, 6, 7, 8), (2, 4, 3, 4, 3, 2)
"""For how many notes a line goes one way before it turns: common practice, no source."""
NOT_A_THIRD = 1e-3
"""The weight of another tone where the line should land on a third."""
CIRCLE = 3
"""Triplets must not repeat one beat's notes over and over."""
CROSSINGS: dict[tuple[int, ...], float] = {
    (): 33, (2,): 25, (3, 4): 17, (0,): 10, (5, 6, 7): 15,
}  # fmt: skip
"""How changes are crossed from level 2 on: () by an approach a half step away, else by a move of so
many semitones. Weights after the solos of the Weimar Jazz Database: half steps 33 %, steps 58 %."""
OTHER_TARGET = 0.4
"""From level 2 on, the weight of a root or fifth where a chord arrives, against a 3rd or 7th."""
PASSING = 20.0
"""The weight of a tone of the scale on level 4, whose share of chord tones is then .62; soloists
have .37 to .63, half of them more than .51 (Weimar Jazz Database)."""
IDEA_BARS = 2
"""An idea, and its answer."""
MIDDLE_PULL = 0.02
"""The weight lost for each half step from the middle of a shape."""


@dataclass(frozen=True, slots=True)
class _Stand:
    """A slot, the shape it is played in, and its part in a figure around a change.

    ``figure``: "" a plain note, "approach" the half step before a target, "above" and "below" the
    two tones of an enclosure; ``target`` is the next chord's shape then. ``arrives``: the first
    note of a chord. ``home``: the first note of the next pass, which this one leads to.
    ``crossing``: see CROSSINGS.
    """

    slot: LineSlot
    shape: Shape
    arrives: bool
    figure: str = ""
    target: Shape | None = None
    home: bool = False
    crossing: tuple[int, ...] = ()


def etude(plan: Plan, line: LineRequest, rng: random.Random) -> tuple[LineNote, ...]:
    """The notes of a line through a pass, in order of time.

    The plan gives the note value of subdivisions. A line without a position lies where it suits
    the bars best. Equal ``rng`` states give equal lines at all tempos. Raises PracticeError where
    there is nothing to play a line on.
    """
    if plan.value:
        line = replace(line, rhythm=plan.value)
    if line.rhythm == SUBDIVISIONS:
        raise PracticeError(
            "A line in subdivisions is for a track or a page, where they follow each other.",
            f"Name one of them: {', '.join(VALUES)}.",
        )
    line = line.placed([planned.bar for planned in plan.bars])
    times, contour, drawn = (random.Random(rng.getrandbits(64)) for _ in range(3))
    stands = _stands(plan, line, times)
    scales = parent_scales(plan.spans) if line.level == 4 else {}
    offers = [_offer(stand, line, scales) for stand in stands]
    chosen = line.start is not None or line.thirds or line.direction != "both"
    if chosen or not starts_freely(plan, line):
        offers[0] = _fixed(_first_tone(stands[0].shape, line))
    if stands[-1].home:
        offers[-1] = _fixed(_first_tone(stands[-1].shape, line))
    circle = CIRCLE if line.rhythm == "triplets" else 0
    links = _links(stands, line, contour)
    pitches = search(offers, links, drawn, circle)
    if line.level > 1 and line.direction == "both":
        answered = _answers(plan, stands, pitches)
        for at, tone in enumerate(pitches):
            if at not in answered:
                offers[at] = _only(offers[at], tone)
        for at, move in answered.items():
            if at and move is not None:
                links[at - 1] = replace(links[at - 1], like=move)
        pitches = search(offers, links, drawn, circle)
    # a tone from above leads to the note after the next one
    aims = [at + (2 if stand.figure == "above" else 1) for at, stand in enumerate(stands)]
    following = [pitches[at] if at < len(pitches) else None for at in aims]
    return tuple(
        _note(stand, pitch, to, line, plan.bar_at(stand.slot.onset).bar.key)
        for stand, pitch, to in zip(stands, pitches, following, strict=True)
        if not stand.home
    )


def _only(offer: Offer, pitch: int) -> Offer:
    """What is left of an offer once its pitch is known."""
    string = offer.strings[offer.pitches.index(pitch)]
    passing = offer.passing & {pitch}
    return Offer((pitch,), (1.0,), (string,), frozenset(passing), offer.above)


def _answers(plan: Plan, stands: Sequence[_Stand], pitches: Sequence[int]) -> dict[int, int | None]:
    """The slots in which an idea is answered, and the move into each of them in the idea.

    Ideas of two bars are answered by the two bars after them, within a section.
    """
    idea: dict[Fraction, int] = {}
    answers: dict[int, int | None] = {}
    for at, stand in enumerate(stands):
        bar = plan.bar_at(stand.slot.onset)
        place = bar.bar.section_bar - 1
        inside = stand.slot.onset - bar.start + place % IDEA_BARS * bar.bar.length
        answer = place // IDEA_BARS % 2 == 1
        if stand.home or at == 0:
            continue
        if answer:
            answers[at] = idea.get(inside)
        else:
            if inside == 0:
                idea = {}
            idea[inside] = pitches[at] - pitches[at - 1]
    return answers


def _first_tone(shape: Shape, line: LineRequest) -> ShapeTone:
    tones = _playable(shape, line)
    role = 3 if line.thirds else line.start or (3 if line.level > 1 else 1)
    wanted = [tone for tone in tones if tone.role == role] or list(tones)
    if line.direction == "both":
        middle = (tones[0].pitch + tones[-1].pitch) / 2
        return min(wanted, key=lambda tone: (abs(tone.pitch - middle), tone.pitch))
    return wanted[0] if line.direction == "up" else wanted[-1]


def _playable(shape: Shape, line: LineRequest) -> tuple[ShapeTone, ...]:
    """The tones on the top strings asked for; all if these have only one."""
    if line.top_strings is None:
        return shape.tones
    high = tuple(tone for tone in shape.tones if tone.place.string <= line.top_strings)
    return high if len(high) > 1 else shape.tones


def _stands(plan: Plan, line: LineRequest, rng: random.Random) -> list[_Stand]:
    position = line.position[plan.chorus % len(line.position)]
    taken = path_of(plan, line.fingerboard, position, way=line.way)
    shapes = {step.span.start: step.shape for step in taken.steps}
    stands: list[_Stand] = []
    for slot in slots(plan, line, rng):
        shape = shapes.get(slot.span.start) or _following_shape(plan, slot.span, line)
        stands.append(_stand(slot, shape, stands))
    home = None if line.rhythm in IDEAS else _home(plan, stands[-1].slot)
    if home is not None:
        shape = _following_shape(plan, home.span, line)
        stands.append(replace(_stand(home, shape, stands), home=True))
    return _with_figures(stands, line, rng) if line.level > 1 else stands


def _stand(slot: LineSlot, shape: Shape, before: Sequence[_Stand]) -> _Stand:
    return _Stand(slot, shape, not before or _differs(before[-1].shape, shape))


def _home(plan: Plan, last: LineSlot) -> LineSlot | None:
    """Where the next pass begins, if the line goes on without a rest to there."""
    span = plan.following
    if span is None or span.chord is None or plan.length - last.end >= 1:
        return None
    if plan.resting("line", plan.length):
        return None
    return replace(
        last, onset=plan.length, span=span, beat=True, downbeat=True, swung=True, bound=True
    )


def _following_shape(plan: Plan, span: ChordSpan, line: LineRequest) -> Shape:
    """The shape of the chord after the end, where the next pass takes it."""
    assert span.chord is not None
    chorus = plan.chorus if plan.circular else plan.chorus + 1
    position = line.position[chorus % len(line.position)]
    return nearest_shape(span.chord, line.fingerboard, position, line.way, {})[0]


def _differs(one: Shape, other: Shape) -> bool:
    """Whether the chord changes; another bass under the same chord is a change too."""
    a, b = one.chord, other.chord
    return (a.root.pitch_class, a.quality, a.bass_pitch_class) != (
        b.root.pitch_class, b.quality, b.bass_pitch_class,
    )  # fmt: skip


def _with_figures(stands: list[_Stand], line: LineRequest, rng: random.Random) -> list[_Stand]:
    """The changes with the moves by which they are crossed; approaches and enclosures before some.

    A figure stands where the notes before a change leave room for it.
    """
    kinds, weights = list(CROSSINGS), list(CROSSINGS.values())
    for at, (before, after) in enumerate(pairwise(stands)):
        if not after.arrives:
            continue
        (crossing,) = rng.choices(kinds, weights)
        if crossing and not after.home:
            stands[at + 1] = replace(stands[at + 1], crossing=crossing)
            continue
        if before.arrives or not _leads_on(before.slot, after.slot):
            continue
        stands[at] = replace(before, figure="approach", target=after.shape)
        around = line.level > 2 and after.slot.downbeat and at > 0
        if around and not stands[at - 1].arrives and _leads_on(stands[at - 1].slot, before.slot):
            stands[at - 1] = replace(stands[at - 1], figure="above", target=after.shape)
            stands[at] = replace(before, figure="below", target=after.shape)
    return stands


def _leads_on(slot: LineSlot, following: LineSlot) -> bool:
    """Whether a slot is an eighth right before the other one."""
    return slot.length <= slot.eighth and slot.end == following.onset


def _offer(stand: _Stand, line: LineRequest, scales: Mapping[Fraction, frozenset[int]]) -> Offer:
    tones = _playable(stand.shape, line)
    if stand.figure:
        return _foreign(stand, line)
    thirds = line.thirds and stand.arrives
    middle = (tones[0].pitch + tones[-1].pitch) / 2
    weighed = {
        t.pitch: (1 - MIDDLE_PULL * abs(t.pitch - middle))
        * (NOT_A_THIRD if thirds and t.role != 3 else 1.0)
        for t in tones
    }
    if line.level > 1 and stand.arrives:
        for t in tones:
            weighed[t.pitch] *= 1.0 if t.role in (3, 7) else OTHER_TARGET
    if stand.slot.last:  # at rest on the chord
        weighed = {t.pitch: 1.0 if t.role in (1, 3, 5) else NOT_A_THIRD for t in tones}
    if stand.slot.opens and line.start is not None:
        asked = {t.pitch: weighed[t.pitch] for t in tones if t.role == line.start}
        weighed = asked or weighed
    strings = {tone.pitch: tone.place.string for tone in tones}
    passing = _passing(stand, tones, line, scales)
    strings |= passing
    weighed |= dict.fromkeys(passing, PASSING)
    pitches = tuple(sorted(weighed))
    return Offer(
        pitches,
        tuple(weighed[pitch] for pitch in pitches),
        tuple(strings[pitch] for pitch in pitches),
        frozenset(passing),
    )


def _fixed(tone: ShapeTone) -> Offer:
    return Offer((tone.pitch,), (1.0,), (tone.place.string,))


def _passing(
    stand: _Stand,
    tones: Sequence[ShapeTone],
    line: LineRequest,
    scales: Mapping[Fraction, frozenset[int]],
) -> dict[int, int]:
    """Tones of the parent scale that may pass here: pitch -> string. None on beat 1."""
    slot = stand.slot
    if line.level < 4 or slot.downbeat or stand.arrives or slot.last or slot.closes:
        return {}
    scale = scales.get(slot.span.start) or frozenset(stand.shape.chord.scale_pitch_classes)
    own = {tone.pitch for tone in tones}
    here = hand(line.fingerboard, stand.shape.position)
    found = {}
    for pitch, places in here.reach.items():
        inside = tones[0].pitch < pitch < tones[-1].pitch
        if inside and pitch not in own and pitch % 12 in scale:
            found[pitch] = places[0].string
    return found


def _foreign(stand: _Stand, line: LineRequest) -> Offer:
    """The tones around the next chord's tones that lead there."""
    assert stand.target is not None
    here = hand(line.fingerboard, stand.target.position)
    targets = [tone.pitch for tone in _playable(stand.target, line)]
    above = {pitch - 1: _step_above(pitch, stand.target.chord) for pitch in targets}
    if stand.figure == "approach":
        around = {pitch + side for pitch in targets for side in (-1, 1)}
    elif stand.figure == "below":
        around = set(above)
    else:
        around = set(above.values())
    pitches = tuple(sorted(pitch for pitch in around if pitch in here.reach)) or tuple(targets)
    strings = tuple(here.reach[pitch][0].string for pitch in pitches)
    return Offer(pitches, (1.0,) * len(pitches), strings, above=tuple(sorted(above.items())))


def _step_above(pitch: int, chord: Chord) -> int:
    """The next tone of the chord's scale above a MIDI pitch, a half or whole step up."""
    return pitch + (1 if (pitch + 1) % 12 in chord.scale_pitch_classes else 2)


def _links(stands: Sequence[_Stand], line: LineRequest, rng: random.Random) -> list[Link]:
    """How each note is joined to the next, with the contour that the line follows."""
    strict = line.direction != "both"
    drawn = rng.choice((1, -1))
    way, left = {"up": 1, "down": -1}.get(line.direction, drawn), _run(rng)
    links = []
    for before, after in pairwise(stands):
        free = line.level > 1 and not strict
        sizes = after.crossing if after.arrives else ()
        links.append(Link(_joint(before, after, line), way, strict, sizes, free=free))
        left -= 1
        if left == 0 and not strict:
            way, left = -way, _run(rng)
    return links


def _run(rng: random.Random) -> int:
    return rng.choices(RUN_LENGTHS, RUN_WEIGHTS)[0]


def _joint(before: _Stand, after: _Stand, line: LineRequest) -> Joint:
    if not after.slot.bound:
        return Joint.FREE
    if before.figure == "above":
        return Joint.AROUND
    if before.figure:
        return Joint.APPROACH if before.figure == "approach" else Joint.BELOW
    if after.figure:
        return Joint.INTO
    if not after.arrives:
        return Joint.WITHIN
    return Joint.SLOW_CHANGE if line.rhythm in SLOW else Joint.CHANGE


def _note(
    stand: _Stand, pitch: int, following: int | None, line: LineRequest, key: Key
) -> LineNote:
    slot, chord = stand.slot, stand.shape.chord
    tone = stand.shape.at(pitch)
    here = hand(line.fingerboard, stand.shape.position)
    place = tone.place if tone else here.reach[pitch][0]
    figures = {"": "tone" if tone else "passing", "approach": "approach"}
    kind = figures.get(stand.figure, "enclosure")
    degree = tone.degree if tone else chord.name_of(pitch % 12)
    name = chord.spelled(degree) if degree else _foreign_name(pitch, following, stand, key)
    return LineNote(
        slot.onset, slot.length, pitch, place, here.finger(place), chord, degree, name, kind,
        slot.swung, slot.triplet,
    )  # fmt: skip


def _foreign_name(pitch: int, following: int | None, stand: _Stand, key: Key) -> PitchName:
    """A tone outside the chord, spelled as a step to its target."""
    target = stand.target.at(following) if stand.target and following else None
    if target is None or following is None or stand.target is None:
        return in_key(pitch, key)
    return beside(stand.target.chord.spelled(target.degree), pitch - following, key)
