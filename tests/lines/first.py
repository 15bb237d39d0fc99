"""Where an unbroken line begins, by the rule its module gives."""

from __future__ import annotations

from backing.chart.harmony import Chord
from backing.lines.player import Line
from backing.neck.path import nearest_shape


def first_pitch(chord: Chord, line: Line) -> int:
    """The root (or the tone asked for) nearest to the middle of the shape; the lowest for a line
    that goes up, the highest for one that goes down."""
    tones = nearest_shape(chord, line.fingerboard, line.position[0], line.way, {})[0].tones
    role = 3 if line.thirds else line.start or 1
    wanted = [tone.pitch for tone in tones if tone.role == role] or [t.pitch for t in tones]
    if line.direction != "both":
        return min(wanted) if line.direction == "up" else max(wanted)
    middle = (tones[0].pitch + tones[-1].pitch) / 2
    return min(wanted, key=lambda pitch: (abs(pitch - middle), pitch))
