"""Boxes of what an SVG page draws: paths flattened to points, shapes and transforms resolved."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator

from lxml import etree

Point = tuple[float, float]
Matrix = tuple[float, float, float, float, float, float]
Extent = tuple[float, float, float, float]
"""x0, y0, x1, y1 with y downwards."""

IDENTITY: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_TOKEN = re.compile(r"[MmLlHhVvCcSsQqTtAaZz]|" + _NUMBER.pattern)
_SAMPLES = 8  # of a curve
_LENGTHS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


def numbers(text: str) -> list[float]:
    """All numbers in a text."""
    return [float(each) for each in _NUMBER.findall(text)]


def times(outer: Matrix, inner: Matrix) -> Matrix:
    """The transform that applies `inner` first."""
    a, b, c, d, e, f = outer
    g, h, i, j, k, m = inner
    return a * g + c * h, b * g + d * h, a * i + c * j, b * i + d * j, a * k + c * m + e, b * k + d * m + f


def apply(matrix: Matrix, point: Point) -> Point:
    a, b, c, d, e, f = matrix
    x, y = point
    return a * x + c * y + e, b * x + d * y + f


def transform_of(element: etree._Element) -> Matrix:
    """An element's own transform."""
    found = IDENTITY
    for name, inside in re.findall(r"(\w+)\(([^)]*)\)", element.get("transform", "")):
        given = numbers(inside)
        if name == "matrix":
            own = (given[0], given[1], given[2], given[3], given[4], given[5])
        elif name == "translate":
            own = (1.0, 0.0, 0.0, 1.0, given[0], given[1] if len(given) > 1 else 0.0)
        elif name == "scale":
            own = (given[0], 0.0, 0.0, given[1] if len(given) > 1 else given[0], 0.0, 0.0)
        else:
            continue  # a rotated sign keeps the box it would have upright
        found = times(found, own)
    return found


def walk(element: etree._Element, matrix: Matrix = IDENTITY) -> Iterator[tuple[etree._Element, Matrix]]:
    """Every element below, itself included, with the transform that its own coordinates have."""
    if not isinstance(element.tag, str):
        return
    own = times(matrix, transform_of(element))
    yield element, own
    for child in element:
        yield from walk(child, own)


def points(element: etree._Element) -> list[Point]:
    """The outline of a shape in its own coordinates; none for what is no shape."""
    kind = etree.QName(element).localname
    if kind == "path":
        return path_points(element.get("d", ""))
    if kind in ("polyline", "polygon"):
        flat = numbers(element.get("points", ""))
        return list(zip(flat[::2], flat[1::2], strict=True))
    get = {name: float(numbers(value)[0]) for name, value in element.attrib.items() if numbers(value)}
    if kind == "rect":
        x, y, width, height = (get.get(name, 0.0) for name in ("x", "y", "width", "height"))
        return [(x, y), (x + width, y + height)]
    if kind == "line":
        return [(get.get("x1", 0.0), get.get("y1", 0.0)), (get.get("x2", 0.0), get.get("y2", 0.0))]
    if kind in ("ellipse", "circle"):
        rx, ry = get.get("rx", get.get("r", 0.0)), get.get("ry", get.get("r", 0.0))
        x, y = get.get("cx", 0.0), get.get("cy", 0.0)
        return [(x - rx, y - ry), (x + rx, y + ry)]
    return []


def path_points(text: str) -> list[Point]:
    """Points along a path; curves are sampled, arcs count by their ends."""
    tokens = _TOKEN.findall(text)
    found: list[Point] = []
    here = start = (0.0, 0.0)
    command, at = "M", 0
    while at < len(tokens):
        if tokens[at].isalpha():
            command, at = tokens[at], at + 1
        length = _LENGTHS[command.upper()]
        given = [float(each) for each in tokens[at : at + length]]
        at += length
        if command.upper() == "Z":
            here = start
            continue
        relative = here if command.islower() else (0.0, 0.0)
        if command.upper() == "H":
            corners = [(relative[0] + given[0], here[1])]
        elif command.upper() == "V":
            corners = [(here[0], relative[1] + given[0])]
        else:
            pair = given[-2:] if command.upper() == "A" else given
            corners = [(relative[0] + x, relative[1] + y) for x, y in zip(pair[::2], pair[1::2], strict=True)]
        found += _curve(here, corners)
        here = corners[-1]
        if command.upper() == "M":
            start, command = here, "l" if command == "m" else "L"
    return found


def _curve(start: Point, corners: list[Point]) -> list[Point]:
    if len(corners) != 3:
        return corners
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = start, *corners
    told = []
    for step in range(_SAMPLES + 1):
        t = step / _SAMPLES
        a, b, c, d = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3
        told.append((a * x0 + b * x1 + c * x2 + d * x3, a * y0 + b * y1 + c * y2 + d * y3))
    return told


def extent(found: list[Point]) -> Extent:
    """The box around points."""
    xs, ys = [x for x, _ in found], [y for _, y in found]
    return min(xs), min(ys), max(xs), max(ys)


def slices(found: list[Point], width: float) -> list[Extent]:
    """Boxes around pieces of a long thin thing, none much wider than `width`: its whole box would be mostly empty."""
    x0, _, x1, _ = extent(found)
    count = max(1, round((x1 - x0) / width))
    pieces: dict[int, list[Point]] = {}
    for (ax, ay), (bx, by) in itertools.pairwise(found):
        steps = max(1, round(abs(bx - ax) / width * 2))
        for step in range(steps + 1):
            x, y = ax + (bx - ax) * step / steps, ay + (by - ay) * step / steps
            pieces.setdefault(min(count - 1, int((x - x0) / (x1 - x0 or 1.0) * count)), []).append((x, y))
    return [extent(piece) for piece in pieces.values()]
