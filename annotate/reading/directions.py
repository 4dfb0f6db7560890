"""`<direction>`: words, rehearsal marks and word-like signs, with their place in the file."""

from dataclasses import dataclass
from fractions import Fraction

from annotate.reading.tree import Node
from annotate.reading.values import MalformedError
from fingering_db.message import Message

SIGNATURE = "\u2063"
"""Invisible separator: every words text of an annotation begins and ends with it."""
MAX_TEXT = 10_000
"""Characters of the texts of one direction: three pages."""
_KINDS = {"words": "words", "symbol": "symbol", "other-direction": "other", "rehearsal": "rehearsal"}


@dataclass(frozen=True, slots=True)
class RawDirection:
    """A text within its bar; offset [quarters] from the beginning of the bar, as printed."""

    text: str
    kind: str
    bar_index: int
    offset: Fraction
    staff: int
    voice: str
    start: int
    end: int
    ours: bool


def read_direction(node: Node, bar_index: int, offset: Fraction, staff: int, voice: str) -> list[RawDirection]:
    """The texts of a direction, one for each kind: several words are one text, joined with blanks. Raises MalformedError."""
    texts: dict[str, list[str]] = {}
    signed: list[bool] = []
    for kind in node.all("direction-type"):
        for child in kind.children:
            name = _KINDS.get(child.tag)
            text = " ".join(child.text.split())
            if name is None or not text:
                continue
            texts.setdefault(name, []).append(text)
            if name == "words":
                signed.append(len(text) > 1 and text.endswith(SIGNATURE))
    if sum(len(text) + 1 for found in texts.values() for text in found) > MAX_TEXT:
        raise MalformedError(Message("score.direction_long", most=MAX_TEXT))
    ours = bool(signed) and all(signed)
    return [
        RawDirection(
            " ".join(found),
            name,
            bar_index,
            offset,
            staff,
            voice,
            node.start,
            node.end,
            ours and name == "words",
        )
        for name, found in texts.items()
    ]
