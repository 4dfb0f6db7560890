"""Technique words and player counts: finding them in a text, and how long each of them holds.

The vocabulary is data (`technique_words.toml`, trade knowledge from memory). A word holds until 'ord.',
another technique word or a double bar; a number of players until the next one or a double bar.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from itertools import islice
from typing import Any

from annotate.score import Direction, Event, Part

MULTIPHONIC, VOICE, GLISSANDO, BEND = "multiphonic", "voice", "glissando", "bend"
UNJUDGED, CANCEL, PLAYERS = "unjudged", "cancel", "players"
SEVERAL, ONE, ALL = "several", "one", "all"
LANGUAGES = ("en", "it", "fr", "de")


@dataclass(frozen=True, slots=True)
class Technique:
    """One entry of the vocabulary. role: one of the constants of this module.

    holds: False for a word that speaks for its own place only. continuous: what it says of a glissando.
    """

    id: str
    role: str
    holds: bool = True
    continuous: bool | None = None


@dataclass(frozen=True, slots=True)
class Hit:
    """A word found in a text. word: as it stands there."""

    technique: Technique
    word: str


@dataclass(frozen=True, slots=True)
class Said:
    """A hit and the direction it stands in."""

    hit: Hit
    direction: Direction


@dataclass(frozen=True, slots=True)
class _Entry:
    technique: Technique
    exact: frozenset[str]
    words: re.Pattern[str] | None
    not_in: re.Pattern[str] | None


def _one_line(text: str) -> str:
    # Some programs write "Flöten" in decomposed form and join words with no-break spaces.
    return " ".join(unicodedata.normalize("NFC", text).split())


def _alternatives(words: Iterable[str]) -> re.Pattern[str] | None:
    """A pattern for any of the words as whole words; longer ones first."""
    ordered = sorted(set(words), key=len, reverse=True)
    if not ordered:
        return None
    patterns = []
    for word in ordered:
        body = r"\s*".join(re.escape(piece) for piece in _one_line(word).rstrip(".").split(" "))
        end = r"(?:\.|\Z)" if word.endswith(".") else r"(?![\w/])"
        patterns.append(body + end)
    return re.compile(r"(?<!\w)(?:" + "|".join(patterns) + ")", re.IGNORECASE)


def _entry(table: Mapping[str, Any], technique: Technique) -> _Entry:
    return _Entry(
        technique,
        frozenset(_one_line(text) for text in table.get("exact", ())),
        _alternatives(word for language in LANGUAGES for word in table.get(language, ())),
        _alternatives(table.get("not_in", ())),
    )


@cache
def word_tables() -> dict[str, Any]:
    """The vocabulary file as plain tables."""
    return tomllib.loads(files("annotate.detecting").joinpath("technique_words.toml").read_text("utf-8"))


@cache
def _entries() -> tuple[_Entry, ...]:
    tables = word_tables()
    found = [
        _entry(
            table,
            Technique(table["id"], table["role"], table.get("holds", True), table.get("continuous")),
        )
        for table in tables["technique"]
    ]
    found += [_entry(table, Technique(table["says"], PLAYERS)) for table in tables["players"]]
    return tuple(found)


def find_words(text: str) -> tuple[Hit, ...]:
    """The technique and player words in one text, at most one of each technique, in the file's order."""
    line = _one_line(text)
    hits = []
    for entry in _entries():
        if line in entry.exact:
            hits.append(Hit(entry.technique, line))
            continue
        rest = entry.not_in.sub(" ", line) if entry.not_in else line
        match = entry.words.search(rest) if entry.words else None
        if match:
            hits.append(Hit(entry.technique, match.group()))
    return tuple(hits)


class _Letters:
    """Tells rehearsal marks, such as a lone capital letter among others, from techniques."""

    def __init__(self, part: Part) -> None:
        self._marks = {(event.bar_index, event.rehearsal) for event in part.events}
        self._letters = {direction.text.strip() for direction in part.directions}

    def is_rehearsal(self, direction: Direction) -> bool:
        """Whether a direction is a rehearsal mark."""
        text = direction.text.strip()
        if direction.kind == "rehearsal":
            return True
        if len(text) != 1:
            return False
        # A mark that a program wrote twice, once as words.
        if (direction.bar_index, text) in self._marks:
            return True
        # Letters before and after it in the part: the composer counts sections with words.
        return bool(self._letters & {chr(ord(text) - 1), chr(ord(text) + 1)})


class _Timeline:
    """Words of one axis (techniques, or numbers of players) on one staff, grouped by moment."""

    def __init__(self, said: Iterable[Said]) -> None:
        self.moments: list[Fraction] = []
        self.groups: list[list[Said]] = []
        at_once: dict[Fraction, dict[tuple[str, str], Said]] = {}
        for word in said:
            group = at_once.setdefault(word.direction.onset, {})
            # Said again at the same moment it says no more, and then stands last.
            key = word.hit.technique.id, word.hit.word
            group.pop(key, None)
            group[key] = word
        for moment, words in at_once.items():
            self.moments.append(moment)
            self.groups.append(list(words.values()))

    def latest(self, onset: Fraction, double_bars: tuple[Fraction, ...]) -> list[Said]:
        """The words of the last moment up to `onset`; none where a double bar lies between."""
        index = bisect_right(self.moments, onset) - 1
        if index < 0:
            return []
        ended = bisect_right(double_bars, onset) > bisect_right(double_bars, self.moments[index])
        return [] if ended else self.groups[index]


class Spans:
    """All that a part's words say, in order of time; this program's own earlier annotation says nothing."""

    def __init__(self, part: Part) -> None:
        letters = _Letters(part)
        self._said = tuple(
            Said(hit, direction)
            for direction in sorted(part.directions, key=lambda d: (d.onset, d.start))
            if not direction.ours
            for hit in find_words(direction.text)
            if not letters.is_rehearsal(direction)
        )
        self._glissandi = self.of_role(GLISSANDO)
        self._several = next((said for said in self._said if said.hit.technique.id == SEVERAL), None)
        self._double_bars = tuple(sorted(part.double_bars))
        self._by_staff = part.staves > 1
        staves = {said.direction.staff for said in self._said} if self._by_staff else {0}
        self._techniques = {
            staff: _Timeline(s for s in self._on(staff) if s.hit.technique.role != PLAYERS and s.hit.technique.holds)
            for staff in staves
        }
        self._players = {
            staff: _Timeline(s for s in self._on(staff) if s.hit.technique.role == PLAYERS) for staff in staves
        }

    def _on(self, staff: int) -> list[Said]:
        return [said for said in self._said if not self._by_staff or said.direction.staff == staff]

    def _latest(self, axis: Mapping[int, _Timeline], event: Event) -> list[Said]:
        timeline = axis.get(event.staff if self._by_staff else 0)
        return timeline.latest(event.onset, self._double_bars) if timeline else []

    def techniques_at(self, event: Event) -> tuple[Said, ...]:
        """The technique words in force at an event: those of the latest moment, unless cancelled."""
        latest = self._latest(self._techniques, event)
        # "ord." and a new word at one moment: the new word stands.
        return tuple(said for said in latest if said.hit.technique.role != CANCEL)

    def technique_at(self, event: Event, role: str) -> Said | None:
        """The word of one role in force at an event."""
        return next((said for said in self.techniques_at(event) if said.hit.technique.role == role), None)

    def is_closed(self, said: Said) -> bool:
        """Whether a later technique word or 'ord.', before any double bar, ends a technique word."""
        timeline = self._techniques[said.direction.staff if self._by_staff else 0]
        index = bisect_right(timeline.moments, said.direction.onset)
        if index == len(timeline.moments):
            return False
        bars = self._double_bars
        return bisect_right(bars, timeline.moments[index]) == bisect_right(bars, said.direction.onset)

    def players_at(self, event: Event) -> Said | None:
        """The number of players in force at an event: 'several' or 'one'; None where nothing is said."""
        latest = self._latest(self._players, event)
        if not latest or latest[-1].hit.technique.id == ALL:
            return None
        # "1. solo / 2. solo", "1." over "2.": the words of one moment that differ tell of several players.
        words = {said.hit.word.casefold() for said in latest if said.hit.technique.id == ONE}
        several = next((said for said in latest if said.hit.technique.id == SEVERAL), None)
        if several is None and len(words) > 1 and {"1.", "2."} <= words:
            return Said(Hit(Technique(SEVERAL, PLAYERS), "1. and 2."), latest[0].direction)
        return several or latest[-1]

    def several_anywhere(self) -> Said | None:
        """The first word of the part that tells of several players."""
        return self._several

    def of_role(self, *roles: str) -> tuple[Said, ...]:
        """All words of some roles, in order of time."""
        return tuple(said for said in self._said if said.hit.technique.role in roles)

    def glissandi_from(self, onset: Fraction) -> Iterator[Said]:
        """Glissando words from a moment on, in order of time."""
        yield from islice(
            self._glissandi, bisect_left(self._glissandi, onset, key=lambda said: said.direction.onset), None
        )
