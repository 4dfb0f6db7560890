"""A decisions file (TOML): what it says, strictly read. What it names that is not there is a finding, made elsewhere."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import msgspec

from annotate.decisions.address import FLUTE, PIECE, PITCH, PLACE, WEIGHT
from annotate.files.errors import bytes_of, unfit
from fingering_db.fingering import Fingering, FingeringError
from fingering_db.message import Message, MessageError
from fingering_db.toml_size import too_nested
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


SUFFIX = ".decisions.toml"
_EXPECTED = Message("decisions.expected")
_MOST_BYTES = 1 << 20
_TABLES = (PLACE, PITCH, PIECE, FLUTE, WEIGHT)


class _NotReadError(MessageError):
    """A value that cannot be read, with the key it stands under."""


class _Entry(msgspec.Struct, forbid_unknown_fields=False):
    """What may be said of a place, of a pitch and of the piece."""

    fix: str | None = None
    fix_to: str | None = None
    forbid: str | list[str] = []
    prefer: str | list[str] = []
    read: Literal["multiphonic", "players", "voice"] | None = None
    note: str | None = None


class _File(msgspec.Struct):
    place: dict[str, _Entry] = {}
    pitch: dict[str, _Entry] = {}
    piece: _Entry = msgspec.field(default_factory=_Entry)
    flute: dict[str, str] = {}
    weight: dict[str, float] = {}


_ENTRY = tuple(field.name for field in msgspec.structs.fields(_Entry))


@dataclass(frozen=True, slots=True)
class Ruling:
    """What was decided about a place, a pitch or the piece, or about one event: of the place before the pitch before the piece.

    fix: the fingering to take, None for nothing; fix_to: of a tremolo or trill the second one; forbid, prefer: what not to take,
    what to take first among equals; read: 'multiphonic', 'players', 'voice', '' for nothing; note: words of one's own."""

    fix: Fingering | None = None
    forbid: tuple[Wish, ...] = ()
    prefer: tuple[Wish, ...] = ()
    read: str = ""
    note: str = ""
    fix_to: Fingering | None = None

    def allows(self, fingering: Fingering) -> bool:
        return fingering == self.fix if self.fix else not any(one.fits(fingering) for one in self.forbid)

    def liking(self, fingering: Fingering) -> int:
        """How far down among what is preferred a fingering comes, from 0 for the first wish."""
        return next((n for n, one in enumerate(self.prefer) if one.fits(fingering)), len(self.prefer))


NO_RULING = Ruling()


@dataclass(frozen=True, slots=True)
class Kept:
    """A decisions file. path: '' where there is none. places, pitches: by the text that names them; flutes: by part;
    weights: of the plan, by name; unknown: keys that mean nothing, each with the one that may be meant, '' for none."""

    path: str = ""
    places: Mapping[str, Ruling] = field(default_factory=dict)
    pitches: Mapping[str, Ruling] = field(default_factory=dict)
    piece: Ruling = NO_RULING
    flutes: tuple[tuple[str, str], ...] = ()
    weights: Mapping[str, float] = field(default_factory=dict)
    unknown: tuple[tuple[str, str], ...] = ()


NOTHING = Kept()


def beside(score: Path) -> Path:
    """Where the decisions about a score are looked for."""
    return score.with_name(f"{score.stem}{SUFFIX}")


def misnamed(score: Path) -> Path:
    """What such a file is easily called instead."""
    return score.with_name(f"{score.name}{SUFFIX}")


def load(path: Path) -> Kept:
    """Read a decisions file. Raises InputError, one line with what was expected, for one that cannot be read."""
    raw = bytes_of(path, _MOST_BYTES, _EXPECTED)
    try:
        return read(raw.decode("utf-8-sig"), path)
    except UnicodeDecodeError as error:
        raise unfit(path, Message("decisions.no_text"), _EXPECTED) from error


def read(text: str, path: Path) -> Kept:
    """The text of a decisions file; `path` is for messages. Raises InputError as `load` does."""
    nested = too_nested(text)
    if nested:
        raise unfit(path, nested, _EXPECTED)
    try:
        raw = tomllib.loads(text)
        told = msgspec.convert(raw, _File)
        places = {key: _said(entry, f'{PLACE}."{key}"') for key, entry in told.place.items()}
        pitches = {key: _said(entry, f'{PITCH}."{key}"') for key, entry in told.pitch.items()}
        piece = _said(told.piece, PIECE)
    except tomllib.TOMLDecodeError as error:
        raise unfit(path, Message("decisions.no_toml", reason=_with_line(str(error), text)), _EXPECTED) from error
    except msgspec.ValidationError as error:
        raise unfit(path, str(error), _EXPECTED) from error
    except _NotReadError as error:
        raise unfit(path, error.message, _EXPECTED) from error
    flutes = tuple(told.flute.items())
    return Kept(str(path), places, pitches, piece, flutes, told.weight, _unknown(raw))


def _said(entry: _Entry, where: str) -> Ruling:
    try:
        fix, fix_to = (None if text is None else Fingering.parse(text) for text in (entry.fix, entry.fix_to))
        listed = ([each] if isinstance(each, str) else each for each in (entry.forbid, entry.prefer))
        forbid, prefer = (tuple(map(Wish.parse, each)) for each in listed)
    except (FingeringError, WishError) as error:
        raise _NotReadError(Message("decisions.at", where=where, what=error.message)) from error
    return Ruling(fix, forbid, prefer, entry.read or "", " ".join((entry.note or "").split()), fix_to)


def _unknown(raw: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    found = [(key, _near(key, _TABLES)) for key in raw if key not in _TABLES]
    entries = [(PIECE, raw.get(PIECE, {}))]
    entries += [(f'{table}."{key}"', entry) for table in (PLACE, PITCH) for key, entry in raw.get(table, {}).items()]
    for where, entry in entries:
        found += [(f"{where}.{key}", _near(key, _ENTRY)) for key in entry if key not in _ENTRY]
    return tuple(found)


def _near(key: str, known: tuple[str, ...]) -> str:
    return next(iter(difflib.get_close_matches(key, known, n=1)), "")


def _with_line(reason: str, text: str) -> str:
    """What TOML says is wrong, with the line itself."""
    at = re.search(r"at line (\d+)", reason)
    lines = text.splitlines()
    line = " ".join(lines[int(at[1]) - 1].split()) if at and int(at[1]) <= len(lines) else ""
    return f"{reason}: `{line[:60]}`" if line else reason
