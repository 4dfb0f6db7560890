"""Which parts of a score are for flute, and for which flute; and the choice of a part by the user."""

import re
import tomllib
import unicodedata
from collections.abc import Sequence
from functools import cache
from importlib.resources import files

from annotate.findings import InputError
from annotate.score import Part, ScoreInstrument
from fingering_db.message import Message

FLUTE, PICCOLO, ALTO, BASS = "flute", "piccolo", "alto", "bass"
_SPECIAL = (PICCOLO, ALTO, BASS)
_PIECES = re.compile(r"[/&+,;()\[\]|:–—]|\b(?:and|und|et|ed|y|och|og|en)\b")
_LETTERS = str.maketrans({"ø": "o", "æ": "ae", "ł": "l", "đ": "d"})  # accents that are part of the letter
_ORGAN_STOP = re.compile(r"(?<!\d)(?:32|16|8|4|2)\s*(?:['′’]|(?:fuss|ft|pieds|piedi|pies)(?!\w))")
_words = re.compile(r"[^\W\d_]+").findall

# Beginnings of MusicXML sound ids that are surely no flute of ours (those of flutes are looked at first).
_OTHER_SOUNDS = (
    "wind.", "brass.", "voice.", "drum.", "metal.", "wood.", "strings.", "pluck.", "keyboard.", "rattle.", "effect.",
)  # fmt: skip

_Table = dict[str, frozenset[str]]


def find_flute_parts(parts: Sequence[Part]) -> tuple[tuple[Part, str], ...]:
    """The parts for flute, each with its family: 'flute', 'piccolo', 'alto' or 'bass'.

    The sound id decides, then the part's name, its instruments' names, its group and its abbreviation. A MIDI
    program alone decides nothing: singers' parts carry that of the flute.
    """
    found = ((part, flute_family(part)) for part in parts)
    return tuple((part, family) for part, family in found if family)


def flute_family(part: Part) -> str:
    """The family of a part, '' when it is not for flute."""
    sounds = [each.sound for each in part.instruments if each.sound]
    family = next(filter(None, map(family_of_sound, sounds)), "")
    if family:
        return family
    other_wind = any(sound.startswith(("wind.", "brass.", "voice.")) for sound in sounds)
    names = [part.name, *(each.name for each in part.instruments), part.group]
    if _not_ours(" ".join(names)) or any(sound.startswith("wind.flutes.") for sound in sounds):
        return ""
    family = next(filter(None, map(family_of_name, names if not other_wind else names[:1])), "")
    if family:
        return family
    # An abbreviation is too short to gainsay a sound id, and 'Fl.' is written for Flügelhorn too.
    return "" if sounds else family_of_name(part.abbreviation)


def family_of_sound(sound: str) -> str:
    """The family told by a MusicXML sound id, '' for none of ours."""
    table = _lists()["sounds"]
    own = f"{sound.strip().lower()}."
    kinds = (kind for kind in ("not_ours", *_SPECIAL, FLUTE) if any(own.startswith(f"{one}.") for one in table[kind]))
    found = next(kinds, "")
    return "" if found == "not_ours" else found


def family_of_name(name: str) -> str:
    """The family told by a name or an abbreviation in any of the languages listed, '' for none of ours."""
    if _not_ours(name):
        return ""
    pieces = [_words(piece) for piece in _PIECES.split(_plain(name))]
    for piece in pieces:
        family = _family_of_words(piece)
        if family == FLUTE:
            # 'Flute (alto)', but not 'Flute (piccolo)' or 'Flute / Alto flute', where a player changes instrument.
            rest = [other for other in pieces if other is not piece and other and not _family_of_words(other)]
            for other in rest:
                family = _family_of_words([*piece, *other]) or family
        if family:
            return family
    return ""


def family_of_instrument(instrument: ScoreInstrument, family: str) -> str:
    """The family of one instrument of a part of that family: '' where it is surely another instrument (a clarinet, a
    drum), and that of the part where nothing tells."""
    told = family_of_sound(instrument.sound) or family_of_name(instrument.name)
    other = instrument.sound.startswith(_OTHER_SOUNDS) or _not_ours(instrument.name)
    return told or ("" if other else family)


def change_told(text: str) -> tuple[str, bool]:
    """The family that words in the score tell the player to change to, and whether the change is only announced ('to
    Piccolo', 'muta in Ottavino'): then it comes after the next rest. ('', False) where the words are anything else."""
    if any(char.isdigit() for char in text):  # '2. Picc.' is one player of several
        return "", False
    words = _words(_plain(text))
    announced = next((phrase for phrase in _announcements() if words[: len(phrase)] == phrase), [])
    words = words[len(announced) :]
    if not words or any(word not in _naming_words() for word in words):
        return "", False
    family = family_of_name(" ".join(words))
    return family, bool(family and announced)


@cache
def _announcements() -> list[list[str]]:
    return sorted((phrase.split() for phrase in _lists()["changes"]["announced"]), key=len, reverse=True)


@cache
def _naming_words() -> frozenset[str]:
    lists = _lists()
    names = [name for table in ("words", "alone") for family in lists[table].values() for name in family]
    return frozenset(word for name in names for word in name.split()) | lists["changes"]["beside"]


def _family_of_words(words: list[str]) -> str:
    lists = _lists()
    alone = next((family for family in (*_SPECIAL, FLUTE) if " ".join(words) in lists["alone"][family]), "")
    if alone:
        return alone
    named = [word for word in words if word in lists["words"][FLUTE] or word in lists["alone"][FLUTE]]
    if not named:
        # One-word names for the others: 'Altflöte in G', 'Ottavino'.
        return next((family for family in _SPECIAL if not lists["alone"][family].isdisjoint(words)), "")
    return next((one for one in _SPECIAL if not (lists["words"][one] | lists["alone"][one]).isdisjoint(words)), FLUTE)


def choose_part(parts: Sequence[Part], selector: str) -> Part:
    """The part that the user means: its id, its name, or its number from 1.

    Raises InputError, listing the parts, when there is no such part or the name stands at several.
    """
    text = " ".join(selector.split())
    for matches in (
        [part for part in parts if part.id == text],
        [part for part in parts if text and part.name == text],
        [part for part in parts if text.isdecimal() and len(text) < 6 and part.number == int(text)],
        [part for part in parts if text and text.casefold() in (part.id.casefold(), part.name.casefold())],
        [part for part in parts if text and text.casefold() == part.abbreviation.casefold()],
    ):
        if len(matches) == 1:
            return matches[0]
        if matches:
            numbers = tuple(str(part.number) for part in matches)
            raise InputError(Message("score.same_name", name=text, numbers=numbers))
    listed = tuple(Message("score.listed_name", number=part.number, name=part.title) for part in parts)
    raise InputError(Message("score.no_part", name=text, listed=listed or "none"))


def _not_ours(name: str) -> bool:
    words = _words(_plain(name))
    refused = _lists()["not_ours"]["words"]
    # The bass drum and bass guitar are small too: 'Piccolo bass' is strung.
    return not refused.isdisjoint(words) or words == ["piccolo", "bass"] or bool(_ORGAN_STOP.search(_plain(name)))


def _plain(text: str) -> str:
    """Lower case, full-width forms made plain, Latin letters without accents; kana keep their marks."""
    letters = unicodedata.normalize("NFD", unicodedata.normalize("NFKC", text).casefold().translate(_LETTERS))
    bare = "".join(char for char in letters if not unicodedata.combining(char) or char in "\u3099\u309a")
    return unicodedata.normalize("NFC", bare)


@cache
def _lists() -> dict[str, _Table]:
    tables = tomllib.loads(files("annotate.reading").joinpath("flute_names.toml").read_text(encoding="utf-8"))
    return {
        name: {key: frozenset(words if name == "sounds" else map(_plain, words)) for key, words in table.items()}
        for name, table in tables.items()
    }
