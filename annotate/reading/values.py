"""Numbers as texts in the file: read within limits, refused with a message that says what was expected."""

import re
from fractions import Fraction

from fingering_db.message import Message, MessageError

# No exponent: XML Schema decimals have none, and a huge exponent would make an endless exact fraction.
_DECIMAL = re.compile(r"[+-]?(?:[0-9]{1,15}(?:\.[0-9]{0,15})?|\.[0-9]{1,15})\Z")
_WHOLE = re.compile(r"[+-]?[0-9]{1,15}(?:\.0{0,15})?\Z")
_SHOWN = 40
_NAME = 200  # characters of a name that anybody reads


class MalformedError(MessageError):
    """A value that cannot be read. The message says what it is and what was expected; the reader adds the
    place."""


def flat(text: str) -> str:
    """A name, a bar number or a rehearsal mark on one line, cut where it is endless."""
    line = " ".join(text.split())
    return line if len(line) <= _NAME else f"{line[:_NAME]}…"


def shown(text: str) -> str:
    """A value from the file, fit to stand in a one-line message."""
    line = " ".join(text.split())
    return f"'{line[:_SHOWN]}…'" if len(line) > _SHOWN else f"'{line}'"


def digit(text: str, default: int) -> int:
    """A number of one digit; `default` for anything else."""
    return int(text) if text.isascii() and text.isdigit() and len(text) == 1 else default


def decimal(text: str, what: str | Message) -> Fraction:
    """The exact value of a decimal number. Raises MalformedError naming `what`."""
    text = text.strip()
    if not _DECIMAL.match(text):
        raise MalformedError(Message("score.no_number", name=what, text=shown(text)))
    return Fraction(text)


def whole(text: str, what: str | Message) -> int:
    """A whole number ('4' or '4.0'). Raises MalformedError naming `what`."""
    text = text.strip()
    if not _WHOLE.match(text):
        raise MalformedError(Message("score.no_whole_number", name=what, text=shown(text)))
    return int(text.partition(".")[0])
