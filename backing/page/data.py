"""The page's data: one JSON object, in the words of page.schema.json."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from hashlib import sha256
from itertools import accumulate
from typing import Any

from backing import __version__
from backing.chart.bar import RHYTHM_SECTION, PlayedBar
from backing.chart.form import Form
from backing.chart.harmony import Chord
from backing.chart.pitch import Interval
from backing.chart.printed import printed_degree, printed_symbol
from backing.combo.band import Band
from backing.combo.feel import (
    MOST_MELODIC_LATENESS_MS,
    RIDE_RATIOS,
    SHORTEST_OFF_BEAT_MS,
    SOLOIST_RATIO,
    SPARE_MS,
    wander,
)
from backing.combo.instruments import SHORT_NAMES
from backing.combo.ribbon import ribbon_of_plan
from backing.lines.player import Line
from backing.neck.arpeggio import arpeggio
from backing.page.line_data import line_data
from backing.page.neck_data import neck_data
from backing.page.rows import TICKS, note_rows, ticks
from backing.page.score import BELOW, Count, Score, ScorePart, Side
from backing.page.session import checked_session
from backing.page.strip import ROOM_RATE, SampledPart, Strip
from backing.take.course import course_chord
from backing.take.table import take_table

FORMAT = 2
PARTS = ("C", "Bb", "Eb")
"""For whom a page can write its chords; what sounds stays."""
KEYS = range(-6, 6)
"""The twelve keys, in half steps from the tune's own."""
NAMES = {
    "etude": "Line",
    "bass": "Bass", "drums": "Drums", "third": "Line from the 3rd",
    "seventh": "Line from the 7th", "click all": "Click on all beats",
    "click 2 and 4": "Click on the back beats", "click 4": "Click on the last beat",
    "click sparse": "Click on 1 of every second bar",
}  # fmt: skip

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Opening:
    """How a page opens: its ``line`` and whether it is heard, or which ``guide`` tones are.

    The position of the line is that of the neck, if it has one. ``guide``: one of GUIDE_LINES.
    ``part``: one of PARTS, for whose reading the chords are written. ``players``: of the rhythm
    section, those that are heard; ``click``: one of click.BEATS, None for none.
    ``session``: what is practiced, in the words of the command line by the names of the options of
    a track: {"bars": "B", "climb": "80-140:8", "times": "4"}.
    """

    line: Line = Line()  # noqa: RUF009 - a frozen value
    solo: bool = False
    guide: str | None = None
    session: Mapping[str, str] = field(default_factory=dict)
    part: str = "C"
    players: frozenset[str] = RHYTHM_SECTION
    click: str | None = None

    @property
    def heard(self) -> list[str]:
        """The parts that are heard."""
        guides = {"3rd": ["third"], "7th": ["seventh"], "both": ["third", "seventh"]}
        lines = [*guides.get(self.guide or "", []), *(["etude"] if self.solo else [])]
        clicks = [f"click {self.click}"] if self.click else []
        return [*sorted(RHYTHM_SECTION & self.players), *lines, *clicks]


def page_data(tune: Json, form: Form, opening: Opening, recipe: str) -> Json:
    """All that a page knows of a ``tune``, but for its sounds.

    ``recipe`` is the command that makes the page again. Raises as ``checked_session`` does.
    """
    session = checked_session(form, opening.session)
    data = {**tune, "recipe": recipe, "session": session, "heard": opening.heard}
    return {"id": sha256(json.dumps(data).encode()).hexdigest()[:16], **data}


def tune_data(score: Score, strip: Strip, gain_db: float, *, band: Band, opening: Opening) -> Json:
    """What a page knows of a tune, whatever is practiced of it.

    ``gain_db`` brings the band to its level; ``band`` plays it.
    """
    form = score.form
    chords = _chords(bar for side in score.sides for bar in side.bars)
    index = {str(chord): at for at, chord in enumerate(chords)}
    firsts = list(accumulate((len(side.bars) for side in score.sides), initial=0))
    forms = {semitones: _in_key(form, semitones) for semitones in KEYS}
    return {
        "format": FORMAT,
        "ticks": TICKS,
        "version": __version__,
        "title": form.title,
        "by": form.by,
        "tempo": float(form.tempo),
        "feel": " and ".join(_feels(score)),
        "band": _band(score, band),
        "meter": str(form.meter),
        "notes": list(form.notes),
        "chorus": len(score.bars),
        "form": {
            "head": list(range(firsts[1], firsts[2])),
            "out": dict(_outs(score, firsts[2:])),
        },
        "part": opening.part,
        "bars": [
            _bar(bar, at, side, index, band)
            for side in score.sides
            for at, bar in enumerate(side.bars, side.shared)
        ],
        "chords": [_chord(chord) for chord in chords],
        "spans": [
            [first + bar, *rest]
            for first, side in zip(firsts, score.sides, strict=False)
            for bar, *rest in _spans(side, index)
        ],
        "keys": [_key(moved, n, score, index) for n, moved in forms.items()],
        "guide_lines": _guide_lines(score, index),
        "take": take_table(),
        "swing": {
            "points": [list(p) for p in RIDE_RATIOS],
            "shortest_ms": SHORTEST_OFF_BEAT_MS,
            "spare_ms": SPARE_MS,
            "soloist": list(SOLOIST_RATIO),
            "latest_ms": MOST_MELODIC_LATENESS_MS,
        },
        "parts": [
            {
                "id": line.name,
                "name": _part_name(line),
                "voice": _voice_of(line.name),
                "takes": []
                if line.name == "etude"
                else [
                    [note_rows(bar) for bar in (*take, *(line.around if at == 0 else ()))]
                    for at, take in enumerate(line.takes)
                ],
                **({"instead_of": "comp"} if line.name == BELOW else {}),
            }
            for line in score.lines
        ],
        "line": line_data(score.etudes, opening.line),
        "counts": {meter: [_count(c) for c in counts] for meter, counts in score.counts.items()},
        "rest_bars": {meter: note_rows(notes) for meter, notes in score.rest_bars.items()},
        "sound": _sound(strip, gain_db),
        "neck": neck_data(
            [score.sides_in(moved) for moved in forms.values()],
            home=KEYS.index(0),
            board=opening.line.fingerboard,
            opening=(*opening.line.position, None)[0],
        ),
    }


def _feels(score: Score) -> list[str]:
    """The feels of the solo chorus, in the order in which they come."""
    return list(dict.fromkeys(bar.feel.name for bar in score.plan.bars))


def _band(score: Score, band: Band) -> Json:
    """What the file holds of the band, and the words that make another one."""
    mine = {
        "comp": band.comp, "occasion": band.occasion or score.form.occasion or "rehearsal",
    }  # fmt: skip
    others = {
        "feel": ("bossa", "swing"),
        "comp": ("guitar", "piano"),
        "occasion": ("gig", "lesson"),
    }
    held = {**mine, "feel": _feels(score)[0]}
    words = [
        f"--{name} {next(word for word in known if word != held[name])}"
        for name, known in others.items()
    ]
    return {**mine, "others": " ".join(words)}


def _in_key(form: Form, semitones: int) -> Form:
    key = form.key.transposed(Interval.of_semitones(semitones % 12))
    return form.transposed(form.key.tonic.interval_to(key.tonic))


def _chords(bars: Iterable[PlayedBar]) -> list[Chord]:
    """The different chords as written, in the order in which they come."""
    found = {str(c.chord): c.chord for bar in bars for c in bar.changes if c.chord is not None}
    return list(found.values())


def _outs(score: Score, firsts: Iterable[int]) -> Iterator[tuple[str, list[int]]]:
    """The bars of the last head for each ending; ``firsts``: where those it alone has begin."""
    starts = iter(firsts)
    held: list[int] = []
    for ending, side in score.outs.items():
        first = next(starts) if side.bars else 0
        bars = [*held[: side.shared], *range(first, first + len(side.bars))]
        held = held or bars
        yield ending, bars


def _bar(bar: PlayedBar, at: int, side: Side, index: dict[str, int], band: Band) -> Json:
    planned = side.plan.bars[at]
    own = planned.feel.swing
    swing = own if band.swing is None or own == 1 else band.swing
    return {
        "label": bar.label,
        "section": bar.section,
        "top": at == 0 or planned.section_top,
        "beats": float(bar.length),
        "groups": list(bar.meter.groups),
        "meter": str(bar.meter),
        "swing": float(swing) if isinstance(swing, Fraction) else swing,
        "wander": wander(band.seed, bar.number),
        "tempo_ratios": [float(ratio) for ratio in bar.tempo_ratios()],
        "changes": [
            [ticks(c.onset), index[str(c.chord)] if c.chord is not None else -1, ticks(c.early)]
            for c in bar.changes
        ],
    }


def _chord(chord: Chord) -> Json:
    """What the soloist hears: degrees by their distance from the sounding root in half steps.

    ``discs`` are the tones drawn as discs: 3 and 7, or what stands for them (6, a suspended 4);
    chord tones and tensions are those by which a take is judged.
    """
    figure = arpeggio(chord.sounding.quality)
    taken = course_chord(chord)
    return {
        "root": taken.root,
        "tones": list(taken.tones),
        "tensions": list(taken.tensions),
        "degrees": list(taken.degrees),
        "discs": [
            tone.pitch_class
            for tone, role in zip(figure.tones, figure.roles, strict=True)
            if role in (3, 7)
        ],
    }


def _key(moved: Form, semitones: int, score: Score, index: dict[str, int]) -> Json:
    """Names in one key: the chord symbols in pieces, and the tones of every chord."""
    there = [c.chord for side in score.sides_in(moved) for bar in side for c in bar.changes]
    here = [c.chord for side in score.sides for bar in side.bars for c in bar.changes]
    chords: dict[int, Chord] = {}
    for mine, theirs in zip(here, there, strict=True):
        if mine is not None and theirs is not None:
            chords.setdefault(index[str(mine)], theirs)
    return {
        "name": f"{moved.key.tonic.pretty} {moved.key.mode}",
        "semitones": semitones,
        "symbols": [_symbol(chords[at]) for at in sorted(chords)],
        "names": [list(course_chord(chords[at]).names) for at in sorted(chords)],
    }


def _symbol(chord: Chord) -> list[str]:
    """Root, suffix and slash bass as they are printed."""
    symbol = printed_symbol(chord)
    return [symbol.root + symbol.accidental, symbol.suffix, symbol.bass + symbol.bass_accidental]


def _spans(side: Side, index: dict[str, int]) -> list[list[int]]:
    """The chords in time: bar, tick where it is written, ticks until the next, chord or -1."""
    plan = side.plan
    spans = [span for span in plan.spans if plan.bar_at(span.written).index >= side.shared]
    ends = [span.written for span in spans[1:]] + [plan.length]
    found = []
    for span, end in zip(spans, ends, strict=True):
        bar = plan.bar_at(span.written)
        chord = -1 if span.chord is None else index[str(span.chord)]
        onset, length = ticks(span.written - bar.start), ticks(end - span.written)
        found.append([bar.index - side.shared, onset, length, chord])
    return found


def _guide_lines(score: Score, index: dict[str, int]) -> list[list[list[Any]]]:
    """The lines from the 3rd and from the 7th: bar, tick, MIDI pitch, degree, chord of a tone."""
    lines: list[list[list[Any]]] = [[], []]
    first = 0
    for side in score.sides:
        before = first - side.shared
        for mine, line in zip(lines, ribbon_of_plan(side.plan).lines, strict=True):
            mine += [
                [
                    before + tone.bar, ticks(tone.beat), tone.pitch, printed_degree(tone.degree),
                    index[str(tone.chord)],
                ]
                for tone in line
                if tone.bar >= side.shared
            ]  # fmt: skip
        first += len(side.bars)
    return lines


def _count(count: Count) -> Json:
    return {"up_to": count.up_to, "bars": [note_rows(bar) for bar in count.bars]}


def _part_name(line: ScorePart) -> str:
    """What a button says: the comp goes with its instrument, and the page names the line."""
    if line.name in ("comp", BELOW):
        return f"Comp ({SHORT_NAMES.get(line.instrument, line.instrument.name)})"
    return NAMES[line.name]


def _voice_of(line: str) -> str:
    if line.startswith("click "):
        return "click"
    return {"third": "guide", "seventh": "guide", BELOW: "comp"}.get(line, line)


def _sound(strip: Strip, gain_db: float) -> Json:
    return {
        "font": strip.font.name,
        "licence": strip.font.licence,
        "notice": strip.font.notice,
        "seconds": round(strip.seconds, 6),
        "gain": round(10 ** (gain_db / 20), 5),
        "room_gain": round(strip.room_gain, 6),
        "room_rate": ROOM_RATE,
        "voices": {voice.name: _voice(voice) for voice in strip.voices},
    }


def _voice(voice: SampledPart) -> Json:
    """A voice; a zone is key, start, length, release and [velocity, gain] pairs."""
    return {
        "kit": voice.kit,
        "pan": [round(gain, 5) for gain in voice.pan],
        "chokes": [[key, list(others)] for key, others in voice.chokes.items()],
        "zones": [
            [
                zone.key, round(zone.start, 6), round(zone.length, 6), zone.release,
                [[velocity, gain] for velocity, gain in zone.gains.items()],
            ]
            for zone in voice.zones
        ],
    }  # fmt: skip
