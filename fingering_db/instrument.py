"""An instrument as data: bore, holes, keys, fingers, lip. One TOML file each; lengths in mm at this door only."""

import difflib
import hashlib
import re
import tomllib
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Annotated

import msgspec

from fingering_db.message import Message, MessageError, in_english
from fingering_db.mistakes import mistakes
from fingering_db.toml_size import too_nested

DATA = resources.files("fingering_db") / "data"
MOST_BYTES = 1 << 18
"""Largest instrument file that is read; those shipped have some 10 kB."""


class InstrumentError(ValueError):
    """An instrument that is unknown or a file that describes none. mistakes: each on one line: file, key, value, what was
    needed; as text the first of them."""

    @property
    def mistakes(self) -> tuple[Message, ...]:
        """Every mistake, one line each."""
        return self.args

    @property
    def message(self) -> Message:
        """The first mistake, and how many more there are."""
        first, *others = self.args
        return Message("flute_file.more", first=first, n=len(others)) if others else first

    def __str__(self) -> str:
        return in_english(self.message)


# Bounds of the values are wide: they keep out slips of units and signs, not unusual flutes.


class Struct(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Base of the tables of an instrument file: unknown keys are mistakes."""


class Head(Struct, frozen=True):
    """Head joint, [mm] from the centre of the embouchure hole: bore there, length of the taper to the body's bore,
    distance of the stopper above the embouchure hole."""

    bore_at_embouchure_mm: Annotated[float, msgspec.Meta(ge=4, le=80)]
    taper_mm: Annotated[float, msgspec.Meta(ge=1, le=1500)]
    stopper_mm: Annotated[float, msgspec.Meta(ge=0.5, le=200)]


class Body(Struct, frozen=True):
    """Bore of the body [mm] and place of the open end [mm] from the embouchure."""

    bore_mm: Annotated[float, msgspec.Meta(ge=4, le=80)]
    end_mm: Annotated[float, msgspec.Meta(ge=50, le=4000)]


class Lip(Struct, frozen=True):
    """Lip law: equivalent length [mm] of a 19-mm tube at pitch x octaves above C4 (tempered, A4 = 440 Hz):
    at_c4_mm + per_octave_mm x + curve_mm x². bend_cents: how far the lip can pull a note either way. spare_mm: how far
    beyond the law's values of the lowest and highest note the player goes when notes must share one lip (ours)."""

    at_c4_mm: Annotated[float, msgspec.Meta(ge=0.5, le=300)]
    per_octave_mm: Annotated[float, msgspec.Meta(ge=-100, le=100)]
    curve_mm: Annotated[float, msgspec.Meta(ge=-50, le=50)] = 0.0
    bend_cents: Annotated[float, msgspec.Meta(ge=0, le=300)] = 30.0
    spare_mm: Annotated[float, msgspec.Meta(ge=0, le=50)] = 5.0


class Slide(Struct, frozen=True):
    """A telescoping head joint: how far it can be drawn out [mm], and how far out the player holds it for written pitch
    (to glide both ways). Its tube has the body's bore."""

    travel_mm: Annotated[float, msgspec.Meta(ge=0, le=300)] = 45.0
    slide_rest_mm: Annotated[float, msgspec.Meta(ge=0, le=300)] = 0.0


class Hole(Struct, frozen=True):
    """A tone hole. name: the note that sounds when it is the first open one. rest: 'open' or 'shut'.
    perforation_mm, vent_mm: diameters of the small openings in its key, 0 for none; plate_mm: thickness they go
    through."""

    name: str
    position_mm: Annotated[float, msgspec.Meta(ge=1, le=4000)]
    diameter_mm: float
    rest: str = "open"
    chimney_mm: Annotated[float, msgspec.Meta(ge=0.1, le=50)] = 2.3
    rim_mm: Annotated[float, msgspec.Meta(ge=0, le=20)] = 0.5
    pad_rise_mm: Annotated[float, msgspec.Meta(ge=0.1, le=50)] = 2.5
    pad_ratio: Annotated[float, msgspec.Meta(ge=1.05, le=3)] = 1.3
    perforation_mm: float = 0.0
    vent_mm: float = 0.0
    plate_mm: Annotated[float, msgspec.Meta(ge=0.1, le=20)] = 3.5


class Placement(Struct, frozen=True):
    """What one finger does: the touch it takes, the holes this shuts and opens, and the small openings left open."""

    touch: str
    shuts: tuple[str, ...] = ()
    opens: tuple[str, ...] = ()
    uncovers: tuple[str, ...] = ()
    vents: tuple[str, ...] = ()


class Finger(Struct, frozen=True):
    """A finger and its placements beside 'up'."""

    name: str
    placements: tuple[Placement, ...]


class Instrument(Struct, frozen=True):
    """A whole flute. transposition_semitones: sounding minus written pitch. chart: name of its standard fingerings.
    model_cents: error of the model [cents rms]: predicted, not in-sample (SOURCES.md). remark: what anybody who is shown a
    number of this flute must know, '' for nothing; goes on after 'it is'."""

    name: str
    title: str
    family: str
    temperature_c: Annotated[float, msgspec.Meta(ge=-10, le=45)]
    a4_hz: Annotated[float, msgspec.Meta(ge=380, le=500)]
    chart: str
    model_cents: Annotated[float, msgspec.Meta(ge=0, le=200)]
    head: Head
    body: Body
    lip: Lip
    holes: tuple[Hole, ...]
    fingers: tuple[Finger, ...]
    transposition_semitones: Annotated[int, msgspec.Meta(ge=-36, le=36)] = 0
    remark: str = ""
    slide: Slide | None = None

    def fingerprint(self) -> str:
        """A digest that changes with any value of the instrument."""
        return hashlib.sha256(msgspec.json.encode(self)).hexdigest()


SLIDE_SUFFIX = "-slide"


def shipped() -> tuple[str, ...]:
    """Names of the instruments that come with the package, those with a telescoping head joint left out: every one of
    these exists with SLIDE_SUFFIX too, the same file plus one table."""
    folder = DATA / "instruments"
    return tuple(sorted(item.name.removesuffix(".toml") for item in folder.iterdir() if item.name.endswith(".toml")))


def load(name_or_file: str) -> Instrument:
    """A shipped instrument by name, or one from a TOML file. Raises InstrumentError, one line."""
    plain = name_or_file.removesuffix(SLIDE_SUFFIX)
    if plain != name_or_file and plain in shipped():
        base = load(plain)
        title = f"{base.title}, telescoping head joint"
        return msgspec.structs.replace(base, name=name_or_file, title=title, slide=Slide())
    if name_or_file in shipped():
        text = (DATA / "instruments" / f"{name_or_file}.toml").read_text(encoding="utf-8")
        return decode(text, f"{name_or_file}.toml")
    path = Path(name_or_file)
    try:
        if name_or_file.strip() and (path.suffix == ".toml" or path.exists()):
            return decode(_text(path), str(path))
    except (OSError, ValueError) as error:
        if isinstance(error, InstrumentError):
            raise
        reason = getattr(error, "strerror", None) or getattr(error, "message", str(error))
        reason = Message("flute_file.no_text") if isinstance(error, UnicodeDecodeError) else reason
        raise InstrumentError(Message("flute_file.unread", source=name_or_file, reason=reason)) from error
    near = difflib.get_close_matches(name_or_file.lower(), shipped(), n=2, cutoff=0.5)
    if near:
        raise InstrumentError(
            Message("flute_file.no_flute_near", name=name_or_file, near=tuple(near), names=tuple(shipped()))
        )
    raise InstrumentError(Message("flute_file.no_flute", name=name_or_file, names=tuple(shipped())))


def _syntax(reason: str, text: str, source: str) -> Message:
    """A mistake of syntax with the line it stands in and what a line must be."""
    at = re.search(r"at line (\d+)", reason)
    lines = text.splitlines()
    line = " ".join(lines[int(at[1]) - 1].split()) if at and int(at[1]) <= len(lines) else ""
    if at and line:
        return Message("flute_file.syntax", source=source, line=at[1], text=line[:60])
    return Message("flute_file.syntax_end", source=source, reason=reason)


def _text(path: Path) -> str:
    """The text of a file; an endless device is not read, nor a file that is too large for a flute."""
    if path.exists() and not path.is_file():
        raise MessageError(Message("flute_file.no_file"))
    with path.open("rb") as file:
        raw = file.read(MOST_BYTES + 1)
    if len(raw) > MOST_BYTES:
        raise MessageError(Message("flute_file.too_large", most=MOST_BYTES >> 10))
    return raw.decode("utf-8-sig")


@lru_cache(maxsize=16)  # of a score with many parts each asks for its flute
def decode(text: str, source: str) -> Instrument:
    """An instrument from TOML text; `source` names it in errors. Raises InstrumentError with every mistake."""
    nested = too_nested(text)
    if nested:
        raise InstrumentError(Message("flute_file.nested", source=source, what=nested))
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InstrumentError(_syntax(str(error), text, source)) from error
    found = mistakes(raw, Instrument)
    if found:
        raise InstrumentError(*(Message("flute_file.at", source=source, what=line) for line in found))
    return msgspec.convert(raw, Instrument)
