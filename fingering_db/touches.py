"""Every touch that a finger can have on any flute: one table, `data/touches.toml`."""

from collections.abc import Iterator
from importlib import resources

import msgspec

FINGERS = ("thumb", "L1", "L2", "L3", "L4", "R1", "R2", "R3", "R4")
LEFT_FINGERS = 5
HOLE, VENT = "o", "v"
"""Suffixes of a touch: the hole in the key is open, its vent is open; both in this order."""


class Touch(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A key, or a place on it, that a finger presses. The fields are those of `data/touches.toml`."""

    touch: str
    finger: str
    effort: float
    drawn: str
    sign: str = ""
    words: str = ""
    suffixes: tuple[str, ...] = ()

    @property
    def is_circle(self) -> bool:
        """Whether it is drawn as one of the three circles of its hand; else as letters beside them."""
        return self.drawn.isdigit()


class Held(msgspec.Struct, frozen=True):
    """A touch with a finger on it. suffix: which small openings the finger leaves open, '' for none."""

    touch: Touch
    suffix: str = ""

    @property
    def hole_open(self) -> bool:
        return HOLE in self.suffix

    @property
    def vent_open(self) -> bool:
        return VENT in self.suffix

    def __str__(self) -> str:
        return self.touch.touch + self.suffix


class _Hands(msgspec.Struct, forbid_unknown_fields=True):
    left: tuple[Touch, ...]
    right: tuple[Touch, ...]


_TABLE = msgspec.toml.decode((resources.files("fingering_db") / "data/touches.toml").read_bytes(), type=_Hands)
HANDS = {"left": _TABLE.left, "right": _TABLE.right}
"""Touches by hand, in the order in which they are written."""
TOUCHES = (*_TABLE.left, *_TABLE.right)


def ways(touch: Touch) -> Iterator[Held]:
    """A touch plain and with each suffix that it can have."""
    return (Held(touch, suffix) for suffix in ("", *touch.suffixes))


HELD = {(touch.finger, str(held)): held for touch in TOUCHES for held in ways(touch)}
"""By finger and text of the touch: ('L2', '2o')."""


def touches_of(finger: str) -> tuple[str, ...]:
    """Every touch that a finger can have on any flute, as written."""
    return tuple(text for name, text in HELD if name == finger)
