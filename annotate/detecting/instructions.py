"""How a composer says that a sound or a glissando is to be made: by which means, and how far out a telescoping head joint is."""

import re
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from annotate.demand import Instruction
from annotate.detecting.words import any_of, one_line, word_tables
from annotate.language import languages
from annotate.score import Direction, Part

_MILLIMETRES = re.compile(r"(\d{1,3}(?:[.,]\d+)?)\s*mm\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class _Slide:
    nouns: re.Pattern[str]
    out: re.Pattern[str]
    home: re.Pattern[str]
    shares: tuple[tuple[re.Pattern[str], float], ...]


def _pattern(words: Iterable[str]) -> re.Pattern[str]:
    found = any_of(words)
    assert found is not None
    return found


@cache
def _means() -> tuple[tuple[str, re.Pattern[str]], ...]:
    tables = word_tables()["instruction"]
    return tuple(
        (one["means"], _pattern(w for language in languages() for w in one.get(language, ()))) for one in tables
    )


@cache
def _slide() -> _Slide:
    table = word_tables()["slide"]
    shares = tuple((_pattern([word]), share) for word, share in table["shares"].items())
    return _Slide(_pattern(table["nouns"]), _pattern(table["out"]), _pattern(table["in"]), shares)


def means_told(text: str) -> Instruction | None:
    """By which means a glissando is to be made, as a text says; None where it does not."""
    line = one_line(text)
    for means, pattern in _means():
        found = pattern.search(line)
        if found:
            return Instruction(found.group(), means=means)
    return None


def slide_told(text: str) -> Instruction | None:
    """How far out a text says that the head joint is, 0 mm for in; None where it says nothing of it."""
    line, words = one_line(text), _slide()
    if not words.nouns.search(line):
        return None
    told = _MILLIMETRES.search(line)
    if told:
        return Instruction(line, slide_mm=float(told.group(1).replace(",", ".")))
    share = next((share for pattern, share in words.shares if pattern.search(line)), None)
    if words.out.search(line):
        return Instruction(line, slide_share=1.0 if share is None else share)
    return Instruction(line, slide_mm=0.0) if words.home.search(line) and share is None else None


class Instructions:
    """All that a part says in this way, by place. This program's own words are not among it."""

    def __init__(self, part: Part) -> None:
        words = (one for one in part.directions if not one.ours and one.kind == "words")
        own = sorted(words, key=lambda one: one.onset)
        self._several = part.staves > 1
        self._double_bars = tuple(sorted(part.double_bars))
        self._means = [(one, told) for one in own if (told := means_told(one.text))]
        self._slides = [(one, told) for one in own if (told := slide_told(one.text))]

    def _on(self, direction: Direction, staff: int) -> bool:
        return not self._several or direction.staff == staff

    def means_from(self, start: Fraction, stop: Fraction, staff: int) -> Instruction | None:
        """What is said of a glissando between two moments."""
        within = (
            told
            for one, told in self._means
            if start <= one.onset < max(stop, start + Fraction(1, 1000)) and self._on(one, staff)
        )
        return next(within, None)

    def slide_at(self, onset: Fraction, staff: int) -> Instruction | None:
        """The setting of the head joint in force at a moment; None for in, or where nothing was said since the last double
        bar."""
        said = self.slide_said(onset, staff)
        return None if said is None or said[1].slide_mm == 0.0 else said[1]

    def slide_said(self, onset: Fraction, staff: int) -> tuple[Fraction, Instruction] | None:
        """What was said of it last, and when; None where nothing was since the last double bar."""
        before = [(one, told) for one, told in self._slides if one.onset <= onset and self._on(one, staff)]
        if not before:
            return None
        said, told = before[-1]
        passed = bisect_right(self._double_bars, onset) > bisect_right(self._double_bars, said.onset)
        return None if passed else (said.onset, told)
