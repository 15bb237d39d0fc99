"""The ``[drums]`` table of a feel file: figures for every limb.

A figure is strokes of several voices over some beats, in the words of ``cell``::

    [[drums.comments]]      # one of several, chosen by weight
    beats = 4
    snare = "(1&) 2&"
    kick = "4&"

``ride`` is what the riding hand plays, ``ground`` what runs below it (feet, cross-stick);
``comments`` answer the comping, ``fills`` and ``setups`` end a bar.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from backing.chart.bar import Meter
from backing.combo import instruments as kit
from backing.combo.cell import Stroke, in_bounds, presence
from backing.combo.feel_file import Feel, Table, load_feel
from backing.combo.instruments import Instrument
from backing.errors import quoted

TICKS = 12
"""Parts of a beat in which the drums count: eighths, triplets and sixteenths are whole."""

KITS = {"jazz": kit.JAZZ_KIT, "brush": kit.BRUSH_KIT, "standard": kit.STANDARD_KIT}
TOPS = ("crash", "bell", "plain")
LAYERS = ("ride", "ground", "comments", "fills", "setups")


@dataclass(frozen=True, slots=True)
class KitVoice:
    """A sound of the kit: percussion ``key``, and velocities ghosted, plain and accented.

    ``without_brushes`` is the key that stands in where the kit has no brush sounds; ``late``
    names the voice in the feel's lateness table.
    """

    key: int
    levels: tuple[int, int, int]
    late: str
    without_brushes: int | None = None


VOICES: Mapping[str, KitVoice] = {
    # ride, foot, snare and kick: GMD swing takes (ride 73/89/73/92, skips 69; snare median 34;
    # kick median 45, feathered below it); the others are common practice, no source
    "ride": KitVoice(kit.RIDE, (70, 74, 89), "ride"),
    "bell": KitVoice(kit.RIDE_BELL, (56, 72, 80), "ride"),
    "hat": KitVoice(kit.CLOSED_HAT, (48, 64, 80), "hat"),
    "open_hat": KitVoice(kit.OPEN_HAT, (48, 64, 80), "hat"),
    "foot": KitVoice(kit.PEDAL_HAT, (40, 72, 80), "hihat_foot"),
    "kick": KitVoice(kit.KICK, (34, 56, 80), "kick"),
    "snare": KitVoice(kit.SNARE, (28, 40, 72), "snare"),
    "stick": KitVoice(kit.SIDE_STICK, (40, 56, 72), "snare"),
    "crash": KitVoice(kit.CRASH, (56, 72, 88), "crash"),
    "high_tom": KitVoice(kit.HIGH_TOM, (40, 64, 80), "toms"),
    "mid_tom": KitVoice(kit.MID_TOM, (40, 64, 80), "toms"),
    "low_tom": KitVoice(kit.LOW_TOM, (40, 64, 80), "toms"),
    "shaker": KitVoice(kit.SHAKER, (40, 56, 72), "hat"),
    "tap": KitVoice(kit.SNARE, (32, 48, 64), "snare"),
    "swirl": KitVoice(kit.BRUSH_SWIRL, (40, 56, 64), "ride", kit.RIDE),
    "slap": KitVoice(kit.BRUSH_SLAP, (40, 56, 72), "snare", kit.SIDE_STICK),
}


@dataclass(frozen=True, slots=True)
class DrumStroke:
    """One stroke of a figure, ``tick`` twelfths of a beat after its start; else as in Stroke."""

    tick: int
    voice: str
    accent: int = 0
    chance: float = 1.0
    swung: bool = True
    tempos: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class DrumFigure:
    """Strokes of one or more voices over ``beats`` beats, in order of time.

    ``weight``, ``tempos`` (bpm) and ``energy`` (0 to 1) say how often and where it belongs.
    """

    beats: int
    strokes: tuple[DrumStroke, ...]
    weight: float = 1.0
    tempos: tuple[float, float] = (0, 999)
    energy: tuple[float, float] = (0, 1)

    def suits(self, tempo: float, energy: float) -> float:
        """How often the figure is wanted at ``tempo`` (bpm) and ``energy`` (0 to 1)."""
        if not in_bounds(energy, self.energy):
            return 0.0
        return self.weight * presence(tempo, self.tempos)

    def first(self, beats: int) -> tuple[DrumStroke, ...]:
        """The strokes of the first ``beats`` beats, repeated if it is shorter."""
        rounds = -(-beats // self.beats)
        turned = (
            replace(stroke, tick=stroke.tick + turn * self.beats * TICKS)
            for turn in range(rounds)
            for stroke in self.strokes
        )
        return tuple(stroke for stroke in turned if stroke.tick < beats * TICKS)


@dataclass(frozen=True, eq=False)
class DrumStyle:
    """How the drums play a feel.

    ``pulse``: 2 where the drums count two beats for every beat of the meter (double time).
    ``top``: how bar 1 of a chorus is marked. ``ghosts``: how many bars have a ghosted stroke that
    no figure asks for (0 to 1). ``levels``: voice -> velocities ghosted, plain,
    accented. ``layers``: figures by the names of LAYERS.
    """

    kit: Instrument
    pulse: int
    top: str
    ghosts: float
    levels: Mapping[str, tuple[int, int, int]]
    layers: Mapping[str, tuple[DrumFigure, ...]]

    @property
    def rides(self) -> bool:
        """Whether the riding hand plays the ride cymbal."""
        return any(s.voice == "ride" for figure in self.layers["ride"] for s in figure.strokes)


@lru_cache(maxsize=64)
def read_drum_style(feel: Feel) -> DrumStyle:
    """The ``[drums]`` table of ``feel``; raises FeelError naming file, line and key."""
    table = feel.root.table("drums")
    base = _base(table)
    name = table.text("kit", _kit_name(base), choices=tuple(KITS))
    style = DrumStyle(
        kit=KITS[name],
        pulse=int(table.number("pulse", 1, 1, 2)),
        top=table.text("top", base.top if base else "plain", choices=TOPS),
        ghosts=table.number("ghosts", base.ghosts if base else 0.0, 0, 1),
        levels=_levels(table.table("levels"), base),
        layers={layer: _layer(table, layer, base) for layer in LAYERS},
    )
    table.done()
    return style


def _base(table: Table) -> DrumStyle | None:
    """The style that fills in what this table leaves out (its key ``like``)."""
    place = table.feel()
    if not place:
        return None
    other = load_feel(place)
    if "like" in other.root.table("drums").values:
        raise table.error(
            "like",
            f"is {quoted(table.values['like'])}, which is like another itself.",
            "Name that other feel.",
        )
    return read_drum_style(other)


def _kit_name(base: DrumStyle | None) -> str:
    return next(name for name, k in KITS.items() if k == (base.kit if base else kit.JAZZ_KIT))


def _levels(table: Table, base: DrumStyle | None) -> Mapping[str, tuple[int, int, int]]:
    levels = dict(base.levels) if base else {name: v.levels for name, v in VOICES.items()}
    for voice in tuple(table.keys()):
        if voice not in VOICES:
            raise table.error(voice, "isn't a voice of the kit.", f"Voices: {', '.join(VOICES)}.")
        levels[voice] = _velocities(table, voice)
    return levels


def _velocities(table: Table, voice: str) -> tuple[int, int, int]:
    value = table.values[voice]
    if (
        not isinstance(value, list)
        or len(value) != 3
        or not all(isinstance(v, int) and 16 <= v <= 120 for v in value)
        or value != sorted(value)
    ):
        cure = "Write velocities ghosted, plain and accented, from 16 to 120, like [28, 40, 72]."
        raise table.error(voice, f"is {quoted(value)}.", cure)
    return value[0], value[1], value[2]


def _layer(table: Table, layer: str, base: DrumStyle | None) -> tuple[DrumFigure, ...]:
    found = tuple(_figure(t) for t in table.tables(layer))
    return found if layer in table.values or base is None else base.layers[layer]


def _figure(table: Table) -> DrumFigure:
    beats = int(table.number("beats", 4, 1, 32))
    figure = DrumFigure(
        beats=beats,
        strokes=_strokes(table, beats),
        weight=table.number("weight", 1.0, 0, 1000),
        tempos=table.range("tempos", (0, 999)),
        energy=table.range("energy", (0, 1)),
    )
    table.done()
    return figure


def _strokes(table: Table, beats: int) -> tuple[DrumStroke, ...]:
    found = []
    for voice in VOICES:
        strokes = table.strokes(voice, table.text(voice, ""), beats)
        found += [_stroke(stroke, voice) for stroke in strokes]
    return tuple(sorted(found, key=lambda stroke: stroke.tick))


def _stroke(stroke: Stroke, voice: str) -> DrumStroke:
    tick = int(stroke.onset * TICKS)
    return DrumStroke(tick, voice, stroke.accent, stroke.chance, stroke.swung, stroke.tempos)


@dataclass(frozen=True, eq=False)
class Phrase:
    """A figure fitted to a meter: the strokes of each of its ``bars``."""

    figure: DrumFigure
    bars: tuple[tuple[DrumStroke, ...], ...]


@lru_cache(maxsize=1024)
def phrases(style: DrumStyle, layer: str, meter: Meter) -> tuple[Phrase, ...]:
    """The figures of a layer, made to fit bars of ``meter``.

    Those that go evenly into bars, or bars into them, are taken if there are any: a feel can have
    figures for several meters. One that fills a bar or several stays as it is. Any other begins
    anew at every group of beats (see Meter.groups), and is cut where the group ends: 5/4 is a
    figure's first three beats, then its first two.
    """
    beats = meter.beats * style.pulse
    figures = style.layers[layer]
    made_for_it = [f for f in figures if f.beats % beats == 0 or beats % f.beats == 0]
    return tuple(_phrase(figure, meter, style.pulse) for figure in made_for_it or figures)


def _phrase(figure: DrumFigure, meter: Meter, pulse: int) -> Phrase:
    beats = meter.beats * pulse
    if figure.beats % beats == 0:
        strokes, count = figure.strokes, figure.beats // beats
    else:
        strokes, count, start = (), 1, 0
        for group in meter.groups:
            strokes += _shifted(figure.first(group * pulse), start * TICKS)
            start += group * pulse
    if pulse == 2:
        strokes = doubled(strokes)
    ticks = meter.beats * TICKS
    bars = (
        tuple(s for s in strokes if bar * ticks <= s.tick < (bar + 1) * ticks)
        for bar in range(count)
    )
    return Phrase(figure, tuple(_shifted(b, -at * ticks) for at, b in enumerate(bars)))


def _shifted(strokes: Iterable[DrumStroke], ticks: int) -> tuple[DrumStroke, ...]:
    """The strokes so many ticks later."""
    return tuple(replace(s, tick=s.tick + ticks) for s in strokes)


def doubled(strokes: Iterable[DrumStroke]) -> tuple[DrumStroke, ...]:
    """The strokes in double time: beats at half length, the off-beat on their last triplet."""
    return tuple(_doubled(stroke) for stroke in strokes)


def _doubled(stroke: DrumStroke) -> DrumStroke:
    beat, part = divmod(stroke.tick, TICKS)
    place = {6: 4, 9: 5}.get(part, part // 2)
    tempos = (stroke.tempos[0] // 2, stroke.tempos[1] // 2) if stroke.tempos else None
    return replace(stroke, tick=beat * TICKS // 2 + place, swung=False, tempos=tempos)
