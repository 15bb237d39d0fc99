"""What lies where on the pages of a PDF, and what is printed over something else.

PDFium (by pypdfium2) tells the box of every letter's ink and the points of every drawn path, in
points from the lower left corner.
"""

from __future__ import annotations

import ctypes
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pypdfium2
from pypdfium2 import raw

TOUCH = 0.2
"""Points by which two boxes may meet: ink is rounder than its box."""
EDGE = 3 / 25.4 * 72
"""Points that printers leave white around the paper at most: 3 mm, common practice (no source)."""
SLICES, PIECES = 8, 4
Box = tuple[float, float, float, float]
Stroke = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Letter:
    """A letter: the box of its ink, and the ``run`` of letters in one font it was set in, by its
    place among all that is printed."""

    text: str
    box: Box
    run: int


@dataclass(frozen=True, slots=True)
class Drawn:
    """A path: its boxes, one for each stroke of a pen or one that is ``filled``; ``order``: its
    place among all that is printed; ``closed``: it goes around its ``bounds``."""

    bounds: Box
    boxes: tuple[Box, ...]
    filled: bool
    closed: bool
    order: int


def faults(pdf: bytes) -> Iterator[str]:
    """What is printed over something else or too near the edge of the paper, and where."""
    for number, page in enumerate(pypdfium2.PdfDocument(pdf), 1):
        letters, paths = _printed(page)
        found = (*_over_letters(letters), *_over_lines(letters, paths), *_off(letters, page))
        yield from (f"page {number}: {fault}" for fault in found)


def number_gaps(pdf: bytes) -> Iterator[float]:
    """The points between each bar number and the frame of a section's letter after it."""
    for page in pypdfium2.PdfDocument(pdf):
        letters, paths = _printed(page)
        for frame in (path for path in paths if path.closed and not path.filled):
            left, low, _, high = frame.bounds
            inside = any(_holds(frame.bounds, letter.box) for letter in letters)
            before = [
                left - letter.box[2]
                for letter in letters
                if letter.text.isdigit()
                and low <= letter.box[1] <= high
                and letter.box[2] < left + 2
            ]
            if inside and before:
                yield min(before)


def leftmost(pdf: bytes) -> float:
    """Where the letter farthest to the left begins, in points."""
    pages = pypdfium2.PdfDocument(pdf)
    return min(letter.box[0] for page in pages for letter in _printed(page)[0])


def _printed(page: Any) -> tuple[list[Letter], list[Drawn]]:
    objects = list(page.get_objects(max_depth=8))
    orders = {_address(each.raw): order for order, each in enumerate(objects)}
    paths = [
        _drawn(each, order)
        for order, each in enumerate(objects)
        if each.type == raw.FPDF_PAGEOBJ_PATH
    ]
    page_text = page.get_textpage()
    letters = []
    for at in range(page_text.count_chars()):
        text = page_text.get_text_range(at, 1)
        run = raw.FPDFText_GetTextObject(page_text.raw, at)
        if text.strip() and run:
            letters.append(Letter(text, page_text.get_charbox(at), orders[_address(run)]))
    return letters, paths


def _address(pointer: Any) -> int:
    return ctypes.addressof(pointer.contents)


def _drawn(path: Any, order: int) -> Drawn:
    fill, stroke = ctypes.c_int(), ctypes.c_int()
    raw.FPDFPath_GetDrawMode(path.raw, fill, stroke)
    bounds = path.get_bounds()
    width = ctypes.c_float()
    raw.FPDFPageObj_GetStrokeWidth(path.raw, width)
    matrix = path.get_matrix()
    pen = width.value / 2 * abs(matrix.a * matrix.d - matrix.b * matrix.c) ** 0.5
    strokes: list[Stroke] = []
    points: list[tuple[float, float]] = []
    curve: list[tuple[float, float]] = []
    closed = bool(fill.value)
    for at in range(raw.FPDFPath_CountSegments(path.raw)):
        segment = raw.FPDFPath_GetPathSegment(path.raw, at)
        x, y = ctypes.c_float(), ctypes.c_float()
        raw.FPDFPathSegment_GetPoint(segment, x, y)
        kind = raw.FPDFPathSegment_GetType(segment)
        point = matrix.on_point(x.value, y.value)
        if kind == raw.FPDF_SEGMENT_MOVETO:
            strokes += pairwise(points)
            points = []
        if kind == raw.FPDF_SEGMENT_BEZIERTO:  # two points that pull, and the end
            curve.append(point)
            if len(curve) == 3:
                points += _curve(points[-1], *curve)
                curve = []
        else:
            points.append(point)
        closed = closed or bool(raw.FPDFPathSegment_GetClose(segment))
    strokes += pairwise(points)
    if fill.value:
        return Drawn(bounds, tuple(_slices(strokes, bounds)), True, True, order)
    boxes = tuple(_widened(_box(stroke), pen) for stroke in strokes)
    return Drawn(bounds, boxes, False, closed, order)


def _curve(*points: tuple[float, float]) -> Iterator[tuple[float, float]]:
    """A cubic Bézier curve, in straight pieces."""
    for at in range(1, PIECES + 1):
        t = at / PIECES
        weights = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3)
        x, y = (sum(w * p[side] for w, p in zip(weights, points, strict=True)) for side in (0, 1))
        yield x, y


def _box(points: Iterable[tuple[float, float]]) -> Box:
    (left, *_, right), (low, *_, high) = (sorted(values) for values in zip(*points, strict=True))
    return left, low, right, high


def _widened(box: Box, pen: float) -> Box:
    return box[0] - pen, box[1] - pen, box[2] + pen, box[3] + pen


def _slices(edges: list[Stroke], bounds: Box) -> Iterator[Box]:
    """What is filled cut into upright slices: a slanted beam or a disc fills a part of its box."""
    left, _, right, _ = bounds
    cuts = [left + (right - left) * at / SLICES for at in range(SLICES + 1)]
    for begin, end in pairwise(cuts):
        points = []
        for (x, y), (to_x, to_y) in edges:
            for cut in (begin, end):
                if min(x, to_x) - 1e-3 <= cut <= max(x, to_x) + 1e-3:
                    part = (cut - x) / (to_x - x) if abs(to_x - x) > 1e-3 else 0.0
                    points.append((cut, y + (to_y - y) * part))
            points += [point for point in ((x, y), (to_x, to_y)) if begin <= point[0] <= end]
        if points:
            yield _box(points)


def _over_letters(letters: list[Letter]) -> Iterator[str]:
    boxes = [letter.box for letter in letters]
    for at, to in _meeting(boxes, boxes):
        one, other = letters[at], letters[to]
        if at < to and one.run != other.run:
            yield f"{one.text!r} over {other.text!r} at {_at(one)}"


def _over_lines(letters: list[Letter], paths: list[Drawn]) -> Iterator[str]:
    """Letters over lines and fills: a fill all around the letter is its ground, a closed line its
    frame; of what lies under the ground nothing is seen."""
    near: dict[int, list[Drawn]] = {}
    for at, to in _meeting([letter.box for letter in letters], [path.bounds for path in paths]):
        near.setdefault(at, []).append(paths[to])
    for at, over in near.items():
        letter = letters[at]
        around = [p for p in over if _holds(p.bounds, letter.box) and p.order < letter.run]
        ground = max((path.order for path in around if path.filled), default=-1)
        for path in over:
            frame = path in around and path.closed
            touches = any(_meet(letter.box, box) for box in path.boxes)
            if path.order > ground and touches and not frame:
                yield f"{letter.text!r} over a line at {_at(letter)}"
                break


def _meeting(ones: list[Box], others: list[Box]) -> Iterator[tuple[int, int]]:
    """Which boxes share more than an edge, by their numbers."""
    if ones and others:
        one, other = np.array(ones)[:, None], np.array(others)[None]
        inside = (one[..., :2] + TOUCH < other[..., 2:]) & (other[..., :2] + TOUCH < one[..., 2:])
        yield from np.argwhere(inside.all(axis=-1)).tolist()


def _off(letters: list[Letter], page: Any) -> Iterator[str]:
    width, height = page.get_size()
    for letter in letters:
        if not _holds((EDGE, EDGE, width - EDGE, height - EDGE), letter.box):
            yield f"{letter.text!r} at the edge of the paper, {_at(letter)}"


def _meet(one: Box, other: Box) -> bool:
    return any(_meeting([one], [other]))


def _holds(outer: Box, inner: Box) -> bool:
    return all(
        outer[side] <= inner[side] + TOUCH and inner[side + 2] <= outer[side + 2] + TOUCH
        for side in (0, 1)
    )


def _at(letter: Letter) -> str:
    return f"{letter.box[0]:.0f} {letter.box[1]:.0f}"
