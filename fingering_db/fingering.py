"""Fingerings as text: `T 2 3 | Eb` is thumb, second and third finger of the left hand, E-flat key of the right."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fingering_db.message import Message, MessageError
from fingering_db.touches import FINGERS, HANDS, HELD, LEFT_FINGERS, Held, Touch, ways

_WRITTEN_ORDER = {placed: index for index, placed in enumerate(HELD)}


def _tokens(hand: tuple[Touch, ...]) -> dict[str, Held]:
    """Lower-cased token -> touch."""
    return {str(held).lower(): held for touch in hand for held in ways(touch)}


_TOKENS = {side: _tokens(hand) for side, hand in HANDS.items()}


class FingeringError(MessageError):
    """A text that is no fingering, or one that the instrument at hand does not have."""


_PIECE = re.compile(r"(?:tr[12]|Tb?|[GC]#|[BE]b|gz|[BC123])(?:ov|o|v)?", re.IGNORECASE)
"""A touch among others written without blanks."""


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
            raise FingeringError(Message("error.hands", text=text))
        held: dict[str, Held] = {}
        for side, hand in zip(("left", "right"), hands, strict=True):
            for token in re.split(r"\s+", hand.strip()) if hand.strip() else ():
                found = _TOKENS[side].get(token.lower())
                if found is None:
                    key = "error.left_touch" if side == "left" else "error.right_touch"
                    touches = " ".join(touch.touch for touch in HANDS[side])
                    raise FingeringError(Message(key, text=text, token=token, touches=touches))
                finger = found.touch.finger
                if finger in held:
                    one, two = str(held[finger]), str(found)
                    raise FingeringError(Message("error.one_finger", text=text, one=one, two=two, finger=finger))
                held[finger] = found
        return cls(tuple(str(held.get(finger, "")) for finger in FINGERS))

    @property
    def held(self) -> tuple[Held, ...]:
        """What is held, in the order in which it is written: left hand, right hand."""
        placed = [(finger, touch) for finger, touch in zip(FINGERS, self.touches, strict=True) if touch]
        return tuple(HELD[one] for one in sorted(placed, key=_WRITTEN_ORDER.__getitem__))

    @classmethod
    def typed(cls, text: str) -> Fingering:
        """As `parse`, for what someone types in a hurry, where it can mean one thing only: touches without blanks between
        (`T23|Eb`), the bar at the end (`T23 Eb|`). Raises FingeringError as `parse` does."""
        try:
            return cls.parse(text)
        except FingeringError:
            plain = text.replace("♯", "#").replace("♭", "b")
            hands = [_PIECE.findall(hand) for hand in plain.split("|")]
            if len(hands) != 2 or "".join(map("".join, hands)) != re.sub(r"[\s|]", "", plain):
                raise
            left, right = hands
            if not right:
                first = next((n for n, one in enumerate(left) if one.lower() not in _TOKENS["left"]), len(left))
                left, right = left[:first], left[first:]
            guess = " ".join([*left, "|", *right])
            try:
                return cls.parse(guess)
            except FingeringError:
                pass
            raise

    @property
    def left(self) -> tuple[Held, ...]:
        """What the left hand holds, in the order in which it is written."""
        return tuple(held for held in self.held if held.touch.finger in FINGERS[:LEFT_FINGERS])

    @property
    def right(self) -> tuple[Held, ...]:
        """What the right hand holds, in the order in which it is written."""
        return tuple(held for held in self.held if held.touch.finger not in FINGERS[:LEFT_FINGERS])

    def __str__(self) -> str:
        return " ".join([*map(str, self.left), "|", *map(str, self.right)])
