"""Diagrams read back: rows, columns and lists of signs as this program draws them, saved by another one as plain words."""

from functools import cache
from itertools import product

from annotate.drawing.diagram import CONTRARY, columns, line, plain_rows, rows
from fingering_db.fingering import Fingering
from fingering_db.touches import FINGERS, LEFT_FINGERS, touches_of

_HANDS = (FINGERS[:LEFT_FINGERS], FINGERS[LEFT_FINGERS:])
_GRID = 4  # rows of a column
_MOST_ROWS = 8

Touches = tuple[str, ...]


def read_diagram(text: str) -> Fingering | None:
    """The fingering that rows of signs draw, with signs or in plain ASCII; None for other texts."""
    told = [row.removesuffix(CONTRARY).strip() for row in text.splitlines() if row.strip()]
    if not 0 < len(told) <= _MOST_ROWS:
        return None
    if len(told) == 1:
        sides = told[0].split("|")
        return _both(*(_lines(hand).get(side.strip()) for hand, side in enumerate(sides))) if len(sides) == 2 else None
    if len(told) == 2:
        return _both(*(_rows(hand).get(row) for hand, row in enumerate(told)))
    return _from_columns(told) if len(told) >= _GRID else None


def _both(left: Touches | None, right: Touches | None) -> Fingering | None:
    return None if left is None or right is None else Fingering(left + right)


def _held(hand: int) -> list[tuple[Touches, Fingering]]:
    """Every way to hold one hand, and the fingering of it alone."""
    found = []
    for touches in product(*(("", *touches_of(finger)) for finger in _HANDS[hand])):
        other = ("",) * (len(FINGERS) - len(touches))
        found.append((touches, Fingering(touches + other if hand == 0 else other + touches)))
    return found


@cache
def _rows(hand: int) -> dict[str, Touches]:
    plain = (False, True)
    return {_drawn_row(one, hand, each): touches for touches, one in _held(hand) for each in plain}


def _drawn_row(fingering: Fingering, hand: int, plain: bool) -> str:
    return (plain_rows if plain else rows)(fingering)[hand]


@cache
def _lines(hand: int) -> dict[str, Touches]:
    told = (
        (line(one, plain).split("|")[hand].strip(), touches) for touches, one in _held(hand) for plain in (False, True)
    )
    return dict(told)


@cache
def _columns(hand: int) -> dict[tuple[str, ...], Touches]:
    """By the four cells of a hand's column and the rows of its own under them."""
    found: dict[tuple[str, ...], Touches] = {}
    for touches, one in _held(hand):
        for plain in (False, True):
            drawn = columns(one, plain)
            cells = [row[:-1] if hand == 0 else row[1:] for row in drawn[:_GRID]]
            found.setdefault((*cells, *drawn[_GRID:]), touches)
    return found


def _from_columns(told: list[str]) -> Fingering | None:
    grid, under = told[:_GRID], told[_GRID:]
    for cuts in product(*(range(1, len(row)) for row in grid)):
        left = [row[:cut] for row, cut in zip(grid, cuts, strict=True)]
        right = [row[cut:] for row, cut in zip(grid, cuts, strict=True)]
        for cut in range(len(under) + 1):
            found = _both(_columns(0).get((*left, *under[:cut])), _columns(1).get((*right, *under[cut:])))
            if found is not None:
                return found
    return None
