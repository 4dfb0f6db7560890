"""The words of one language (`languages/*.toml`), and messages put into them: the only place where values become words."""

import math
import re
import string
import tomllib
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any

from annotate.place import Place
from fingering_db.message import Message, error_words
from fingering_db.pitch import Pitch

DEFAULT = "en"


@dataclass(frozen=True, slots=True)
class Words:
    """The words of one language. Keys are `table.name`; what a language lacks is said in English,
    KeyError for a key that English lacks too.

    signs: whether note names carry ♯ and ♭; else # and b, as they are typed."""

    language: str
    tables: Mapping[str, Mapping[str, Any]]
    signs: bool = True

    def text(self, key: str, **values: object) -> str:
        """The words under `key` with its {names} filled in. An entry with `one` and `other` is chosen by the value n."""
        entry = self._entry(key)
        if isinstance(entry, Mapping):
            entry = entry["one" if self._is_one(values["n"]) else "other"]
        filled = (text + (self.value(values[name], form) if name else "") for text, name, form in _pieces(entry))
        return "".join(filled)

    def say(self, message: Message | str) -> str:
        """A message in words; a text as it is."""
        if isinstance(message, str):
            return message
        return self.text(message.key, **dict(message.values))

    def lines(self, key: str) -> tuple[str, ...]:
        """The list of sentences under `key`."""
        return tuple(self._entry(key))

    def has(self, key: str) -> bool:
        table, _, name = key.partition(".")
        return name in self.tables.get(table, ())

    def number(self, value: float | Fraction, form: str = "") -> str:
        """A number with this language's decimal and thousands signs. form: as in Python's format, or `sure`: one decimal,
        rounded down, for more the evidence does not carry, and 0.5 stays what is expected to sound; `cents` whole, with their
        name; `within` the same, at least 1."""
        if form in ("cents", "within"):
            least = 1 if form == "within" else 0
            return self.text("cents.whole", n=whole) if (whole := max(least, round(value))) else self.text("cents.less")
        if form == "sure":
            value, form = math.floor(value * 10.0 + 1e-9) / 10.0, ".1f"
        told = format(float(value) if isinstance(value, Fraction) else value, form)
        signs = self.tables["number"]
        return told.translate(str.maketrans({".": signs["decimal"], ",": signs["thousands"]}))

    def note_name(self, pitch: Pitch, signs: str = "") -> str:
        """A note with its octave, without cents: `C♯6`, German `Cis6`, French `do♯6`. signs: 'signs' ♯, 'typed' #; '' for
        those of these words."""
        names = self.tables["pitch"]
        letters = pitch.step + ("#" * pitch.alter if pitch.alter > 0 else "b" * -pitch.alter)
        if letters in names:
            return f"{names[letters]}{pitch.octave}"
        kind = signs or ("signs" if self.signs else "typed")
        sharp, flat = names[kind]
        return f"{names[pitch.step]}{sharp * pitch.alter if pitch.alter > 0 else flat * -pitch.alter}{pitch.octave}"

    def pitch(self, pitch: Pitch) -> str:
        """A note with its cents: `C♯6`, `C5+50`."""
        return self.note_name(pitch) + (f"{pitch.cents:+.0f}" if round(pitch.cents) else "")

    def chord(self, pitches: tuple[Pitch, ...]) -> str:
        """`C5 & D6`: a plus is of cents alone."""
        return str(self.tables["join"]["chord"]).join(map(self.pitch, pitches))

    def place(self, place: Place) -> str:
        """Part, bar and beat as a musician says them; the bar alone for a place without a part's name."""
        part = self.part(place)
        if place.is_whole_part:
            return part
        bar = self.text("place.bar_beat", bar=place.bar, beat=self.beat(place))
        return self.text("place.in_part", part=part, bars=bar) if part else bar

    def part(self, place: Place) -> str:
        """The name of the part in which a place is."""
        return self.text("place.part", number=place.number) if place.number else place.part

    def beat(self, place: Place) -> str:
        """The beat as a decimal without needless zeros."""
        return place.beat_text.replace(".", self.tables["number"]["decimal"])

    def value(self, value: object, form: str = "") -> str:
        """One value of a message in words. form: of a number as in Python's format; of a tuple how it is joined: a name in
        the table [join], ', ' by default; `chord` of pitches; `bare` of a pitch without its cents; `sure` of a confidence 0..1
        or a strength."""
        if isinstance(value, Message):
            return self.say(value)
        if isinstance(value, Pitch):
            return self.note_name(value) if form == "bare" else self.pitch(value)
        if isinstance(value, Place):
            return self.place(value)
        if isinstance(value, tuple):
            return self._joined(value, form)
        if isinstance(value, int | float | Fraction) and not isinstance(value, bool):
            return self.number(value, form)
        return str(value)

    def _joined(self, values: tuple[Hashable, ...], form: str) -> str:
        texts = [self.value(value) for value in values]
        joint = self.tables["join"][form or "list"]
        if form in ("and", "or") and len(texts) > 1:
            texts = [str(self.tables["join"]["list"]).join(texts[:-1]), texts[-1]]
        return str(joint).join(texts)

    def _is_one(self, number: Any) -> bool:
        low, high = self.tables["number"]["one"]
        return bool(low <= abs(number) <= high)

    def _entry(self, key: str) -> Any:
        table, _, name = key.partition(".")
        if self.language != DEFAULT and not self.has(key):
            return words(DEFAULT, self.signs)._entry(key)  # English rather than nothing; a test tells what lacks
        return self.tables[table][name]


@cache
def _pieces(entry: str) -> tuple[tuple[str, str, str], ...]:
    """A text before each of its {names}, the name and how its value is told; '' where none follows."""
    return tuple((text, name or "", form or "") for text, name, form, _ in string.Formatter().parse(entry))


def known_remark(text: str) -> Message | str:
    """A remark of a flute's file: that of one shipped as a message, another as it is."""
    known = {told: name for name, told in words().tables["remark"].items()}
    return Message(f"remark.{known[text]}") if text in known else text


@cache
def languages() -> tuple[str, ...]:
    """The languages there are, by their two letters."""
    found = (entry.name for entry in files("annotate").joinpath("languages").iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in found if name.endswith(".toml")))


@cache
def words(language: str = DEFAULT, signs: bool = True) -> Words:
    """Load a language. Raises KeyError for one that is not there."""
    return Words(language, _tables(language), signs)


@cache
def _tables(language: str) -> Mapping[str, Mapping[str, Any]]:
    if language not in languages():
        raise KeyError(language)
    source = files("annotate").joinpath("languages", f"{language}.toml")
    return _Tables(source.read_text(encoding="utf-8"), error_words() if language == DEFAULT else {})


class _Tables(Mapping[str, Mapping[str, Any]]):
    """The tables of a TOML text, and those known already. Each is parsed when it is asked for: a run says little of what can
    be said."""

    def __init__(self, source: str, known: Mapping[str, Mapping[str, Any]]) -> None:
        texts = re.split(r"^\[(\w+)\]$", source, flags=re.MULTILINE)
        self._texts, self._known = dict(zip(texts[1::2], texts[2::2], strict=True)), dict(known)

    def __getitem__(self, name: str) -> Mapping[str, Any]:
        if name not in self._known:
            self._known[name] = tomllib.loads(self._texts[name])
        return self._known[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._texts | self._known)

    def __len__(self) -> int:
        return len(self._texts | self._known)
