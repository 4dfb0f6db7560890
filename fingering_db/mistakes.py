"""What is wrong with an instrument file: every mistake, one line each, by key, value, and what was needed.

Two passes over the plain values of the TOML file. The first compares them with the types and bounds of a file (unknown, missing,
mistyped and extreme values) and keeps what is sound; the second looks at the sound values together."""

from __future__ import annotations

import itertools
import math
import re
import types
import typing
from collections.abc import Iterator
from functools import cache
from typing import Any

import msgspec

from fingering_db.chart import FIRST_REGISTER_TOP, chart, charts
from fingering_db.touches import FINGERS, touches_of

MOST_FINGERINGS = 1_000_000  # of an instrument: bounds time and memory
MOST_HOLES = 24
_HOLE_NAME = re.compile(r"[A-G][#b]?[0-9](side)?|.*trill")
_FEWEST_PLAIN = 8  # notes of the first register that tell how a plain fingering of this flute behaves: ours
FAMILIES = ("flute", "piccolo", "alto", "bass")

Table = dict[str, Any]  # a table of a file, sound values only

_WORDS = {float: "a number", int: "a whole number", str: "a text in quotes"}
_LEAST_HOLE_MM, _LEAST_SMALL_MM = 0.5, 0.1  # a pinhole is no hole of a flute; far below a figure of 64 bits is none


def mistakes(raw: Table, file_type: type) -> list[str]:
    """Every mistake in the values of an instrument file; empty if it can be used.

    file_type: the msgspec struct that the whole file must be."""
    found: list[str] = []
    sound = _sound_table(raw, file_type, "", found)
    return [*found, *_together(sound)]


# --- one value at a time


def _sound_table(raw: Any, struct: Any, where: str, found: list[str]) -> Table:
    """The sound values of a table, defaults filled in; what is wrong is added to `found`."""
    if not isinstance(raw, dict):
        found.append(f"{where} = {_value(raw)}: expected a table of {', '.join(_keys(struct))}")
        return {}
    kept: Table = {}
    for key in raw:
        if key not in _keys(struct):
            found.append(
                f"{_dotted(where, key)} = {_value(raw[key])}: no such key; expected {', '.join(_keys(struct))}"
            )
    for field in msgspec.structs.fields(struct):
        name = _dotted(where, field.encode_name)
        if field.encode_name not in raw:
            if field.required:
                found.append(f"{name} is missing: expected {_wanted(field.type)}")
            elif field.default is not msgspec.NODEFAULT:
                kept[field.encode_name] = field.default
            continue
        value = _sound_value(raw[field.encode_name], field.type, name, found)
        if value is not None:
            kept[field.encode_name] = value
    return kept


def _sound_value(value: Any, kind: Any, name: str, found: list[str]) -> Any:
    """The value, if it is of its kind, else None."""
    struct, many = _struct_of(kind)
    if struct is not None and many:
        if not isinstance(value, list):
            found.append(f"{name} = {_value(value)}: expected {_wanted(kind)}")
            return None
        return [_sound_table(one, struct, _label(name, n, one), found) for n, one in enumerate(value, start=1)]
    if struct is not None:
        return _sound_table(value, struct, name, found)
    return _sound_plain(value, kind, name, found)


def _sound_plain(value: Any, kind: Any, name: str, found: list[str]) -> Any:
    """The value, if it is a text, a list or a number of its kind and within its bounds, else None."""
    plain, bounds = _bounded(kind)
    try:
        sound = msgspec.convert(value, plain)
    except msgspec.ValidationError:
        found.append(f"{name} = {_value(value)}: expected {_wanted(kind)}")
        return None
    if isinstance(sound, float) and not math.isfinite(sound):
        found.append(f"{name} = {_value(value)}: expected a finite number")
        return None
    if bounds is not None and not bounds.ge <= sound <= bounds.le:
        found.append(f"{name} = {sound:g}: expected {bounds.ge:g} to {bounds.le:g}")
        return None
    return sound


def _bounded(kind: Any) -> tuple[Any, Any]:
    """A type without its bounds, and these (None where it has none)."""
    if typing.get_origin(kind) is typing.Annotated:
        plain, bounds = typing.get_args(kind)
        return plain, bounds
    return kind, None


def _struct_of(kind: Any) -> tuple[Any, bool]:
    """The struct that a type holds, if any, and whether it holds many of them."""
    arguments = typing.get_args(kind)
    if isinstance(kind, types.UnionType) or typing.get_origin(kind) is typing.Union:
        return next((_struct_of(one) for one in arguments if one is not type(None)), (None, False))
    if typing.get_origin(kind) is tuple and _is_struct(arguments[0]):
        return arguments[0], True
    return (kind, False) if _is_struct(kind) else (None, False)


def _is_struct(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, msgspec.Struct)


@cache
def _keys(struct: Any) -> list[str]:
    return [field.encode_name for field in msgspec.structs.fields(struct)]


def _wanted(kind: Any) -> str:
    struct, many = _struct_of(kind)
    if struct is not None:
        return f"{'tables' if many else 'a table'} of {', '.join(_keys(struct))}"
    return _WORDS.get(_bounded(kind)[0], 'a list of hole names such as ["C5"]')


def _dotted(where: str, key: str) -> str:
    return f"{where}{', ' if ' ' in where else '.'}{key}" if where else key


def _label(name: str, number: int, raw: Any) -> str:
    """How one of several tables is named: by its name or touch, else by its number."""
    own = raw.get("name", raw.get("touch")) if isinstance(raw, dict) else None
    table, _, last = name.rpartition(", ")
    lead = f"{table}, " if table else ""
    word = {"holes": "hole", "fingers": "finger", "placements": "touch"}.get(last, last)
    return f"{lead}{word} '{own}'" if isinstance(own, str) else f"{lead}{word} number {number}"


def _value(value: Any) -> str:
    """A value as it would stand in the file, short."""
    if isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, dict):
        text = "a table"
    else:
        text = str(value)
    text = " ".join(text.split())
    return text if len(text) <= 40 else f"{text[:37]}..."


# --- values together


def _together(data: Table) -> Iterator[str]:
    """Mistakes that only show when values are looked at together, or against a range."""
    if "family" in data and data["family"] not in FAMILIES:
        yield f'family = "{data["family"]}": expected one of {", ".join(FAMILIES)}'
    elif data.get("family", "flute") != "flute" and data.get("transposition_semitones", 1) == 0:
        yield (
            f'transposition_semitones = 0: expected other than 0 for family = "{data["family"]}" '
            "(12 on a piccolo in C, -5 on an alto in G, -12 on a bass in C)"
        )
    if "name" in data and not data["name"].strip():
        yield 'name = "": expected a name'
    slide = data.get("slide") or {}
    if slide.get("slide_rest_mm", 0.0) > slide.get("travel_mm", math.inf):
        yield f"slide.slide_rest_mm = {slide['slide_rest_mm']:g}: expected at most the travel, {slide['travel_mm']:g}"
    if "holes" in data:
        yield from _holes(data)
    if "fingers" in data:
        yield from _fingers(data)
        yield from _chart(data)


def _holes(data: Table) -> Iterator[str]:
    holes: list[Table] = data["holes"]
    if not 2 <= len(holes) <= MOST_HOLES:
        yield f"holes: there are {len(holes)}; expected 2 to {MOST_HOLES}"
    yield from _twice((hole.get("name") for hole in holes), "hole")
    bore = (data.get("body") or {}).get("bore_mm", math.inf)
    for number, hole in enumerate(holes, start=1):
        where = _label("holes", number, hole)
        name = hole.get("name", "C4")
        if not _HOLE_NAME.fullmatch(name):
            yield f"{where}, name = {_value(name)}: expected a note such as A#4, or a name that ends in trill"
        if hole.get("rest", "open") not in ("open", "shut"):
            yield f'{where}, rest = "{hole["rest"]}": expected "open" or "shut"'
        diameter = hole.get("diameter_mm", math.inf)
        if "diameter_mm" in hole and not _LEAST_HOLE_MM <= diameter <= bore:
            yield f"{where}, diameter_mm = {diameter:g}: expected {_LEAST_HOLE_MM:g} to the bore, {bore:g}"
            continue
        for key in ("perforation_mm", "vent_mm"):
            if key in hole and not (hole[key] == 0.0 or _LEAST_SMALL_MM <= hole[key] < diameter):
                yield (
                    f"{where}, {key} = {hole[key]:g}: expected 0 (none), or {_LEAST_SMALL_MM:g} to below the hole's "
                    f"diameter, {diameter:g}"
                )
    yield from _places(data, holes)


def _places(data: Table, holes: list[Table]) -> Iterator[str]:
    placed = [hole for hole in holes if "position_mm" in hole and "name" in hole]
    for before, after in itertools.pairwise(placed):
        if after["position_mm"] < before["position_mm"]:
            yield (
                f"hole '{after['name']}', position_mm = {after['position_mm']:g}: expected at least "
                f"{before['position_mm']:g}, the place of '{before['name']}' before it (holes stand from the top down)"
            )
    taper = (data.get("head") or {}).get("taper_mm", -math.inf)
    end = (data.get("body") or {}).get("end_mm", math.inf)
    for hole in placed:
        if not taper < hole["position_mm"] < end:
            yield (
                f"hole '{hole['name']}', position_mm = {hole['position_mm']:g}: expected between the end of the head's "
                f"taper, {taper:g}, and the open end, {end:g}"
            )


def _fingers(data: Table) -> Iterator[str]:
    fingers: list[Table] = data["fingers"]
    yield from _twice((finger.get("name") for finger in fingers), "finger")
    holes = {hole["name"]: hole for hole in data.get("holes", ()) if "name" in hole}
    count = 1
    for number, finger in enumerate(fingers, start=1):
        name, placements = finger.get("name"), finger.get("placements") or []
        where = _label("fingers", number, finger)
        count *= 1 + len(placements)
        if name is not None and name not in FINGERS:
            yield f'{where}, name = "{name}": expected one of {", ".join(FINGERS)}'
        yield from _twice((one.get("touch") for one in placements), f"{where}, touch")
        for at, placement in enumerate(placements, start=1):
            label = _label(f"{where}, placements", at, placement)
            touch = placement.get("touch")
            if name in FINGERS and touch is not None and touch not in touches_of(name):
                yield f'{label}, touch = "{touch}": expected one of {", ".join(touches_of(name))}'
            if "holes" in data:
                yield from _placement(placement, label, holes)
    if count > MOST_FINGERINGS:
        yield f"fingers: their placements make {count:,} fingerings; expected at most {MOST_FINGERINGS:,}"


def _placement(placement: Table, where: str, holes: dict[str, Table]) -> Iterator[str]:
    for key in ("shuts", "opens", "uncovers", "vents"):
        for name in placement.get(key, ()):
            if name not in holes:
                yield f"{where}, {key}: there is no hole '{name}'; expected one of {', '.join(holes)}"
    for name in placement.get("opens", ()):
        if holes.get(name, {}).get("rest", "shut") == "open":
            yield f"{where}, opens: hole '{name}' is open at rest; expected a hole with rest = \"shut\""
    for key, kind in (("uncovers", "perforation"), ("vents", "vent")):
        for name in placement.get(key, ()):
            if name in holes and holes[name].get(f"{kind}_mm", 1.0) == 0.0:
                yield f"{where}, {key}: hole '{name}' has no {kind}; expected {kind}_mm above 0 at that hole"
            if name in holes and name not in placement.get("shuts", (name,)):
                yield f"{where}, {key}: this touch does not hold the key of hole '{name}'; expected it in shuts too"
    touch = str(placement.get("touch", ""))
    if touch and not placement.get("shuts", True) and not placement.get("opens", True):
        yield f"{where}: this touch moves nothing; expected holes in shuts or opens"
    for letter, key, kind in (("o", "uncovers", "perforation"), ("v", "vents", "vent")):
        if key in placement and ("o" in touch, "v" in touch)[letter == "v"] != bool(placement[key]):
            needed = "a hole there" if letter in touch else f"no hole there, or a touch ending in {letter}"
            yield f"{where}, {key}: {letter} in a touch means that a {kind} is open; expected {needed}"


def _chart(data: Table) -> Iterator[str]:
    if "chart" not in data:
        return
    if data["chart"] not in charts():
        yield f'chart = "{data["chart"]}": expected one of {", ".join(charts())}'
        return
    has = {
        (finger.get("name"), placement.get("touch"))
        for finger in data["fingers"]
        for placement in finger.get("placements") or []
    }
    plain = [note for note in chart(data["chart"]) if note.pitch.midi <= FIRST_REGISTER_TOP]
    lacking = [
        note
        for note in plain
        if any(
            touch and (finger, touch) not in has for finger, touch in zip(FINGERS, note.fingering.touches, strict=True)
        )
    ]
    if len(plain) - len(lacking) < _FEWEST_PLAIN:
        yield (
            f'chart = "{data["chart"]}": the fingers lack touches for {", ".join(str(note.pitch) for note in lacking)}; '
            f"expected at least {_FEWEST_PLAIN} notes of its first register to be fingered"
        )


def _twice(names: Iterator[str | None], what: str) -> Iterator[str]:
    seen: dict[str, int] = {}
    for name in names:
        if name is not None:
            seen[name] = seen.get(name, 0) + 1
    for name, count in seen.items():
        if count > 1:
            yield f"{what} '{name}' stands {count} times; expected once"
