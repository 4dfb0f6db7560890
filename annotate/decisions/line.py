"""The line to paste into a decisions file for a choice: one line each, whole in itself."""

import json
from collections.abc import Iterable

from fingering_db.fingering import Fingering

FIX, FORBID, PREFER, READ, NOTE = "fix", "forbid", "prefer", "read", "note"
READINGS = ("multiphonic", "players", "voice")
PLACE, PITCH, PIECE, FLUTE, WEIGHT = "place", "pitch", "piece", "flute", "weight"


def place_line(address: str, what: str, value: str | Fingering | Iterable[str]) -> str:
    """A decision for one place: `place."Flute, bar 12, beat 2: C5 D6".fix = "T 2 3 | Eb"`.

    address: as `Demand.address` has it. what: FIX, FORBID, PREFER, READ or NOTE."""
    return f"{PLACE}.{_text(address)}.{what} = {_value(value)}"


def choice_line(address: str, fingering: Fingering, others: Iterable[Fingering]) -> str:
    """As `place_line` with FIX, the other fingerings behind it as a comment."""
    told = ", ".join(_text(str(one)) for one in others)
    return place_line(address, FIX, fingering) + (f"  # {told}" if told else "")


def _value(value: str | Fingering | Iterable[str]) -> str:
    if isinstance(value, str | Fingering):
        return _text(str(value))
    return f"[{', '.join(map(_text, value))}]"


def _text(text: str) -> str:
    """A basic string of TOML, on one line."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
