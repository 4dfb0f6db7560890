"""Technique words and player counts: finding them in a text.

The vocabulary is data (`technique_words.toml`, trade knowledge from memory). How long each holds: `holding.py`.
"""

import re
import tomllib
import unicodedata
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from fractions import Fraction
from functools import cache
from importlib.resources import files
from itertools import islice
from typing import Any

from annotate.language import languages
from annotate.score import Direction, Part

MULTIPHONIC, VOICE, GLISSANDO, BEND = "multiphonic", "voice", "glissando", "bend"
UNJUDGED, CANCEL, PLAYERS, TIMBRAL = "unjudged", "cancel", "players", "timbral"
SEVERAL, ONE, ALL = "several", "one", "all"


_ALWAYS = re.compile(
    r"(?<!\w)(?:sempre|sim\.|simile|always|throughout|toujours|immer|stets|siempre)(?!\w)", re.IGNORECASE
)
_DESK = re.compile(r"(?:\d|[IV]+\b|fl\. \d)")


@dataclass(frozen=True, slots=True)
class Technique:
    """One entry of the vocabulary. role: one of the constants of this module.

    holds: False for a word that speaks for its own place only. continuous: what it says of a glissando. modern: only
    music that may ask for multiphonics too has it.
    """

    id: str
    role: str
    holds: bool = True
    continuous: bool | None = None
    modern: bool = False


@dataclass(frozen=True, slots=True)
class Hit:
    """A word found in a text. word: as it stands there."""

    technique: Technique
    word: str


@dataclass(frozen=True, slots=True)
class Said:
    hit: Hit
    direction: Direction

    @property
    def always(self) -> bool:
        """Whether the text says that the word holds on: 'mult. sempre'."""
        return bool(_ALWAYS.search(self.direction.text))


@dataclass(frozen=True, slots=True)
class _Entry:
    """words: of all languages; begins: how they begin, folded: only what may be there is made into a pattern."""

    technique: Technique
    exact: frozenset[str]
    words: frozenset[str]
    begins: tuple[str, ...]
    not_in: frozenset[str]

    def found_in(self, line: str, folded: str) -> str | None:
        """The first of its words as it stands in a line, None for none; folded: the same line."""
        if line in self.exact:
            return line
        if not any(begin in folded for begin in self.begins):
            return None
        inside, words = _pattern(self.not_in), _pattern(self.words)
        match = words.search(inside.sub(" ", line) if inside else line) if words else None
        return match.group() if match else None


def one_line(text: str) -> str:
    """The text in one line, blanks joined, letters composed."""
    # Some programs write "Flöten" in decomposed form and join words with no-break spaces.
    return " ".join(unicodedata.normalize("NFC", text).split())


def any_of(words: Iterable[str]) -> re.Pattern[str] | None:
    """A pattern for any of the words as whole words; longer ones first."""
    ordered = sorted(set(words), key=len, reverse=True)
    if not ordered:
        return None
    patterns = []
    for word in ordered:
        body = r"\s*".join(re.escape(piece) for piece in one_line(word).rstrip(".").split(" "))
        end = r"(?:\.|\Z)" if word.endswith(".") else r"(?![\w/])"
        patterns.append(body + end)
    return re.compile(r"(?<!\w)(?:" + "|".join(patterns) + ")", re.IGNORECASE)


def _entry(table: Mapping[str, Any], technique: Technique) -> _Entry:
    words = frozenset(word for language in languages() for word in table.get(language, ()))
    begins = {_folded(one_line(word).rstrip(".").partition(" ")[0]) for word in words}
    exact = frozenset(one_line(text) for text in table.get("exact", ()))
    return _Entry(technique, exact, words, tuple(begins), frozenset(table.get("not_in", ())))


_DOTS = str.maketrans("ıİ", "ii")  # a pattern that ignores case takes them for the same letter


def _folded(text: str) -> str:
    return text.translate(_DOTS).casefold()


@cache
def _pattern(words: frozenset[str]) -> re.Pattern[str] | None:
    return any_of(words)


@cache
def word_tables() -> dict[str, Any]:
    """The vocabulary file as plain tables."""
    return tomllib.loads(files("annotate.detecting").joinpath("technique_words.toml").read_text("utf-8"))


@cache
def _entries() -> tuple[_Entry, ...]:
    tables = word_tables()
    found = [
        _entry(table, Technique(**{one.name: table[one.name] for one in fields(Technique) if one.name in table}))
        for table in tables["technique"]
    ]
    found += [_entry(table, Technique(table["says"], PLAYERS)) for table in tables["players"]]
    return tuple(found)


def find_words(text: str) -> tuple[Hit, ...]:
    """The technique and player words in one text, at most one of each technique, in the file's order."""
    line = one_line(text)
    folded = _folded(line)
    found = ((entry.technique, entry.found_in(line, folded)) for entry in _entries())
    return tuple(Hit(technique, word) for technique, word in found if word is not None)


class Spans:
    """All that a part's words say; this program's own earlier annotation and rehearsal marks say nothing.

    said: in order of time. several, desk, modern: the first word that tells of several players, that names one of several at a
    desk ('1.', 'II.'; not 'solo'), and for a technique that only one player of today's music is asked for; None for none."""

    def __init__(self, part: Part) -> None:
        marks = {(event.bar_index, event.rehearsal) for event in part.events}
        letters = {direction.text.strip() for direction in part.directions}
        self.said = tuple(
            Said(hit, direction)
            for direction in sorted(part.directions, key=lambda d: (d.onset, d.start))
            if not direction.ours
            for hit in find_words(direction.text)
            if not _is_rehearsal(direction, marks, letters)
        )
        self._glissandi = self.of_role(GLISSANDO)
        self.several = next((said for said in self.said if said.hit.technique.id == SEVERAL), None)
        desk = (said for said in self.said if said.hit.technique.id == ONE and _DESK.match(said.hit.word))
        self.desk = next(desk, None)
        self.modern = next((said for said in self.said if said.hit.technique.modern), None)

    def of_role(self, *roles: str) -> tuple[Said, ...]:
        """All words of some roles, in order of time."""
        return tuple(said for said in self.said if said.hit.technique.role in roles)

    def glissandi_from(self, onset: Fraction) -> Iterator[Said]:
        """Glissando words from a moment on, in order of time."""
        first = bisect_left(self._glissandi, onset, key=lambda said: said.direction.onset)
        yield from islice(self._glissandi, first, None)


def _is_rehearsal(direction: Direction, marks: set[tuple[int, str]], letters: set[str]) -> bool:
    """Whether words are a rehearsal mark, such as a lone capital letter among others. marks: (bar index, mark) of the part;
    letters: all that its words say."""
    text = direction.text.strip()
    if direction.kind == "rehearsal" or len(text) != 1:
        return direction.kind == "rehearsal"
    # A mark that a program wrote twice, once as words; or letters before and after it: the composer counts sections with words.
    return (direction.bar_index, text) in marks or bool(letters & {chr(ord(text) - 1), chr(ord(text) + 1)})


NUMBERED, PLAIN = "numbered", "plain"

_NUMBER = r"(?:\d{1,2}|i{1,3}|iv|v)"
_TWO_NUMBERS = re.compile(
    rf"(?<!\w){_NUMBER}\.?\s*(?:[,&+/.\-–]|\bet\b|\band\b|\bund\b|\be\b|\by\b|\s)\s*{_NUMBER}(?!\w)"
)
_ONE_NUMBER = re.compile(rf"(?<!\w){_NUMBER}(?!\w)")
_COUNT_BEFORE = re.compile(r"^\s*[2-9]\s+\w")
_COUNT_AFTER = re.compile(r"[(\[]\s*(?:x\s*)?[2-9]\s*[)\]]|\bx\s*[2-9]\s*$")


def name_tells(name: str) -> str:
    """What a part's name tells: 'several' players, 'numbered' or 'plain' for one, '' for no name."""
    text = one_line(name).casefold()
    if not text:
        return ""
    names = word_tables()["names"]
    tokens = re.findall(r"\w+", text)
    if any(token.endswith(tuple(names["plural"])) for token in tokens) or set(tokens[:1]) & set(names["counts"]):
        return SEVERAL
    if _TWO_NUMBERS.search(text) or _COUNT_BEFORE.search(text) or _COUNT_AFTER.search(text):
        return SEVERAL
    return NUMBERED if _ONE_NUMBER.search(text) else PLAIN


def tells_section(name: str) -> bool:
    """Whether the name of any part tells of several players: 'Horns in F', 'Violini I', 'Clarinet 1.2'."""
    tokens = set(re.findall(r"\w+", one_line(name).casefold()))
    return bool(tokens & set(word_tables()["names"]["sections"])) or name_tells(name) == SEVERAL
