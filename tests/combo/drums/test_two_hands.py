"""Nobody plays the kit with three hands: two hands, two feet, an instrument in one state at a time.

What a body can do, checked in every feel, at every tempo, under every cue.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction

import pytest

from backing.chart.bar import Directions
from backing.combo import instruments as kit
from backing.combo.comp.rhythm import strokes
from backing.combo.drums import drummer
from backing.combo.feel_file import feel_names, load_feel
from backing.combo.part import Note
from backing.combo.plan import Plan
from tests.combo.build import bars, plan_of

FEET = {kit.KICK: "right foot", kit.PEDAL_HAT: "left foot"}
HAT_BY_HAND = frozenset({kit.CLOSED_HAT, kit.OPEN_HAT})
ONE_DRUM = ({kit.SNARE, kit.SIDE_STICK}, {*HAT_BY_HAND, kit.PEDAL_HAT}, {kit.RIDE, kit.RIDE_BELL})
"""Keys that are one instrument, played in one way at a time."""
CUES = (
    Directions(),
    Directions(hits=(Fraction(0), Fraction(3, 2))),
    Directions(only=(Fraction(0), Fraction(1, 2))),
    Directions(lay_out=frozenset({"bass", "comp"})),
    Directions(lay_out=frozenset({"bass", "comp", "kit"})),
)
CHANGES = "Dm7 | G7 | <Cmaj7 | A7 | Dm7 G7 | Em7 A7 | Dm7 | G7 | Am7 | D7 | Gm7 | C7"


def impossible(notes: Iterable[Note]) -> Iterator[str]:
    """What a drummer with two hands and two feet cannot play, place by place."""
    struck: dict[Fraction, set[int]] = defaultdict(set)
    for note in notes:
        struck[note.onset].add(note.pitch)
    for onset, keys in struck.items():
        hands = keys - FEET.keys()
        if len(hands) > 2:
            yield f"{len(hands)} hands at {onset}: {sorted(hands)}"
        for drum in ONE_DRUM:
            if len(keys & drum) > 1:
                yield f"one instrument in two states at {onset}: {sorted(keys & drum)}"
        # to close with a sound, the cymbals must have been apart since the stick was on them
        near = struck.get(onset - Fraction(1, 2), set())
        if kit.PEDAL_HAT in keys and kit.CLOSED_HAT in near:
            yield f"the foot closes a closed hi-hat at {onset}"


def plans(feel: str, tempo: int) -> Iterator[Plan]:
    meter = load_feel(feel).meters[0]
    for seed, cue in enumerate(CUES):
        told = {3: cue, 7: cue, 8: cue}
        played = bars(CHANGES, meter, feel, section_bars=4, directions=told)
        if meter in ("6/8", "2/4"):
            continue
        for choruses, final in ((3, False), (3, True)):
            plan = plan_of(played, tempo, circular=False, choruses=choruses, final=final)
            yield replace(plan, comping=strokes(plan, random.Random(seed)))


@pytest.mark.parametrize("feel", feel_names())
def test_two_hands_and_two_feet_can_play_it(feel: str) -> None:
    found: list[str] = []
    for tempo in (50, 90, 140, 200, 245, 300):
        for plan in plans(feel, tempo):
            for seed in range(3):
                notes = drummer.play(plan, random.Random(seed)).notes
                found += impossible(note for note in notes if note.sounds_at(Fraction(tempo)))
    assert not found, f"{len(found)}, such as {found[:3]}"


def test_the_foot_goes_on_where_the_band_lays_out() -> None:
    out = Directions(lay_out=frozenset({"bass", "comp", "drums", "kit"}))
    for feel in ("swing", "two", "bossa"):
        plan = plan_of(bars("Dm7 | G7 | C6 | A7", feel=feel, directions={1: out, 2: out}))
        notes = drummer.play(plan, random.Random(1)).notes
        feet = [n.onset for n in notes if n.pitch == kit.PEDAL_HAT and 4 <= n.onset < 12]
        assert feet == [5, 7, 9, 11]
