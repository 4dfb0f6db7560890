"""A fingering as two rows of signs, from the player's view: left hand above, right hand below.

The three main keys of each hand stand as circles in playing order, so that both rows together make a grid of
two by three; thumb, side and foot keys follow as letters. `T 2 3 | Eb` becomes `○●● T` over `○○○ E♭`.

Only signs that every notation program we tried shows and hands on are used; none of \\ { $ # " % ever is,
because these break an importer (so the plain form writes `Gs` and `Cs` for G sharp and C sharp).
"""

from __future__ import annotations

DOWN, UP, HOLE_OPEN, VENT_OPEN, BOTH_OPEN = "●", "○", "◎", "◉", "◐"
ASCII_SIGNS = {DOWN: "@", UP: "-", HOLE_OPEN: "o", VENT_OPEN: "v", BOTH_OPEN: "&"}
"""Plain signs by drawn sign; `o` and `v` are the suffixes of the fingering text."""

_SUFFIX_SIGNS = {"": DOWN, "o": HOLE_OPEN, "v": VENT_OPEN, "ov": BOTH_OPEN}
_MAIN_KEYS = ("1", "2", "3")
_LETTERS = {"Tb": "T♭", "G#": "G♯", "Bb": "B♭", "Eb": "E♭", "C#": "C♯"}
_ASCII_LETTERS = {"G#": "Gs", "C#": "Cs"}


def rows(fingering: str) -> tuple[str, str]:
    """The two rows of a canonical fingering text (`str(Fingering)`), left hand first.

    Raises ValueError for a text that is not two hands divided by one bar.
    """
    left, right = _hands(fingering)
    return _row(left, _LETTERS), _row(right, _LETTERS)


def ascii_rows(fingering: str) -> tuple[str, str]:
    """The same two rows in ASCII: `-@@ T` over `--- Eb`."""
    left, right = _hands(fingering)
    upper, lower = _row(left, _ASCII_LETTERS), _row(right, _ASCII_LETTERS)
    table = str.maketrans(ASCII_SIGNS)
    return upper.translate(table), lower.translate(table)


def signs_used(fingerings: tuple[str, ...]) -> tuple[str, ...]:
    """The drawn circle signs that occur in the diagrams of these fingerings, in the order of the legend."""
    found = {sign for text in fingerings for row in rows(text) for sign in row}
    return tuple(sign for sign in ASCII_SIGNS if sign in found)


def _hands(fingering: str) -> tuple[list[str], list[str]]:
    hands = fingering.split("|")
    if len(hands) != 2:
        raise ValueError(f"fingering '{fingering}': expected left hand | right hand, for example T 2 3 | Eb")
    return hands[0].split(), hands[1].split()


def _row(touches: list[str], letters: dict[str, str]) -> str:
    """One hand: three circles, then every other touch as letters."""
    circles = dict.fromkeys(_MAIN_KEYS, UP)
    others = []
    for touch in touches:
        if touch[0] in circles:
            circles[touch[0]] = _SUFFIX_SIGNS[touch[1:]]
        else:
            others.append(letters.get(touch, touch))
    return " ".join(["".join(circles.values()), *others])
