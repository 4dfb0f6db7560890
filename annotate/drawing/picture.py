"""A fingering as a picture: the rows of `diagram` drawn as shapes, in black and white, with letters of our own.

Player's view: left hand above right hand, the three main keys of each as circles in playing order, then thumb or side,
trill and foot keys, each of a shape of its own with its letters: thumb round-ended, side keys slanted, trill keys
pointed, foot keys square. Black is down and white is up; an opening in a key that is down is a white spot in the
black: round in the middle for the perforation, a slit from rim to rim for the vent. Thumb and right little
finger are drawn when up too, for lifting them is part of the fingering.

Letters are strokes, not text, so that the picture is the same wherever it is opened. One unit is one point.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from html import escape
from importlib.resources import files

import msgspec

from fingering_db.fingering import Fingering
from fingering_db.touches import Held

THUMB, SIDE, TRILL, FOOT = "thumb", "side", "trill", "foot"

_DIAMETER = 9.0  # of a circle; also the height of the other keys
_LINE = 0.85  # outlines
_PITCH_X, _PITCH_Y = 11.1, 12.2  # from circle to circle, from row to row
_AFTER_CIRCLES, _BETWEEN_KEYS = 3.2, 1.8  # gaps beside letter keys
_MARGIN = 0.6  # white around everything
_HOLE = 0.46  # diameter of the perforation's spot, as a share of the key's
_SLIT = 0.2  # width of the vent's slit, as a share of the key's diameter
_CAPITAL = 5.4  # height of a capital letter
_SCALE = _CAPITAL / 10.0  # of the box that its strokes are told in
_STROKE = 1.02  # thickness of the strokes of letters
_SPACE = 1.65  # between strokes of neighbouring letters, without their thickness
_INSIDE = 2.5  # from the end of a key to its letters
_SLANT = 2.2  # by how much a side key leans
_POINT = 3.6  # length of the point of a trill key


class _Letter(msgspec.Struct, forbid_unknown_fields=True):
    """Strokes in a box ten units high, and its width."""

    strokes: str
    width: float


_LETTERS = msgspec.toml.decode(files("annotate.drawing").joinpath("letters.toml").read_bytes(), type=dict[str, _Letter])
# Strokes [points] around the middle of the row, and their width.
_WAVE = ("M0.6 1.2Q2.6 -3.6 4.6 0T8.6 -1.2", 9.2)
_REST_THUMB, _REST_FOOT = "T", "E♭"  # what is drawn white for a finger that is up


@dataclass(frozen=True, slots=True)
class Circle:
    """A main key. down; hole, vent: its perforation or vent is open (only when down)."""

    down: bool = False
    hole: bool = False
    vent: bool = False


@dataclass(frozen=True, slots=True)
class Key:
    """Any other key. shape: one of the four constants. letters: its sign, `T`, `E♭`, `tr1`."""

    shape: str
    letters: str
    down: bool = True
    vent: bool = False


@dataclass(frozen=True, slots=True)
class Hand:
    """One row: three circles and what stands beside them; contrary: a wave at its end says that one of its fingers moves
    against the ear."""

    circles: tuple[Circle, Circle, Circle]
    keys: tuple[Key, ...]
    contrary: bool = False


@dataclass(frozen=True, slots=True)
class Drawing:
    """What to draw. title: the fingering as text."""

    title: str
    left: Hand
    right: Hand


@lru_cache(maxsize=1024)
def drawing(fingering: Fingering, contrary: Fingering | None = None) -> Drawing:
    """The drawing of a fingering. contrary: the fingers that move against the ear on the way to it, None for none."""
    left, right = _hand(fingering.left), _hand(fingering.right)
    if not any(key.shape == THUMB for key in left.keys):
        left = Hand(left.circles, (Key(THUMB, _REST_THUMB, down=False), *left.keys))
    if not any(key.shape == FOOT for key in right.keys):
        right = Hand(right.circles, (*right.keys, Key(FOOT, _REST_FOOT, down=False)))
    if contrary:
        left, right = replace(left, contrary=bool(contrary.left)), replace(right, contrary=bool(contrary.right))
    return Drawing(str(fingering), left, right)


def _hand(touches: tuple[Held, ...]) -> Hand:
    circles: list[Circle] = [Circle(), Circle(), Circle()]
    keys = []
    for held in touches:
        if held.touch.is_circle:
            circles[int(held.touch.drawn) - 1] = Circle(True, held.hole_open, held.vent_open)
        else:
            keys.append(Key(held.touch.drawn, held.touch.sign, vent=held.vent_open))
    return Hand((circles[0], circles[1], circles[2]), tuple(keys))


def size(picture: Drawing) -> tuple[float, float]:
    ends = [
        _key_places(hand)[-1][1] + (_BETWEEN_KEYS + _WAVE[1] if hand.contrary else 0.0)
        for hand in (picture.left, picture.right)
    ]
    return max(ends) + _LINE / 2 + _MARGIN, _DIAMETER + _PITCH_Y + _LINE + 2 * _MARGIN


def svg(picture: Drawing) -> str:
    """The picture as a whole SVG file, without text and style sheets, black and white only, ending in a line feed."""
    width, height = (_number(value) for value in size(picture))
    shapes = "\n".join(shape for row in rows(picture) for shape in row)
    extent = f'width="{width}pt" height="{height}pt" viewBox="0 0 {width} {height}"'
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" {extent}>\n'
        f"<title>{escape(picture.title, quote=False)}</title>\n"
        f"{shapes}\n</svg>\n"
    )


def rows(picture: Drawing) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """SVG texts of the shapes of each hand, left above right."""
    first = _MARGIN + _LINE / 2 + _DIAMETER / 2
    return _row(picture.left, first), _row(picture.right, first + _PITCH_Y)


def sign_svg(circle: Circle) -> str:
    """A main key alone, for a legend: a whole SVG file."""
    side = _number(_DIAMETER + _LINE + 2 * _MARGIN)
    shapes = "\n".join(_circle(circle, float(side) / 2, float(side) / 2))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side}pt" height="{side}pt" viewBox="0 0 {side} {side}">\n'
        f"{shapes}\n</svg>\n"
    )


@lru_cache(maxsize=1024)  # the same hands come again and again
def _row(hand: Hand, middle: float) -> tuple[str, ...]:
    shapes: list[str] = []
    for index, circle in enumerate(hand.circles):
        shapes += _circle(circle, _MARGIN + _LINE / 2 + _DIAMETER / 2 + index * _PITCH_X, middle)
    for (left, _), key in zip(_key_places(hand), hand.keys, strict=True):
        shapes += _key(key, left, middle)
    if hand.contrary:
        place = f"translate({_number(_key_places(hand)[-1][1] + _BETWEEN_KEYS)} {_number(middle)})"
        pen = f'fill="none" stroke="black" stroke-width="{_number(_STROKE)}" stroke-linecap="round"'
        shapes.append(f'<path transform="{place}" d="{_WAVE[0]}" {pen}/>')
    return tuple(shapes)


def _circle(circle: Circle, x: float, y: float) -> list[str]:
    at, radius, fill = f'cx="{_number(x)}" cy="{_number(y)}"', _DIAMETER / 2, "black" if circle.down else "white"
    line = f'stroke="black" stroke-width="{_number(_LINE)}"'
    shapes = [f'<circle {at} r="{_number(radius)}" fill="{fill}" {line}/>']
    if circle.hole:
        shapes.append(f'<circle {at} r="{_number(_HOLE * radius)}" fill="white"/>')
    if circle.vent:
        shapes.append(_slit(x, y))
    return shapes


def _slit(x: float, y: float) -> str:
    """White from rim to rim, lines included."""
    width, height = _SLIT * _DIAMETER, _DIAMETER + _LINE
    at = f'x="{_number(x - width / 2)}" y="{_number(y - height / 2)}"'
    return f'<rect {at} width="{_number(width)}" height="{_number(height)}" fill="white"/>'


def _key_places(hand: Hand) -> list[tuple[float, float]]:
    """Left and right end of each letter key of a row."""
    places = []
    at = _MARGIN + _LINE / 2 + _DIAMETER + 2 * _PITCH_X + _AFTER_CIRCLES
    for key in hand.keys:
        places.append((at, at + _key_width(key)))
        at += _key_width(key) + _BETWEEN_KEYS + _LINE
    return places


def _key_width(key: Key) -> float:
    ends = {THUMB: 1.5, SIDE: _SLANT - 0.4, TRILL: _POINT - 1.0, FOOT: 0.0}[key.shape]
    vent = _SLIT * _DIAMETER + _SPACE if key.vent else 0.0
    return _letters_width(key.letters) + vent + 2 * (_INSIDE + ends)


def _letters_width(letters: str) -> float:
    return sum(_LETTERS[letter].width for letter in letters) * _SCALE + _SPACE * (len(letters) - 1)


def _key(key: Key, left: float, middle: float) -> list[str]:
    right = left + _key_width(key)
    fill, ink = ("black", "white") if key.down else ("white", "black")
    line = f'fill="{fill}" stroke="black" stroke-width="{_number(_LINE)}" stroke-linejoin="miter"'
    shapes = [f'<path d="{_outline(key.shape, left, right, middle)}" {line}/>']
    vent = _SLIT * _DIAMETER + _SPACE if key.vent else 0.0
    shapes.append(_letters(key.letters, (left + right - vent - _letters_width(key.letters)) / 2, middle, ink))
    if key.vent:
        centre = (left + right + _letters_width(key.letters) + _SPACE) / 2
        shapes.append(_slit(centre, middle))
    return shapes


def _outline(shape: str, left: float, right: float, middle: float) -> str:
    half = _DIAMETER / 2
    top, bottom = middle - half, middle + half
    if shape == THUMB:
        arc = f"A{_number(half)} {_number(half)} 0 0 1"
        straight = f"M{_number(left + half)} {_number(top)}H{_number(right - half)}"
        return f"{straight}{arc} {_number(right - half)} {_number(bottom)}H{_number(left + half)}{arc} " + (
            f"{_number(left + half)} {_number(top)}Z"
        )
    corners = {
        SIDE: [(left + _SLANT, top), (right, top), (right - _SLANT, bottom), (left, bottom)],
        TRILL: [
            *[(left + _POINT, top), (right - _POINT, top), (right, middle)],
            *[(right - _POINT, bottom), (left + _POINT, bottom), (left, middle)],
        ],
        FOOT: [(left, top), (right, top), (right, bottom), (left, bottom)],
    }[shape]
    return "M" + "L".join(f"{_number(x)} {_number(y)}" for x, y in corners) + "Z"


def _letters(letters: str, left: float, middle: float, ink: str) -> str:
    paths = []
    at = left
    for letter in letters:
        own = _LETTERS[letter]
        place = f"translate({_number(at)} {_number(middle - _CAPITAL / 2)}) scale({_number(_SCALE)})"
        paths.append(f'<path transform="{place}" d="{own.strokes}"/>')
        at += own.width * _SCALE + _SPACE
    pen = f'fill="none" stroke="{ink}" stroke-width="{_number(_STROKE / _SCALE)}"'
    return f'<g {pen} stroke-linecap="round" stroke-linejoin="round">{"".join(paths)}</g>'


def _number(value: float) -> str:
    """Three decimals at most, no needless zeros."""
    return f"{value:.3f}".rstrip("0").rstrip(".")
