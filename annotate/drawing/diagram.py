r"""A fingering as signs, from the player's view: a column for each hand, or two rows with the left hand above, the right below.

The three main keys of each hand stand as circles in playing order. In rows, thumb, side and foot keys follow as letters:
`T 2 3 | Eb` becomes `○●● T` over `○○○ E♭`. In columns each hand has four places, from the top: the left one thumb, 1, 2, 3,
the right one 1, 2, 3, little finger: `T○`, `○○`, `●○`, `●●`.

Only signs that every notation program we tried shows and hands on are used; none of \ { $ # " % ever is, because these
break an importer. One alphabet: what is # and b where fingerings are typed is ♯ and ♭ wherever they are drawn, in the plain
form too, which has ASCII signs for the circles alone; a file that lacks ♯ takes it as a character reference.
"""

from functools import cache
from itertools import product

from fingering_db.fingering import Fingering
from fingering_db.touches import FINGERS, LEFT_FINGERS, TOUCHES, Held, Touch, touches_of

DOWN, UP, HOLE_OPEN, VENT_OPEN, BOTH_OPEN = "●", "○", "◎", "◉", "◐"
CONTRARY = "~"
"""At the end of a hand's row: one of its fingers moves against the ear."""
PLAIN_SIGNS = {DOWN: "@", UP: "-", HOLE_OPEN: "o", VENT_OPEN: "v", BOTH_OPEN: "&"}
"""Plain signs by drawn sign; `o` and `v` are the suffixes of the fingering text."""

_PLAIN_TABLE = {ord(sign): plain for sign, plain in PLAIN_SIGNS.items()}
_SUFFIX_SIGNS = {"": DOWN, "o": HOLE_OPEN, "v": VENT_OPEN, "ov": BOTH_OPEN}
_CIRCLES = ("1", "2", "3")
_AT_HOME = "Eb"  # the key under the right little finger where it rests: a circle in a column, other keys their letters


def rows(fingering: Fingering, contrary: Fingering | None = None) -> tuple[str, str]:
    """The two rows of a fingering, left hand first.

    contrary: fingers that move against the ear on the way to it: the row of their hand ends with CONTRARY.
    """
    against = (contrary.left, contrary.right) if contrary else ((), ())
    hands = zip((fingering.left, fingering.right), against, strict=True)
    upper, lower = (_row(hand) + f" {CONTRARY}" * bool(own) for hand, own in hands)
    return upper, lower


def plain_rows(fingering: Fingering, contrary: Fingering | None = None) -> tuple[str, str]:
    """The same two rows with plain signs for the circles: `-@@ T` over `--- E♭`."""
    upper, lower = (row.translate(_PLAIN_TABLE) for row in rows(fingering, contrary))
    return upper, lower


def columns(fingering: Fingering, plain: bool = False) -> tuple[str, ...]:
    """A column for each hand in four rows, so that a diagram is low and narrow enough to stand over neighbouring notes; every
    other key that is held has a row of its own under them. plain: plain signs for the circles."""
    top, upper, between, lower, _ = _from_the_top(fingering)
    little = [held for held in fingering.right if held.touch.finger == "R4"]
    little.sort(key=lambda held: held.touch.touch != _AT_HOME)
    last = [_SUFFIX_SIGNS[held.suffix] if held.touch.touch == _AT_HOME else _short(held) for held in little]
    thumb = top[0].replace("T♭", "♭") if top else UP  # so that the two of a row are never three
    grid = zip((thumb, *upper), (*lower, *(last[:1] or [UP])), strict=True)
    found = (*map("".join, grid), *between, *last[1:])
    return tuple(row.translate(_PLAIN_TABLE) if plain else row for row in found)


def line(fingering: Fingering, plain: bool = False) -> str:
    """The same on one line, for a list: `T ○●● | ○○○ E♭`."""
    top, upper, between, lower, bottom = _from_the_top(fingering)
    of_the_left = [_short(held) for held in fingering.left]
    left = [sign for sign in between if sign in of_the_left]
    right = [sign for sign in between if sign not in left]
    told = " ".join([*top, "".join(upper), *left, "|", *right, "".join(lower), *bottom])
    return told.translate(_PLAIN_TABLE) if plain else told


def _from_the_top(fingering: Fingering) -> tuple[list[str], list[str], list[str], list[str], list[str]]:
    """Thumb, circles of the left hand, keys between the hands, circles of the right hand, keys of its little finger."""
    letters = [held for held in fingering.held if not held.touch.is_circle]
    top = [_short(held) for held in letters if held.touch.finger == "thumb"]
    bottom = [_short(held) for held in letters if held.touch.finger == "R4"]
    between = [_short(held) for held in letters if held.touch.finger not in ("thumb", "R4")]
    return top, _circles(fingering.left), between, _circles(fingering.right), bottom


def _short(held: Held) -> str:
    """Letters as narrow as they go: a third one runs into the neighbouring column in a program that sets words large."""
    return held.touch.sign.replace("tr", "t") + held.suffix


def flat_thumb(fingerings: tuple[Fingering, ...]) -> bool:
    """Whether the thumb's B flat key, a mere ♭ in columns, is among these."""
    return any(held.touch.sign == "T♭" for one in fingerings for held in one.held)


def trill_keys(fingerings: tuple[Fingering, ...]) -> bool:
    """Whether a trill key, shortened in columns, is among these."""
    return any(held.touch.sign.startswith("tr") for one in fingerings for held in one.held)


def signs_used(fingerings: tuple[Fingering, ...]) -> tuple[str, ...]:
    """The drawn circle signs that occur in the diagrams of these fingerings, in the order of the legend."""
    found = {sign for one in fingerings for row in rows(one) for sign in row}
    return tuple(sign for sign in PLAIN_SIGNS if sign in found)


def letter_keys(fingerings: tuple[Fingering, ...]) -> tuple[Touch, ...]:
    """The keys drawn as letters in these fingerings, in playing order."""
    found = {held.touch for one in fingerings for held in one.held if not held.touch.is_circle}
    return tuple(touch for touch in TOUCHES if touch in found)


def vented_letters(fingerings: tuple[Fingering, ...]) -> bool:
    """Whether a key drawn as letters has its vent open in one of these: `Tv`."""
    return any(held.vent_open and not held.touch.is_circle for one in fingerings for held in one.held)


def _row(hand: tuple[Held, ...]) -> str:
    """One hand: three circles, then every other touch as letters."""
    others = [held.touch.sign + held.suffix for held in hand if not held.touch.is_circle]
    return " ".join(["".join(_circles(hand)), *others])


def _circles(hand: tuple[Held, ...]) -> list[str]:
    circles = dict.fromkeys(_CIRCLES, UP)
    circles |= {held.touch.drawn: _SUFFIX_SIGNS[held.suffix] for held in hand if held.touch.is_circle}
    return list(circles.values())


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
    return {drawn(one)[hand]: touches for touches, one in _held(hand) for drawn in (rows, plain_rows)}


@cache
def _lines(hand: int) -> dict[str, Touches]:
    every = ((line(one, plain), touches) for touches, one in _held(hand) for plain in (False, True))
    return {drawn.split("|")[hand].strip(): touches for drawn, touches in every}


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
