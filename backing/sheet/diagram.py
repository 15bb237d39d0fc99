"""Shapes drawn as upright grids: the nut above, the lowest string on the left.

Signs, not colors, tell the tones apart: a solid square is the root, a solid disc the 3rd, the 7th
or the 6th of a sixth chord, a ring any other chord tone, a small dashed ring an optional tone. The
shaded frets are those of the hand at rest, so that a stretch is seen as one.
"""

from __future__ import annotations

from backing.chart.printed import printed_degree
from backing.neck.fingerboard import SPAN, Fingerboard
from backing.neck.shapes import Shape, ShapeTone

STRING_GAP, FRET_GAP = 22.0, 25.0
RADIUS, SMALL_RADIUS = 9.4, 8.6
LEFT, RIGHT, BOTTOM = 34.0, 15.0, 6.0
TOP, TOP_OVER_NUT = 4.0, 23.0
"""Room above the first fret; over the nut stand open strings."""
INK, SHADE = "#000000", "#e4e4e4"
TEXT, FINGER_TEXT = 11.5, 8.6
FINGER_BELOW = 11.6
SIGNS = "♭♯𝄫𝄪"


def diagram(shape: Shape, board: Fingerboard, *, fingers: bool = False) -> str:
    """A shape as SVG, ``viewBox`` in the units of this module; with the number of each finger
    beside its tone where ``fingers`` are asked for."""
    grid = _Grid(shape, board)
    parts = [*grid.neck(), *map(grid.tone, shape.lighter), *map(grid.tone, shape.tones)]
    parts += map(grid.finger, shape.tones if fingers else ())
    size = f"{grid.width:g} {grid.height:g}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}" font-family="Lato" '
        f'font-weight="700">{"".join(parts)}</svg>'
    )


class _Grid:
    """Where strings and frets lie; drawn are those a hand reaches from its position."""

    def __init__(self, shape: Shape, board: Fingerboard) -> None:
        self.board = board
        self.position = shape.position
        frets = [tone.place.fret for tone in (*shape.tones, *shape.lighter) if tone.place.fret]
        self.first = max(1, min(self.position - 1, *frets))
        self.last = min(max(self.position + SPAN, *frets), board.frets)
        self.columns = {string: index for index, string in enumerate(board.columns)}
        self.label_left = not board.left_handed
        side = LEFT if self.label_left else RIGHT
        self.left = side
        self.right = side + STRING_GAP * (len(board.strings) - 1)
        self.width = self.right + (RIGHT if self.label_left else LEFT)
        self.top = TOP_OVER_NUT if self.first == 1 else TOP
        self.bottom = self.top + FRET_GAP * (self.last - self.first + 1)
        self.height = self.bottom + BOTTOM

    def x(self, string: int) -> float:
        return self.left + STRING_GAP * self.columns[string]

    def y(self, fret: int) -> float:
        """Where a finger goes: the middle of the fret's space; an open string above the nut."""
        if fret < self.first:
            return self.top - RADIUS - 2
        return self.top + FRET_GAP * (fret - self.first + 0.5)

    def neck(self) -> list[str]:
        """The hand at rest, strings, frets, the nut, and the number of the position's fret."""
        home = self.top + FRET_GAP * (self.position - self.first)
        rest = min(self.position + SPAN - 1, self.last) - self.position + 1
        shade = (
            f'<rect x="{self.left - 4:g}" y="{home:g}" width="{self.right - self.left + 8:g}" '
            f'height="{FRET_GAP * rest:g}" rx="5" fill="{SHADE}"/>'
        )
        strings = (_line(self.x(s), self.top, self.x(s), self.bottom, 0.9) for s in self.columns)
        frets = [self.top + FRET_GAP * n for n in range(self.last - self.first + 2)]
        wires = [_line(self.left, y, self.right, y, 0.9) for y in frets]
        if self.first == 1:
            wires[0] = _line(self.left - 0.5, self.top, self.right + 0.5, self.top, 3.4)
        return [shade, *wires, *strings, self._number()]

    def _number(self) -> str:
        x, anchor = (self.left - 15, "end") if self.label_left else (self.right + 15, "start")
        y = self.y(self.position) + TEXT * 0.4
        where = f'x="{x:g}" y="{y:g}" font-size="{TEXT + 2:g}" text-anchor="{anchor}"'
        return f"<text {where}>{self.position}</text>"

    def finger(self, tone: ShapeTone) -> str:
        """The number of its finger, below to the right; none for an open string."""
        if not tone.finger:
            return ""
        x, y = self.x(tone.place.string) + STRING_GAP / 2, self.y(tone.place.fret) + FINGER_BELOW
        where = f'x="{x:g}" y="{y:g}" font-size="{FINGER_TEXT}" text-anchor="middle"'
        return f'<text {where} font-weight="400">{tone.finger}</text>'

    def tone(self, tone: ShapeTone) -> str:
        """The sign of a tone with its degree in it."""
        x, y = self.x(tone.place.string), self.y(tone.place.fret)
        filled = tone.degree.number == 1 or tone.role in (3, 7)
        ink = f'fill="{INK if filled else "#ffffff"}" stroke="{INK}"'
        if tone.role == 0:
            sign = (
                f'<circle cx="{x:g}" cy="{y:g}" r="{SMALL_RADIUS}" fill="#ffffff" stroke="{INK}" '
                f'stroke-width="0.8" stroke-dasharray="2 1.6"/>'
            )
            return sign + _label(printed_degree(tone.degree), x, y, TEXT * 0.86, INK)
        if tone.degree.number == 1:
            side = RADIUS * 0.95
            sign = (
                f'<rect x="{x - side:g}" y="{y - side:g}" width="{2 * side:g}" '
                f'height="{2 * side:g}" rx="1.5" {ink} stroke-width="1.5"/>'
            )
        else:
            sign = f'<circle cx="{x:g}" cy="{y:g}" r="{RADIUS}" {ink} stroke-width="1.5"/>'
        return sign + _label(printed_degree(tone.degree), x, y, TEXT, "#ffffff" if filled else INK)


def _line(x1: float, y1: float, x2: float, y2: float, width: float) -> str:
    ends = f'x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}"'
    return f'<line {ends} stroke="{INK}" stroke-width="{width:g}"/>'


def _label(text: str, x: float, y: float, size: float, ink: str) -> str:
    """A degree, its accidental from the font of signs, centered on a point."""
    size *= {1: 1.0, 2: 0.92, 3: 0.78}.get(len(text), 0.7)
    runs = "".join(
        f'<tspan font-family="Backing Signs">{c}</tspan>' if c in SIGNS else c for c in text
    )
    where = f'x="{x:g}" y="{y + size * 0.36:g}" text-anchor="middle" font-size="{size:g}"'
    return f'<text {where} fill="{ink}">{runs}</text>'
