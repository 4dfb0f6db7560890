"""`<direction>`: words, rehearsal marks and word-like signs, with their place in the file."""

from fractions import Fraction

from annotate.files.own_marks import SIGNATURE
from annotate.reading.tree import Node
from annotate.reading.values import MalformedError
from annotate.score import Direction
from fingering_db.message import Message

MAX_TEXT = 10_000
"""Characters of the texts of one direction: three pages."""
_KINDS = {"words": "words", "symbol": "symbol", "other-direction": "other", "rehearsal": "rehearsal"}


def read_direction(node: Node, bar_index: int, offset: Fraction, staff: int) -> list[Direction]:
    """The texts of a direction, one for each kind: several words are one text, joined with blanks. Raises MalformedError.

    Their `onset` is as printed, from the beginning of the bar [quarters]; bar and beat come with the time of the score."""
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
    at = offset, "", bar_index, Fraction(0), staff, node.text_of("voice"), node.start, node.end
    return [Direction(" ".join(found), *at, ours and name == "words", name) for name, found in texts.items()]
