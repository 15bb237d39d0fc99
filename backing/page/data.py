"""The page's data: one JSON object, in the words of page.schema.json.

Times in a bar are whole ticks, TICKS to a beat: exact for every note the band writes.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from backing.chart.chord_symbol import read_symbol
from backing.chart.form import Form, PlayedBar
from backing.chart.harmony import Chord
from backing.chart.pitch import Interval, PitchName
from backing.combo.feel import (
    MOST_MELODIC_LATENESS_MS,
    RIDE_RATIOS,
    SHORTEST_OFF_BEAT_MS,
    SOLOIST_RATIO,
)
from backing.combo.guide_tones import lines
from backing.combo.instruments import SHORT_NAMES
from backing.combo.part import Note
from backing.combo.plan import make_plan
from backing.page.neck_data import neck_data
from backing.page.score import Count, Score, ScorePart, circle
from backing.page.strip import ROOM_RATE, SampledPart, Strip

FORMAT = 1
TICKS = 480
KEYS = range(-6, 6)
"""The twelve keys, in semitones from the tune's own."""
NAMES = {
    "bass": "Bass", "drums": "Drums", "thirds": "Guide line, thirds",
    "sevenths": "Guide line, sevenths", "etude": "Étude in eighths",
    "click all": "Click on all beats",
    "click 2 and 4": "Click on the back beats", "click 4": "Click on the last beat",
    "click sparse": "Click on 1 of every second bar",
}  # fmt: skip

Json = dict[str, Any]


def page_data(score: Score, strip: Strip, gain_db: float) -> Json:
    """All that a page knows, but for its sounds; ``gain_db`` brings the band to its level."""
    form = score.form
    chords = _chords(score.bars)
    index = {str(chord): at for at, chord in enumerate(chords)}
    forms = {semitones: _in_key(form, semitones) for semitones in KEYS}
    return {
        "format": FORMAT,
        "ticks": TICKS,
        "title": form.title,
        "by": form.by,
        "tempo": float(form.tempo),
        "feel": form.feel,
        "meter": str(form.meter),
        "notes": list(form.notes),
        "bars": [_bar(bar, at, score, index) for at, bar in enumerate(score.bars)],
        "chords": [_chord(chord) for chord in chords],
        "spans": _spans(score, index),
        "keys": [_key(moved, n, score, index) for n, moved in forms.items()],
        "threads": _threads(score, index),
        "swing": {
            "points": [list(p) for p in RIDE_RATIOS],
            "shortest_ms": SHORTEST_OFF_BEAT_MS,
            "soloist": list(SOLOIST_RATIO),
            "latest_ms": MOST_MELODIC_LATENESS_MS,
        },
        "parts": [
            {
                "id": line.name,
                "name": _part_name(line),
                "voice": _voice_of(line.name),
                "takes": [[_notes(bar) for bar in take] for take in line.takes],
            }
            for line in score.lines
        ],
        "counts": {meter: [_count(c) for c in counts] for meter, counts in score.counts.items()},
        "breaths": {meter: _notes(notes) for meter, notes in score.breaths.items()},
        "sound": _sound(strip, gain_db),
        "neck": neck_data([moved.played("solos") for moved in forms.values()], home=KEYS.index(0)),
    }


def _in_key(form: Form, semitones: int) -> Form:
    key = form.key.transposed(Interval.of_semitones(semitones % 12))
    return form.transposed(form.key.tonic.interval_to(key.tonic))


def _chords(bars: Iterable[PlayedBar]) -> list[Chord]:
    """The different chords as written, in the order in which they come."""
    found = {str(c.chord): c.chord for bar in bars for c in bar.changes if c.chord is not None}
    return list(found.values())


def _bar(bar: PlayedBar, at: int, score: Score, index: dict[str, int]) -> Json:
    planned = score.plan.bars[at]
    swing = planned.feel.swing
    return {
        "label": bar.label,
        "section": bar.section,
        "top": at == 0 or planned.section_top,
        "beats": float(bar.length),
        "groups": list(bar.meter.groups),
        "meter": str(bar.meter),
        "swing": float(swing) if isinstance(swing, Fraction) else swing,
        "tempo_ratio": float(bar.tempo_ratio),
        "changes": [
            [ticks(c.onset), index[str(c.chord)] if c.chord is not None else -1, ticks(c.early)]
            for c in bar.changes
        ],
    }


def _chord(chord: Chord) -> Json:
    """What the soloist hears: degrees by their distance from the sounding root."""
    heard = chord.sounding
    root = heard.root.pitch_class
    names = (heard.name_of((root + n) % 12) for n in range(12))
    return {
        "root": root,
        "degrees": ["" if name is None else str(name) for name in names],
        "core": [degree.pitch_class for degree in heard.quality.core],
        "guide": [degree.pitch_class for degree in heard.quality.guide],
    }


def _key(moved: Form, semitones: int, score: Score, index: dict[str, int]) -> Json:
    """Names in one key: the chord symbols in pieces, and the tones of every chord."""
    there = [c.chord for bar in moved.played("solos") for c in bar.changes]
    here = [c.chord for bar in score.bars for c in bar.changes]
    chords: dict[int, Chord] = {}
    for mine, theirs in zip(here, there, strict=True):
        if mine is not None and theirs is not None:
            chords.setdefault(index[str(mine)], theirs)
    return {
        "name": str(moved.key),
        "semitones": semitones,
        "symbols": [_symbol(chords[at]) for at in sorted(chords)],
        "names": [_tone_names(chords[at]) for at in sorted(chords)],
    }


def _symbol(chord: Chord) -> list[str]:
    symbol = read_symbol(chord.text)
    return [symbol.root.pretty, symbol.suffix, symbol.bass.pretty if symbol.bass else ""]


def _tone_names(chord: Chord) -> list[str]:
    heard = chord.sounding
    root = heard.root.pitch_class
    degrees = (heard.name_of((root + n) % 12) for n in range(12))
    return ["" if degree is None else _plain(heard.spelled(degree)) for degree in degrees]


def _plain(name: PitchName) -> str:
    """A name without double accidentals, which few fonts have."""
    return (name if abs(name.alter) < 2 else name.simplified()).pretty


def _spans(score: Score, index: dict[str, int]) -> list[list[int]]:
    """The chords in time: bar, tick where it is written, ticks until the next, chord or -1."""
    spans = score.plan.spans
    ends = [span.written for span in spans[1:]] + [score.plan.length]
    found = []
    for span, end in zip(spans, ends, strict=True):
        bar = score.plan.bar_at(span.written)
        chord = -1 if span.chord is None else index[str(span.chord)]
        onset, length = ticks(span.written - bar.start), ticks(end - span.written)
        found.append([bar.index, onset, length, chord])
    return found


def _threads(score: Score, index: dict[str, int]) -> list[list[list[Any]]]:
    """The two guide lines: bar, tick, MIDI pitch, degree, chord of each knot."""
    plan = make_plan(circle(score.bars, score.form.tempo))
    threads = []
    for line in lines(plan):
        knots = []
        for tone in line:
            chord = tone.span.chord
            assert chord is not None  # a guide line has no tone where there is no chord
            bar = plan.bar_at(tone.span.written)
            degree = chord.sounding.name_of(tone.pitch % 12)
            onset = ticks(tone.span.written - bar.start)
            knots.append([bar.index, onset, tone.pitch, str(degree), index[str(chord)]])
        threads.append(knots)
    return threads


def ticks(beats: Fraction) -> int:
    """Beats in whole ticks."""
    return round(beats * TICKS)


def _notes(notes: Iterable[Note]) -> list[list[float]]:
    """Onset, length, pitch, velocity, lateness in ms, flags, and the tempos of an ornament.

    Flags: 1 swung, 2 struck by the whole band at one time, 4 keeps time when the band lays out,
    8 of a melodic line, late on the beat by what its tempo says.
    """
    rows: list[list[float]] = []
    for note in notes:
        flags = note.swung + 2 * note.together + 4 * (note.role == "foot") + 8 * note.melodic
        row = [
            ticks(note.onset), ticks(note.length), note.pitch, note.velocity, note.lateness_ms,
            flags,
        ]  # fmt: skip
        rows.append([*row, *note.tempos] if note.tempos else row)
    return rows


def _count(count: Count) -> Json:
    return {"up_to": count.up_to, "bars": [_notes(bar) for bar in count.bars]}


def _part_name(line: ScorePart) -> str:
    """What a button says: the comping goes by its instrument."""
    if line.name == "comping":
        return SHORT_NAMES.get(line.instrument, line.instrument.name).capitalize()
    return NAMES[line.name]


def _voice_of(line: str) -> str:
    if line.startswith("click "):
        return "click"
    return "guide" if line in {"thirds", "sevenths"} else line


def _sound(strip: Strip, gain_db: float) -> Json:
    return {
        "font": strip.font.name,
        "licence": strip.font.licence,
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
