"""An instrument as the text of its file."""

from typing import Any

import msgspec

from fingering_db.instrument import Instrument


def as_toml(instrument: Instrument, comment: str = "") -> str:
    """TOML text that `instrument.decode` reads back as the same instrument; values equal to their defaults are left out.

    comment: lines that stand on top of it."""
    lines = [f"# {line}" for line in comment.splitlines()]
    lines += _keys(instrument)
    for table in ("head", "body", "lip", "slide"):
        value = getattr(instrument, table)
        lines += ["", f"[{table}]", *_keys(value)] if value is not None else []
    for hole in instrument.holes:
        lines += ["", "[[holes]]", *_keys(hole)]
    for finger in instrument.fingers:
        lines += ["", "[[fingers]]", *_keys(finger), "placements = ["]
        lines += [f"    {{ {', '.join(_keys(placement))} }}," for placement in finger.placements]
        lines += ["]"]
    return "\n".join(lines) + "\n"


def _keys(table: msgspec.Struct) -> list[str]:
    """`key = value` for the plain values of a table."""
    found = []
    for field in msgspec.structs.fields(table):
        value = getattr(table, field.encode_name)
        plain = isinstance(value, str | int | float) or (isinstance(value, tuple) and _texts(value))
        if plain and (field.required or value != field.default):
            found.append(f"{field.encode_name} = {_text(value)}")
    return found


def _texts(value: tuple[Any, ...]) -> bool:
    return all(isinstance(one, str) for one in value)


def _text(value: Any) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(map(_text, value))}]"
    if isinstance(value, str):
        # Escapes of TOML's basic strings: backslash, quote, control characters.
        signs = ((f"\\u{ord(char):04x}" if ord(char) < 32 or char in '\\"\x7f' else char) for char in value)
        return f'"{"".join(signs)}"'
    return repr(float(value)) if isinstance(value, float) else str(value)
