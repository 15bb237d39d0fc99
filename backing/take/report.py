"""The account of a take as text, as data for programs, and as one HTML page."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from typing import Any

from backing.take.account import Account, Outside
from backing.take.advice import Advice
from backing.take.course import Course
from backing.take.grid import counted
from backing.take.kinds import spelled
from backing.take.picture import picture
from backing.take.placing import Placement

FORMAT = 1
"""The version of the data."""
MOST_LISTED = 24
SOLOISTS_TONES, EXERCISE_TONES = "about half in soloists' choruses", "all of them in an exercise"
FIGURES = {
    "chord tones": "{share} of your notes; {honest}",
    "on, off the beat": "{on}, {off} chord tones",
    "degrees": "root {0}, 3rd {1}, 5th {2}, 7th {3}",
    "in the shape": "{share} under the hand in position {position}",
    "changes": "{ways}; soloists step into 58%",
    "on the beat": "{ms} ms {way} the band; soloists 8 to 26 ms behind",
    "not absolute": "not sure: a recording alone can't tell how late you are",
    "no latency": "not known before the latency is found",
    "spread": "{ms} ms around your own place",
    "drift": "{ms} ms from the first third to the last",
    "swing": "{mine} to 1 in {pairs} pairs; the band {band} to 1",
    "accents": "off-beats {accent} in level, compared with the beats",
    "longest run": "{notes} eighths, {first} to {last}, {beat}",
    "phrases": "{count}, median length {beats} beats; {echoes} echo others",
    "space": "{share} silent; soloists leave 21% to 46%",
    "the line": "{right} of its {notes} notes",
    "answers": "{answers}, taking up {taken} of the calls' {strokes} strokes",
    "tempo": "{notes} notes, {outside} left the chord",
    "not judged": "{count} notes that weren't heard clearly",
    "outside": "{bar}, {beat}: {note} over {chord}, nearest {nearest}; {kind}",
}
"""What the figures are called and how they are said; the page says the same."""
Json = dict[str, Any]


def as_text(course: Course, place: Placement, told: Account, advice: Advice) -> str:
    """Three sentences first, then the figures, then each note outside."""
    return "\n".join(_lines(course, place, told, advice))


def _lines(course: Course, place: Placement, told: Account, advice: Advice) -> Iterator[str]:
    yield from advice.sentences
    yield ""
    yield f"{course.title}: {where(course, place, told)}"
    yield from (f"  {name:<18} {text}" for name, text in figures(course, told))
    if advice.loop:
        yield f"  {'loop next':<18} --bars {advice.loop}"
    listed = [*told.unresolved, *(n for n in told.outside if n not in told.unresolved)]
    if listed:
        yield ""
        yield "Outside the chord"
        yield from (f"  {outside_text(course, note)}" for note in listed[:MOST_LISTED])
        if len(listed) > MOST_LISTED:
            yield f"  and {len(listed) - MOST_LISTED} more, all of them in --json"
    if told.along is not None and told.along.departures:
        yield ""
        yield "Beside the line"
        for left in told.along.departures[:MOST_LISTED]:
            at = course.chord_at(left.eighth / 2 + 0.01)
            chord = None if at is None else course.chords[at]
            bar = course.bars[left.bar]
            mine = "nothing" if left.played is None else spelled(chord, left.played)
            yield (
                f"  {bar.name}, {counted(left.eighth, bar)}: {mine} in place of "
                f"{spelled(chord, left.wanted)}"
            )


def where(course: Course, place: Placement, told: Account) -> str:
    """What was heard of which bars, and how surely they were found."""
    if not told.notes:
        return "no notes in your bars"
    first, last = (course.bars[told.notes[at].placed.bar].name for at in (0, -1))
    text = f"{len(told.notes)} notes from {first} to {last}"
    if place.said:
        return text
    text += f"; place found, {place.sure:.0%} sure"
    if place.time_sure < 0.9 <= place.sure and any(bar.where for bar in course.bars):
        text += " of the bars; which time through can't be told from the notes"
    return text


def figures(course: Course, told: Account) -> Iterator[tuple[str, str]]:
    """Name and words of each figure."""
    if told.tones is not None:
        honest = EXERCISE_TONES if told.along or course.kind == "line" else SOLOISTS_TONES
        yield _figure("chord tones", share=f"{told.tones:.0%}", honest=honest)
    if told.tones_on is not None and told.tones_off is not None:
        yield _figure("on, off the beat", on=f"{told.tones_on:.0%}", off=f"{told.tones_off:.0%}")
    yield "kinds", ", ".join(f"{count} {kind}" for kind, count in told.kinds)
    yield "degrees", FIGURES["degrees"].format(*told.degrees)
    if told.in_shape is not None and course.position is not None:
        yield _figure("in the shape", share=f"{told.in_shape:.0%}", position=course.position)
    ways = ", ".join(f"{told.crossed(way)} {way}" for way in ("step", "held", "leap", "rest"))
    yield _figure("changes", ways=ways)
    yield from _time(told)
    longest = told.phrases.longest
    if longest is not None:
        first, last = (told.notes[at].placed for at in (longest.first, longest.last))
        yield _figure(
            "longest run",
            notes=longest.notes,
            first=course.bars[first.bar].name,
            last=course.bars[last.bar].name,
            beat=last.counted(course),
        )
    told_of = told.phrases
    beats = f"{told_of.beats:.1f}".removesuffix(".0")
    yield _figure("phrases", count=told_of.count, beats=beats, echoes=told_of.echoes)
    yield _figure("space", share=f"{told_of.space:.0%}")
    if told.along is not None:
        yield _figure("the line", right=told.along.right, notes=told.along.notes)
    if told.answers:
        strokes, taken = (sum(getattr(a, n) for a in told.answers) for n in ("strokes", "taken_up"))
        yield _figure("answers", answers=len(told.answers), taken=taken, strokes=strokes)
    for tempo in told.tempos:
        _, words = _figure("tempo", notes=tempo.notes, outside=tempo.outside)
        yield f"at {tempo.tempo:g} bpm", words
    if told.unclear:
        yield _figure("not judged", count=told.unclear)


def _figure(name: str, **words: object) -> tuple[str, str]:
    return name, FIGURES[name].format(**words)


def _time(told: Account) -> Iterator[tuple[str, str]]:
    time = told.timing
    if time.late_ms is not None:
        way = "behind" if time.late_ms >= 0 else "ahead of"
        yield _figure("on the beat", ms=f"{abs(time.late_ms):.0f}", way=way)
    elif time.spread_ms is not None:
        yield "on the beat", FIGURES["not absolute"]
    if time.spread_ms is not None:
        yield _figure("spread", ms=f"{time.spread_ms:.0f}")
    if time.drift_ms is not None:
        yield _figure("drift", ms=f"{time.drift_ms:+.0f}")
    if time.swing is not None:
        mine, band = f"{time.swing:.2f}", f"{time.band_swing:.2f}"
        yield _figure("swing", mine=mine, pairs=time.pairs, band=band)
    if time.accent is not None:
        yield _figure("accents", accent=f"{time.accent:+.1f}")


def outside_text(course: Course, note: Outside) -> str:
    """A note outside in a line: where, which, over what, how it resolved."""
    _, text = _figure(
        "outside",
        bar=course.bars[note.bar].name,
        beat=note.beat,
        note=note.name,
        chord=note.chord,
        nearest=note.nearest,
        kind=note.kind,
    )
    return f"{text} to {note.goes_to}" if note.goes_to else text


def as_data(course: Course, place: Placement, told: Account, advice: Advice) -> Json:
    """The account for programs: names of bars and beats as a player says them."""
    time, phrased = told.timing, told.phrases
    return {
        "format": FORMAT,
        "title": course.title,
        "sentences": list(advice.sentences),
        "faults": [
            {
                "topic": fault.topic,
                "sentence": fault.sentence,
                "bars": [course.bars[at].name for at in fault.bars],
            }
            for fault in advice.faults
        ],
        "loop": advice.loop,
        "place": {
            "offset_seconds": round(place.offset, 3), "sure": round(place.sure, 3),
            "time_sure": round(place.time_sure, 3),
        },
        "tones": _rounded(told.tones),
        "tones_on": _rounded(told.tones_on),
        "tones_off": _rounded(told.tones_off),
        "kinds": {str(kind): count for kind, count in told.kinds},
        "degrees": list(told.degrees),
        "in_shape": _rounded(told.in_shape),
        "changes": {way: told.crossed(way) for way in ("step", "held", "leap", "rest")},
        "time": {
            "late_ms": _rounded(time.late_ms, 1), "spread_ms": _rounded(time.spread_ms, 1),
            "drift_ms": _rounded(time.drift_ms, 1), "swing": _rounded(time.swing),
            "swing_spread": _rounded(time.swing_spread), "band_swing": _rounded(time.band_swing),
            "accent": _rounded(time.accent, 1),
            "shifts": [[course.bars[s.bar].name, round(s.ms, 1)] for s in time.shifts],
        },
        "longest_run": phrased.longest.notes if phrased.longest else 0,
        "breaks": [
            [course.bars[b.bar].name, counted(b.eighth, course.bars[b.bar])]
            for b in phrased.breaks
        ],
        "phrases": {
            "count": phrased.count, "beats": round(phrased.beats, 2),
            "space": _rounded(phrased.space), "echoes": phrased.echoes,
        },
        "outside": [
            {
                "bar": course.bars[n.bar].name, "beat": n.beat, "pitch": n.pitch, "name": n.name,
                "chord": n.chord, "nearest": n.nearest, "kind": str(n.kind), "to": n.goes_to,
            }
            for n in told.outside
        ],
        "line": None if told.along is None else {
            "notes": told.along.notes, "right": told.along.right,
            "departures": [
                [course.bars[d.bar].name, counted(d.eighth, course.bars[d.bar]), d.wanted, d.played]
                for d in told.along.departures
            ],
        },
        "answers": [[course.bars[a.bar].name, a.strokes, a.taken_up] for a in told.answers],
        "tempos": [[t.tempo, t.notes, t.outside] for t in told.tempos],
        "unclear": told.unclear,
        "notes": [
            {
                "bar": course.bars[n.placed.bar].name, "beat": n.placed.counted(course),
                "pitch": n.placed.pitch, "kind": str(n.kind), "in_shape": n.in_shape,
                "late_ms": _rounded(n.placed.late_ms, 1),
                "level": round(n.placed.note.level, 1),
                "chord": None if n.placed.chord is None else course.chords[n.placed.chord].symbol,
            }
            for n in told.notes
        ],
    }  # fmt: skip


def _rounded(value: float | None, digits: int = 3) -> float | None:
    return None if value is None else round(value, digits)


def as_html(course: Course, place: Placement, told: Account, advice: Advice) -> str:
    """The account as one page that needs no network: sentences, picture, figures, notes."""
    sentences = "".join(f"<li>{escape(text)}</li>" for text in advice.sentences)
    rows = "".join(
        f"<tr><th scope=row>{escape(name)}</th><td>{escape(text)}</td></tr>"
        for name, text in figures(course, told)
    )
    listed = "".join(f"<li>{escape(outside_text(course, note))}</li>" for note in told.outside)
    outside = f"<h2>Outside the chord</h2><ul>{listed}</ul>" if listed else ""
    drawn = picture(course, told, where(course, place, told))
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{escape(course.title)}: a take</title><style>{_CSS}</style></head><body>"
        f"<h1>{escape(course.title)}</h1>"
        f"<ol>{sentences}</ol><figure>{drawn}</figure><table>{rows}</table>{outside}</body></html>"
    )


_CSS = (
    "body{font:16px/1.45 Lato,system-ui,sans-serif;color:#23272e;background:#f3f5f6;"
    "margin:2rem auto;max-width:64rem;padding:0 1rem}ol{font-size:1.15rem}"
    "figure{margin:1.5rem 0;overflow-x:auto}svg{max-width:100%;height:auto}"
    "th{text-align:left;font-weight:400;color:#5a626c;padding:.1rem 1.2rem .1rem 0;"
    "white-space:nowrap;vertical-align:top}"
)
