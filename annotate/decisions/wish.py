"""What a decision forbids or prefers: a fingering, a touch, or vents."""

from __future__ import annotations

from dataclasses import dataclass

from fingering_db.fingering import Fingering
from fingering_db.message import Message, MessageError
from fingering_db.touches import FINGERS, HELD, LEFT_FINGERS

VENTS = "vents"
_SIDES = {"left": FINGERS[:LEFT_FINGERS], "right": FINGERS[LEFT_FINGERS:]}


class WishError(MessageError):
    """A text that names no fingering, touch or `vents`; in `message` what was expected."""


@dataclass(frozen=True, slots=True)
class Wish:
    """A fingering, whole; or touches (finger, text) of which a fingering has one: several for `vents`."""

    text: str
    fingering: Fingering | None = None
    touches: frozenset[tuple[str, str]] = frozenset()

    @classmethod
    def parse(cls, text: str) -> Wish:
        """Read `T 2 3 | Eb`, `Tb`, `left 2o` (a touch that both hands have), `vents`. Raises WishError saying what was
        expected, FingeringError for a fingering that is none."""
        if "|" in text:
            fingering = Fingering.parse(text)
            return cls(str(fingering), fingering)
        if text.strip().lower() == VENTS:
            return cls(VENTS, touches=frozenset(key for key, held in HELD.items() if held.vent_open))
        *side, touch = text.replace("♯", "#").replace("♭", "b").split() or [""]
        fingers = _SIDES.get(side[0].lower(), ()) if len(side) == 1 else FINGERS if not side else ()
        found = [key for key in HELD if key[1].lower() == touch.lower() and key[0] in fingers]
        if len(found) == 1:
            return cls(text.strip(), touches=frozenset(found))
        raise WishError(Message("decisions.either_hand" if found else "decisions.no_wish", text=text, touch=touch))

    def fits(self, fingering: Fingering) -> bool:
        """Whether a fingering is what is wished."""
        if self.fingering is not None:
            return fingering == self.fingering
        return not self.touches.isdisjoint(zip(FINGERS, fingering.touches, strict=True))
