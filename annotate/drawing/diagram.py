"""A fingering as two rows of signs, from the player's view: left hand above, right hand below.

The three main keys of each hand stand as circles in playing order, so that both rows together make a grid of
two by three; thumb, side and foot keys follow as letters. `T 2 3 | Eb` becomes `○●● T` over `○○○ E♭`.

Only signs that every notation program we tried shows and hands on are used; none of \\ { $ # " % ever is,
because these break an importer (so the plain form writes `Gs` and `Cs` for G sharp and C sharp).
"""

from __future__ import annotations

from fingering_db.fingering import Fingering

DOWN, UP, HOLE_OPEN, VENT_OPEN, BOTH_OPEN = "●", "○", "◎", "◉", "◐"
CONTRARY = "~"
"""At the end of a hand's row: one of its fingers moves against the ear."""
ASCII_SIGNS = {DOWN: "@", UP: "-", HOLE_OPEN: "o", VENT_OPEN: "v", BOTH_OPEN: "&"}
"""Plain signs by drawn sign; `o` and `v` are the suffixes of the fingering text."""

_SUFFIX_SIGNS = {"": DOWN, "o": HOLE_OPEN, "v": VENT_OPEN, "ov": BOTH_OPEN}
_MAIN_KEYS = ("1", "2", "3")
_LETTER_KEYS = ("T", "Tb", "G#", "Bb", "tr1", "tr2", "Eb", "C#", "C", "B", "gz")
_LETTERS = {"Tb": "T♭", "G#": "G♯", "Bb": "B♭", "Eb": "E♭", "C#": "C♯"}
_ASCII_LETTERS = {"G#": "Gs", "C#": "Cs"}


def rows(fingering: Fingering, contrary: Fingering | None = None) -> tuple[str, str]:
    """The two rows of a fingering, left hand first.

    contrary: fingers that move against the ear on the way to it: the row of their hand ends with CONTRARY.
    """
    against = _against(contrary)
    return _row(fingering.left, _LETTERS) + against[0], _row(fingering.right, _LETTERS) + against[1]


def ascii_rows(fingering: Fingering, contrary: Fingering | None = None) -> tuple[str, str]:
    """The same two rows in ASCII: `-@@ T` over `--- Eb`."""
    upper, lower = _row(fingering.left, _ASCII_LETTERS), _row(fingering.right, _ASCII_LETTERS)
    table, against = str.maketrans(ASCII_SIGNS), _against(contrary)
    return upper.translate(table) + against[0], lower.translate(table) + against[1]


def _against(contrary: Fingering | None) -> tuple[str, str]:
    left, right = (contrary.left, contrary.right) if contrary else ((), ())
    return f" {CONTRARY}" if left else "", f" {CONTRARY}" if right else ""


def signs_used(fingerings: tuple[Fingering, ...]) -> tuple[str, ...]:
    """The drawn circle signs that occur in the diagrams of these fingerings, in the order of the legend."""
    found = {sign for one in fingerings for row in rows(one) for sign in row}
    return tuple(sign for sign in ASCII_SIGNS if sign in found)


def letter_keys(fingerings: tuple[Fingering, ...], ascii_only: bool = False) -> dict[str, str]:
    """The keys drawn as letters in these fingerings: touch without suffix -> its letters, in playing order."""
    letters = _ASCII_LETTERS if ascii_only else _LETTERS
    found = {touch.rstrip("ov") for one in fingerings for touch in one.touches}
    return {touch: letters.get(touch, touch) for touch in _LETTER_KEYS if touch in found}


def vented_letters(fingerings: tuple[Fingering, ...]) -> bool:
    """Whether a key drawn as letters has its vent open in one of these: `Tv`."""
    touches = (touch for one in fingerings for touch in one.touches if touch)
    return any(touch[0] not in _MAIN_KEYS and touch.endswith("v") for touch in touches)


def _row(touches: tuple[str, ...], letters: dict[str, str]) -> str:
    """One hand: three circles, then every other touch as letters."""
    circles = dict.fromkeys(_MAIN_KEYS, UP)
    others = []
    for touch in touches:
        if touch[0] in circles:
            circles[touch[0]] = _SUFFIX_SIGNS[touch[1:]]
        else:
            others.append(letters.get(touch, touch))
    return " ".join(["".join(circles.values()), *others])
