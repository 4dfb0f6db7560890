"""Fingerings as text: `T 2 3 | Eb` is thumb, second and third finger of the left hand, E-flat key of the right."""

from __future__ import annotations

import re
from dataclasses import dataclass

FINGERS = ("thumb", "L1", "L2", "L3", "L4", "R1", "R2", "R3", "R4")
LEFT_FINGERS = 5

# What each touch is called, which finger plays it, in the order in which a fingering is written.
_LEFT = {"T": "thumb", "Tb": "thumb", "1": "L1", "2": "L2", "3": "L3", "G#": "L4"}
_RIGHT = {
    "1": "R1", "2": "R2", "3": "R3", "Bb": "R1", "tr1": "R2", "tr2": "R3",
    "Eb": "R4", "C#": "R4", "C": "R4", "B": "R4", "gz": "R4",
}  # fmt: skip
_SUFFIXES = {
    ("thumb", "T"): ("v",),
    **dict.fromkeys([("L2", "2"), ("L3", "3"), ("R1", "1")], ("o", "v", "ov")),
    ("L1", "1"): ("v",),
    ("R2", "2"): ("o",),
    ("R3", "3"): ("o",),
}
_WRITTEN_ORDER = {
    touch + suffix: index
    for index, touch in enumerate([*_LEFT, *(touch for touch in _RIGHT if touch not in _LEFT)])
    for suffix in ("", "o", "v", "ov")
}


def _touches(hand: dict[str, str]) -> dict[str, tuple[str, str]]:
    """Lower-cased token -> (finger, touch as written)."""
    table = {}
    for touch, finger in hand.items():
        for suffix in ("", *_SUFFIXES.get((finger, touch), ())):
            table[(touch + suffix).lower()] = (finger, touch + suffix)
    return table


def touches_of(finger: str) -> tuple[str, ...]:
    """Every touch that a finger can have on any flute, as written."""
    return tuple(
        touch + suffix
        for hand in (_LEFT, _RIGHT)
        for touch, own in hand.items()
        if own == finger
        for suffix in ("", *_SUFFIXES.get((finger, touch), ()))
    )


_TOKENS = {"left": _touches(_LEFT), "right": _touches(_RIGHT)}
_EXPECTED = {
    "left": "T Tb 1 2 3 G# (o: hole in the key open, v: vent open, as 2o, Tv)",
    "right": "1 2 3 Bb tr1 tr2 Eb C# C B gz (o: hole in the key open, as 2o)",
}


class FingeringError(ValueError):
    """A text that is no fingering, or one that the instrument at hand does not have."""


def text_of(fingering: Fingering | None) -> str:
    """The fingering as text, '' for none."""
    return str(fingering) if fingering else ""


@dataclass(frozen=True, slots=True)
class Fingering:
    """One placement for each finger. touches: one text per finger in the order of FINGERS, '' for a finger that is
    up."""

    touches: tuple[str, ...]

    @classmethod
    def parse(cls, text: str) -> Fingering:
        """Read `T 1 2 3 | 1 2 3 C`. Case is forgiven, ♯ and ♭ too. Raises FingeringError saying what was expected."""
        hands = text.replace("♯", "#").replace("♭", "b").split("|")
        if len(hands) != 2:
            raise FingeringError(f"fingering '{text}': expected left hand | right hand, for example T 2 3 | Eb")
        held: dict[str, str] = {}
        for side, hand in zip(("left", "right"), hands, strict=True):
            for token in re.split(r"\s+", hand.strip()) if hand.strip() else ():
                found = _TOKENS[side].get(token.lower())
                if found is None:
                    raise FingeringError(
                        f"fingering '{text}': '{token}' is no {side}-hand touch; expected {_EXPECTED[side]}"
                    )
                finger, touch = found
                if finger in held:
                    raise FingeringError(
                        f"fingering '{text}': {held[finger]} and {touch} need the same finger ({finger})"
                    )
                held[finger] = touch
        return cls(tuple(held.get(finger, "") for finger in FINGERS))

    @property
    def left(self) -> tuple[str, ...]:
        """Touches of the left hand, in the order in which they are written."""
        return tuple(touch for touch in self.touches[:LEFT_FINGERS] if touch)

    @property
    def right(self) -> tuple[str, ...]:
        """Touches of the right hand, in the order in which they are written."""
        return tuple(sorted(filter(None, self.touches[LEFT_FINGERS:]), key=_WRITTEN_ORDER.__getitem__))

    def __str__(self) -> str:
        return " ".join([*self.left, "|", *self.right])
