"""What is wrong with an instrument file: every mistake, one line each, by key, value, and what was needed.

Two passes over the plain values of the TOML file. The first compares them with the types and bounds of a file (unknown, missing,
mistyped and extreme values) and keeps what is sound; the second looks at the sound values together."""

import itertools
import math
import re
import types
import typing
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any

import msgspec

from fingering_db.chart import FIRST_REGISTER_TOP, chart, charts
from fingering_db.message import Message
from fingering_db.touches import FINGERS, touches_of

MOST_FINGERINGS = 1_000_000  # of an instrument: bounds time and memory
MOST_HOLES = 24
_HOLE_NAME = re.compile(r"[A-G][#b]?[0-9](side)?|.*trill")
_FEWEST_PLAIN = 8  # notes of the first register that tell how a plain fingering of this flute behaves: ours
FAMILIES = ("flute", "piccolo", "alto", "bass")

Table = dict[str, Any]  # a table of a file, sound values only

_WORDS = {float: "flute_file.number", int: "flute_file.whole_number", str: "flute_file.text"}
_LEAST_HOLE_MM, _LEAST_SMALL_MM = 0.5, 0.1  # a pinhole is no hole of a flute; far below a figure of 64 bits is none


def mistakes(raw: Table, file_type: type) -> list[Message]:
    """Every mistake in the values of an instrument file; empty if it can be used.

    file_type: the msgspec struct that the whole file must be."""
    found: list[Message] = []
    sound = _sound_table(raw, file_type, "", found)
    return [*found, *_together(sound)]


# --- one value at a time


def _sound_table(raw: Any, struct: Any, where: str, found: list[Message]) -> Table:
    """The sound values of a table, defaults filled in; what is wrong is added to `found`."""
    if not isinstance(raw, dict):
        found.append(_expected(where, _value(raw), Message("flute_file.table", keys=_keys(struct))))
        return {}
    kept: Table = {}
    for key in raw:
        if key not in _keys(struct):
            told = {"where": _dotted(where, key), "value": _value(raw[key])}
            found.append(Message("flute_file.no_such_key", **told, keys=_keys(struct)))
    for field in _fields(struct):
        name = _dotted(where, field.encode_name)
        if field.encode_name not in raw:
            if field.required:
                found.append(Message("flute_file.missing", where=name, wanted=_wanted(field.type)))
            elif field.default is not msgspec.NODEFAULT:
                kept[field.encode_name] = field.default
            continue
        value = _sound_value(raw[field.encode_name], field.type, name, found)
        if value is not None:
            kept[field.encode_name] = value
    return kept


def _sound_value(value: Any, kind: Any, name: str, found: list[Message]) -> Any:
    """The value, if it is of its kind, else None."""
    struct, many = _struct_of(kind)
    if struct is not None and many:
        if not isinstance(value, list):
            found.append(_expected(name, _value(value), _wanted(kind)))
            return None
        return [_sound_table(one, struct, _label(name, n, one), found) for n, one in enumerate(value, start=1)]
    if struct is not None:
        return _sound_table(value, struct, name, found)
    return _sound_plain(value, kind, name, found)


def _sound_plain(value: Any, kind: Any, name: str, found: list[Message]) -> Any:
    """The value, if it is a text, a list or a number of its kind and within its bounds, else None."""
    plain, bounds = _bounded(kind)
    try:
        sound = msgspec.convert(value, plain)
    except msgspec.ValidationError:
        found.append(_expected(name, _value(value), _wanted(kind)))
        return None
    if isinstance(sound, float) and not math.isfinite(sound):
        found.append(_expected(name, _value(value), Message("flute_file.finite")))
        return None
    if bounds is not None and not bounds.ge <= sound <= bounds.le:
        wanted = Message("flute_file.range", least=f"{bounds.ge:g}", most=f"{bounds.le:g}")
        found.append(_expected(name, f"{sound:g}", wanted))
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


_fields = cache(msgspec.structs.fields)  # evaluates the texts of all types each time


def _keys(struct: Any) -> tuple[str, ...]:
    return tuple(field.encode_name for field in _fields(struct))


def _expected(where: str, value: str, wanted: Message) -> Message:
    return Message("flute_file.expected", where=where, value=value, wanted=wanted)


def _one_of(names: Iterable[str]) -> Message:
    return Message("flute_file.one_of", names=tuple(names))


def _wanted(kind: Any) -> Message:
    struct, many = _struct_of(kind)
    if struct is not None:
        return Message("flute_file.tables" if many else "flute_file.table", keys=_keys(struct))
    return Message(_WORDS.get(_bounded(kind)[0], "flute_file.hole_names"))


def _dotted(where: str, key: str) -> str:
    return f"{where}{', ' if ' ' in where else '.'}{key}" if where else key


def _label(name: str, number: int, raw: Any) -> str:
    """How one of several tables is named: by its name or touch, else by its number."""
    own = raw.get("name", raw.get("touch")) if isinstance(raw, dict) else None
    table, _, last = name.rpartition(", ")
    lead = f"{table}, " if table else ""
    word = {"holes": "hole", "fingers": "finger", "placements": "touch"}.get(last, last)
    return f"{lead}{word} '{own}'" if isinstance(own, str) else f"{lead}{word} {number}"


def _value(value: Any) -> str:
    """A value as it would stand in the file, short."""
    text = str(value).lower() if isinstance(value, bool) else "{..}" if isinstance(value, dict) else str(value)
    text = " ".join((f'"{text}"' if isinstance(value, str) else text).split())
    return text if len(text) <= 40 else f"{text[:37]}..."


# --- values together


def _together(data: Table) -> Iterator[Message]:
    """Mistakes that only show when values are looked at together, or against a range."""
    if "family" in data and data["family"] not in FAMILIES:
        yield _expected("family", _value(data["family"]), _one_of(FAMILIES))
    elif data.get("family", "flute") != "flute" and data.get("transposition_semitones", 1) == 0:
        yield Message("flute_file.no_shift", family=data["family"])
    if "name" in data and not data["name"].strip():
        yield _expected("name", '""', Message("flute_file.a_name"))
    slide = data.get("slide") or {}
    if slide.get("slide_rest_mm", 0.0) > slide.get("travel_mm", math.inf):
        wanted = Message("flute_file.within_travel", most=f"{slide['travel_mm']:g}")
        yield _expected("slide.slide_rest_mm", f"{slide['slide_rest_mm']:g}", wanted)
    if "holes" in data:
        yield from _holes(data)
    if "fingers" in data:
        yield from _fingers(data)
        yield from _chart(data)


def _holes(data: Table) -> Iterator[Message]:
    holes: list[Table] = data["holes"]
    if not 2 <= len(holes) <= MOST_HOLES:
        yield Message("flute_file.hole_count", n=len(holes), least=2, most=MOST_HOLES)
    yield from _twice((hole.get("name") for hole in holes), "hole")
    bore = (data.get("body") or {}).get("bore_mm", math.inf)
    for number, hole in enumerate(holes, start=1):
        where = _label("holes", number, hole)
        name = hole.get("name", "C4")
        if not _HOLE_NAME.fullmatch(name):
            yield _expected(f"{where}, name", _value(name), Message("flute_file.hole_name"))
        if hole.get("rest", "open") not in ("open", "shut"):
            yield _expected(f"{where}, rest", _value(hole["rest"]), Message("flute_file.rest"))
        diameter = hole.get("diameter_mm", math.inf)
        if "diameter_mm" in hole and not _LEAST_HOLE_MM <= diameter <= bore:
            wanted = Message("flute_file.to_the_bore", least=f"{_LEAST_HOLE_MM:g}", most=f"{bore:g}")
            yield _expected(f"{where}, diameter_mm", f"{diameter:g}", wanted)
            continue
        for key in ("perforation_mm", "vent_mm"):
            if key in hole and not (hole[key] == 0.0 or _LEAST_SMALL_MM <= hole[key] < diameter):
                wanted = Message("flute_file.small_hole", least=f"{_LEAST_SMALL_MM:g}", most=f"{diameter:g}")
                yield _expected(f"{where}, {key}", f"{hole[key]:g}", wanted)
    yield from _places(data, holes)


def _places(data: Table, holes: list[Table]) -> Iterator[Message]:
    placed = [hole for hole in holes if "position_mm" in hole and "name" in hole]
    for before, after in itertools.pairwise(placed):
        if after["position_mm"] < before["position_mm"]:
            wanted = Message("flute_file.after", least=f"{before['position_mm']:g}", before=before["name"])
            yield _expected(f"hole '{after['name']}', position_mm", f"{after['position_mm']:g}", wanted)
    taper = (data.get("head") or {}).get("taper_mm", -math.inf)
    end = (data.get("body") or {}).get("end_mm", math.inf)
    for hole in placed:
        if not taper < hole["position_mm"] < end:
            wanted = Message("flute_file.between", least=f"{taper:g}", most=f"{end:g}")
            yield _expected(f"hole '{hole['name']}', position_mm", f"{hole['position_mm']:g}", wanted)


def _fingers(data: Table) -> Iterator[Message]:
    fingers: list[Table] = data["fingers"]
    yield from _twice((finger.get("name") for finger in fingers), "finger")
    holes = {hole["name"]: hole for hole in data.get("holes", ()) if "name" in hole}
    count = 1
    for number, finger in enumerate(fingers, start=1):
        name, placements = finger.get("name"), finger.get("placements") or []
        where = _label("fingers", number, finger)
        count *= 1 + len(placements)
        if name is not None and name not in FINGERS:
            yield _expected(f"{where}, name", _value(name), _one_of(FINGERS))
        yield from _twice((one.get("touch") for one in placements), f"{where}, touch")
        for at, placement in enumerate(placements, start=1):
            label = _label(f"{where}, placements", at, placement)
            touch = placement.get("touch")
            if name in FINGERS and touch is not None and touch not in touches_of(name):
                yield _expected(f"{label}, touch", _value(touch), _one_of(touches_of(name)))
            if "holes" in data:
                yield from _placement(placement, label, holes)
    if count > MOST_FINGERINGS:
        yield Message("flute_file.fingering_count", n=count, most=MOST_FINGERINGS)


def _placement(placement: Table, where: str, holes: dict[str, Table]) -> Iterator[Message]:
    for key in ("shuts", "opens", "uncovers", "vents"):
        for name in placement.get(key, ()):
            if name not in holes:
                yield Message("flute_file.no_hole", where=f"{where}, {key}", hole=name, names=tuple(holes))
    for name in placement.get("opens", ()):
        if holes.get(name, {}).get("rest", "shut") == "open":
            yield Message("flute_file.open_at_rest", where=f"{where}, opens", hole=name)
    for key, kind in (("uncovers", "perforation"), ("vents", "vent")):
        for name in placement.get(key, ()):
            if name in holes and holes[name].get(f"{kind}_mm", 1.0) == 0.0:
                yield Message(f"flute_file.no_{kind}", where=f"{where}, {key}", hole=name)
            if name in holes and name not in placement.get("shuts", (name,)):
                yield Message("flute_file.not_held", where=f"{where}, {key}", hole=name)
    touch = str(placement.get("touch", ""))
    if touch and not placement.get("shuts", True) and not placement.get("opens", True):
        yield Message("flute_file.moves_nothing", where=where)
    for letter, key, kind in (("o", "uncovers", "perforation"), ("v", "vents", "vent")):
        if key in placement and (letter in touch) != bool(placement[key]):
            yield Message(f"flute_file.{kind}_{'needed' if letter in touch else 'unsaid'}", where=f"{where}, {key}")


def _chart(data: Table) -> Iterator[Message]:
    if "chart" not in data:
        return
    if data["chart"] not in charts():
        yield _expected("chart", _value(data["chart"]), _one_of(charts()))
        return
    has = {(one.get("name"), held.get("touch")) for one in data["fingers"] for held in one.get("placements") or []}
    has |= {(finger, "") for finger in FINGERS}
    plain = [note for note in chart(data["chart"]) if note.pitch.midi <= FIRST_REGISTER_TOP]
    lacking = [note for note in plain if not has.issuperset(zip(FINGERS, note.fingering.touches, strict=True))]
    if len(plain) - len(lacking) < _FEWEST_PLAIN:
        notes = tuple(str(note.pitch) for note in lacking)
        yield Message("flute_file.few_fingered", chart=data["chart"], notes=notes, least=_FEWEST_PLAIN)


def _twice(names: Iterator[str | None], what: str) -> Iterator[Message]:
    for name, count in Counter(name for name in names if name is not None).items():
        if count > 1:
            yield Message("flute_file.twice", what=what, name=name, n=count)
